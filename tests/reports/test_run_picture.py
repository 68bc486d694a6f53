"""The picture of the run: to scale from end to end, with the places of what is suspected."""

from __future__ import annotations

import pytest

from fourpair_service.reports.drawing.shapes import Dot, Path, Words
from fourpair_service.reports.language import LengthUnit, language
from fourpair_service.reports.pictures.run import LEFT, RIGHT, RunEvent, run_picture

ENGLISH = language("en")
PAIRS = {"12": 41.0, "36": 42.5, "45": 40.0, "78": 40.8}
PLACES = ("cabinet 3", "desk 12")


def drawn(events=(), broken=frozenset(), pairs=PAIRS, length_m=40.0, words=ENGLISH):
    return run_picture(length_m, pairs, broken, events, PLACES, words)


def of(picture, kind):
    return [shape for shape in picture.shapes if isinstance(shape, kind)]


def texts(picture):
    return {shape.text: shape for shape in of(picture, Words)}


def test_every_pair_that_arrives_ends_below_the_name_of_the_far_end_with_its_own_length_beside_it():
    picture = drawn()

    assert {dot.x for dot in of(picture, Dot)} == {RIGHT}
    assert (texts(picture)["desk 12"].x, texts(picture)["desk 12"].anchor) == (RIGHT, "end")
    assert texts(picture)["cabinet 3"].x == LEFT
    for metres in PAIRS.values():
        assert texts(picture)[f"{metres:.1f} m"].x > RIGHT


def test_a_broken_pair_ends_where_it_breaks_and_no_length_stands_beside_it():
    picture = drawn(broken=frozenset({"45"}), pairs=PAIRS | {"45": 10.0})

    (strand,) = [path for path in of(picture, Path) if path.dash]
    assert strand.places[-1][0] == pytest.approx(LEFT + (RIGHT - LEFT) / 4)
    assert "10.0 m" not in texts(picture)


def test_what_is_suspected_at_the_far_end_is_marked_where_the_cable_ends():
    picture = drawn([RunEvent(1, 40.0, 40.0)])

    assert texts(picture)["1"].x == RIGHT


def test_without_marks_their_row_is_left_out():
    assert drawn().height < drawn([RunEvent(1, 3.0, 3.0)]).height


@pytest.mark.parametrize(
    ("length_m", "labels"), [(2.0, {"0.0", "0.5", "1.0", "1.5", "2.0"}), (33.0, {"0", "10", "30"})]
)
def test_the_scale_is_labelled_in_steps_that_its_figures_can_tell_apart(length_m, labels):
    assert labels <= set(texts(drawn(pairs={"12": length_m}, length_m=length_m)))


def test_in_feet_scale_and_lengths_are_in_feet():
    picture = drawn(words=language("en", LengthUnit.FEET))

    assert "131.2 ft" in texts(picture) and "ft" in texts(picture) and "130" not in texts(picture)
