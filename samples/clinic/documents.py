"""A story turned into the measurement document that the instrument would have handed over."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Final

from clinic.story import ACCURACY, ACCURACY_DB, Story
from line_model import instrument
from line_model.wire_types import ComplexArray
from line_model.writing import decibels, real_and_imaginary

JOB: Final = "alder-row-clinic"
OFFSETS: Final = {"near": 0, "far": 4}


def document(story: Story) -> dict[str, Any]:
    """Return the measurement document of one link, with its requirement."""
    out: dict[str, Any] = {
        "label": story.label,
        "job": JOB,
        "requirement": {"rule_set": story.rule_set, "category": story.category},
        "tested_at": story.tested_at,
        "tested_by": story.tested_by,
        "configuration": story.configuration,
        "cable": asdict(story.cable),
        "ends": {"near": {"place": story.near}, "far": {"place": story.far}},
        "instrument": _instrument(story),
    }
    if story.notes is not None:
        out["notes"] = story.notes
    return out | _results(story)


def _instrument(story: Story) -> dict[str, Any]:
    serials = {"near": "PK-2207-M", "far": "PK-2207-R"}
    units = [
        {
            "end": end,
            "serial": serial,
            "adapter": story.adapter,
            "firmware": "4.1.0",
            "calibrated_on": "2026-02-11",
        }
        for end, serial in serials.items()
    ]
    return {"kind": "field tester", "units": units, "accuracy_db": ACCURACY_DB, "accuracy": ACCURACY}


def _results(story: Story) -> dict[str, Any]:
    out: dict[str, Any] = {
        "wire_map": {
            "contacts": [list(contact) for contact in story.contacts],
            "shorts": [list(short) for short in story.shorts],
        },
        "pairs": instrument.readings(story.link, story.cable.nvp, story.cable.temperature_c),
    }
    if story.is_resistance_by_pin:
        out["conductor_resistance_ohm"] = _by_pin(out["pairs"])
    if story.summary is not None:
        out["summary"] = story.summary
    if story.port is not None:
        out["port"] = story.port
    if story.is_swept:
        segments = instrument.axis(story.top_mhz)
        out["frequency_mhz"] = segments
        out["sweeps"] = _sweeps(story, instrument.sweep(story.link, instrument.points(segments)))
    return out


def _by_pin(pairs: dict[str, dict[str, float]]) -> dict[str, float]:
    """Take the loops out of the readings and return the resistance of each wire. [ohm]."""
    out: dict[str, float] = {}
    for pair, values in pairs.items():
        loop, unbalance = values.pop("loop_resistance_ohm"), values.pop("resistance_unbalance_ohm")
        out |= {pair[0]: round((loop - unbalance) / 2, 3), pair[1]: round((loop + unbalance) / 2, 3)}
    return dict(sorted(out.items()))


def _sweeps(story: Story, scattering: ComplexArray) -> dict[str, Any]:
    write = real_and_imaginary if story.complex_curves else decibels

    def written(curves: instrument.Curves) -> dict[str, Any]:
        return {key: write(value) for key, value in curves.items()}

    return {
        "insertion_loss": written(instrument.insertion_loss(scattering)),
        "next": {end: written(instrument.near_end_crosstalk(scattering, OFFSETS[end])) for end in story.ends},
        "fext": {
            end: written(instrument.far_end_crosstalk(scattering, OFFSETS[end])) for end in story.fext_ends
        },
        "return_loss": {end: written(instrument.return_loss(scattering, OFFSETS[end])) for end in story.ends},
    }
