"""Whether a link carries something: the four words for it."""

from __future__ import annotations

from enum import StrEnum


class Support(StrEnum):
    """What can be said of a use of a link."""

    SUPPORTED = "supported"
    CONDITIONAL = "conditional"
    NOT_SUPPORTED = "not_supported"
    NOT_EVALUATED = "not_evaluated"


def either_way(states: tuple[Support, ...]) -> Support:
    """Return the state of something that may be done in several ways, the user not knowing which.

    >>> either_way((Support.SUPPORTED, Support.NOT_SUPPORTED)).value
    'conditional'
    """
    if len(set(states)) == 1:
        return states[0]
    return Support.NOT_EVALUATED if Support.NOT_EVALUATED in states else Support.CONDITIONAL
