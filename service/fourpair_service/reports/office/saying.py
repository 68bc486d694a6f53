"""Small sentences of the office screen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from fourpair_service.records.model import Change, ChangeKind
from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.office.page import LABEL_CHARACTERS

NONE: Final = "–"  # noqa: RUF001 - a dash for an empty place
WIRE_MAP: Final = "wire_map"
MOST_FAILING: Final = 4


def headroom(value_db: float | None, words: Language) -> str:
    """Return a headroom with its sign, a dash where there is none."""
    if value_db is None:
        return NONE
    return f"{'+' if value_db > 0 else ''}{words.number(value_db, 1)} dB"


def failing_of(failures: Sequence[str], words: Language) -> str:
    """Return what fails on a link, wires first, both ends of a parameter together; a dash for nothing.

    Args:
        failures: names of faults (``next:near``, ``wire_map:open:36``).
        words: the language.
    """
    places: dict[str, list[str]] = {}
    for what in sorted(failures, key=lambda what: not what.startswith(WIRE_MAP)):
        family, _, rest = what.partition(":")
        places.setdefault(what if family == WIRE_MAP else family, []).append(rest)
    said = [_failing(name, rest, words) for name, rest in places.items()]
    more = [words.say("office.more_failing", count=str(len(said) - MOST_FAILING))] * (
        len(said) > MOST_FAILING
    )
    return "; ".join((*said[:MOST_FAILING], *more)) or NONE


def _failing(name: str, places: Sequence[str], words: Language) -> str:
    family, _, rest = name.partition(":")
    # One defect is told once, by its family: what is meant may be another parameter of it.
    known = words.texts["office_family"].get(family) or words.texts["parameter"].get(family)
    title = str(known or printable(family, 40))
    if family == WIRE_MAP:
        kind, _, place = rest.partition(":")
        return f"{title}: {words.by_code('wire_kind', kind, printable(kind, 40))} {printable(place, 40)}".rstrip()
    ends = [place for place in places if place in words.texts["end_at"]]
    if len(ends) > 1:
        return f"{title} {words.say('office.both_ends')}"
    return f"{title} {words.say('end_at.' + ends[0])}" if ends else title


def moment(at: str | None, words: Language) -> str:
    """Return a moment to the minute, a dash where there is none."""
    return NONE if at is None else words.day(at)


def news(change: Change | None, words: Language) -> str:
    """Return what a change of the feed did; ``None``: of a job that the reader does not see."""
    if change is None:
        return words.say("office_change.elsewhere")
    label = printable(change.label or words.say("office.no_label"), LABEL_CHARACTERS)
    outcome = words.say(f"outcome.{change.outcome}") if change.outcome else ""
    return words.say(f"office_change.{_NAMES[change.kind]}", label=label, outcome=outcome)


_NAMES: Final[Mapping[ChangeKind, str]] = {kind: kind.value.replace(".", "_") for kind in ChangeKind}
