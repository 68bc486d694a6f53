"""The wire map: where each contact of the near end arrives, pair by pair, faults where they are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from fourpair_service.domain.link import PAIRS, SHIELD
from fourpair_service.domain.measurement import WireMap
from fourpair_service.domain.wiremap import shorted_groups
from fourpair_service.reports.drawing.shapes import Dot, Path, Picture, Shape, Words
from fourpair_service.reports.inks import INK, MUTED, OUTSIDE, WHITE
from fourpair_service.reports.language import Language

WIDTH: Final = 320.0
LEFT: Final = 74.0
RIGHT: Final = 236.0
TOP: Final = 22.0
IN_PAIR: Final = 13.0
BETWEEN_PAIRS: Final = 20.0
PIN: Final = 5.6
FAULT_DASH: Final = (5.0, 2.5)
# How far an open wire is drawn where nobody knows where it ends, as a share of the way.
UNKNOWN_SHARE: Final = 0.3
# The word beside the far end for a fault of a pair; the worst comes first.
MARKS: Final = {
    "short": "short",
    "open": "open",
    "open_shield": "open",
    "split_pair": "split",
    "reversed_pair": "reversed",
    "crossed_pair": "elsewhere",
    "miswire": "elsewhere",
    "conductors_exchanged": "elsewhere",
    "rollover": "elsewhere",
    "crossover": "elsewhere",
    "crossover_all_pairs": "elsewhere",
}


def _rows(*, with_shield: bool) -> dict[str, float]:
    """Return the height of each contact, two of a pair close together."""
    rows: dict[str, float] = {}
    y = TOP
    for pair in PAIRS:
        rows[pair[0]], rows[pair[1]] = y, y + IN_PAIR
        y += IN_PAIR + BETWEEN_PAIRS
    return rows | ({SHIELD: y} if with_shield else {})


class _Drawing:
    def __init__(
        self,
        wire_map: WireMap,
        findings: Sequence[Mapping[str, Any]],
        broken_at: Mapping[str, float],
        words: Language,
    ) -> None:
        self._map, self._findings, self._broken_at, self._words = wire_map, findings, broken_at, words
        self.rows = _rows(with_shield=wire_map.shield_tested)
        # A whole map that is wrong names all pins; those that arrive on their own are not at fault.
        astray = {near for near, far in wire_map.contacts if near != far}
        self._faulty = {
            pin
            for finding in findings
            for pin in finding["pins"]
            if pin in astray or MARKS.get(finding["kind"]) not in ("elsewhere", "reversed")
        }
        self._split = {pair for f in findings if f["kind"] == "split_pair" for pair in f["pairs"]}

    def _x(self, share: float) -> float:
        return LEFT + share * (RIGHT - LEFT)

    def _end_of(self, pin: str) -> float:
        pair = next((pair for pair in PAIRS if pin in pair), "")
        return self._x(self._broken_at.get(pair, UNKNOWN_SHARE))

    def _is_split(self, pin: str) -> bool:
        return any(pin in pair for pair in self._split)

    def wires(self) -> Iterator[Shape]:
        """Yield a line for each contact that arrives."""
        for near, far in self._map.contacts:
            if near not in self.rows or far not in self.rows:
                continue
            is_fault = near != far or near in self._faulty or self._is_split(near)
            ends = ((LEFT, self.rows[near]), (RIGHT, self.rows[far]))
            yield Path(ends, OUTSIDE, 2.4, FAULT_DASH) if is_fault else Path(ends, INK, 1.5)

    def breaks(self) -> Iterator[Shape]:
        """Yield the wires that do not arrive, a cross where they end."""
        tied = {pin for group in shorted_groups(self._map) for pin in group}
        reached = {near for near, _ in self._map.contacts} | tied
        for pin in (pin for pin in self.rows if pin not in reached):
            x, y = self._end_of(pin), self.rows[pin]
            yield Path(((LEFT, y), (x, y)), OUTSIDE, 2.4, FAULT_DASH)
            yield Path(((x - 4, y - 4), (x + 4, y + 4)), OUTSIDE, 1.8)
            yield Path(((x - 4, y + 4), (x + 4, y - 4)), OUTSIDE, 1.8)

    def bridges(self) -> Iterator[Shape]:
        """Yield what ties wires together: a short, or the crosstalk that shows a split."""
        for group in shorted_groups(self._map):
            pins = [pin for pin in group if pin in self.rows]
            x = self._end_of(pins[0]) if pins else 0.0
            heights = sorted(self.rows[pin] for pin in pins)
            for y in heights:
                yield Path(((LEFT, y), (x, y)), OUTSIDE, 2.4, FAULT_DASH)
                yield Dot(x, y, 3, OUTSIDE)
            yield Path(((x, heights[0]), (x, heights[-1])), OUTSIDE, 2.4)
        if self._split:
            heights = sorted(self.rows[pin] for pair in self._split for pin in pair)
            for share in (0.4, 0.5, 0.6):
                x = self._x(share)
                yield Path(((x - 6, heights[0]), (x + 6, heights[-1])), OUTSIDE, 1.4)

    def ends(self) -> Iterator[Shape]:
        """Yield the contacts of both ends with their numbers."""
        for pin, y in self.rows.items():
            for x in (LEFT, RIGHT):
                yield Dot(x, y, PIN, WHITE, OUTSIDE if pin in self._faulty else INK, 1.1)
                yield Words(pin, x, y + 3, 8, INK, "middle", bold=True)
        for x, end in ((LEFT, "near"), (RIGHT, "far")):
            yield Words(self._words.say(f"picture.{end}"), x, TOP - 11, 9, MUTED, "middle")

    def labels(self) -> Iterator[Shape]:
        """Yield the name of each pair, and beside the far end what is wrong with it."""
        for pair in PAIRS:
            y = self.rows[pair[0]] + IN_PAIR / 2 + 3
            yield Words(f"{self._words.say('picture.pair')} {pair}", LEFT - 14, y, 9, MUTED, "end")
            mark = next((mark for kind, mark in MARKS.items() if self._has(pair, kind)), None)
            if mark:
                yield Words(self._words.say(f"picture.{mark}"), RIGHT + 12, y, 9, OUTSIDE, "start", bold=True)
        if SHIELD in self.rows:
            yield Words(self._words.say("picture.shield"), LEFT - 14, self.rows[SHIELD] + 3, 9, MUTED, "end")

    def _has(self, pair: str, kind: str) -> bool:
        return any(f["kind"] == kind and pair in f["pairs"] for f in self._findings)


def wires_picture(
    wire_map: WireMap,
    findings: Sequence[Mapping[str, Any]],
    broken_at: Mapping[str, float],
    words: Language,
    said: str,
) -> Picture:
    """Return the picture of a wire map.

    Args:
        wire_map: which contacts connect.
        findings: of the verdict document.
        broken_at: by pair, where an open or shorted one ends, as a share of the run.
        words: the language.
        said: the findings in words, for whoever cannot see the picture.
    """
    drawing = _Drawing(wire_map, findings, broken_at, words)
    shapes = (
        *drawing.wires(), *drawing.breaks(), *drawing.bridges(), *drawing.ends(), *drawing.labels()
    )  # fmt: skip
    height = max(drawing.rows.values()) + 14
    text = f"{words.say('picture.wires_text')} {said}"
    return Picture("wires", words.say("heading.wires"), text, WIDTH, height, shapes)
