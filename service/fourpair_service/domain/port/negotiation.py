"""What two ports settle on: priority, parallel detection, duplex mismatch, flow control."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fourpair_service.domain.port.facts import PortFacts, application, is_full
from fourpair_service.domain.port.observation import PortObservation, forced_application
from fourpair_service.domain.port.station import Station


class How(StrEnum):
    """How two ports come to a speed."""

    NEGOTIATED = "negotiated"
    PARALLEL_DETECTION = "parallel_detection"
    FORCED = "forced"
    NOT_KNOWN = "not_known"


class Mismatch(StrEnum):
    """Whether one side runs half and the other full duplex."""

    FOUND = "found"
    POSSIBLE = "possible"
    NONE = "none"
    NOT_KNOWN = "not_known"


@dataclass(frozen=True, slots=True)
class Settlement:
    """What two ports settle on, before any cable is asked.

    Attributes:
        agreed: such as ``"1000BASE-T/full"``; ``None``: nothing, or not known.
        candidates: the abilities that may come to be used, highest priority
            first: shared ones, else those of this port, else the link that was seen.
        fails: both are known and have nothing in common.
        pause: ``none``, ``symmetric``, ``transmit``, ``receive``; ``None`` where not known.
    """

    how: How
    agreed: str | None
    candidates: tuple[str, ...]
    fails: bool
    text: str
    mismatch: Mismatch
    mismatch_text: str | None
    pause: str | None


# Speeds that come up without auto-negotiation; the others need it to choose who
# gives the clock (IEEE 802.3 28.2.3.1, 40.5.1, memory).
WITHOUT_NEGOTIATION: Final = ("10BASE-T", "100BASE-TX", "100BASE-T4")

SYMPTOMS = (
    "The half-duplex side counts late collisions, the full-duplex side checksum errors and fragments, and "
    "the link is slow under load. Set both ends to negotiate, or both to the same fixed speed and duplex."
)
NO_SIGNAL = (
    "Nothing was seen on the wires. The port is off, pauses between two attempts, or saves energy: "
    "that says nothing about its abilities."
)


def flow_control(port: Station, partner: Station, facts: PortFacts) -> str | None:
    """Return which side obeys PAUSE, as this port sees it; ``None`` where a base page is missing."""
    if port.base_page is None or partner.base_page is None:
        return None
    own, other = (
        "".join(str(int(name in page.flags)) for name in ("pause", "asymmetric_pause"))
        for page in (port.base_page, partner.base_page)
    )
    return next(
        rule.result
        for rule in facts.pause_rules
        if _matches(rule.port, own) and _matches(rule.partner, other)
    )


def _matches(pattern: str, bits: str) -> bool:
    return all(p in ("*", b) for p, b in zip(pattern, bits, strict=True))


NO_SHARED_REGISTER = (
    "The registers that were read show no ability that both ends have; what both can do below that was "
    "not observed."
)


@dataclass(frozen=True, slots=True)
class _Speed:
    """What is known of the speed; ``known`` are the candidates."""

    how: How
    text: str
    known: tuple[str, ...] = ()
    is_agreed: bool = False
    fails: bool = False


def settle(observation: PortObservation, facts: PortFacts) -> Settlement:
    """Return what the port and its partner settle on, or the port alone may reach."""
    port, partner = observation.port, observation.partner or Station()
    if port.negotiates is False or partner.negotiates is False:
        speed = _without_negotiation(observation, partner)
    else:
        speed = _by_priority(observation, partner, facts)
    agreed = speed.known[0] if speed.is_agreed else None
    mismatch, mismatch_text = _mismatch(port, partner, agreed, speed.how)
    full = agreed is not None and is_full(agreed)
    seen = () if observation.link is None else (observation.link,)
    return Settlement(
        speed.how,
        agreed,
        speed.known or seen,
        speed.fails,
        speed.text,
        mismatch,
        mismatch_text,
        flow_control(port, partner, facts) if full else None,
    )


def _by_priority(observation: PortObservation, partner: Station, facts: PortFacts) -> _Speed:
    own, other = observation.port.abilities, partner.abilities
    if own is None or other is None:
        return _one_side(observation, facts)
    shared = facts.ordered(own & other)
    if not shared and (observation.port.is_partly_known or partner.is_partly_known):
        return _Speed(How.NOT_KNOWN, NO_SHARED_REGISTER)
    if not shared:
        text = "The two ports have no ability in common: no link comes up."
        return _Speed(How.NEGOTIATED, text, fails=True)
    partly = observation.port.is_partly_known or partner.is_partly_known
    text = f"{'Of what registers tell, both' if partly else 'Both'} ports share {in_words(shared[0])} as their highest ability."
    return _Speed(How.NEGOTIATED, text, shared, is_agreed=True)


def _one_side(observation: PortObservation, facts: PortFacts) -> _Speed:
    known = facts.ordered(observation.port.abilities or frozenset())
    if known:
        text = f"The port offers at most {in_words(known[0])}; what the other end offers was not observed."
        return _Speed(How.NOT_KNOWN, text, known)
    silent = observation.signals is not None and observation.signals.is_silent
    return _Speed(How.NOT_KNOWN, NO_SIGNAL if silent else "What the port can do was not observed.")


def _without_negotiation(observation: PortObservation, partner: Station) -> _Speed:
    port = observation.port
    if port.negotiates is False and partner.negotiates is False:
        return _both_fixed(observation, partner)
    if port.negotiates is False:
        return _detected("The port", forced_application(port, observation.signals), partner)
    return _detected("The other end", forced_application(partner, None), port)


def _detected(who: str, speed: str | None, other: Station) -> _Speed:
    """Return what an end that negotiates makes of one that does not (IEEE 802.3 28.2.3.1)."""
    if speed is None:
        return _Speed(How.NOT_KNOWN, f"{who} does not negotiate, and its speed was not observed.")
    if speed not in WITHOUT_NEGOTIATION:
        return _needs_negotiation(speed, How.PARALLEL_DETECTION)
    agreed = f"{speed}/half"
    if other.abilities is not None and agreed not in other.abilities:
        text = f"{who} is fixed to {speed}, and the opposite end does not offer that with half duplex."
        return _Speed(How.PARALLEL_DETECTION, text, fails=True)
    text = (
        f"{who} sends no bursts of auto-negotiation, only {speed}: an end that negotiates detects the speed "
        "and runs half duplex, whatever is set at the other."
    )
    return _Speed(How.PARALLEL_DETECTION, text, (agreed,), is_agreed=True)


def _needs_negotiation(speed: str, how: How) -> _Speed:
    text = f"{speed} needs auto-negotiation at both ends, and one has none: no link comes up."
    return _Speed(how, text, fails=True)


def _both_fixed(observation: PortObservation, partner: Station) -> _Speed:
    own, other = forced_application(observation.port, observation.signals), forced_application(partner, None)
    if own is None or other is None:
        return _Speed(How.FORCED, "Neither end negotiates, and the speed of both was not observed.")
    if own != other:
        text = f"One end is fixed to {own}, the other to {other}: no link comes up."
        return _Speed(How.FORCED, text, fails=True)
    if own not in WITHOUT_NEGOTIATION:
        return _needs_negotiation(own, How.FORCED)
    duplex = "full" if observation.port.duplex == partner.duplex == "full" else "half"
    return _Speed(How.FORCED, f"Both ends are fixed to {own}.", (f"{own}/{duplex}",), is_agreed=True)


def _mismatch(port: Station, partner: Station, agreed: str | None, how: How) -> tuple[Mismatch, str | None]:
    if port.duplex and partner.duplex:
        if port.duplex == partner.duplex:
            return Mismatch.NONE, None
        return (
            Mismatch.FOUND,
            f"The port runs {port.duplex} duplex, the other end {partner.duplex}. {SYMPTOMS}",
        )
    if how is not How.PARALLEL_DETECTION or agreed is None:
        return (Mismatch.NONE if how is How.NEGOTIATED and agreed else Mismatch.NOT_KNOWN), None
    forced = port if port.negotiates is False else partner
    if forced.duplex == "half":
        return Mismatch.NONE, None
    if forced.duplex == "full":
        return Mismatch.FOUND, f"One end is fixed to full duplex, the other falls to half. {SYMPTOMS}"
    return (
        Mismatch.POSSIBLE,
        f"If the end that does not negotiate is fixed to full duplex, the other falls to half. {SYMPTOMS}",
    )


def in_words(ability: str) -> str:
    """Return an ability for a sentence.

    >>> in_words("1000BASE-T/full")
    '1000BASE-T full duplex'
    """
    return f"{application(ability)} {'full' if is_full(ability) else 'half'} duplex"
