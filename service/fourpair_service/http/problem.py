"""What a kind of problem is."""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus


@dataclass(frozen=True, slots=True)
class Problem:
    """A kind of problem.

    Attributes:
        meaning: what happened, for its page.
        remedy: what to do about it.
    """

    status: HTTPStatus
    code: str
    title: str
    meaning: str
    remedy: str
