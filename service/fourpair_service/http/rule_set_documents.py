"""Rule sets and their limits as JSON documents."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from fourpair_service.domain.limits import (
    Basis,
    Category,
    EvaluationRules,
    ReadingLimit,
    RuleSet,
    ShortLinkRelief,
    weakest,
)
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.rulesets.catalogue import Catalogue, KnownByName
from fourpair_service.rulesets.limit_table import (
    LimitRow,
    LimitTable,
    basis_counts,
    configurations_of,
    parameters_of,
)

Document = dict[str, Any]

# What each switch does, in a sentence that takes its threshold.
SWITCHES: Final[Mapping[str, tuple[str, str]]] = {
    "return_loss_below_loss_db": (
        "db",
        "Return loss is excused where the insertion loss of the same pair is below this.",
    ),
    "next_below_loss_db": (
        "db",
        "NEXT is excused where the insertion loss of both pairs is below this, its power sum and ACR-N where "
        "that of the disturbed pair is.",
    ),
    "acr_f_above_fext_db": ("db", "ACR-F is excused where FEXT is above this."),
    "ps_acr_f_above_ps_fext_db": ("db", "PS ACR-F is excused where the power sum of FEXT is above this."),
    "delay_at_mhz": ("mhz", "Delay is judged at this frequency; without one, where it was measured."),
}


def list_document(catalogue: Catalogue) -> Document:
    """Return every rule set in short, and what is known by name alone."""
    return {
        "rule_sets": [summary_document(catalogue, rule_set) for rule_set in catalogue],
        "known_by_name": [_known(known) for known in catalogue.known_by_name()],
    }


def summary_document(catalogue: Catalogue, rule_set: RuleSet) -> Document:
    """Return a rule set in short."""
    return {
        "id": rule_set.id,
        "standard": rule_set.standard,
        "title": rule_set.title,
        "digest": rule_set.digest,
        "supersedes": rule_set.supersedes,
        "superseded_by": catalogue.superseded_by(rule_set),
        "gradable": rule_set.gradable,
        "origin": "built_in" if catalogue.is_built_in(rule_set) else "own",
        "basis": {basis.value: count for basis, count in basis_counts(rule_set).items()},
        "categories": [_category_summary(rule_set, category) for category in rule_set.categories.values()],
    }


def detail_document(catalogue: Catalogue, rule_set: RuleSet) -> Document:
    """Return a rule set with its switches and what each category requires, judges and shows."""
    return {
        **summary_document(catalogue, rule_set),
        "notes": list(rule_set.notes),
        "categories": [
            {
                **_category_summary(rule_set, category),
                "parameters": [_parameter(rule_set, category, p) for p in category.statuses],
                "rules": _rules(category.rules),
            }
            for category in rule_set.categories.values()
        ],
    }


def table_document(table: LimitTable) -> Document:
    """Return a limit with its rows."""
    traits = TRAITS[table.parameter]
    return {
        "rule_set": {
            "id": table.rule_set.id,
            "title": table.rule_set.title,
            "digest": table.rule_set.digest,
        },
        "category": table.category.name,
        "category_title": table.category.title,
        "configuration": table.configuration.value,
        "parameter": table.parameter.value,
        "title": traits.title,
        "unit": traits.unit,
        "inside": traits.sense.value,
        "status": table.status,
        "basis": table.basis,
        "provisional": table.basis is Basis.MEMORY,
        "single_value": _single_value(table.limit) if isinstance(table.limit, ReadingLimit) else None,
        "rows": [_row(row, traits.unit or "", table) for row in table.rows],
    }


def _known(known: KnownByName) -> Document:
    return {
        "name": known.name,
        "rule_set": known.rule_set,
        "category": known.category,
        "advice": known.advice,
    }


def _category_summary(rule_set: RuleSet, category: Category) -> Document:
    return {
        "name": category.name,
        "title": category.title,
        "from_mhz": category.from_mhz,
        "to_mhz": category.to_mhz,
        "configurations": [c.value for c in configurations_of(rule_set, category.name)],
        "missing": category.missing,
    }


def _parameter(rule_set: RuleSet, category: Category, parameter: Parameter) -> Document:
    return {
        "parameter": parameter.value,
        "title": TRAITS[parameter].title,
        "unit": TRAITS[parameter].unit,
        "status": category.statuses[parameter].value,
        "limits": [
            {"configuration": c.value, "basis": _basis(rule_set, category, c, parameter)}
            for c in configurations_of(rule_set, category.name)
            if parameter in parameters_of(rule_set, category.name, c)
        ],
    }


def _basis(
    rule_set: RuleSet, category: Category, configuration: Configuration, parameter: Parameter
) -> str | None:
    place = (category.name, configuration, parameter)
    given = (rule_set.curve(*place), rule_set.reading(*place))
    return weakest([limit.basis for limit in given if limit is not None])


def _rules(rules: EvaluationRules) -> Document:
    return {
        "switches": [_switch(rules, name) for name in SWITCHES],
        "acr_f_loss_of": {"pair": rules.acr_f_loss_of, "source": rules.acr_f_loss_of_source},
        "short_link_relief": _relief(rules.short_link_relief),
        "coverage": {
            "source": rules.coverage_source,
            "steps": [{"up_to_mhz": s.up_to_mhz, "step_mhz": s.step_mhz} for s in rules.coverage],
        },
    }


def _switch(rules: EvaluationRules, name: str) -> Document:
    rule, (unit, meaning) = getattr(rules, name), SWITCHES[name]
    return {
        "switch": name,
        "meaning": meaning,
        f"threshold_{unit}": rule.value,
        "source": rule.source,
        "basis": rule.basis.value,
    }


def _relief(relief: ShortLinkRelief | None) -> Document | None:
    if relief is None:
        return None
    return {
        "meaning": "NEXT and PS NEXT are relieved above a frequency where the link has little loss.",
        "from_mhz": relief.from_mhz,
        "slope_db": relief.slope_db,
        "per_mhz": relief.per_mhz,
        "loss_at_mhz": relief.loss_at_mhz,
        "loss_below_db": relief.loss_below_db,
        "source": relief.source,
        "basis": relief.basis.value,
    }


def _single_value(limit: ReadingLimit) -> Document:
    return {
        "nominal": limit.value,
        "allowance_percent": limit.allowance_percent,
        "or_percent_of_sum": limit.percent,
    }


def _row(row: LimitRow, unit: str, table: LimitTable) -> Document:
    return {
        "frequency_mhz": row.frequency_mhz,
        f"limit_{unit}": row.value,
        "form": row.form,
        "status": table.status,
        "basis": row.basis.value,
        "clause": row.clause,
        "source": row.source,
        "note": row.note,
        "confirmed_by": row.confirmed_by,
        "confirmed_on": row.confirmed_on,
    }
