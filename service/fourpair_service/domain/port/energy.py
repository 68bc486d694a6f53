"""Energy-efficient Ethernet: whether two ports may pause while their link is idle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fourpair_service.domain.port.facts import PortFacts, application, is_full
from fourpair_service.domain.port.station import Station


@dataclass(frozen=True, slots=True)
class EnergyResult:
    """What two ports may save.

    Attributes:
        shared: applications that both offer it for, the fastest first.
        used: whether the speed that the two settle on is among them; ``None`` where that is not known.
        text: a sentence or two.
    """

    shared: tuple[str, ...]
    used: bool | None
    text: str


QUIET = "A line that falls silent for moments is then no fault."


def energy_efficient(
    port: Station, partner: Station | None, agreed: str | None, facts: PortFacts
) -> EnergyResult | None:
    """Return what two ports may save, ``None`` where neither told.

    Args:
        port: this end.
        partner: the other one, ``None`` where nothing is known of it.
        agreed: the ability that they settle on, ``None`` where not known.
        facts: rates.
    """
    own, other = port.energy_efficient, partner.energy_efficient if partner else {}
    if not own and not other:
        return None
    if not own or not other:
        offers = facts.applications([name for name, offered in (own or other).items() if offered])
        whose = "this port" if own else "the other end"
        text = f"Energy-efficient Ethernet is offered by {whose} for {_listed(offers)}; of the opposite end that is not known."
        return EnergyResult((), None, text)
    shared = facts.applications([name for name in own if own[name] and other.get(name)])
    text = f"Both ends offer energy-efficient Ethernet for {_listed(shared)}."
    used = _used(own, other, agreed)
    if used is not None and agreed is not None:
        speed = application(agreed)
        text += (
            f" At {speed} the link may pause while it is idle. {QUIET}"
            if used
            else f" At {speed} the link stays awake."
        )
    return EnergyResult(shared, used, text)


def _used(own: Mapping[str, bool], other: Mapping[str, bool], agreed: str | None) -> bool | None:
    if agreed is None:
        return None
    if not is_full(agreed):
        # Pausing needs full duplex (IEEE 802.3 clause 78, memory).
        return False
    answers = [told.get(application(agreed)) for told in (own, other)]
    return False if False in answers else None if None in answers else True


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names) if names else "no speed"
