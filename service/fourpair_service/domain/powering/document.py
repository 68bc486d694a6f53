"""Powering as a document of plain values."""

from __future__ import annotations

from typing import Any

from fourpair_service.domain.powering.classes import ClassResult, Feed
from fourpair_service.domain.powering.facts import HeatingFacts
from fourpair_service.domain.powering.heating import bundle_rise_c
from fourpair_service.domain.powering.power import Powering, TypeResult
from fourpair_service.domain.powering.resistance import PAIRSETS, LinkResistance
from fourpair_service.domain.powering.unbalance import Unbalance
from fourpair_service.domain.verdict_document import rounded

Document = dict[str, Any]


def powering_document(powering: Powering, heating: HeatingFacts) -> Document:
    """Return powering as a document, numbers rounded to 0.001 of their unit."""
    return {
        "highest_class": powering.highest_class,
        "resistance": _resistance(powering.resistance),
        "classes": [_class(result, heating) for result in powering.classes.values()],
        "types": [_type(result) for result in powering.types.values()],
        "unbalance": [_unbalance(item) for item in powering.unbalances],
        "heating": [{"text": item.text, "source": item.source} for item in powering.guidance],
        "notes": list(powering.notes),
        "cautions": list(powering.cautions),
    }


def _resistance(resistance: LinkResistance) -> Document:
    return {
        "loop_ohm": {pair: rounded(4 * ohm) for pair, ohm in resistance.pair_ohm.items()},
        "pairset_ohm": {name: rounded(resistance.pairset_ohm(name)) for name in PAIRSETS},
        "cords_ohm": rounded(resistance.cords_ohm),
        "estimated": list(resistance.estimated),
        "broken": list(resistance.broken),
    }


def _class(result: ClassResult, heating: HeatingFacts) -> Document:
    power_class = result.power_class
    return {
        "class": power_class.number,
        "pairs": power_class.pairs,
        "state": result.state.value,
        "reason": result.reason,
        "promised_w": power_class.device_power_w,
        "least_device_voltage_v": power_class.device_voltage_v,
        "basis": power_class.basis.value,
        "feeds": [_feed(feed, heating) for feed in result.feeds],
    }


def _feed(feed: Feed, heating: HeatingFacts) -> Document:
    rise = None if feed.pair_current_a is None else bundle_rise_c(feed.pair_current_a, heating)
    return {
        "feed": feed.name,
        "state": feed.state.value,
        "loop_ohm": rounded(feed.loop_ohm),
        "estimated": feed.estimated,
        "available_w": rounded(feed.available_w),
        "source_w": rounded(feed.source_w),
        "cable_loss_w": rounded(feed.cable_loss_w),
        "current_a": rounded(feed.current_a),
        "pair_current_a": rounded(feed.pair_current_a),
        "device_voltage_v": rounded(feed.device_voltage_v),
        "bundle_rise_c": rounded(rise),
    }


def _type(result: TypeResult) -> Document:
    return {
        "type": result.source_type.number,
        "standard": result.source_type.standard,
        "state": result.state.value,
        "highest_class": result.highest_class,
        "available_w": [
            {"class": number, "available_w": rounded(watts)} for number, watts in result.available_w.items()
        ],
        "basis": result.source_type.basis.value,
    }


def _unbalance(item: Unbalance) -> Document:
    return {
        "kind": item.kind,
        "pairs": item.pairs,
        "difference_ohm": rounded(item.difference_ohm),
        "percent": rounded(item.percent),
        "limit_ohm": rounded(item.limit_ohm),
        "within_limit": item.is_within_limit,
        "effect": item.effect,
    }
