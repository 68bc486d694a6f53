"""What fails, told as defects: a fault of the wiring has its by-products within it.

A split pair fails eight parameters and is one thing to mend. Which by-products
belong to it follows from the verdict alone (the class of the wire map, its pairs,
the pairs that fail), never from a suspected cause, which may be told better tomorrow.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Final

from fourpair_service.domain.wiremap import WireMapFault
from fourpair_service.records.curves import Document
from fourpair_service.records.failures import FAILED_OUTCOMES, failures, what_of

_LOST: Final = frozenset({"insertion_loss", "acr_f", "propagation_delay", "dc_loop_resistance"})
_REFLECTED: Final = _LOST | {"next", "return_loss"}

# What each class of wiring fault brings about in parameters that are measured pair by
# pair. Own reasoning: an interrupted or mixed pair also reflects and couples at the end
# that is measured; a pair that arrives whole on other pins is merely not met at the far
# end; a reversed pair changes no magnitude, so what fails beside it is another defect.
BROUGHT_ABOUT: Final[dict[str, frozenset[str]]] = {
    WireMapFault.SPLIT_PAIR: _REFLECTED - {"dc_loop_resistance"},
    WireMapFault.OPEN: _REFLECTED,
    WireMapFault.SHORT: _REFLECTED,
    WireMapFault.MISWIRE: _REFLECTED,
    WireMapFault.CONDUCTORS_EXCHANGED: _REFLECTED,
    WireMapFault.CROSSED_PAIR: _LOST,
    WireMapFault.CROSSOVER: _LOST,
    WireMapFault.CROSSOVER_ALL_PAIRS: _LOST,
    WireMapFault.ROLLOVER: _LOST,
}
# Findings that tell of one wrong order of wires in several sentences, the plainest first.
MISORDERED: Final = (WireMapFault.CONDUCTORS_EXCHANGED, WireMapFault.CROSSED_PAIR, WireMapFault.MISWIRE)


def explained(verdict: Document, also: Iterable[str] = ()) -> dict[str, str]:
    """Return what fails as a by-product, with the name of the wiring fault that brings it about.

    Args:
        verdict: the document.
        also: wiring faults that an earlier verdict found and that are not mended: they explain too.
    """
    wiring = sorted({what for what in (*failures(verdict), *also) if what.startswith("wire_map:")})
    return dict(_explained(verdict, wiring))


def _explained(verdict: Document, wiring: list[str]) -> Iterator[tuple[str, str]]:
    """Yield what is a by-product, with the name of what brings it about."""
    heads = dict(_one_order(wiring))
    yield from ((what, head) for what, head in heads.items() if what != head)
    for what, failing_pairs in _failing_pairs(verdict).items():
        family = what.partition(":")[0]
        able = [name for name in wiring if family in BROUGHT_ABOUT.get(_kind(name), ())]
        touched = {pair for name in able for pair in _pairs(name)}
        if able and all(not pairs or pairs & touched for pairs in failing_pairs):
            concerned = set().union(*failing_pairs)
            first = next((name for name in able if concerned & _pairs(name)), able[0])
            yield what, heads[first]


def _one_order(wiring: list[str]) -> Iterator[tuple[str, str]]:
    """Yield every wiring fault with the one that stands for it: wires in a wrong order share pairs."""
    groups: list[list[str]] = []
    for what in wiring:
        mates = [g for g in groups if _misordered(what) and any(_share(what, other) for other in g)]
        groups = [g for g in groups if g not in mates]
        groups.append([*(each for g in mates for each in g), what])
    for group in groups:
        head = min(group, key=lambda what: (_rank(what), what))
        yield from ((what, head) for what in group)


def _share(first: str, second: str) -> bool:
    return _misordered(second) and bool(_pairs(first) & _pairs(second))


def _misordered(what: str) -> bool:
    return _kind(what) in MISORDERED


def _rank(what: str) -> int:
    return MISORDERED.index(WireMapFault(_kind(what))) if _misordered(what) else 0


def _kind(what: str) -> str:
    return what.split(":")[1]


def _pairs(what: str) -> set[str]:
    return set(what.split(":")[2].split("+"))


def _failing_pairs(verdict: Document) -> dict[str, list[set[str]]]:
    """Return the pairs of every failing result, by what fails; an empty set where it has none."""
    found: dict[str, list[set[str]]] = {}
    for row in verdict.get("parameters", ()):
        if row["outcome"] not in FAILED_OUTCOMES:
            continue
        points = [p for p in row.get("by_pair") or () if p["outcome"] in FAILED_OUTCOMES]
        names = [p["pairs"] for p in points or [row.get("worst_margin") or {"pairs": None}]]
        found.setdefault(what_of(row), []).extend(set(re.split("[->]", n)) if n else set() for n in names)
    return found
