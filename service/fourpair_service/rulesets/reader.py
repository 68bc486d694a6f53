"""From the bytes of an edition file to a rule set, refusing whatever is not clear.

Every message names file, line and key. The line is found by the text of the
entry, since TOML readers keep no places.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from itertools import pairwise
from typing import Any, Final, NoReturn

from fourpair_service.domain.curves import DIFFERENCE, FORMS
from fourpair_service.domain.limits import (
    Basis,
    Category,
    CheckPoint,
    CoverageStep,
    CurveLimit,
    EvaluationRules,
    LimitKey,
    ReadingLimit,
    Rule,
    RuleSet,
    Segment,
    ShortLinkRelief,
    Status,
)
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.rulesets.errors import InvalidRuleSetError

Table = Mapping[str, Any]

TOP_KEYS: Final = {
    "id", "standard", "title", "extends", "supersedes", "gradable", "notes", "confirmed_by", "confirmed_on",
    "rules", "rules_of", "category", "limit", "reading_limit", "reference",
}  # fmt: skip
CATEGORY_KEYS: Final = {
    "name", "title", "from_mhz", "to_mhz", "missing",
    "required", "judged_if_present", "information", "statuses_source",
}  # fmt: skip
LIMIT_KEYS: Final = {"parameter", "category", "configurations", "segment"}
SEGMENT_KEYS: Final = {
    "from_mhz", "to_mhz", "form", "coefficients", "cap", "cap_rule", "source", "basis", "clause", "note",
    "check_points", "confirmed_by", "confirmed_on",
}  # fmt: skip
READING_KEYS: Final = {
    "parameter", "categories", "configurations", "value", "percent", "allowance_percent",
    "source", "basis", "clause", "note", "confirmed_by", "confirmed_on",
}  # fmt: skip
RULE_NAMES: Final = (
    "return_loss_below_loss_db",
    "next_below_loss_db",
    "acr_f_above_fext_db",
    "ps_acr_f_above_ps_fext_db",
    "delay_at_mhz",
)
RULES_KEYS: Final = {*RULE_NAMES, "acr_f_loss_of", "coverage", "coverage_source", "short_link_relief"}
CAP_RULES: Final = ("ceiling", "floor")
LOSS_OF: Final = ("disturbed", "disturbing")
STATUS_KEYS: Final = {
    "required": Status.REQUIRED,
    "judged_if_present": Status.JUDGED_IF_PRESENT,
    "information": Status.INFORMATION,
}


@dataclass(frozen=True, slots=True)
class _File:
    """The text that is being read, for its messages."""

    name: str
    text: str

    def refuse(self, key: str, detail: str, near: str = "") -> NoReturn:
        raise InvalidRuleSetError(self.name, self._line(near or key), key, detail)

    def _line(self, near: str) -> int:
        lines = self.text.splitlines()
        return next((i for i, line in enumerate(lines, start=1) if near in line), 0)

    def known(self, table: Table, keys: set[str], where: str) -> None:
        for key in table:
            if key not in keys:
                self.refuse(f"{where}.{key}", f"unknown key; known are {', '.join(sorted(keys))}", key)

    def text_of(self, table: Table, key: str, where: str) -> str:
        value = table.get(key)
        if not isinstance(value, str) or not value:
            self.refuse(f"{where}.{key}", f"a text is needed here, not {value!r}", key)
        return value

    def number_of(self, table: Table, key: str, where: str) -> float:
        value = table.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e9:
            self.refuse(f"{where}.{key}", f"a number is needed here, not {value!r}", key)
        return float(value)

    def optional_number(self, table: Table, key: str, where: str) -> float | None:
        return self.number_of(table, key, where) if key in table else None

    def list_of(self, table: Table, key: str, where: str) -> list[Any]:
        value = table.get(key, [])
        if not isinstance(value, list):
            self.refuse(f"{where}.{key}", f"a list is needed here, not {value!r}", key)
        return value

    def table_of(self, table: Table, key: str, where: str) -> Table:
        value = table.get(key)
        if not isinstance(value, dict):
            self.refuse(f"{where}.{key}", f"a table is needed here, not {value!r}", key)
        return value

    def one_of(self, value: object, allowed: tuple[str, ...], key: str) -> str:
        if value not in allowed:
            self.refuse(key, f"{value!r} is not one of {', '.join(allowed)}", str(value))
        return str(value)

    def basis_of(self, table: Table, where: str) -> Basis:
        basis = Basis(self.one_of(table.get("basis"), tuple(Basis), f"{where}.basis"))
        by, on = table.get("confirmed_by"), table.get("confirmed_on")
        if (by is None) != (on is None):
            self.refuse(
                f"{where}.confirmed_by", "confirmed_by and confirmed_on belong together", "confirmed_"
            )
        return Basis.PUBLISHED if by is not None else basis


def read_rule_set(name: str, content: bytes, extended: Mapping[str, RuleSet] | None = None) -> RuleSet:
    """Return the rule set of one edition file.

    Args:
        name: of the file, for messages.
        content: its bytes; the digest is taken of them.
        extended: rule sets by id that ``extends`` may name. What the file gives
            replaces the entry of the extended one with the same place.

    Raises:
        InvalidRuleSetError: with file, line and key.
    """
    file, data = _parsed(name, content)
    file.known(data, TOP_KEYS, "file")
    base = _extended(file, data, extended or {})
    rules, overrides = _rules(file, data, base)
    categories = dict(base.categories) if base else {}
    categories |= _categories(file, data, rules, overrides)
    confirmation = {key: data[key] for key in ("confirmed_by", "confirmed_on") if key in data}
    file.basis_of({"basis": "memory", **confirmation}, "file")
    curves = _linked(
        file, _curves(file, data, "limit", confirmation), categories, base.curve_limits if base else {}
    )
    readings = dict(base.reading_limits) if base else {}
    readings |= _readings(file, data, categories, confirmation)
    references = dict(base.references) if base else {}
    references |= _curves(file, data, "reference", confirmation)
    if base and confirmation:
        curves, readings = _confirmed(curves, confirmation), _confirmed_readings(readings, confirmation)
    return RuleSet(
        id=file.text_of(data, "id", "file"),
        standard=data.get("standard") or (base.standard if base else file.text_of(data, "standard", "file")),
        title=data.get("title") or (base.title if base else file.text_of(data, "title", "file")),
        digest=f"sha256:{sha256(content).hexdigest()}",
        categories=categories,
        curve_limits=curves,
        reading_limits=readings,
        references=references,
        supersedes=data.get("supersedes", base.id if base else None),
        gradable=bool(data.get("gradable", True)),
        notes=tuple(str(note) for note in file.list_of(data, "notes", "file")),
    )


def _parsed(name: str, content: bytes) -> tuple[_File, Table]:
    try:
        text = content.decode()
        return _File(name, text), tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise InvalidRuleSetError(name, 0, "file", f"not UTF-8 text: {error.reason}") from error
    except tomllib.TOMLDecodeError as error:
        found = str(error)
        line = int(found.rpartition("line ")[2].partition(",")[0]) if "at line " in found else 0
        raise InvalidRuleSetError(name, line, "file", f"not valid TOML: {found}") from error


def _extended(file: _File, data: Table, extended: Mapping[str, RuleSet]) -> RuleSet | None:
    if "extends" not in data:
        return None
    name = file.text_of(data, "extends", "file")
    if name not in extended:
        file.refuse(
            "file.extends", f"no rule set {name!r} to extend; known are {', '.join(extended)}", "extends"
        )
    return extended[name]


def _rule(file: _File, table: Table, key: str) -> Rule:
    entry = file.table_of(table, key, "rules")
    file.known(entry, {"value", "source", "basis"}, f"rules.{key}")
    return Rule(
        file.optional_number(entry, "value", f"rules.{key}"),
        file.text_of(entry, "source", f"rules.{key}"),
        file.basis_of(entry, f"rules.{key}"),
    )


def _relief(file: _File, table: Table) -> ShortLinkRelief:
    entry = file.table_of(table, "short_link_relief", "rules")
    where = "rules.short_link_relief"
    numbers = ("from_mhz", "slope_db", "per_mhz", "loss_at_mhz", "loss_below_db")
    file.known(entry, {*numbers, "source", "basis"}, where)
    values = {key: file.number_of(entry, key, where) for key in numbers}
    return ShortLinkRelief(
        **values, source=file.text_of(entry, "source", where), basis=file.basis_of(entry, where)
    )


def _coverage(file: _File, table: Table) -> tuple[CoverageStep, ...]:
    steps = tuple(
        CoverageStep(file.number_of(s, "up_to_mhz", "coverage"), file.number_of(s, "step_mhz", "coverage"))
        for s in file.list_of(table, "coverage", "rules")
    )
    tops = [step.up_to_mhz for step in steps]
    if not steps or tops != sorted(set(tops)):
        file.refuse("rules.coverage", "steps are needed, in order of frequency", "coverage")
    return steps


def _evaluation_rules(file: _File, table: Table) -> EvaluationRules:
    file.known(table, RULES_KEYS, "rules")
    loss_of = file.table_of(table, "acr_f_loss_of", "rules")
    return EvaluationRules(
        **{name: _rule(file, table, name) for name in RULE_NAMES},
        acr_f_loss_of=file.one_of(loss_of.get("pair"), LOSS_OF, "rules.acr_f_loss_of.pair"),
        acr_f_loss_of_source=file.text_of(loss_of, "source", "rules.acr_f_loss_of"),
        coverage=_coverage(file, table),
        coverage_source=file.text_of(table, "coverage_source", "rules"),
        short_link_relief=_relief(file, table) if "short_link_relief" in table else None,
    )


def _rules(
    file: _File, data: Table, base: RuleSet | None
) -> tuple[Table | None, Mapping[str, EvaluationRules]]:
    """Return the file's own rules table, and the rules of each category that has its own."""
    if "rules" not in data:
        if base is None:
            file.refuse("file.rules", "the switches of the edition are missing", "id")
        return None, {name: category.rules for name, category in base.categories.items()}
    common = file.table_of(data, "rules", "file")
    own = data.get("rules_of", {})
    return common, {name: _evaluation_rules(file, {**common, **table}) for name, table in own.items()}


def _statuses(file: _File, table: Table, where: str) -> dict[Parameter, Status]:
    statuses: dict[Parameter, Status] = {}
    for key, status in STATUS_KEYS.items():
        for name in file.list_of(table, key, where):
            parameter = Parameter(file.one_of(name, tuple(Parameter), f"{where}.{key}"))
            if parameter in statuses:
                file.refuse(f"{where}.{key}", f"{name} stands there twice", name)
            statuses[parameter] = status
    return statuses


def _categories(
    file: _File, data: Table, common: Table | None, overrides: Mapping[str, EvaluationRules]
) -> dict[str, Category]:
    shared = _evaluation_rules(file, common) if common is not None else None
    found: dict[str, Category] = {}
    for table in file.list_of(data, "category", "file"):
        name = file.text_of(table, "name", "category")
        where = f"category {name}"
        file.known(table, CATEGORY_KEYS, where)
        rules = overrides.get(name, shared)
        if name in found or rules is None:
            file.refuse(where, "stands there twice" if name in found else "has no rules", f'name = "{name}"')
        low, high = file.number_of(table, "from_mhz", where), file.number_of(table, "to_mhz", where)
        if not 0 < low < high:
            file.refuse(where, f"the range {low:g} to {high:g} MHz does not increase", f'name = "{name}"')
        found[name] = Category(
            name,
            file.text_of(table, "title", where),
            low,
            high,
            _statuses(file, table, where),
            rules,
            table.get("missing"),
        )
    return found


def _coefficients(file: _File, table: Table, where: str) -> Mapping[str, object]:
    form, values = file.text_of(table, "form", where), file.table_of(table, "coefficients", where)
    file.one_of(form, (*FORMS, DIFFERENCE), f"{where}.form")
    shape = FORMS.get(form)
    required = ("minuend", "subtrahend") if shape is None else shape.required
    optional = () if shape is None else shape.optional
    file.known(values, {*required, *optional}, f"{where}.coefficients")
    for key in required:
        if key not in values:
            file.refuse(f"{where}.coefficients", f"{form} needs {key}", form)
    for key, value in values.items():
        if isinstance(value, list):
            _terms(file, value, f"{where}.coefficients.{key}")
        elif form != DIFFERENCE:
            file.number_of(values, key, f"{where}.coefficients")
    return values


def _terms(file: _File, terms: list[Any], where: str) -> None:
    for term in terms:
        file.known(term, {"count", "at_reference", "per_decade", "reference_mhz"}, where)
        for key in ("at_reference", "per_decade", "reference_mhz"):
            file.number_of(term, key, where)


def _segment(file: _File, table: Table, where: str, confirmation: Table) -> Segment:
    file.known(table, SEGMENT_KEYS, where)
    table = {**confirmation, **table}
    cap = file.optional_number(table, "cap", where)
    rule = table.get("cap_rule")
    if (cap is None) != (rule is None):
        file.refuse(where, "cap and cap_rule belong together", "cap")
    if rule is not None:
        file.one_of(rule, CAP_RULES, f"{where}.cap_rule")
    low, high = file.number_of(table, "from_mhz", where), file.number_of(table, "to_mhz", where)
    if not 0 < low <= high:
        file.refuse(where, f"the segment {low:g} to {high:g} MHz runs backwards", "from_mhz")
    return Segment(
        low,
        high,
        str(table.get("form")),
        _coefficients(file, table, where),
        file.text_of(table, "source", where),
        file.basis_of(table, where),
        table.get("clause"),
        cap,
        rule,
        table.get("note"),
        tuple(
            CheckPoint(
                file.number_of(p, "frequency_mhz", where),
                file.number_of(p, "value", where),
                file.text_of(p, "source", where),
            )
            for p in file.list_of(table, "check_points", where)
        ),
        table.get("confirmed_by"),
        table.get("confirmed_on"),
    )


def _segments(file: _File, table: Table, where: str, confirmation: Table) -> tuple[Segment, ...]:
    tables = file.list_of(table, "segment", where)
    segments = tuple(_segment(file, s, where, confirmation) for s in tables)
    if not segments:
        file.refuse(where, "a limit needs at least one segment", "segment")
    for below, above in pairwise(segments):
        if below.to_mhz != above.from_mhz:
            detail = (
                f"the segments leave a gap or overlap between {below.to_mhz:g} and {above.from_mhz:g} MHz"
            )
            file.refuse(where, detail, f"from_mhz = {above.from_mhz:g}")
    return segments


def _curves(file: _File, data: Table, kind: str, confirmation: Table) -> dict[LimitKey, CurveLimit]:
    found: dict[LimitKey, CurveLimit] = {}
    for table in file.list_of(data, kind, "file"):
        name, category = (file.text_of(table, key, kind) for key in ("parameter", "category"))
        where = f"{kind} {category} {name}"
        file.known(table, LIMIT_KEYS, where)
        parameter = _swept(file, name, where) if kind == "limit" else _reference(name)
        segments = _segments(file, table, where, confirmation)
        for configuration in file.list_of(table, "configurations", where):
            if kind == "limit":
                file.one_of(configuration, tuple(Configuration), f"{where}.configurations")
            key = (category, str(configuration), name)
            if key in found:
                file.refuse(
                    where, f"the limit for {configuration} stands there twice", f'parameter = "{name}"'
                )
            found[key] = CurveLimit(parameter, category, str(configuration), segments)
    return found


def _swept(file: _File, name: str, where: str) -> Parameter:
    swept = tuple(p.value for p in Parameter if TRAITS[p].is_swept or p is Parameter.PROPAGATION_DELAY)
    return Parameter(file.one_of(name, swept, f"{where}.parameter"))


def _reference(name: str) -> Parameter:
    # A component curve is named after the parameter it belongs to.
    return next(
        (p for p in sorted(Parameter, key=len, reverse=True) if name.startswith(p)), Parameter.INSERTION_LOSS
    )


def _linked(
    file: _File,
    own: dict[LimitKey, CurveLimit],
    categories: Mapping[str, Category],
    base: Mapping[LimitKey, CurveLimit],
) -> dict[LimitKey, CurveLimit]:
    """Return all limits, each difference joined to the limits it refers to."""
    curves = {**base, **own}
    for key, curve in curves.items():
        if curve.category not in categories:
            file.refuse(f"limit {curve.category}", "no such category in this file", f'"{curve.category}"')
        wanted = {
            str(s.coefficients[role])
            for s in curve.segments
            if s.form == DIFFERENCE
            for role in ("minuend", "subtrahend")
        }
        operands = {}
        for name in wanted:
            operand = curves.get((key[0], key[1], name))
            if operand is None:
                detail = f"the difference refers to {name}, which has no limit for {key[1]}"
                file.refuse(f"limit {key[0]} {key[2]}", detail, f'parameter = "{key[2]}"')
            operands[name] = operand
        if operands:
            curves[key] = replace(curve, operands=operands)
    return curves


def _readings(
    file: _File, data: Table, categories: Mapping[str, Category], confirmation: Table
) -> dict[LimitKey, ReadingLimit]:
    found: dict[LimitKey, ReadingLimit] = {}
    for table in file.list_of(data, "reading_limit", "file"):
        name = file.text_of(table, "parameter", "reading_limit")
        where = f"reading_limit {name}"
        file.known(table, READING_KEYS, where)
        parameter = Parameter(file.one_of(name, tuple(Parameter), f"{where}.parameter"))
        entry = {**confirmation, **table}
        for category in file.list_of(table, "categories", where):
            file.one_of(category, tuple(categories), f"{where}.categories")
            for configuration in file.list_of(table, "configurations", where):
                file.one_of(configuration, tuple(Configuration), f"{where}.configurations")
                key = (str(category), str(configuration), name)
                if key in found:
                    file.refuse(where, f"{category} {configuration} stands there twice", f'"{name}"')
                found[key] = ReadingLimit(
                    parameter,
                    str(category),
                    str(configuration),
                    file.number_of(entry, "value", where),
                    file.text_of(entry, "source", where),
                    file.basis_of(entry, where),
                    entry.get("clause"),
                    file.optional_number(entry, "percent", where),
                    file.optional_number(entry, "allowance_percent", where) or 0.0,
                    entry.get("note"),
                    entry.get("confirmed_by"),
                    entry.get("confirmed_on"),
                )
    return found


def _confirmed(curves: Mapping[LimitKey, CurveLimit], confirmation: Table) -> dict[LimitKey, CurveLimit]:
    return {
        key: replace(
            curve,
            segments=tuple(replace(s, basis=Basis.PUBLISHED, **confirmation) for s in curve.segments),
        )
        for key, curve in curves.items()
    }


def _confirmed_readings(
    readings: Mapping[LimitKey, ReadingLimit], confirmation: Table
) -> dict[LimitKey, ReadingLimit]:
    return {key: replace(r, basis=Basis.PUBLISHED, **confirmation) for key, r in readings.items()}
