"""What can be wrong with a file of limits, or with asking for one."""

from __future__ import annotations

from collections.abc import Sequence

from fourpair_service.errors import ServiceError


class InvalidRuleSetError(ServiceError):
    """A file of limits cannot be used.

    Attributes:
        file: its name.
        line: where, counted from 1; 0 where the place is the whole file.
        key: the entry concerned.
    """

    code = "invalid-rule-set"

    def __init__(self, file: str, line: int, key: str, detail: str) -> None:
        place = f"{file}, line {line}" if line else file
        super().__init__(f"{place}, {key}: {detail}")
        self.file, self.line, self.key, self.detail = file, line, key, detail


class UnknownRuleSetError(ServiceError):
    """No rule set of that name is loaded.

    Attributes:
        pointer: where the name was asked for; ``None`` where that is not known.
        value: the name.
    """

    code = "unknown-rule-set"
    pointer: str | None = None

    def __init__(self, name: str, known: Sequence[str], advice: str = "") -> None:
        super().__init__(f"There is no rule set {name!r}. {advice}Known: {', '.join(known)}.")
        self.name, self.known, self.advice = name, tuple(known), advice
        self.value = name

    def at(self, pointer: str) -> UnknownRuleSetError:
        """Return this error with the place where the name was asked for."""
        self.pointer = pointer
        return self


class RuleSetNotFoundError(UnknownRuleSetError):
    """An address names a rule set that is not loaded."""

    code = "rule-set-not-found"


class LimitNotFoundError(ServiceError):
    """There is no such limit, or none at such a frequency.

    Attributes:
        asked: which part of the question: ``category``, ``configuration``,
            ``parameter`` or ``frequency_mhz``.
        value: what was asked for.
    """

    code = "invalid-query"

    def __init__(self, asked: str, detail: str, value: object) -> None:
        super().__init__(detail)
        self.asked, self.detail, self.value = asked, detail, value
