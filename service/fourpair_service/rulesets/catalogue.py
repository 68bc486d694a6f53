"""The rule sets that a service knows: built in, and a shop's own beside them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Final

from fourpair_service.domain.limits import RuleSet
from fourpair_service.rulesets.errors import InvalidRuleSetError, UnknownRuleSetError
from fourpair_service.rulesets.places import Place, lines_of
from fourpair_service.rulesets.reader import read_rule_set


@dataclass(frozen=True, slots=True)
class KnownByName:
    """Something that people ask for and that has no limits built in.

    Attributes:
        name: as it is written.
        rule_set: id of the edition that names it; ``None`` for a whole standard.
        category: the category or class; ``None`` for a whole standard.
        advice: what to do, as sentences.
    """

    name: str
    rule_set: str | None
    category: str | None
    advice: str


STANDARDS_BY_NAME: Final = (
    KnownByName(
        "EN 50173-1",
        None,
        None,
        "EN 50173-1 is known by name only: no limits are built in; load your own edition file.",
    ),
)
ALIASES: Final = {"EN50173": "EN 50173-1", "EN50173-1": "EN 50173-1", "EN 50173": "EN 50173-1"}


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
            InvalidRuleSetError: a file of the directory is not valid, its id is
                taken, or what it supersedes is; nothing is loaded then.
        """
        found = dict(_built_in())
        if own_directory is not None:
            for path in _own_files(own_directory):
                content = _content(path)
                rule_set = read_rule_set(path.name, content, found)
                _refuse_clash(path.name, content, rule_set, found)
                found[rule_set.id] = rule_set
        return cls(found)

    def __iter__(self) -> Iterator[RuleSet]:
        return iter(self._rule_sets.values())

    def is_built_in(self, rule_set: RuleSet) -> bool:
        """Return whether a rule set came with the service."""
        return rule_set.id in _built_in()

    def superseded_by(self, rule_set: RuleSet) -> str | None:
        """Return the id of the rule set that replaces one, ``None`` where none does."""
        return next((r.id for r in self if r.supersedes == rule_set.id), None)

    def all_superseded(self, rule_set: RuleSet) -> tuple[str, ...]:
        """Return the ids of all that a rule set replaces, the nearest first."""
        found: list[str] = []
        older = rule_set.supersedes
        while older is not None and older in self._rule_sets:
            found.append(older)
            older = self._rule_sets[older].supersedes
        return tuple(found)

    def superseding(self) -> tuple[RuleSet, ...]:
        """Return the gradable rule sets that replace another one and are replaced by none."""
        return tuple(r for r in self if r.gradable and r.supersedes and self.superseded_by(r) is None)

    def known_by_name(self) -> tuple[KnownByName, ...]:
        """Return what is known by name and has no limits, whole standards first."""
        categories = tuple(
            KnownByName(category.title, rule_set.id, category.name, category.missing)
            for rule_set in self
            for category in rule_set.categories.values()
            if category.missing is not None and self.superseded_by(rule_set) is None
        )
        loaded = {rule_set.standard for rule_set in self}
        return (*(known for known in STANDARDS_BY_NAME if known.name not in loaded), *categories)

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
            asked = standard.upper().replace("_", " ")
            asked = ALIASES.get(asked, asked)
            advice = next((f"{known.advice} " for known in STANDARDS_BY_NAME if known.name == asked), "")
            raise UnknownRuleSetError(
                standard, [*self._rule_sets, *sorted({r.standard for r in current})], advice
            )
        return found[-1]


def _own_files(directory: Path) -> list[Path]:
    if not directory.is_dir():
        detail = "there is no such directory; create it, or change FOURPAIR_LIMITS_DIRECTORY"
        raise InvalidRuleSetError(str(directory), 0, "directory", detail)
    return sorted(directory.glob("*.toml"))


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        detail = f"it cannot be read ({error.strerror}); mend its permissions or move it away"
        raise InvalidRuleSetError(path.name, 0, "file", detail) from error


def _refuse_clash(name: str, content: bytes, rule_set: RuleSet, found: Mapping[str, RuleSet]) -> None:
    file = Place(name, lines_of(content.decode("utf-8-sig")), (), {})
    if rule_set.id in found:
        file.refuse("id", f"{rule_set.id!r} is taken; a correction needs an id of its own")
    if rule_set.supersedes is None:
        return
    if rule_set.supersedes not in found:
        known = ", ".join(found)
        file.refuse("supersedes", f"there is no rule set {rule_set.supersedes!r}; use one of {known}")
    rival = next((r.id for r in found.values() if r.supersedes == rule_set.supersedes), None)
    if rival is not None:
        file.refuse(
            "supersedes",
            f"{rule_set.supersedes!r} is superseded by {rival!r} already; let this one extend or "
            f"supersede {rival!r}",
        )


@lru_cache(maxsize=1)
def _built_in() -> Mapping[str, RuleSet]:
    folder = resources.files("fourpair_service.rulesets").joinpath("data")
    files = sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    editions = (read_rule_set(file.name, file.read_bytes()) for file in files)
    return {rule_set.id: rule_set for rule_set in editions}
