"""Labels in the order that people expect: A2 before A10, with accents and capitals beside their plain letters."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

_DIGITS: Final = re.compile(r"([0-9]+)")
# Both stand before every character of a label, so that the shorter one of two that begin alike comes first.
END: Final = "\x01"
NUMBER: Final = "\x02"
# The length of a number as one character, the longer the later; none of them is a surrogate.
LENGTHS: Final = 0x30
LONGEST: Final = 0xD000
# A letter may be spelt out in eighteen; databases index some 2700 bytes.
MOST_CHARACTERS: Final = 300


def _number(digits: str) -> str:
    plain = digits.lstrip("0")
    return f"{NUMBER}{chr(LENGTHS + min(len(plain), LONGEST))}{plain}"


def label_key(label: str) -> str:
    """Return a text that labels are sorted by, character by character; any text will do.

    Words and numbers follow in turns; a number is told by its length and its digits, as any length must do.
    Labels that read alike are told apart by themselves.

    >>> sorted(["A10", "b1", "A2", "a2", "A02", "Ä1", "A-1"], key=label_key)
    ['Ä1', 'A02', 'A2', 'a2', 'A10', 'A-1', 'b1']
    """
    spelt = unicodedata.normalize("NFKD", label).casefold()
    plain = "".join(character for character in spelt if not unicodedata.combining(character))
    parts = (_number(part) if place % 2 else part for place, part in enumerate(_DIGITS.split(plain)))
    return f"{''.join(parts)[:MOST_CHARACTERS]}{END}{label}"
