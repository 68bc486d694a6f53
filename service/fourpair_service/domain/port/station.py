"""One of the two ports of a link, put together from everything that tells of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any, Final, NamedTuple

from fourpair_service.domain.port.facts import PortFacts
from fourpair_service.domain.port.registers import RegisterReading, register_notes
from fourpair_service.domain.port.words import (
    BasePage,
    ExtendedPage,
    NextPages,
    decode_base_page,
    decode_extended_pages,
    decode_next_pages,
)

NO_PAGES: Final = NextPages((), frozenset(), ())


@dataclass(frozen=True, slots=True)
class Station:
    """One of the two ports of a link.

    Attributes:
        abilities: from its list, its words and the registers of both ends; ``None`` where nothing told.
        is_partly_known: only registers told, and none of 10 and 100 Mb/s is among them.
        energy_efficient: by application, whether it may pause while idle; what was not told is absent.
        base_page, next_pages, extended_pages: decoded, where words were given.
        registers: of this end, decoded.
        negotiates: whether it negotiates; ``None`` where that is not known.
        duplex: ``half`` or ``full`` as set or running; ``None`` where not known.
        mdi: ``auto``, ``mdi`` or ``mdi_x``; ``None`` where not known.
        notes: what is odd in what it says.
    """

    abilities: frozenset[str] | None = None
    is_partly_known: bool = False
    energy_efficient: Mapping[str, bool] = field(default_factory=dict)
    base_page: BasePage | None = None
    next_pages: NextPages = NO_PAGES
    extended_pages: tuple[ExtendedPage, ...] = ()
    registers: tuple[RegisterReading, ...] = ()
    negotiates: bool | None = None
    duplex: str | None = None
    mdi: str | None = None
    notes: tuple[str, ...] = ()


class _Told(NamedTuple):
    """What one source tells: of which abilities it speaks at all, and which of them are there."""

    by: str
    speaks_of: frozenset[str]
    abilities: frozenset[str]


def station(
    document: Mapping[str, Any],
    facts: PortFacts,
    negotiates: bool | None,
    own: tuple[RegisterReading, ...] = (),
    other: tuple[RegisterReading, ...] = (),
) -> Station:
    """Return one end of a link.

    Args:
        document: its part of the measurement document; empty where only the other end told of it.
        facts: with the bits of the words.
        negotiates: whether it does, as stated or as seen.
        own: registers read at this end.
        other: registers read at the other end.
    """
    word = document.get("ability_word")
    page = None if word is None else decode_base_page(word, facts)
    pages = decode_next_pages(document.get("next_pages", ()), facts)
    extended, extended_notes = decode_extended_pages(document.get("extended_next_pages", ()), facts)
    named = frozenset(document["advertised"]) if "advertised" in document else None
    telling = [each for each in own if each.layout.tells_of == "own"]
    heard = [each for each in other if each.layout.tells_of == "other"]
    sources = [*_from_words(page, named, facts), *_from_registers(telling, heard)]
    whole = page is not None or named is not None
    told = pages.abilities.union(*(source.abilities for source in sources))
    return Station(
        told if whole or pages.pages or sources else None,
        bool(sources) and not whole,
        _energy_efficient(pages, [*telling, *heard]),
        page,
        pages,
        extended,
        own,
        negotiates,
        document.get("duplex"),
        document.get("mdi"),
        (
            *_page_notes(page, pages, extended, whole=named is not None),
            *pages.notes,
            *extended_notes,
            *register_notes(own),
            *_differences(sources, facts),
        ),
    )


def _from_words(page: BasePage | None, named: frozenset[str] | None, facts: PortFacts) -> Iterator[_Told]:
    if page is not None:
        yield _Told(f"the word 0x{page.word:04X}", frozenset(facts.base_abilities), page.abilities)
    if named is not None:
        yield _Told("the list of abilities", frozenset(facts.priority), named)


def _from_registers(own: Iterable[RegisterReading], other: Iterable[RegisterReading]) -> Iterator[_Told]:
    for whose, registers in (("", own), (" of the other end", other)):
        for each in registers:
            if each.layout.abilities:
                by = f"register {each.layout.number}{whose} (0x{each.word:04X})"
                yield _Told(by, frozenset(each.layout.abilities), each.abilities)


def _energy_efficient(pages: NextPages, registers: Iterable[RegisterReading]) -> dict[str, bool]:
    told = dict.fromkeys(pages.energy_efficient or (), True)
    for each in registers:
        told |= {name: name in each.energy_efficient for name in each.layout.energy_efficient}
    return told


def _page_notes(
    page: BasePage | None, pages: NextPages, extended: tuple[ExtendedPage, ...], *, whole: bool
) -> Iterator[str]:
    if page is None:
        return
    announced, given = "next_page" in page.flags, bool(pages.pages or extended)
    if page.selector != 1:
        yield (
            f"The selector of 0x{page.word:04X} is {page.selector}, not 1 (IEEE 802.3): "
            "its bits are not abilities of Ethernet."
        )
    if "remote_fault" in page.flags:
        yield "It signals a remote fault: it sees no good signal, or is set to say so."
    if given and not announced:
        yield f"0x{page.word:04X} announces no next page, yet there are some: words of two attempts?"
    if announced and not given and not whole:
        yield (
            f"0x{page.word:04X} announces next pages, and none was given: abilities from 1000BASE-T up "
            "may be missing here."
        )


def _differences(sources: Iterable[_Told], facts: PortFacts) -> Iterator[str]:
    for first, second in combinations(sources, 2):
        both = first.speaks_of & second.speaks_of
        differing = facts.ordered((first.abilities ^ second.abilities) & both)
        if differing:
            by = f"{first.by} and {second.by}"
            yield f"{by[0].upper()}{by[1:]} differ on {', '.join(differing)}."
