"""Reasons are plain sentences that name the place of the end, the size, the pairs and the frequency."""

import pytest

from domain.grading.flat import LINK, READINGS, at, edition, link, verdict_of
from fourpair_service.domain.grading.wording import decibels, place_of
from fourpair_service.domain.link import PAIRS, End
from fourpair_service.domain.measurement import LinkMeasurement, PairReadings
from fourpair_service.domain.parameters import Parameter

PLACES = {End.NEAR: "rack 2, port 7", End.FAR: "room 12, outlet 3"}


@pytest.mark.parametrize("end", End)
def test_a_failure_names_the_place_of_its_end(end):
    changes = {(Parameter.RETURN_LOSS, end, "45"): at(7.5, 60.0, 20.0)}

    (reason,) = verdict_of(link(changes, places=PLACES)).reasons

    assert reason == f"Return loss at the {end} end ({PLACES[end]}) fails by 2.5 dB on pair 45 at 60 MHz."


@pytest.mark.parametrize("end", End)
def test_a_marginal_pass_names_the_place_of_its_end(end):
    changes = {(Parameter.RETURN_LOSS, end, "45"): at(10.3, 60.0, 20.0)}
    measured = link(changes, places=PLACES, accuracy={Parameter.RETURN_LOSS: 0.5})

    reasons = verdict_of(measured).reasons

    place = f"the {end} end ({PLACES[end]})"
    assert reasons[0] == (
        f"Return loss at {place} passes by only 0.3 dB on pair 45 at 60 MHz, "
        "less than the measurement accuracy of 0.5 dB (pass*)."
    )
    assert reasons[-1] == (
        f"The closest is return loss at {place}, 0.3 dB inside its limit on pair 45 at 60 MHz."
    )


@pytest.mark.parametrize("end", End)
def test_what_is_missing_names_the_place_of_its_end(end):
    measured = link(places=PLACES, without=[(Parameter.NEXT, end, "12-78")])

    verdict = verdict_of(measured)

    assert verdict.reasons[0] == f"NEXT at the {end} end ({PLACES[end]}): not measured on 12-78."
    assert verdict.reasons[0] in verdict.not_evaluated


def test_an_end_without_a_place_is_called_by_its_side():
    assert place_of(LinkMeasurement(LINK), End.FAR) == " at the far end"
    assert place_of(LinkMeasurement(LINK, places=PLACES), None) == ""


def test_a_pass_says_that_all_was_measured_and_what_is_closest():
    assert verdict_of().reasons == (
        "Everything required was measured and is inside its limits.",
        "The closest is insertion loss, 10.0 dB inside its limit on pair 12 at 1 MHz.",
    )


def test_a_pass_without_anything_in_decibels_names_no_closest():
    rule_set = edition(required=(Parameter.WIRE_MAP, Parameter.LENGTH))

    verdict = verdict_of(link(curves={}), rule_set)

    assert verdict.reasons == ("Everything required was measured and is inside its limits.",)


def test_more_than_one_failing_pair_is_counted():
    changes = {(Parameter.RETURN_LOSS, End.NEAR, pair): 9.0 for pair in ("12", "45", "78")}

    (reason,) = verdict_of(link(changes)).reasons

    assert reason == "Return loss at the near end fails by 1.0 dB on pair 12 at 1 MHz, and on 2 more."


@pytest.mark.parametrize(
    ("reading", "reason"),
    [
        (PairReadings(95.0, 250.0, 10.0, 8.0), "Length fails by 5 m on pair 12."),
        (PairReadings(50.0, 512.5, 10.0, 8.0), "Propagation delay fails by 12.5 ns on pair 12 at 10 MHz"),
        (PairReadings(50.0, 250.0, 10.0, 21.25), "DC loop resistance fails by 0.25 ohm on pair 12"),
    ],
)
def test_what_is_not_in_decibels_is_said_in_its_own_unit(reading, reason):
    reasons = verdict_of(link(readings=dict.fromkeys(PAIRS, reading))).reasons

    assert any(text.startswith(reason) for text in reasons)


def test_a_failing_pair_beside_one_that_was_not_measured_is_the_reason():
    readings = {"12": READINGS, "36": PairReadings(50.0, 600.0)}

    verdict = verdict_of(link(readings=readings))

    assert verdict.reasons == ("Propagation delay fails by 100 ns on pair 36 at 10 MHz.",)
    assert any("propagation delay not measured on 45" in text for text in verdict.not_evaluated)


@pytest.mark.parametrize(
    ("value", "text"), [(12.34, "12.3 dB"), (0.1, "0.1 dB"), (0.012, "0.01 dB"), (0.0014, "0.001 dB")]
)
def test_a_size_is_written_as_exactly_as_it_needs(value, text):
    assert decibels(value) == text
