"""Query parameters: text that must be exactly a number, a word or a moment."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from marshmallow import ValidationError, fields

from fourpair_service.domain.verdict import Outcome
from fourpair_service.http.assessment import Detail
from fourpair_service.http.schemas.fields import Choice, Moment, Text
from fourpair_service.http.schemas.strict import StrictSchema
from fourpair_service.records.search import Field, GroupBy

DEFAULT_PAGE: Final = 100
LARGEST_PAGE: Final = 1000
LONGEST_WAIT_S: Final = 30
# What SQLite and JSON both hold exactly.
LARGEST_SEQ: Final = 2**53
_WHOLE: Final = re.compile(r"\d{1,16}", re.ASCII)
_NUMBER: Final = re.compile(r"[+-]?\d{1,6}(\.\d{1,6})?", re.ASCII)


class WholeNumber(fields.Integer):
    """A whole number in plain digits; above ``high`` it counts as ``high`` where ``coerced``."""

    def __init__(self, *, low: int, high: int, coerced: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.low, self.high, self.coerced = low, high, coerced

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> int:
        found = int(value) if isinstance(value, str) and _WHOLE.fullmatch(value) else -1
        if found > self.high and self.coerced:
            return self.high
        if not self.low <= found <= self.high:
            raise ValidationError(f"Expected a whole number from {self.low} to {self.high} in plain digits.")
        return found

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description adds to ``integer``."""
        return {"minimum": self.low, **({} if self.coerced else {"maximum": self.high})}


class PlainNumber(fields.Float):
    """A number in plain digits, in a range with both ends included.

    Args:
        unit: as it follows "a number of" in a sentence.
        example: of such a number.
    """

    def __init__(self, *, low: float, high: float, unit: str, example: str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.low, self.high, self.unit, self.example = low, high, unit, example

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> float:
        is_number = isinstance(value, str) and _NUMBER.fullmatch(value)
        if not is_number or not self.low <= float(value) <= self.high:
            raise ValidationError(
                f"Expected a number of {self.unit} from {self.low:g} to {self.high:g} in plain digits, "
                f"such as {self.example}."
            )
        return float(value)

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description adds to ``number``."""
        return {"minimum": self.low, "maximum": self.high}


class Decibels(PlainNumber):
    """A margin as plain digits. [dB]."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(low=-1000, high=1000, unit="dB", example="-0.5", **kwargs)


class YesNo(fields.Boolean):
    """``true`` or ``false``, in these words."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> bool:
        if value not in ("true", "false"):
            raise ValidationError("Expected true or false.")
        return bool(value == "true")


class Words(fields.Field[frozenset[str]]):
    """One or several of some words, with commas between them."""

    def __init__(self, words: Any, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.words = tuple(str(word) for word in words)

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> frozenset[str]:
        found = frozenset(str(value).split(","))
        if not found <= set(self.words):
            raise ValidationError(f"Expected one or several of {', '.join(self.words)}, with commas between.")
        return found

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description says of the parameter."""
        any_word = "|".join(self.words)
        return {"type": "string", "pattern": f"^({any_word})(,({any_word}))*$"}


class OneText(Text):
    """Text of a query."""


def _page_size() -> WholeNumber:
    return WholeNumber(
        low=1,
        high=LARGEST_PAGE,
        coerced=True,
        load_default=DEFAULT_PAGE,
        metadata={"description": "entries a page"},
    )


class NothingAsked(StrictSchema):
    """No parameters."""


class WriteQuery(StrictSchema):
    """How a write is to be done."""

    dry_run = YesNo(load_default=False, metadata={"description": "check and answer as always, keep nothing"})


class GradedWriteQuery(WriteQuery):
    """How a write with a measurement is to be done."""

    assessment = Choice(
        (Detail.NONE, Detail.FAULTS, Detail.ALL),
        metadata={
            "description": "how much to keep beside the verdict; what the link supports is kept by name in any case, so that it is found by application and power type"
        },
    )


class RetestQuery(GradedWriteQuery):
    """How a retest is to be kept."""

    reason = OneText()


class CorrectionQuery(WriteQuery):
    """How a correction is to be kept."""

    reason = OneText(required=True)


class BatchQuery(GradedWriteQuery):
    """How a batch is to be kept."""

    mode = Choice(
        ("atomic", "partial"),
        load_default="partial",
        metadata={"description": "all or nothing, or what can be kept"},
    )


class CursorQuery(StrictSchema):
    """A page of a list."""

    cursor = OneText(metadata={"description": "as next_cursor gave it"})
    limit = _page_size()


class RecordsQuery(CursorQuery):
    """Which records, in which order."""

    job = OneText()
    label_prefix = OneText()
    outcome = Words(Outcome)
    category = OneText(metadata={"description": "the category or class that was asked"})
    category_met = OneText()
    margin_min_db = Decibels()
    margin_max_db = Decibels()
    tested_by = OneText()
    tested_from = Moment()
    tested_to = Moment()
    changed_from = Moment()
    changed_to = Moment()
    external_system = OneText()
    external_id = OneText()
    application = OneText(metadata={"description": "one that the link supports"})
    power_type = OneText(metadata={"description": "one that the link supports"})
    fault = OneText(metadata={"description": "what fails, such as next:near, or next at either end"})
    rule_set = OneText()
    provisional = YesNo()
    withdrawn = Choice(("no", "only", "also"), load_default="no")
    sort = Choice(
        tuple(f"{way}{field.value}" for field in Field for way in ("", "-")),
        load_default=Field.CREATED.value,
        metadata={"description": "a minus turns it round; labels follow as people sort them, A2 before A10"},
    )


class StatsQuery(StrictSchema):
    """Which records, grouped by what."""

    by = Words(GroupBy, required=True)
    job = OneText()
    tested_from = Moment()
    tested_to = Moment()


class AsOfQuery(StrictSchema):
    """Of which moment of the feed."""

    as_of = WholeNumber(low=0, high=LARGEST_SEQ, metadata={"description": "a seq of the change feed"})


class MeasurementQuery(AsOfQuery):
    """In which form."""

    format = Choice(("json", "csv"), metadata={"description": "goes before the Accept header"})


class FormatQuery(StrictSchema):
    """In which form."""

    format = Choice(("json", "csv"), metadata={"description": "goes before the Accept header"})


class ChangesQuery(StrictSchema):
    """Which part of the change feed."""

    after = WholeNumber(low=0, high=LARGEST_SEQ, load_default=0)
    limit = _page_size()
    wait = WholeNumber(
        low=0,
        high=LONGEST_WAIT_S,
        coerced=True,
        load_default=0,
        metadata={"description": "how many seconds to wait where there is nothing yet"},
    )
    job = OneText()


class BillingQuery(StrictSchema):
    """Which period of the feed."""

    since = WholeNumber(low=0, high=LARGEST_SEQ, load_default=0)
    until = WholeNumber(low=0, high=LARGEST_SEQ)


class FaultsQuery(StrictSchema):
    """Which faults."""

    state = Choice(("open", "all"), load_default="open")


class AttachmentQuery(WriteQuery):
    """What an attachment is called."""

    name = OneText(required=True)
