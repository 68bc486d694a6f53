"""Labels in the order that people expect: A2 before A10, with accents and capitals beside their plain letters."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

_DIGITS: Final = re.compile(r"([0-9]+)")
Part = str | tuple[int, str]


def _parts(text: str) -> tuple[Part, ...]:
    """Return words and numbers in turns; a number by its length and digits, as any length must do."""
    pieces = _DIGITS.split(text)
    return tuple(
        (len(piece.lstrip("0")), piece.lstrip("0")) if index % 2 else piece
        for index, piece in enumerate(pieces)
    )


def label_key(label: str) -> tuple[tuple[Part, ...], str]:
    """Return what labels are sorted by; any text will do.

    >>> sorted(["A10", "b1", "A2", "a2", "A02", "Ä1", "A-1"], key=label_key)
    ['Ä1', 'A02', 'A2', 'a2', 'A10', 'A-1', 'b1']
    """
    spelt = unicodedata.normalize("NFKD", label).casefold()
    plain = "".join(character for character in spelt if not unicodedata.combining(character))
    return _parts(plain), label
