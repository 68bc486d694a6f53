"""Rule sets and limits, described for the OpenAPI document and held against it in tests."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from marshmallow import RAISE, Schema, ValidationError, fields, validate

from fourpair_service.domain.curves import DIFFERENCE, FORMS
from fourpair_service.domain.limits import Basis, Status
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.parameters import TRAITS, Parameter, Sense
from fourpair_service.http.schemas.fields import Choice, Text
from fourpair_service.http.schemas.strict import StrictSchema

FORMATS: Final = ("json", "csv", "svg")
UNITS: Final = ("db", "ns", "m", "ohm")
HIGHEST_MHZ: Final = 100_000.0
MOST_FREQUENCIES: Final = 5_000
# Plain digits: what Python takes beyond them (underscores, nan) is no number in a query.
_NUMBER: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)


class _Answer(Schema):
    class Meta:
        """Nothing undescribed is answered."""

        unknown = RAISE


def _word(words: Any, **arguments: Any) -> fields.String:
    allowed: list[str | None] = [str(word) for word in words]
    if arguments.get("allow_none"):
        allowed.append(None)
    return fields.String(validate=validate.OneOf(allowed), required=True, **arguments)


def _text(**arguments: Any) -> fields.String:
    return fields.String(required=True, **arguments)


def _number(**arguments: Any) -> fields.Float:
    return fields.Float(required=True, **arguments)


class Frequencies(fields.Field[tuple[float, ...]]):
    """Frequencies as text: a parameter that stands several times, or with commas between them."""

    is_multiple = True

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> tuple[float, ...]:
        given = [value] if isinstance(value, str) else value
        words = [word.strip() for text in given for word in text.split(",")]
        if len(words) > MOST_FREQUENCIES:
            raise ValidationError(f"Ask for at most {MOST_FREQUENCIES} frequencies, not {len(words)}.")
        return tuple(_frequency(word) for word in words)

    def json_schema(self) -> dict[str, object]:
        """Return what the OpenAPI description says of the parameter."""
        item = {"type": "number", "exclusiveMinimum": 0, "maximum": HIGHEST_MHZ}
        return {"type": "array", "items": item, "minItems": 1, "maxItems": MOST_FREQUENCIES}


def _frequency(word: str) -> float:
    if not _NUMBER.fullmatch(word):
        raise ValidationError(f"{word[:40]!r} is no frequency; give numbers in MHz, such as 100.")
    found = float(word)
    if not 0 < found <= HIGHEST_MHZ:
        hint = f" Is it in Hz? Then write {found / 1e6:g}." if found > HIGHEST_MHZ else ""
        raise ValidationError(
            f"{word[:40]} MHz is no frequency of a limit; give numbers above 0, up to {HIGHEST_MHZ:g}.{hint}"
        )
    return found


class LimitQuery(StrictSchema):
    """Which limit, where, and in what form."""

    category = Text(
        required=True,
        metadata={"description": "category or class"},
    )
    configuration = Choice(Configuration, required=True)
    parameter = Choice(Parameter, required=True)
    frequency_mhz = Frequencies(
        metadata={
            "description": "where; several times or with commas between them. Without any: where printed "
            "tables usually give values, and the edges of the limit's segments"
        },
    )
    format = Choice(FORMATS, metadata={"description": "goes before the Accept header"})


class PlainQuery(StrictSchema):
    """No query parameters."""


class BasisCountSchema(_Answer):
    """How many segments of curves and single values rest on what."""

    published = fields.Integer(required=True)
    cross_checked = fields.Integer(required=True)
    memory = fields.Integer(required=True)


class CategorySummarySchema(_Answer):
    """A category or class, its range, and what has limits."""

    name = _text()
    title = _text()
    from_mhz = _number()
    to_mhz = _number()
    configurations = fields.List(_word(Configuration), required=True)
    missing = _text(allow_none=True, metadata={"description": "why it has no limits"})


class RuleSetSummarySchema(_Answer):
    """A rule set in short."""

    id = _text()
    standard = _text()
    title = _text()
    digest = _text(metadata={"description": "sha256: and the digest of the edition file"})
    supersedes = _text(allow_none=True)
    superseded_by = _text(allow_none=True)
    gradable = fields.Boolean(required=True)
    origin = _word(("built_in", "own"))
    basis = fields.Nested(BasisCountSchema, required=True)
    categories = fields.List(fields.Nested(CategorySummarySchema), required=True)


class KnownByNameSchema(_Answer):
    """A standard, category or class that has no limits here."""

    name = _text()
    rule_set = _text(allow_none=True)
    category = _text(allow_none=True)
    advice = _text()


class RuleSetListSchema(_Answer):
    """Every rule set in short."""

    rule_sets = fields.List(fields.Nested(RuleSetSummarySchema), required=True)
    known_by_name = fields.List(fields.Nested(KnownByNameSchema), required=True)


class LimitBasisSchema(_Answer):
    """For which configuration there is a limit, and its weakest basis."""

    configuration = _word(Configuration)
    basis = _word(Basis)


class RuledParameterSchema(_Answer):
    """What a category does with a parameter."""

    parameter = _word(Parameter)
    title = _text()
    unit = _word((*UNITS,), allow_none=True)
    status = _word(Status)
    limits = fields.List(fields.Nested(LimitBasisSchema), required=True)


class SwitchSchema(_Answer):
    """A rule of evaluation; a threshold of null: the edition has no such rule."""

    switch = _text()
    meaning = _text()
    threshold_db = fields.Float(allow_none=True)
    threshold_mhz = fields.Float(allow_none=True)
    source = _text()
    basis = _word(Basis)


class AcrFReferenceSchema(_Answer):
    """Whose insertion loss ACR-F refers to."""

    pair = _word(("disturbed", "disturbing"))
    source = _text()


class ShortLinkReliefSchema(_Answer):
    """A relief of NEXT for links of little loss."""

    meaning = _text()
    from_mhz = _number()
    slope_db = _number()
    per_mhz = _number()
    loss_at_mhz = _number()
    loss_below_db = _number()
    source = _text()
    basis = _word(Basis)


class CoverageStepSchema(_Answer):
    """The coarsest step of frequency up to a frequency."""

    up_to_mhz = _number()
    step_mhz = _number()


class CoverageSchema(_Answer):
    """How densely a sweep must be measured."""

    source = _text()
    steps = fields.List(fields.Nested(CoverageStepSchema), required=True)


class RulesSchema(_Answer):
    """The switches of an edition for one category or class."""

    switches = fields.List(fields.Nested(SwitchSchema), required=True)
    acr_f_loss_of = fields.Nested(AcrFReferenceSchema, required=True)
    short_link_relief = fields.Nested(ShortLinkReliefSchema, required=True, allow_none=True)
    coverage = fields.Nested(CoverageSchema, required=True)


class CategoryDetailSchema(CategorySummarySchema):
    """A category or class with what it requires, judges and shows."""

    parameters = fields.List(fields.Nested(RuledParameterSchema), required=True)
    rules = fields.Nested(RulesSchema, required=True)


class RuleSetSchema(RuleSetSummarySchema):
    """A rule set with its switches and what each category does with each parameter."""

    notes = fields.List(fields.String(), required=True)
    categories = fields.List(fields.Nested(CategoryDetailSchema), required=True)


class LimitRuleSetSchema(_Answer):
    """Which rule set."""

    id = _text()
    title = _text()
    digest = _text()


class SingleValueSchema(_Answer):
    """How a single-value limit is made up."""

    nominal = _number()
    allowance_percent = _number()
    or_percent_of_sum = _number(
        allow_none=True,
        metadata={"description": "of the sum of the two resistances compared, where that is more"},
    )


LimitRowSchema = _Answer.from_dict(
    {
        "frequency_mhz": _number(allow_none=True, metadata={"description": "null for a single value"}),
        **{
            f"limit_{unit}": fields.Float(
                allow_none=True, metadata={"description": f"in {unit}; null: there is none here"}
            )
            for unit in UNITS
        },
        "form": _word((*FORMS, DIFFERENCE, "single_value")),
        "status": _word(Status, allow_none=True),
        "basis": _word(Basis),
        "clause": _text(allow_none=True),
        "source": _text(),
        "note": _text(allow_none=True),
        "confirmed_by": _text(allow_none=True),
        "confirmed_on": _text(allow_none=True),
    },
    name="LimitRow",
)


class LimitTableSchema(_Answer):
    """A limit at frequencies, each value with where it comes from."""

    rule_set = fields.Nested(LimitRuleSetSchema, required=True)
    category = _text()
    category_title = _text()
    configuration = _word(Configuration)
    parameter = _word(Parameter)
    title = _text()
    unit = _word(sorted({traits.unit for traits in TRAITS.values() if traits.unit}))
    inside = _word(Sense)
    status = _word(Status, allow_none=True)
    basis = _word(Basis)
    provisional = fields.Boolean(required=True)
    single_value = fields.Nested(SingleValueSchema, required=True, allow_none=True)
    rows = fields.List(fields.Nested(LimitRowSchema), required=True)
