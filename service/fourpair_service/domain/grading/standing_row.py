"""One row of a verdict document, held against the points of its parameter and end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from operator import itemgetter
from typing import Any, Final

from fourpair_service.domain.grading.standing_rows import GroupPoints
from fourpair_service.domain.grading.swept import Question, provenance
from fourpair_service.domain.limits import Status
from fourpair_service.domain.measurement import AccuracyCurve
from fourpair_service.domain.verdict import Outcome, ParameterResult, Point, point_outcome, worst
from fourpair_service.domain.verdict_document import WORDS

VerdictDocument = Mapping[str, Any]

NUMBERS: Final = itemgetter("margin_db", "measured_db", "limit_db", "frequency_mhz")
NAMES: Final = itemgetter("pairs", "end")
POINT: Final = frozenset({"margin_db", "measured_db", "limit_db", "frequency_mhz", "pairs", "end", "outcome"})
# All that a verdict says of a swept parameter and is held against here.
ROW: Final = WORDS | {
    "parameter", "unit", "end", "status", "outcome", "worst_margin", "worst_value", "by_pair",
    "points_judged", "excused", "incomplete_because", "accuracy", "basis",
}  # fmt: skip


def shown_result(
    own: GroupPoints, number: int, question: Question, row: VerdictDocument
) -> ParameterResult | None:
    """Return the result of a parameter and end, ``None`` where its row says something else.

    The numbers of its points are compared for all rows at once.
    """
    group, by_pair = own.group, row["by_pair"]
    margins, nearest = own.margins[number], own.nearest_row[number]
    status, accuracy = question.status(group.parameter), question.accuracy.get(group.parameter)
    assert not isinstance(accuracy, AccuracyCurve)
    outcomes = _outcomes(margins, margins[nearest], accuracy or 0.0)
    outcome = None if status is Status.INFORMATION else worst(outcomes)
    end = None if group.end is None else group.end.value
    frequency_mhz = float(own.points[number, nearest, 3])
    curve = question.rule_set.curve_limits[(question.category.name, question.configuration, group.parameter)]
    basis = provenance(curve, frequency_mhz)[0]
    largest = row["worst_value"]
    expected: tuple[Any, ...] = (
        group.parameter, "db", end, status, outcome, own.judged[number], _excuse(own, number), [], accuracy, basis,
        own.names, (group.names[own.largest_row[number]], end), outcomes,
    )  # fmt: skip
    shown = (
        row["parameter"], row["unit"], row["end"], row["status"], row["outcome"], row["points_judged"],
        row["excused"], row["incomplete_because"], row["accuracy"], row["basis"],
        list(map(NAMES, by_pair)), NAMES(largest), [point["outcome"] for point in by_pair],
    )  # fmt: skip
    if expected != shown or row.keys() != ROW or row["worst_margin"] != by_pair[nearest]:
        return None
    if row["worst_margin"].keys() != POINT or largest.keys() != POINT - {"outcome"}:
        return None
    point = Point(margins[nearest], 0.0, None, frequency_mhz, group.names[nearest], group.end)
    return ParameterResult(group.parameter, group.end, status, outcome, worst_margin=point, basis=basis)


def _outcomes(margins: Sequence[float], smallest: float, accuracy: float) -> list[Outcome]:
    if smallest >= accuracy:
        return [Outcome.PASS] * len(margins)
    return [point_outcome(margin, accuracy) for margin in margins]


def _excuse(own: GroupPoints, number: int) -> dict[str, Any] | None:
    if own.rule is None or not own.excused[number]:
        return None
    rule, text, source = own.rule
    return {"rule": rule, "text": text, "points": own.excused[number], "source": source}
