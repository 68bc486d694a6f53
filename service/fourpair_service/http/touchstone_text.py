"""The text of a Touchstone file, checked and written in its plainest form.

Files in the field take liberties: option tokens in any order and case, comments
anywhere, blank lines, keywords of version 2 in version 1 files. What is said in
any of these ways comes out the same, so that a strict parser reads it
(Touchstone File Format Specification, version 2.1, IBIS Open Forum 2024).
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from math import isfinite, nan
from typing import Final

import numpy as np

from fourpair_service.domain.measurement import FloatArray
from fourpair_service.http.touchstone_errors import UnreadableTouchstoneError

PORT_COUNTS: Final = (4, 8, 16)
# Beyond 64 MiB of text at the usual 20 characters for each number.
MOST_NUMBERS: Final = 4_000_000
# One frequency of 16 ports has 513 numbers, should they all stand in one line.
LONGEST_LINE: Final = 32_768
# Far beyond any link; a frequency above comes from a wrong unit. [Hz]
HIGHEST_FREQUENCY_HZ: Final = 100e9

_UNITS: Final = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
_FORMATS: Final = ("ma", "db", "ri")
_OTHER_PARAMETERS: Final = ("y", "z", "g", "h")
_MATRIX_FORMATS: Final = ("full", "lower", "upper")
_EXTENSION: Final = re.compile(r"\.s(\d{1,4})p$", re.IGNORECASE)
_KEYWORD: Final = re.compile(r"\[([^\]]*)\]\s*(.*)$")
_BEGINS_NUMBER: Final = re.compile(r"[-+.\d]")
# What a simulator writes in comments, at each frequency, in place of one reference.
_PORT_IMPEDANCE: Final = re.compile(r"!\s*port impedance\s", re.IGNORECASE)


@dataclass(frozen=True, slots=True, eq=False)
class TouchstoneText:
    """A checked file.

    Attributes:
        port_count: 4, 8 or 16.
        frequency_hz: (n,) strictly increasing, not negative. [Hz]
        reference_ohm: one for each port. [ohm]
        plain: the file in plain version 2 form.
    """

    port_count: int
    frequency_hz: FloatArray
    reference_ohm: tuple[float, ...]
    plain: str


def plain_text(file_name: str, content: bytes) -> TouchstoneText:
    """Check a file and write it plainly.

    Args:
        file_name: with its extension, which says how many ports there are.
        content: the file.

    Raises:
        UnreadableTouchstoneError: anything that cannot be read or makes no sense.
    """
    reader = _Reader(file_name)
    for number, line in enumerate(_decoded(file_name, content).splitlines(), start=1):
        if not reader.ended:
            reader.read(number, line)
    return reader.result()


def _decoded(file_name: str, content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", "replace")
    if b"\0" in content:
        raise UnreadableTouchstoneError(file_name, None, "this is not a text file")
    # Comments may be in any single-byte code; the data itself is ASCII.
    return content.decode("latin-1").removeprefix("\xef\xbb\xbf")


@dataclass(slots=True)
class _Reader:
    """Takes a file line by line."""

    file_name: str
    line: int | None = None
    unit: str | None = None
    format: str = "ma"
    resistances: list[float] = field(default_factory=lambda: [50.0])
    stated_ports: int | None = None
    stated_frequencies: int | None = None
    reference: list[float] | None = None
    reference_is_open: bool = False
    matrix_format: str = "full"
    in_information: bool = False
    ended: bool = False
    numbers: array[float] = field(default_factory=lambda: array("d"))
    # How many numbers a record of one frequency has, once there is data.
    size: int = 0
    # For each record the line that it starts in.
    record_lines: list[int] = field(default_factory=list)
    data: list[str] = field(default_factory=list)

    def error(self, detail: str) -> UnreadableTouchstoneError:
        return UnreadableTouchstoneError(self.file_name, self.line, detail)

    def read(self, number: int, line: str) -> None:
        self.line = number
        if len(line) > LONGEST_LINE:
            raise self.error(f"a line of {len(line)} characters; expected at most {LONGEST_LINE}")
        if _PORT_IMPEDANCE.match(line.strip()):
            self._check_port_impedance(line)
        text = line.partition("!")[0].strip()
        if not text:
            return
        if text.startswith("["):
            self._keyword(text)
        elif self.in_information:
            return
        elif text.startswith("#"):
            self._options(text)
        elif self.reference_is_open and self.reference is not None:
            self.reference += self._floats(text.split())
            if len(self.reference) > max(PORT_COUNTS):
                raise self.error(f"more reference resistances than {max(PORT_COUNTS)} ports have")
        else:
            self._data(text)

    def _check_port_impedance(self, line: str) -> None:
        words = re.findall(r"[-+.\deE]+$|[-+.\deE]+(?=\s)", line.lower().partition("impedance")[2])
        if any(value not in (0.0, *self.resistances) for value in self._floats(words)):
            raise self.error("port impedances in comments are not read; export with one reference resistance")

    def _options(self, text: str) -> None:
        if self.unit is not None:
            return  # the specification has the first option line hold
        self.unit = "ghz"
        words = text[1:].lower().split()
        while words:
            word = words.pop(0)
            if word == "r":
                count = next((i for i, w in enumerate(words) if not _BEGINS_NUMBER.match(w)), len(words))
                self.resistances = self._resistances(words[:count])
                words = words[count:]
            else:
                self._option(word)

    def _option(self, word: str) -> None:
        if word in _UNITS:
            self.unit = word
        elif word in _FORMATS:
            self.format = word
        elif word in _OTHER_PARAMETERS:
            raise self.error(f"it holds {word.upper()} parameters; export scattering (S) parameters")
        elif word != "s":
            raise self.error(f"unknown option {word[:20]!r}; expected Hz to GHz, S, MA, DB or RI, R 50")

    def _resistances(self, words: list[str]) -> list[float]:
        if not words:
            raise self.error("R is followed by no resistance; expected R 50")
        return self._floats(words)

    def _keyword(self, text: str) -> None:
        match = _KEYWORD.match(text)
        if match is None:
            raise self.error("a keyword lacks its closing bracket")
        self.reference_is_open = False
        keyword, value = " ".join(match[1].lower().split()), match[2]
        handler = _KEYWORDS.get(keyword)
        if handler is None:
            raise self.error(f"unknown keyword [{keyword[:40]}]")
        handler(self, value)

    def ignore(self, _value: str) -> None:
        """Pass over what says nothing about the network data."""

    def set_version(self, value: str) -> None:
        if value not in ("1.0", "1.1", "2.0", "2.1"):
            raise self.error(f"unknown version {value[:20]!r}; expected 1.0 to 2.1")

    def set_ports(self, value: str) -> None:
        self.stated_ports = self._count(value)

    def set_frequencies(self, value: str) -> None:
        self.stated_frequencies = self._count(value)

    def set_reference(self, value: str) -> None:
        self.reference, self.reference_is_open = self._floats(value.split()), True

    def set_matrix_format(self, value: str) -> None:
        if self.numbers:
            raise self.error("[Matrix Format] after the data; expected it before")
        self.matrix_format = value.lower()
        if self.matrix_format not in _MATRIX_FORMATS:
            raise self.error(f"unknown matrix format {value[:20]!r}; expected Full, Lower or Upper")

    def refuse_mixed_modes(self, _value: str) -> None:
        raise self.error(
            "[Mixed-Mode Order] is not read; export single-ended ports, or differential ports alone"
        )

    def begin_information(self, _value: str) -> None:
        self.in_information = True

    def end_information(self, _value: str) -> None:
        self.in_information = False

    def end(self, _value: str) -> None:
        self.ended = True

    def _count(self, value: str) -> int:
        if not re.fullmatch(r"[0-9]{1,9}", value):
            raise self.error(f"expected a whole number, got {value[:20]!r}")
        return int(value)

    def _floats(self, words: list[str]) -> list[float]:
        try:
            values = list(map(float, words))
        except ValueError:
            values = [nan]
        # Python reads 1_000 as a number; the format does not.
        if not all(map(isfinite, values)) or any("_" in word for word in words):
            wrong = next(word for word in words if not _is_number(word))
            raise self.error(f"expected numbers, got {wrong[:20]!r}")
        return values

    def _data(self, text: str) -> None:
        if self.unit is None:
            raise self.error("data before the option line; expected a line such as '# MHz S RI R 50' first")
        size = self.size = self.size or self.record_size()
        if len(self.numbers) % size == 0:
            self.record_lines.append(self.line or 0)
        values = self._floats(text.split())
        if len(self.numbers) % size + len(values) > size:
            raise self.error(
                f"more numbers than the {size} that one frequency of {self.port_count()} ports has"
            )
        self.numbers.extend(values)
        self.data.append(text)
        if len(self.numbers) > MOST_NUMBERS:
            raise self.error(f"more than {MOST_NUMBERS} numbers; export fewer frequencies")

    def port_count(self) -> int:
        match = _EXTENSION.search(self.file_name)
        named = int(match[1]) if match else self.stated_ports
        if named is None or (self.stated_ports or named) != named:
            raise self.error(
                f"the number of ports is not clear: {named or 'none'} by the name of the file, "
                f"{self.stated_ports or 'none'} by [Number of Ports]; name it .s4p, .s8p or .s16p"
            )
        if named not in PORT_COUNTS:
            raise self.error(f"a file of {named} ports; expected .s4p, .s8p or .s16p")
        return named

    def record_size(self) -> int:
        n = self.port_count()
        return 1 + (2 * n * n if self.matrix_format == "full" else n * (n + 1))

    def references(self) -> tuple[float, ...]:
        n = self.port_count()
        stated = self.resistances if self.reference is None else self.reference
        if len(stated) not in (1, n):
            raise self.error(f"{len(stated)} reference resistances for {n} ports")
        if not all(1 <= ohm <= 1000 for ohm in stated):
            raise self.error(f"a reference resistance outside 1 to 1000 ohm: {stated[:4]}")
        return tuple(stated) if len(stated) == n else (stated[0],) * n

    def frequencies(self) -> FloatArray:
        """Return the frequencies, checked. [Hz]."""
        size = self.size
        if len(self.numbers) % size:
            raise self.error(f"the data ends after {len(self.numbers) % size} of {size} numbers")
        frequency = np.frombuffer(self.numbers, dtype=np.float64)[::size] * _UNITS[self.unit or "ghz"]
        self._check_axis(frequency)
        if self.stated_frequencies not in (None, len(frequency)):
            raise self.error(
                f"{len(frequency)} frequencies, [Number of Frequencies] says {self.stated_frequencies}"
            )
        return frequency

    def _check_axis(self, frequency_hz: FloatArray) -> None:
        wrong = (frequency_hz < 0) | (frequency_hz > HIGHEST_FREQUENCY_HZ)
        if wrong.any():
            self.line = self.record_lines[int(wrong.argmax())]
            raise self.error(
                f"a frequency outside 0 to 100 GHz with the unit {self.unit}; check the option line"
            )
        falls = np.diff(frequency_hz) <= 0
        if falls.any():
            self.line = self.record_lines[int(falls.argmax()) + 1]
            raise self.error("the frequency does not increase; sort the file and remove repeated points")

    def result(self) -> TouchstoneText:
        if not self.numbers:
            raise UnreadableTouchstoneError(
                self.file_name, None, "no network data; expected a Touchstone file, version 1 or 2"
            )
        frequency, references = self.frequencies(), self.references()
        return TouchstoneText(self.port_count(), frequency, references, self._plain(references))

    def _plain(self, references: tuple[float, ...]) -> str:
        head = [
            "[version] 2.0",
            f"# {self.unit} s {self.format} r 50",
            f"[number of ports] {self.port_count()}",
            f"[number of frequencies] {len(self.record_lines)}",
            f"[reference] {' '.join(map(repr, references))}",
            f"[matrix format] {self.matrix_format}",
            "[network data]",
        ]
        return "\n".join([*head, *self.data, "[end]", ""])


def _is_number(word: str) -> bool:
    try:
        return "_" not in word and isfinite(float(word))
    except ValueError:
        return False


_KEYWORDS: Final[dict[str, Callable[[_Reader, str], None]]] = {
    "version": _Reader.set_version,
    "number of ports": _Reader.set_ports,
    "two-port data order": _Reader.ignore,
    "number of frequencies": _Reader.set_frequencies,
    "number of noise frequencies": _Reader.ignore,
    "reference": _Reader.set_reference,
    "matrix format": _Reader.set_matrix_format,
    "mixed-mode order": _Reader.refuse_mixed_modes,
    "begin information": _Reader.begin_information,
    "end information": _Reader.end_information,
    "network data": _Reader.ignore,
    "noise data": _Reader.end,
    "end": _Reader.end,
}
