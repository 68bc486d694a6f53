"""Rule sets and limits as typed values. Fields that this version does not know stay in ``raw``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fourpair._told import Told


@dataclass(frozen=True, slots=True)
class ParameterRule:
    """What a category does with a parameter.

    Attributes:
        status: ``required``, ``judged_if_present`` or ``information``.
        basis: of its limits by configuration, ``published``, ``cross_checked`` or ``memory``.

    >>> rule = client.rule_set("TIA").category("6").parameters[0]
    >>> rule.parameter, rule.status
    ('wire_map', 'required')
    """

    parameter: str
    title: str
    unit: str | None
    status: str
    basis: Mapping[str, str]

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> ParameterRule:
        """Return the rule of a document that the service sent.

        >>> ParameterRule.from_document({"parameter": "next", "title": "NEXT", "status": "required"}).status
        'required'
        """
        return cls(
            document["parameter"],
            document.get("title", document["parameter"]),
            document.get("unit"),
            document["status"],
            {limit["configuration"]: limit["basis"] for limit in document.get("limits", ())},
        )


@dataclass(frozen=True, slots=True)
class Category(Told):
    """A category or class of an edition.

    Attributes:
        from_mhz: where its range begins. [MHz]
        to_mhz: where it ends. [MHz]
        configurations: those that have limits.
        missing: why it has no limits; ``None`` where it has.
        parameters: what it does with each; empty in a list of rule sets.

    >>> category = client.rule_set("ISO").category("EA")
    >>> category.title, category.to_mhz, category.configurations
    ('class EA', 500.0, ('permanent_link', 'channel'))
    """

    name: str
    title: str
    from_mhz: float
    to_mhz: float
    configurations: tuple[str, ...]
    missing: str | None
    parameters: tuple[ParameterRule, ...]

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> Category:
        """Return the category of a document that the service sent.

        >>> Category.from_document({"name": "6", "from_mhz": 1, "to_mhz": 250}).title
        '6'
        """
        return cls(
            document["name"],
            document.get("title", document["name"]),
            document["from_mhz"],
            document["to_mhz"],
            tuple(document.get("configurations", ())),
            document.get("missing"),
            tuple(ParameterRule.from_document(p) for p in document.get("parameters", ())),
            raw=document,
        )

    def required(self) -> tuple[str, ...]:
        """Return the parameters without which no link passes.

        >>> client.rule_set("TIA").category("6").required()[:4]
        ('wire_map', 'length', 'insertion_loss', 'next')
        """
        return tuple(p.parameter for p in self.parameters if p.status == "required")


@dataclass(frozen=True, slots=True)
class RuleSet(Told):
    """An edition of a standard.

    Attributes:
        digest: of its file and of what it extends; every verdict carries it.
        gradable: false for an edition that is kept for reference alone.
        origin: ``built_in`` or ``own``.
        basis: how many limits are ``published``, ``cross_checked`` and from ``memory``.
        notes: what to know about it; empty in a list of rule sets.

    >>> edition = client.rule_set("TIA")
    >>> edition.id, edition.origin, edition.gradable
    ('tia-568.2-d-2018', 'built_in', True)
    """

    id: str
    standard: str
    title: str
    digest: str
    supersedes: str | None
    superseded_by: str | None
    gradable: bool
    origin: str
    basis: Mapping[str, int]
    categories: tuple[Category, ...]
    notes: tuple[str, ...]

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> RuleSet:
        """Return the rule set of a document that the service sent.

        >>> document = {"id": "own", "standard": "TIA", "title": "Own", "digest": "sha256:00", "gradable": True}
        >>> RuleSet.from_document(document).origin
        ''
        """
        return cls(
            document["id"],
            document["standard"],
            document["title"],
            document["digest"],
            document.get("supersedes"),
            document.get("superseded_by"),
            document["gradable"],
            document.get("origin", ""),
            dict(document.get("basis", {})),
            tuple(Category.from_document(c) for c in document.get("categories", ())),
            tuple(document.get("notes", ())),
            raw=document,
        )

    def category(self, name: str) -> Category:
        """Return a category or class by name, in any case.

        Raises:
            KeyError: the edition has none of that name.

        >>> client.rule_set("TIA").category("6a").name
        '6A'
        """
        for category in self.categories:
            if category.name.casefold() == name.casefold():
                return category
        raise KeyError(
            f"{self.id} has no category {name!r}; it has {', '.join(c.name for c in self.categories)}"
        )


@dataclass(frozen=True, slots=True)
class LimitRow:
    """A limit at one frequency.

    Attributes:
        frequency_mhz: ``None`` for a single-value limit. [MHz]
        limit: in the unit of its table; ``None`` where there is none at this frequency.
        form: the shape of the curve here, or ``single_value``.
        basis: ``published``, ``cross_checked`` or ``memory``.

    >>> row = client.limits("TIA", "6A", "permanent_link", "next", frequency_mhz=[100]).rows[0]
    >>> row.frequency_mhz, row.limit, row.form, row.basis
    (100.0, 41.84, 'voltage_sum', 'memory')
    """

    frequency_mhz: float | None
    limit: float | None
    form: str
    basis: str
    clause: str | None
    source: str
    note: str | None
    confirmed_by: str | None
    confirmed_on: str | None


@dataclass(frozen=True, slots=True)
class Limits(Told):
    """One limit of an edition at frequencies.

    Attributes:
        unit: ``db``, ``ns``, ``m`` or ``ohm``.
        inside: ``at_least`` or ``at_most``: on which side of the limit a value passes.
        status: what the edition does with the parameter; ``None``: nothing.
        provisional: whether a value is from memory.
        rows: in order of frequency.

    >>> limits = client.limits("TIA", "6", "channel", "propagation_delay", frequency_mhz=[10])
    >>> limits.unit, limits.inside, limits.rows[0].limit
    ('ns', 'at_most', 555.384)
    """

    rule_set_id: str
    rule_set_digest: str
    category: str
    configuration: str
    parameter: str
    title: str
    unit: str
    inside: str
    status: str | None
    basis: str
    provisional: bool
    rows: tuple[LimitRow, ...]

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> Limits:
        """Return the limits of a document that the service sent.

        >>> document = {"rule_set": {"id": "own", "digest": ""}, "category": "6", "configuration": "channel", "parameter": "next"}
        >>> document |= {"unit": "db", "inside": "at_least", "basis": "memory", "provisional": True, "rows": []}
        >>> Limits.from_document(document).inside
        'at_least'
        """
        unit = document["unit"]
        return cls(
            document["rule_set"]["id"],
            document["rule_set"]["digest"],
            document["category"],
            document["configuration"],
            document["parameter"],
            document.get("title", document["parameter"]),
            unit,
            document["inside"],
            document.get("status"),
            document["basis"],
            document["provisional"],
            tuple(_row(row, unit) for row in document["rows"]),
            raw=document,
        )


def _row(row: Mapping[str, Any], unit: str) -> LimitRow:
    return LimitRow(
        row.get("frequency_mhz"),
        row.get(f"limit_{unit}"),
        row["form"],
        row["basis"],
        row.get("clause"),
        row["source"],
        row.get("note"),
        row.get("confirmed_by"),
        row.get("confirmed_on"),
    )
