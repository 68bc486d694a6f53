"""The words of auto-negotiation: base page and next pages (IEEE 802.3 28.2.1.2, 28.2.3.4)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from fourpair_service.domain.port.facts import PortFacts

SELECTOR_MASK: Final = 0x1F
IEEE_802_3: Final = 1
CODE_MASK: Final = 0x7FF

NULL_MESSAGE: Final = 1
GIGABIT_MESSAGE: Final = 8
EXTENDED_MESSAGE: Final = 9
ENERGY_MESSAGE: Final = 10
LOW_WORD: Final = 0xFFFF

REGISTERS_TELL: Final = "registers 7.32 and 7.33 tell the same, or name them in advertised"


def _set(word: int, bits: Mapping[str, int]) -> frozenset[str]:
    return frozenset(name for name, bit in bits.items() if word >> bit & 1)


@dataclass(frozen=True, slots=True)
class BasePage:
    """A base page in words.

    Attributes:
        word: as received, 0 to 0xFFFF.
        selector: 1 is IEEE 802.3.
        abilities: such as ``"100BASE-TX/full"``.
        flags: ``pause``, ``asymmetric_pause``, ``extended_next_page``,
            ``remote_fault``, ``acknowledge``, ``next_page``.
    """

    word: int
    selector: int
    abilities: frozenset[str]
    flags: frozenset[str]


@dataclass(frozen=True, slots=True)
class NextPage:
    """A next page in words.

    Attributes:
        code: message code, or the eleven bits of an unformatted page.
        title: of the message; ``None`` for an unformatted page or an unknown code.
        flags: ``toggle``, ``acknowledge_2``, ``message``, ``acknowledge``, ``next_page``.
    """

    word: int
    code: int
    title: str | None
    flags: frozenset[str]

    @property
    def is_message(self) -> bool:
        """Whether the page is a message and not what follows one."""
        return "message" in self.flags


@dataclass(frozen=True, slots=True)
class NextPages:
    """All next pages of one port and what they add.

    Attributes:
        abilities: that the pages name.
        energy_efficient: applications that may pause while idle; ``None`` where no page tells.
        notes: what is odd or cannot be read.
    """

    pages: tuple[NextPage, ...]
    abilities: frozenset[str]
    notes: tuple[str, ...]
    energy_efficient: frozenset[str] | None = None


@dataclass(frozen=True, slots=True)
class ExtendedPage:
    """An extended next page of 48 bits, of which the low 16 are laid out as a next page (memory).

    What the 32 bits above mean is published in no source that was at hand: they are
    given as received and not decoded.
    """

    word: int
    page: NextPage


def decode_base_page(word: int, facts: PortFacts) -> BasePage:
    """Return what a base page says; abilities only where it is one of IEEE 802.3.

    Args:
        word: 0 to 0xFFFF, bit 0 sent first.
        facts: with the bits.
    """
    selector = word & SELECTOR_MASK
    abilities = _set(word, facts.base_abilities) if selector == IEEE_802_3 else frozenset()
    return BasePage(word, selector, abilities, _set(word, facts.base_flags))


def decode_next_pages(words: Sequence[int], facts: PortFacts) -> NextPages:
    """Return what next pages say, in the order in which they were received.

    The unformatted pages after a message belong to it. Multi-gigabit abilities
    stand in an extended next page of 48 bits, which 16-bit words do not hold.
    """
    pages = tuple(_next_page(word, facts) for word in words)
    abilities: set[str] = set()
    notes = list(_oddities(pages))
    energy_efficient = None
    for message, first in _messages(pages):
        if message.code == GIGABIT_MESSAGE and first is not None:
            abilities |= _set(first.word, facts.gigabit_abilities)
        if message.code == GIGABIT_MESSAGE and first is None:
            notes.append("The message of 1000BASE-T stands without the page with its abilities.")
        if message.code == EXTENDED_MESSAGE:
            notes.append(
                "Multi-gigabit abilities follow in an extended next page, which 16-bit words do not hold: "
                f"{REGISTERS_TELL}."
            )
        if message.code == ENERGY_MESSAGE and first is not None:
            energy_efficient = _set(first.word, facts.energy_efficient_page)
    return NextPages(pages, frozenset(abilities), tuple(notes), energy_efficient)


def decode_extended_pages(
    words: Sequence[int], facts: PortFacts
) -> tuple[tuple[ExtendedPage, ...], tuple[str, ...]]:
    """Return extended next pages as far as their layout is known, and what is to be said of them.

    Args:
        words: of 48 bits, 0 to 2^48 - 1.
        facts: with the bits.
    """
    pages = tuple(ExtendedPage(word, _next_page(word & LOW_WORD, facts)) for word in words)
    notes = [
        f"Extended next page 0x{page.word:012X} given; not decoded: no published layout here. {REGISTERS_TELL.capitalize()}."
        for page in pages
    ]
    return pages, tuple(notes)


def _next_page(word: int, facts: PortFacts) -> NextPage:
    flags, code = _set(word, facts.next_flags), word & CODE_MASK
    title = facts.message_codes.get(code) if "message" in flags else None
    return NextPage(word, code, title, flags)


def _messages(pages: tuple[NextPage, ...]) -> Iterator[tuple[NextPage, NextPage | None]]:
    """Yield each message with the first page that follows it, if that is no message."""
    for page, after in zip(pages, (*pages[1:], None), strict=False):
        if page.is_message:
            yield page, None if after is None or after.is_message else after


def _oddities(pages: tuple[NextPage, ...]) -> Iterator[str]:
    for page in pages:
        if page.is_message and page.title is None:
            yield f"Message code {page.code} of 0x{page.word:04X} is not known."
    if pages and not pages[0].is_message:
        yield f"The first next page, 0x{pages[0].word:04X}, is no message: pages before it are missing."
    for before, after in pairwise(pages):
        if ("toggle" in before.flags) == ("toggle" in after.flags):
            yield (
                f"0x{before.word:04X} and 0x{after.word:04X} have the same toggle bit: "
                "a page is missing between them, or one was sent again."
            )
