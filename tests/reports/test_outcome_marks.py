"""The marks of answers are told apart by their shapes alone."""

from __future__ import annotations

import itertools
from dataclasses import fields

import pytest

from fourpair_service.reports.drawing.as_png import png
from fourpair_service.reports.handover.model import STATES
from fourpair_service.reports.handover.workbook import SIGNS
from fourpair_service.reports.inks import WHITE
from fourpair_service.reports.pictures.outcome_marks import MARKS, SIZE, outcome_mark


def without_hue(shape):
    """Return where a shape is inked and where it is white, and in no colour else."""
    values = {each.name: getattr(shape, each.name) for each in fields(shape)}
    return type(shape).__name__, {
        name: value == WHITE if name in ("ink", "fill") and value is not None else value
        for name, value in values.items()
    }


def test_every_answer_has_a_mark_and_a_sign():
    assert set(MARKS) == set(STATES) == set(SIGNS)
    assert len(set(SIGNS.values())) == len(STATES)


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(STATES, 2)))
def test_two_marks_differ_without_any_colour(one, other):
    assert [without_hue(s) for s in outcome_mark(one).shapes] != [
        without_hue(s) for s in outcome_mark(other).shapes
    ]


@pytest.mark.parametrize("state", STATES)
def test_a_mark_stays_within_its_square(state):
    for shape in outcome_mark(state).shapes:
        places = getattr(shape, "places", None) or ((shape.x - shape.radius, shape.y + shape.radius),)
        assert all(0 <= value <= SIZE for place in places for value in place)
    assert png(outcome_mark(state), 100, "en").startswith(b"\x89PNG")
