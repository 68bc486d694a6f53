"""The rule sets that a service knows: built in, and a shop's own beside them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Final

from fourpair_service.domain.limits import RuleSet
from fourpair_service.rulesets.errors import InvalidRuleSetError, UnknownRuleSetError
from fourpair_service.rulesets.reader import read_rule_set

# Editions that people ask for and that have no limits built in.
KNOWN_BY_NAME: Final = {
    "EN 50173-1": "EN 50173-1 is known by name only: no limits are built in; load your own edition file. ",
    "EN50173": "EN 50173-1 is known by name only: no limits are built in; load your own edition file. ",
}


class Catalogue:
    """Rule sets by id.

    Args:
        rule_sets: by id, those built in first.
    """

    def __init__(self, rule_sets: Mapping[str, RuleSet]) -> None:
        self._rule_sets = dict(rule_sets)

    @classmethod
    def load(cls, own_directory: Path | None = None) -> Catalogue:
        """Return the built-in rule sets and those of a directory of ``.toml`` files.

        Raises:
            InvalidRuleSetError: a file of the directory is not valid, or its id
                is taken; nothing is loaded then.
        """
        found = dict(_built_in())
        if own_directory is not None:
            if not own_directory.is_dir():
                raise InvalidRuleSetError(str(own_directory), 0, "directory", "there is no such directory")
            for path in sorted(own_directory.glob("*.toml")):
                rule_set = read_rule_set(path.name, path.read_bytes(), found)
                if rule_set.id in found:
                    raise InvalidRuleSetError(
                        path.name, 0, "id", f"{rule_set.id!r} is taken; a correction needs an id of its own"
                    )
                found[rule_set.id] = rule_set
        return cls(found)

    def __iter__(self) -> Iterator[RuleSet]:
        return iter(self._rule_sets.values())

    def get(self, name: str) -> RuleSet:
        """Return a rule set by id, or the newest of a standard by ``"TIA"`` or ``"ISO"``.

        Raises:
            UnknownRuleSetError: with what is known.
        """
        if name in self._rule_sets:
            return self._rule_sets[name]
        return self.newest(name)

    def newest(self, standard: str) -> RuleSet:
        """Return the gradable rule set of a standard that no other one supersedes.

        Raises:
            UnknownRuleSetError: there is none of that standard.
        """
        superseded = {rule_set.supersedes for rule_set in self}
        current = [r for r in self if r.gradable and r.id not in superseded]
        found = [r for r in current if r.standard.casefold() == standard.casefold()]
        if not found:
            advice = KNOWN_BY_NAME.get(standard.upper().replace("_", " "), "")
            raise UnknownRuleSetError(
                standard, [*self._rule_sets, *sorted({r.standard for r in current})], advice
            )
        return found[-1]


@lru_cache(maxsize=1)
def _built_in() -> Mapping[str, RuleSet]:
    folder = resources.files("fourpair_service.rulesets").joinpath("data")
    files = sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    editions = (read_rule_set(file.name, file.read_bytes()) for file in files)
    return {rule_set.id: rule_set for rule_set in editions}
