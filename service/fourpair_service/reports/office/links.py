"""One link with its history, and two of its revisions side by side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from fourpair_service.domain.grading.margin_curves import MarginCurve
from fourpair_service.records.model import Revision
from fourpair_service.reports.drawing.shapes import Picture
from fourpair_service.reports.language import FEET_PER_METRE, Language, LengthUnit, printable
from fourpair_service.reports.office import saying
from fourpair_service.reports.office.page import LABEL_CHARACTERS
from fourpair_service.reports.pictures.compared import Point, compared_picture
from fourpair_service.reports.sheet.model import Document, SheetSource
from fourpair_service.reports.sheet.saying import requirement


@dataclass(frozen=True, slots=True)
class RevisionLine:
    """A revision in the history of a link."""

    number: int
    what: str
    label: str
    outcome: str
    outcome_text: str
    headroom: str
    when: str
    who: str
    reason: str


def revision_lines(
    revisions: Sequence[Revision], testers: Mapping[str, str | None], words: Language
) -> tuple[RevisionLine, ...]:
    """Return a line for each revision, the newest first.

    Args:
        revisions: the first one first.
        testers: name by the id of the party.
        words: the language.
    """
    return tuple(
        RevisionLine(
            number=revision.number,
            what=words.say(f"office_kind.{revision.kind}"),
            label=printable(revision.label, LABEL_CHARACTERS),
            outcome=revision.outcome,
            outcome_text=words.say(f"outcome.{revision.outcome}"),
            headroom=saying.headroom(revision.headroom_db, words),
            when=saying.moment(revision.at, words),
            who=printable(testers.get(revision.tester_id or "") or saying.NONE, LABEL_CHARACTERS),
            reason=printable(revision.reason or saying.NONE, 200),
        )
        for revision in reversed(revisions)
    )


@dataclass(frozen=True, slots=True)
class ComparedRow:
    """One parameter at one end, before and after.

    Attributes:
        trend: ``better``, ``worse``, ``alike``, or nothing where one of the two is not known.
    """

    parameter: str
    end: str
    before: str
    before_outcome: str
    after: str
    after_outcome: str
    change: str
    trend: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two revisions side by side.

    Attributes:
        requirements: of both, where they are not the same.
    """

    rows: tuple[ComparedRow, ...]
    pictures: tuple[Picture, ...]
    requirements: str | None


def comparison(before: SheetSource, after: SheetSource, words: Language) -> Comparison:
    """Return two revisions of a link side by side."""
    asked = [requirement(source.verdict, words) for source in (before, after)]
    told = words.say("office.compared_other", before=asked[0], after=asked[1])
    return Comparison(
        rows=tuple(_rows(before.verdict, after.verdict, words)),
        pictures=tuple(_pictures(before, after, words)),
        requirements=None if asked[0] == asked[1] else told,
    )


def _keyed(verdict: Document) -> dict[tuple[str, str | None], Document]:
    return {(result["parameter"], result["end"]): result for result in verdict["parameters"]}


def _rows(before: Document, after: Document, words: Language) -> Iterable[ComparedRow]:
    first, second = _keyed(before), _keyed(after)
    for key in {**first, **second}:
        results = first.get(key), second.get(key)
        unit = next(result["unit"] for result in results if result)
        margins = [_margin(result, unit, words) for result in results]
        change = None if None in margins else round(margins[1] - margins[0], 2)  # type: ignore[operator]
        parameter, end = key
        yield ComparedRow(
            parameter=words.say(f"parameter.{parameter}"),
            end=words.say(f"picture.{end}") if end else saying.NONE,
            before=_amount(margins[0], unit, words),
            before_outcome=_outcome(results[0], words),
            after=_amount(margins[1], unit, words),
            after_outcome=_outcome(results[1], words),
            change=saying.NONE if change is None else _amount(change, unit, words),
            trend="" if change is None else "better" if change > 0 else "worse" if change < 0 else "alike",
        )


def _margin(result: Document | None, unit: str, words: Language) -> float | None:
    point = result["worst_margin"] if result else None
    value = None if point is None else point[f"margin_{unit}"]
    if value is None:
        return None
    return float(value) * (FEET_PER_METRE if unit == "m" and words.length_unit is LengthUnit.FEET else 1.0)


_UNITS: Mapping[str, str] = {"db": "dB", "ns": "ns", "ohm": "Ω"}


def _amount(value: float | None, unit: str, words: Language) -> str:
    if value is None:
        return saying.NONE
    sign = "+" if value > 0 else ""
    return f"{sign}{words.short(value)} {_UNITS.get(unit, words.length_unit.value)}"


def _outcome(result: Document | None, words: Language) -> str:
    return "" if result is None else words.say(f"outcome.{result['outcome'] or 'shown'}").lower()


def _pictures(before: SheetSource, after: SheetSource, words: Language) -> Iterable[Picture]:
    judged = dict.fromkeys(
        result["parameter"]
        for source in (before, after)
        for result in source.verdict["parameters"]
        if result["outcome"] and result["worst_margin"] and result["unit"] == "db"
    )
    for parameter in judged:
        first, second = _drawn(before, parameter), _drawn(after, parameter)
        if first[0] or second[0]:
            yield compared_picture(parameter, first, second, words)


def _drawn(source: SheetSource, parameter: str) -> tuple[list[MarginCurve], Point | None]:
    curves = [curve for curve in source.curves if curve.parameter == parameter]
    points = [
        result["worst_margin"]
        for result in source.verdict["parameters"]
        if result["parameter"] == parameter and result["worst_margin"] and result["unit"] == "db"
    ]
    return curves, min(points, key=lambda point: point["margin_db"], default=None)
