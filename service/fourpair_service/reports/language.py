"""The texts of the papers in one language, and how it writes numbers, lengths and dates."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import lru_cache
from importlib.resources import files
from typing import Any, Final

FEET_PER_METRE: Final = 1 / 0.3048
DECIMAL: Final = re.compile(r"\d+\.\d+")


class Tongue(StrEnum):
    """A language that the papers can be had in (ISO 639-1)."""

    ENGLISH = "en"
    GERMAN = "de"


class LengthUnit(StrEnum):
    """In what lengths are written."""

    METRES = "m"
    FEET = "ft"


@dataclass(frozen=True, slots=True, eq=False)
class Language:
    """One language.

    Attributes:
        texts: the catalogue: tables of texts by name.
        length_unit: in what lengths are written.
    """

    texts: Mapping[str, Any]
    length_unit: LengthUnit = LengthUnit.METRES

    @property
    def code(self) -> str:
        """The language tag, for HTML and PDF."""
        return str(self.texts["language"])

    def say(self, name: str, /, **values: str) -> str:
        """Return a text by ``table.name``, its gaps filled.

        Raises:
            KeyError: there is no such text, or a gap has no value.
        """
        table, _, key = name.partition(".")
        return str(self.texts[table][key]).format(**values)

    def continued(self, sentence: str) -> str:
        """Return a sentence as it is written where words stand before it.

        >>> language("en").continued("The cable must go."), language("de").continued("Das Kabel muss weg.")
        ('the cable must go.', 'Das Kabel muss weg.')
        """
        return sentence[:1].lower() + sentence[1:] if self.texts["continues_small"] else sentence

    def by_code(self, table: str, code: str, english: str) -> str:
        """Return what a code says: the sentence of the verdict itself in English, else from the catalogue."""
        return str(self.texts.get(table, {}).get(code, english))

    def phrase(self, english: str) -> str:
        """Return a sentence that the verdict makes, by its pattern; as it is where there is none."""
        for pattern, text in self.texts.get("phrase", ()):
            found = re.fullmatch(pattern, english)
            if found:
                parts = {name: self._as_written(part) for name, part in found.groupdict().items()}
                return str(text).format(**parts)
        return english

    def _as_written(self, part: str) -> str:
        """Return a part of a sentence, a number in it with the language's decimal mark."""
        return part.replace(".", self.texts["decimal"]) if DECIMAL.fullmatch(part) else part

    def condition(self, english: str) -> str:
        """Return a condition of the assessment; in other languages than English those that have a pattern."""
        return self._translated(english, "sentence.condition_other")

    def reason(self, english: str) -> str:
        """Return why something could not be judged; in other languages those that have a pattern."""
        return self._translated(english, "sentence.why_missing")

    def _translated(self, english: str, otherwise: str) -> str:
        found = self.phrase(english)
        is_known = found != english or self.code == Tongue.ENGLISH
        return found if is_known else self.say(otherwise)

    def number(self, value: float, decimals: int) -> str:
        """Return a number with the language's decimal mark.

        >>> language("de").number(-1.25, 1)
        '-1,2'
        """
        return f"{value:.{decimals}f}".replace(".", self.texts["decimal"])

    def short(self, value: float) -> str:
        """Return a number with about three digits, as the table of numbers has it.

        >>> language("en").short(0.125), language("en").short(104.36)
        ('0.12', '104.4')
        """
        return self.number(value, 2 if abs(value) < 10 else 1)

    def frequency(self, value_mhz: float) -> str:
        """Return a frequency without zeros at its end. [MHz]."""
        return f"{value_mhz:g}".replace(".", self.texts["decimal"])

    def length(self, value_m: float, decimals: int = 1) -> str:
        """Return a length in the unit asked for.

        >>> language("en", LengthUnit.FEET).length(30.48)
        '100.0 ft'
        """
        factor = FEET_PER_METRE if self.length_unit is LengthUnit.FEET else 1.0
        return f"{self.number(value_m * factor, decimals)} {self.length_unit.value}"

    def amount(self, value: float, unit: str) -> str:
        """Return a size with its unit (``db``, ``ns``, ``m``, ``ohm``)."""
        if unit == "m":
            return self.length(value)
        # A size that would round to nothing keeps the digit that says it is something.
        decimals = 1 if abs(value) >= 0.1 or value == 0 else 3
        return f"{self.number(value, decimals)} {UNIT_SIGNS[unit]}"

    def day(self, moment: str) -> str:
        """Return the day and time of an ISO moment; other text as it is.

        >>> language("de").day("2026-09-16T09:05:11+01:00")
        '16. Sep. 2026, 09:05'
        """
        try:
            when = datetime.fromisoformat(moment)
        except ValueError:
            return moment
        month = self.texts["months"][when.month - 1]
        day = self.texts["date"].format(day=when.day, month=month, year=when.year)
        return f"{day}, {when:%H:%M}" if len(moment) > len("2026-09-16") else str(day)


UNIT_SIGNS: Final = {"db": "dB", "ns": "ns", "m": "m", "ohm": "Ω"}


@lru_cache(maxsize=8)
def catalogue(code: str) -> Mapping[str, Any]:
    """Return the catalogue of a language."""
    text = files("fourpair_service.reports").joinpath("texts", f"{code}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def language(code: str, length_unit: LengthUnit = LengthUnit.METRES) -> Language:
    """Return a language by its code."""
    return Language(catalogue(code), length_unit)


# Controls, and the marks that turn the direction of what follows: they would change how the rest reads.
_INVISIBLE: Final = re.compile(
    r"[\x00-\x1f\x7f-\x9f\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\ud800-\udfff]"
)
REPLACED: Final = "�"


def printable(text: object, most: int = 120) -> str:
    r"""Return text from outside as one line that shows all there is in it, cut to ``most`` characters.

    >>> printable("A\u202eB\nC"), printable("x" * 9, most=5)
    ('A�B C', 'xxxx…')
    """
    line = " ".join(str(text).split(" ")).replace("\r\n", " ").replace("\n", " ").replace("\t", " ")
    shown = _INVISIBLE.sub(REPLACED, line)
    return shown if len(shown) <= most else shown[: most - 1].rstrip() + "…"
