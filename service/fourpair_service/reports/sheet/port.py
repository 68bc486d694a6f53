"""What a sheet says of a live port: its speed with this cable, what holds that back, levels, power."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from fourpair_service.reports.language import Language
from fourpair_service.reports.sheet.model import Document

FULL: Final = "/full"
# Whether the duplex of two ends fits, where that is a matter to speak of.
MISMATCHES: Final = ("found", "possible")
# How two ports come to a speed, where it is not the usual way.
UNUSUAL: Final = ("parallel_detection", "forced")


def observed_port(assessment: Document | None) -> Document | None:
    """Return the reading of a port, ``None`` where none was observed."""
    port: Document | None = (assessment or {}).get("port")
    return None if port is None or port["port"] is None else port


def device_holds_back(assessment: Document | None) -> bool:
    """Return whether a device, and not the cable, holds back what was observed."""
    port = observed_port(assessment)
    return port is not None and port["together"]["held_back_by"] == "port"


def port_lines(assessment: Document | None, words: Language) -> list[str]:
    """Return the sentences on a port, the speed first; none where no port was observed."""
    port = observed_port(assessment)
    if port is None:
        return []
    together = port["together"]
    return [
        f"{_speed(together, words)} {held_by(port, words)}",
        *_reaches(together, words),
        *_offers(port, words),
        *_settling(port, words),
        *_seen(port.get("link"), words),
        *_levels(port["levels"], words),
        *_power(port["poe"], words),
    ]


def held_by(port: Document, words: Language) -> str:
    """Return what holds cable and port back, and of the two devices which one where that is known."""
    who, negotiation, own = port["together"]["held_back_by"], port["negotiation"], port["port"]["abilities"]
    offers_more = bool(own and negotiation and negotiation["agreed"]) and own[0] != negotiation["agreed"]
    return words.say("port.held_by_" + ("partner" if who == "port" and offers_more else who))


def in_words(ability: str, words: Language) -> str:
    """Return an ability as one says it.

    >>> from fourpair_service.reports.language import language
    >>> in_words("1000BASE-T/full", language("en")), in_words("10BASE-T/half", language("en"))
    ('1000BASE-T full duplex', '10BASE-T half duplex')
    """
    name, _, duplex = ability.partition("/")
    return words.say(f"port.{duplex}_duplex", name=name) if duplex else name


def _speed(together: Document, words: Language) -> str:
    if together["runs_at"] is None:
        # What is certain and has no speed: that no link comes up.
        return words.say("port.no_link" if together["is_certain"] else "port.no_speed")
    name = "port.runs" if together["is_certain"] else "port.may_run"
    return words.say(name, speed=in_words(together["runs_at"], words))


def _reaches(together: Document, words: Language) -> Iterator[str]:
    """Yield how far each goes alone, where both are known."""
    if together["cable_reaches"] and together["port_reaches"]:
        yield words.say("port.reaches", cable=together["cable_reaches"], port=together["port_reaches"])


def _offers(port: Document, words: Language) -> Iterator[str]:
    for end in ("port", "partner"):
        abilities = (port[end] or {}).get("abilities")
        if abilities:
            yield words.say(f"port.{end}_offers", names=", ".join(_fullest(abilities, words)))


def _fullest(abilities: Sequence[str], words: Language) -> list[str]:
    """Return each speed once; that it has full duplex goes without saying."""
    full = {ability.removesuffix(FULL) for ability in abilities if ability.endswith(FULL)}
    return [
        in_words(ability, words) if ability.partition("/")[0] not in full else ability.removesuffix(FULL)
        for ability in abilities
        if ability.endswith(FULL) or ability.partition("/")[0] not in full
    ]


def _settling(port: Document, words: Language) -> Iterator[str]:
    """Yield what is out of the ordinary in how the two ends come to a speed."""
    negotiation, crossing = port["negotiation"], port["crossing"]
    if negotiation and negotiation["how"] in UNUSUAL:
        yield words.say(f"port.{negotiation['how']}")
    if negotiation and negotiation["duplex_mismatch"] in MISMATCHES:
        yield words.say(f"port.mismatch_{negotiation['duplex_mismatch']}")
    if crossing and crossing["state"] == "does_not_fit":
        yield words.say("port.does_not_fit")


def _seen(link: Document | None, words: Language) -> Iterator[str]:
    if link is not None:
        yield (
            words.say("port.seen_at", speed=in_words(link["runs_at"], words))
            if link["runs_at"]
            else words.say("port.seen_down")
        )


def _levels(levels: Sequence[Document], words: Language) -> Iterator[str]:
    """Yield what the levels say, the pairs of one finding together."""
    by_finding: dict[str, list[str]] = {}
    for level in levels:
        by_finding.setdefault(level["finding"], []).append(_level(level, words))
    for finding, pairs in by_finding.items():
        what = words.say("port.level", pairs=", ".join(pairs))
        yield f"{what}: {words.say(f'level.{finding}')}"


def _level(level: Document, words: Language) -> str:
    """Return a pair and its voltages, of which one may have been worked out from the other."""
    known = [
        words.say(f"port.{name}", volts=words.number(level[name], 2))
        for name in ("sent_v", "arrives_v")
        if level[name] is not None
    ]
    shown = known or [words.say("port.found_v", volts=words.number(level["peak_v"], 2))]
    return words.say("port.level_of_pair", pair=level["pair"], volts=", ".join(shown))


def _power(poe: Document | None, words: Language) -> Iterator[str]:
    if poe is None:
        return
    yield from map(words.phrase, poe["texts"])
    if poe["on_this_cable"] is not None:
        yield words.say(f"port.power_{poe['on_this_cable']}")
