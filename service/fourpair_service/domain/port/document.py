"""A port as a document of plain values."""

from __future__ import annotations

from typing import Any

from fourpair_service.domain.port.energy import EnergyResult
from fourpair_service.domain.port.facts import PortFacts
from fourpair_service.domain.port.levels import LevelResult
from fourpair_service.domain.port.negotiation import Settlement
from fourpair_service.domain.port.poe import PoeResult
from fourpair_service.domain.port.reading import PortReading
from fourpair_service.domain.port.registers import RegisterReading
from fourpair_service.domain.port.station import Station
from fourpair_service.domain.port.together import Together
from fourpair_service.domain.port.words import BasePage, ExtendedPage, NextPage
from fourpair_service.domain.verdict_document import rounded

Document = dict[str, Any]


def port_document(reading: PortReading, facts: PortFacts) -> Document:
    """Return a port as a document, numbers rounded to 0.001 of their unit.

    What was not observed is ``None``.
    """
    observation, settlement, meets = reading.observation, reading.settlement, reading.crossing
    partner = observation.partner if observation else None
    return {
        "together": _together(reading.together),
        "port": _station(observation.port, facts) if observation else None,
        "partner": _station(partner, facts) if partner else None,
        "negotiation": _settlement(settlement) if settlement else None,
        "energy_efficient": _energy(reading.energy) if reading.energy else None,
        "crossing": {"state": meets.state.value, "text": meets.text} if meets else None,
        "link": {"runs_at": observation.link} if observation and observation.link_seen else None,
        "levels": [_level(result) for result in reading.levels],
        "poe": _poe(reading.poe) if reading.poe else None,
        "notes": list(reading.notes),
    }


def _together(result: Together) -> Document:
    return {
        "runs_at": result.runs_at,
        "is_certain": result.is_certain,
        "held_back_by": result.held_back_by.value,
        "text": result.text,
        "cable_reaches": result.cable_reaches,
        "port_reaches": result.port_reaches,
        "because": list(result.because),
    }


def _station(station: Station, facts: PortFacts) -> Document:
    known = station.abilities
    return {
        "abilities": None if known is None else list(facts.ordered(known)),
        "base_page": _base_page(station.base_page, facts) if station.base_page else None,
        "next_pages": [_next_page(page) for page in station.next_pages.pages],
        "extended_next_pages": [_extended_page(page) for page in station.extended_pages],
        "registers": [_register(each, facts) for each in station.registers],
        "energy_efficient": _offered(station, facts),
        "negotiates": station.negotiates,
        "duplex": station.duplex,
        "mdi": station.mdi,
    }


def _base_page(page: BasePage, facts: PortFacts) -> Document:
    return {
        "word": f"0x{page.word:04X}",
        "selector": page.selector,
        "abilities": list(facts.ordered(page.abilities)),
        "flags": [name for name in facts.base_flags if name in page.flags],
    }


def _next_page(page: NextPage) -> Document:
    return {
        "word": f"0x{page.word:04X}",
        "kind": "message" if page.is_message else "unformatted",
        "code": page.code,
        "title": page.title,
    }


def _extended_page(page: ExtendedPage) -> Document:
    return {**_next_page(page.page), "word": f"0x{page.word:012X}", "decoded": False}


def _register(reading: RegisterReading, facts: PortFacts) -> Document:
    layout = reading.layout
    return {
        "number": layout.number,
        "title": layout.title,
        "word": f"0x{reading.word:04X}",
        "tells_of": layout.tells_of,
        "abilities": list(facts.ordered(reading.abilities)),
        "energy_efficient": list(facts.applications(reading.energy_efficient)),
        "flags": [name for name in layout.flags if name in reading.flags],
        "unnamed_bits": list(reading.unnamed_bits),
        "source": layout.source,
        "basis": layout.basis.value,
    }


def _offered(station: Station, facts: PortFacts) -> list[str] | None:
    told = station.energy_efficient
    return list(facts.applications([name for name, offered in told.items() if offered])) if told else None


def _energy(result: EnergyResult) -> Document:
    return {"shared": list(result.shared), "used": result.used, "text": result.text}


def _settlement(settlement: Settlement) -> Document:
    return {
        "how": settlement.how.value,
        "agreed": settlement.agreed,
        "candidates": list(settlement.candidates),
        "text": settlement.text,
        "duplex_mismatch": settlement.mismatch.value,
        "duplex_mismatch_text": settlement.mismatch_text,
        "pause": settlement.pause,
    }


def _level(result: LevelResult) -> Document:
    level, transmitter = result.level, result.transmitter
    return {
        "pair": level.pair,
        "signal": level.signal,
        "at": level.at,
        "peak_v": rounded(level.peak_v),
        "finding": result.finding.value,
        "text": result.text,
        "judged_as": transmitter.name if transmitter else None,
        "basis": transmitter.basis.value if transmitter else None,
        "loss_db": rounded(result.loss_db),
        "sent_v": rounded(result.sent_v),
        "arrives_v": rounded(result.arrives_v),
    }


def _poe(result: PoeResult) -> Document:
    return {
        "type": result.type,
        "class": result.power_class,
        "pinouts": list(result.pinouts),
        "on_this_cable": result.on_this_cable,
        "texts": list(result.texts),
        "cautions": list(result.cautions),
    }
