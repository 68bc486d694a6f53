"""How large a measurement document may be."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class DocumentLimits:
    """Sizes beyond which a document is refused; every one is a setting.

    Attributes:
        curves: sweeps in one document. All parameters of a link together have
            fewer than the default.
        points_per_curve: frequencies on one axis.
        name_characters: a label, a place, a serial number and the like.
        notes_characters: free text.
        items: entries of a free list or of ``external_ids``.
        errors: reported at once; what is beyond is left for the next try.
    """

    curves: int = 200
    points_per_curve: int = 20_000
    name_characters: int = 200
    notes_characters: int = 4_000
    items: int = 64
    errors: int = 50


DEFAULT_LIMITS: Final = DocumentLimits()

# Fields are made once for each process, limits come with each call: the
# context carries them past the schemas that lie between.
_LIMITS: ContextVar[DocumentLimits] = ContextVar("document_limits", default=DEFAULT_LIMITS)


def current_limits() -> DocumentLimits:
    """Return the limits in force where a field reads its value."""
    return _LIMITS.get()


@contextmanager
def reading_within(limits: DocumentLimits) -> Iterator[None]:
    """Hold everything that is read inside the ``with`` against ``limits``."""
    token = _LIMITS.set(limits)
    try:
        yield
    finally:
        _LIMITS.reset(token)
