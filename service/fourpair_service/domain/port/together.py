"""One statement on cable and port together: what they will run at, and what holds them back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from fourpair_service.domain.port.crossing import Crossing, CrossingResult
from fourpair_service.domain.port.facts import PortFacts, application
from fourpair_service.domain.port.levels import LevelFinding, LevelResult
from fourpair_service.domain.port.negotiation import Mismatch, Settlement, in_words
from fourpair_service.domain.port.observation import PortObservation
from fourpair_service.domain.support import Support

# From this rate on all four pairs carry data, while negotiation needs 12 and 36 alone.
ALL_PAIRS_FROM_MBPS: Final = 1000


class Holds(StrEnum):
    """What holds a link back."""

    CABLE = "cable"
    PORT = "port"
    BOTH = "both"
    NEITHER = "neither"
    NOT_KNOWN = "not_known"


@dataclass(frozen=True, slots=True)
class Together:
    """What a cable and a port do together.

    Attributes:
        runs_at: an ability (with a port) or an application (without one),
            ``None`` where nothing runs or that is not known.
        is_certain: whether the cable supports it without conditions; ``False``
            where the cable was not tested.
        held_back_by: what keeps it from more.
        cable_reaches, port_reaches: the highest application of each alone.
        because: further sentences.
    """

    runs_at: str | None
    is_certain: bool
    held_back_by: Holds
    text: str
    cable_reaches: str | None
    port_reaches: str | None
    because: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Cable:
    """What the cable reaches; rates in Mb/s, 0 where nothing."""

    reaches: str | None
    may_reach: str | None
    is_tested: bool


def together(
    observation: PortObservation | None,
    settlement: Settlement | None,
    applications: Mapping[str, str],
    facts: PortFacts,
    *,
    crossing: CrossingResult | None = None,
    levels: Sequence[LevelResult] = (),
) -> Together:
    """Return the statement on cable and port.

    Args:
        observation: of the port, ``None`` where none was seen.
        settlement: of the port, likewise.
        applications: by name, the state of the cable for it (a ``Support``);
            empty where no cable was tested.
        facts: rates.
        crossing: whether transmitters meet receivers.
        levels: judged levels.
    """
    cable = _cable(applications, facts)
    if observation is None or settlement is None:
        return _cable_alone(cable)
    because = _because(observation, settlement, crossing, levels)
    unmet = crossing is not None and crossing.state is Crossing.DOES_NOT_FIT
    if observation.link is None and (settlement.fails or unmet):
        why = settlement.text if settlement.fails else "Transmitter meets transmitter: no link comes up."
        return Together(None, True, Holds.PORT, why, cable.reaches, None, because)
    if not settlement.candidates:
        return _port_unknown(cable, settlement, because)
    if not cable.is_tested:
        return _port_alone(observation, settlement, because)
    whose = _whose_limit(observation, settlement, facts)
    result = _both(cable, settlement.candidates, applications, facts, because, levels, whose)
    return _beside_what_was_seen(result, observation.link)


def _beside_what_was_seen(result: Together, link: str | None) -> Together:
    """Return a statement without its certainty where the link was seen to run otherwise."""
    if link is None or result.runs_at is None or link == result.runs_at:
        return result
    # What keeps it there is neither in the cable nor in what the ports offer.
    holds = Holds.NOT_KNOWN if result.held_back_by is Holds.NEITHER else result.held_back_by
    text = f"{result.text} It was seen at {in_words(link)}, though: look for a setting at either end."
    return replace(result, is_certain=False, held_back_by=holds, text=text)


def _cable(applications: Mapping[str, str], facts: PortFacts) -> _Cable:
    def highest(states: set[str]) -> str | None:
        names = [name for name, state in applications.items() if state in states and name in facts.rate_mbps]
        return max(names, key=lambda name: facts.rate_mbps[name], default=None)

    tested = any(state != Support.NOT_EVALUATED for state in applications.values())
    return _Cable(
        highest({Support.SUPPORTED.value}),
        highest({Support.SUPPORTED.value, Support.CONDITIONAL.value}),
        tested,
    )


def _cable_alone(cable: _Cable) -> Together:
    if not cable.is_tested:
        text = "Neither the cable was tested nor a port seen."
    elif cable.reaches is None:
        text = "The cable surely carries none of the applications that were looked at; no port was seen."
    else:
        text = f"The cable carries up to {cable.reaches}; no port was seen."
    if cable.may_reach != cable.reaches:
        text += f" Under conditions it carries {cable.may_reach}."
    certain = cable.reaches is not None
    return Together(cable.reaches, certain, Holds.NOT_KNOWN, text, cable.reaches, None, ())


def _port_unknown(cable: _Cable, settlement: Settlement, because: tuple[str, ...]) -> Together:
    text = settlement.text
    if cable.is_tested:
        text += f" The cable carries {'up to ' + cable.reaches if cable.reaches else 'nothing for sure'}."
    return Together(None, False, Holds.NOT_KNOWN, text, cable.reaches, None, because)


def _port_alone(observation: PortObservation, settlement: Settlement, because: tuple[str, ...]) -> Together:
    best = settlement.candidates[0]
    runs = best if observation.link is None else observation.link
    reach = "The two ports will settle on" if settlement.agreed else "The port can run at up to"
    said = reach if observation.link is None else "The link runs at"
    text = f"{said} {in_words(runs)}; the cable was not tested."
    return Together(runs, False, Holds.NOT_KNOWN, text, None, application(best), because)


def _both(
    cable: _Cable,
    candidates: tuple[str, ...],
    applications: Mapping[str, str],
    facts: PortFacts,
    because: tuple[str, ...],
    levels: Sequence[LevelResult],
    whose: str,
) -> Together:
    best, wanted = candidates[0], application(candidates[0])
    state = applications.get(wanted, Support.NOT_EVALUATED.value)
    if state == Support.NOT_EVALUATED:
        text = f"The port can run at {in_words(best)}; whether the cable carries that was not evaluated."
        return Together(best, False, Holds.NOT_KNOWN, text, cable.reaches, wanted, because)
    if state == Support.SUPPORTED:
        return _fits(cable, best, facts, because, levels, whose)
    surely = next((a for a in candidates if applications.get(application(a)) == Support.SUPPORTED), None)
    if state == Support.CONDITIONAL:
        text = (
            f"This cable and this port together may run at {in_words(best)}, which the cable carries under "
            f"conditions; {f'surely at {in_words(surely)}' if surely else 'nothing is sure'}. What holds it "
            "back is the cable."
        )
        return Together(best, False, Holds.CABLE, text, cable.reaches, wanted, because)
    return _cable_holds(cable, best, surely, facts, because)


_HOLDING: Final = {
    Holds.PORT: "what holds it back is {}",
    Holds.CABLE: "what holds it back is the cable",
    Holds.BOTH: "both {} and the cable hold it back",
    Holds.NEITHER: "neither holds the other back",
}

# Whom a level that is too weak to be received speaks against.
_BLAMED: Final = {
    LevelFinding.DEVICE_SENDS_TOO_LITTLE: {Holds.PORT},
    LevelFinding.CABLE_EATS_TOO_MUCH: {Holds.CABLE},
    LevelFinding.BOTH_TOO_WEAK: {Holds.PORT, Holds.CABLE},
}


def _whose_limit(observation: PortObservation, settlement: Settlement, facts: PortFacts) -> str:
    """Return which port keeps the speed down, for a sentence."""
    own = facts.ordered(observation.port.abilities or frozenset())
    lower = settlement.agreed is not None and bool(own) and own[0] != settlement.agreed
    return "the port at the other end" if lower else "the port"


def _fits(
    cable: _Cable,
    best: str,
    facts: PortFacts,
    because: tuple[str, ...],
    levels: Sequence[LevelResult],
    whose: str,
) -> Together:
    """Return the statement where the cable supports what the ports want."""
    wanted = application(best)
    weak = [result for result in levels if result.is_too_weak]
    holding = {who for result in weak for who in _BLAMED.get(result.finding, set())}
    if cable.reaches is not None and facts.rate_mbps[cable.reaches] > facts.rate_mbps[wanted]:
        holding.add(Holds.PORT)
    holds = Holds.BOTH if len(holding) > 1 else next(iter(holding), Holds.NEITHER)
    doubt = ", if the weak level on a pair lets it" if weak else ""
    text = f"This cable and this port together will run at {in_words(best)}{doubt}; {_HOLDING[holds].format(whose)}."
    return Together(best, not weak, holds, text, cable.reaches, wanted, because)


def _cable_holds(
    cable: _Cable, best: str, surely: str | None, facts: PortFacts, because: tuple[str, ...]
) -> Together:
    wanted = application(best)
    if surely is None:
        text = (
            f"The port wants {in_words(best)}, and the cable surely carries nothing that the port can do; "
            "what holds it back is the cable."
        )
        return Together(None, True, Holds.CABLE, text, cable.reaches, wanted, because)
    trains = (
        ", since negotiation needs pairs 12 and 36 alone, and then fail to train or run with errors"
        if facts.rate_mbps[wanted] >= ALL_PAIRS_FROM_MBPS
        else " and run with errors"
    )
    text = (
        f"This cable and this port together will run at {in_words(surely)}; what holds it back is the cable. "
        f"Left to themselves the ports settle on {wanted}{trains}: limit a port, or repair the cable."
    )
    return Together(surely, True, Holds.CABLE, text, cable.reaches, wanted, because)


_ODD: Final = (*_BLAMED, LevelFinding.DEVICE_SENDS_TOO_MUCH, LevelFinding.CANNOT_TELL)


def _because(
    observation: PortObservation,
    settlement: Settlement,
    crossing: CrossingResult | None,
    levels: Sequence[LevelResult],
) -> tuple[str, ...]:
    sentences = [settlement.text]
    if settlement.mismatch in (Mismatch.FOUND, Mismatch.POSSIBLE) and settlement.mismatch_text:
        sentences.append(settlement.mismatch_text)
    if crossing and crossing.state is Crossing.DOES_NOT_FIT:
        sentences.append(crossing.text)
    sentences += [result.text for result in levels if result.finding in _ODD]
    return (*sentences, *_link_sentences(observation, settlement))


def _link_sentences(observation: PortObservation, settlement: Settlement) -> tuple[str, ...]:
    if not observation.link_seen:
        return ()
    if observation.link is None:
        return ("No link was up when the port was looked at.",)
    if observation.link not in settlement.candidates[:1]:
        return (
            f"The link was seen at {in_words(observation.link)} and not at "
            f"{in_words(settlement.candidates[0])}: "
            "a setting, the other end or a port that stepped down decides.",
        )
    return (f"The link was seen at {in_words(observation.link)}.",)
