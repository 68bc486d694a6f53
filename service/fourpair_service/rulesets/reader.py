"""From the bytes of an edition file to a rule set, refusing whatever is not clear.

Every message names file, line and key, and says what to do.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from hashlib import sha256
from typing import Final

from fourpair_service.domain.limits import Category, RuleSet, Status
from fourpair_service.domain.parameters import Parameter
from fourpair_service.rulesets.errors import InvalidRuleSetError
from fourpair_service.rulesets.limit_entries import (
    confirm_curves,
    confirm_readings,
    link_differences,
    read_curves,
    read_readings,
    read_references,
)
from fourpair_service.rulesets.places import Confirmation, Place, lines_of
from fourpair_service.rulesets.switches import SwitchTable, confirmed_switches

TOP_KEYS: Final = {
    "id", "standard", "title", "extends", "supersedes", "gradable", "notes", "confirmed_by", "confirmed_on",
    "rules", "rules_of", "category", "limit", "reading_limit", "reference",
}  # fmt: skip
CATEGORY_KEYS: Final = {
    "name", "title", "from_mhz", "to_mhz", "missing",
    "required", "judged_if_present", "information", "statuses_source",
}  # fmt: skip
STATUS_KEYS: Final = {
    "required": Status.REQUIRED,
    "judged_if_present": Status.JUDGED_IF_PRESENT,
    "information": Status.INFORMATION,
}
# An id stands in addresses, headers and file names.
ID: Final = re.compile(r"[a-z0-9][a-z0-9._-]{0,99}")


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
    file = _parsed(name, content)
    file.only(TOP_KEYS)
    base = _extended(file, extended or {})
    confirmed = file.confirmation()
    categories = _categories(file, base, confirmed)
    own = read_curves(file, categories, confirmed)
    readings = read_readings(file, categories, confirmed)
    _refuse_limits_of_missing(file, categories)
    whole = _joined(file, base, confirmed)
    curves = {**whole.curve_limits, **own}
    return replace(
        whole,
        digest=_digest(content, base),
        categories=categories,
        curve_limits=link_differences(file, curves),
        reading_limits={**whole.reading_limits, **readings},
        references={**whole.references, **read_references(file, confirmed)},
    )


def _joined(file: Place, base: RuleSet | None, confirmed: Confirmation) -> RuleSet:
    """Return the file's head with the limits of the extended edition, confirmed where the file says so."""
    curves, readings = (dict(base.curve_limits), dict(base.reading_limits)) if base else ({}, {})
    if confirmed[0] is not None:
        curves, readings = confirm_curves(curves, confirmed), confirm_readings(readings, confirmed)
    return RuleSet(
        id=_id(file),
        standard=_head(file, "standard", base),
        title=_head(file, "title", base),
        digest="",
        categories={},
        curve_limits=curves,
        reading_limits=readings,
        references=base.references if base else {},
        supersedes=file.optional_text("supersedes") or (base.id if base else None),
        gradable=file.flag("gradable", otherwise=base.gradable if base else True),
        notes=tuple(file.texts("notes")),
    )


def _digest(content: bytes, base: RuleSet | None) -> str:
    # An extension means what it says together with what it extends.
    sealed = content if base is None else f"{base.digest}\n".encode() + content
    return f"sha256:{sha256(sealed).hexdigest()}"


def _parsed(name: str, content: bytes) -> Place:
    try:
        text = content.decode("utf-8-sig")
        return Place(name, lines_of(text), (), tomllib.loads(text))
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        detail = f"not UTF-8 text ({error.reason}); save the file as UTF-8"
        raise InvalidRuleSetError(name, line, "file", detail) from error
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"at line (\d+)", str(error))
        line = int(found[1]) if found else text.count("\n") + 1
        raise InvalidRuleSetError(name, line, "file", f"not valid TOML: {error}; mend that line") from error


def _id(file: Place) -> str:
    value = file.text("id")
    if not ID.fullmatch(value):
        file.refuse("id", f"{value!r} is no id; use a-z, 0-9, dot, hyphen and underscore, at most 100")
    return value


def _head(file: Place, key: str, base: RuleSet | None) -> str:
    if key not in file.table and base is not None:
        return str(getattr(base, key))
    return file.text(key)


def _extended(file: Place, extended: Mapping[str, RuleSet]) -> RuleSet | None:
    name = file.optional_text("extends")
    if name is None or name in extended:
        return extended[name] if name else None
    file.refuse(
        "extends",
        f"there is no rule set {name!r} to extend; use one of {', '.join(extended)} "
        "(own files are read in the order of their names)",
    )


def _categories(file: Place, base: RuleSet | None, confirmed: Confirmation) -> dict[str, Category]:
    switches = SwitchTable(file, base, confirmed)
    found: dict[str, Category] = {}
    for entry in file.inners("category"):
        category = _category(entry, switches)
        if category.name in found:
            entry.refuse("name", f"category {category.name} stands above already; remove one")
        found[category.name] = category
    kept = {n: replace(c, rules=switches.of(n)) for n, c in (base.categories if base else {}).items()}
    if confirmed[0] is not None:
        kept = {n: replace(c, rules=confirmed_switches(c.rules)) for n, c in kept.items()}
    joined = {**kept, **found}
    if not joined:
        file.refuse("category", "an edition needs at least one [[category]], or extends one that has")
    for name in switches.names():
        if name not in joined:
            file.inner("rules_of").refuse(name, f"there is no such category; use one of {', '.join(joined)}")
    return joined


def _category(entry: Place, switches: SwitchTable) -> Category:
    entry.only(CATEGORY_KEYS)
    name = entry.text("name")
    low, high = entry.positive("from_mhz"), entry.positive("to_mhz")
    if low >= high:
        entry.refuse("to_mhz", f"the range {low:g} to {high:g} MHz does not increase")
    entry.text("statuses_source")
    return Category(
        name,
        entry.text("title"),
        low,
        high,
        _statuses(entry),
        switches.of(name),
        entry.optional_text("missing"),
    )


def _statuses(entry: Place) -> dict[Parameter, Status]:
    statuses: dict[Parameter, Status] = {}
    for key, status in STATUS_KEYS.items():
        for name in entry.words(key, tuple(Parameter)):
            parameter = Parameter(name)
            if parameter in statuses:
                entry.refuse(key, f"{name} stands under {statuses[parameter]} already; remove one")
            statuses[parameter] = status
    return statuses


def _refuse_limits_of_missing(file: Place, categories: Mapping[str, Category]) -> None:
    given = [(entry, [entry.text("category")]) for entry in file.inners("limit")]
    given += [(entry, entry.items("categories")) for entry in file.inners("reading_limit")]
    for entry, names in given:
        for name in names:
            if categories[name].missing is not None:
                entry.refuse(
                    "",
                    f"category {name} is marked as having no limits; give it a [[category]] of its own "
                    "without missing, which says what it requires",
                )
