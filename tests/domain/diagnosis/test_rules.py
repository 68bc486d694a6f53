"""The rules of diagnosis one by one, on links that the matrix does not have."""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.materials import CATEGORY_6, CLAD_24, JACK_6
from clinic.story import Cable
from domain.diagnosis import measured
from domain.diagnosis.cases import (
    BAD,
    HOT_60,
    LOW_OHM,
    MIXED_INSULATION,
    SIX,
    WET,
    Case,
    coiled,
    link,
    with_part,
)
from domain.diagnosis.measured import CATALOGUE, FACTS, answer_to, document_of
from domain.diagnosis.parts import Crush, Spot
from fourpair_service.domain.diagnosis.along import along_document
from fourpair_service.domain.diagnosis.diagnose import BOTH_ENDS_NOTE, PHASE_NOTE
from fourpair_service.domain.diagnosis.document import diagnosis_document
from fourpair_service.domain.diagnosis.evidence import Evidence
from fourpair_service.domain.diagnosis.faults import FAULT_KINDS, FaultCode
from fourpair_service.domain.diagnosis.model import Confidence
from fourpair_service.domain.link import PAIRS, Configuration
from fourpair_service.domain.parameters import Parameter
from line_model.parts import Break, Stretch

STRAIGHT = [[pin, pin] for pin in "12364578"]


def made(parts, seed=5000, **arguments):
    return document_of(Case("one", parts, seed, **arguments))


@pytest.fixture(scope="module")
def plain_db():
    return made(link(40), phase=False)


@pytest.fixture(scope="module")
def plain_phase():
    return made(link(40), 5001)


def faults(document):
    return answer_to(document).diagnosis.faults


def changed(document, **parts):
    return copy.deepcopy(document) | parts


def with_next(document, end, combination, less_db, keys=("next",)):
    out = copy.deepcopy(document)
    curves = out["sweeps"]["next"][end]
    curves[combination] = [value - less_db for value in curves[combination]]
    return out


def test_without_a_gauge_a_clad_and_a_thin_conductor_are_not_told_apart():
    document = made(
        link(84, cable=CLAD_24), phase=False, story={"cable": Cable("6", "U/UTP", "solid", 24, 0.69)}
    )
    del document["cable"]["awg"]
    (fault,) = faults(document)
    assert (fault.code, fault.confidence) == (FaultCode.CLAD_CONDUCTORS, Confidence.POSSIBLE)
    assert "gauge is not stated" in fault.evidence[-1]


def test_without_a_gauge_and_a_failing_resistance_nothing_is_said_of_the_metal():
    document = made(link(40, cable=CLAD_24), phase=False)
    del document["cable"]["awg"]
    assert faults(document) == ()


def test_loss_without_a_reading_of_resistance_says_what_the_reading_would_tell():
    document = made(link(80, cable=WET), phase=False)
    for pair in document["pairs"].values():
        del pair["loop_resistance_ohm"]
    (fault,) = faults(document)
    assert fault.code is FaultCode.STRANDED_CABLE
    assert "DC resistance was not measured" in fault.evidence[-1]


def test_far_end_crosstalk_alone_has_no_place(plain_db):
    document = copy.deepcopy(plain_db)
    for key, values in document["sweeps"]["fext"]["near"].items():
        if key in ("12>36", "36>12"):
            document["sweeps"]["fext"]["near"][key] = [value - 22 for value in values]
    (fault,) = faults(document)
    assert (fault.code, fault.confidence, fault.place) == (
        FaultCode.LOWER_CATEGORY_PART,
        Confidence.POSSIBLE,
        None,
    )
    assert fault.pairs == ("12", "36")


def test_an_open_pair_without_phase_or_reading_is_certain_and_has_no_place():
    document = made(with_part(20, 40, Break(2)), phase=False)
    document["wire_map"]["contacts"] = [c for c in STRAIGHT if c[0] not in "45"]
    del document["pairs"]["45"]
    (fault,) = faults(document)
    assert (fault.code, fault.confidence, fault.place) == (
        FaultCode.OPEN_CONDUCTOR,
        Confidence.CERTAIN,
        None,
    )
    assert fault.could_also_be == ()


def test_a_delay_that_ends_early_gives_the_distance_of_an_open_pair():
    document = made(with_part(20, 40, Break(2)), phase=False)
    document["wire_map"]["contacts"] = [c for c in STRAIGHT if c[0] not in "45"]
    del document["pairs"]["45"]["length_m"]
    (fault,) = faults(document)
    # length = delay x NVP x c
    expected = document["pairs"]["45"]["delay_ns"] * 0.69 * 0.299792458
    assert fault.place.position_m == pytest.approx(expected)


def test_an_open_pair_that_read_nothing_but_resistance_has_no_place():
    document = made(with_part(20, 40, Break(2)), phase=False)
    document["wire_map"]["contacts"] = [c for c in STRAIGHT if c[0] not in "45"]
    document["pairs"]["45"] = {"resistance_unbalance_ohm": 0.1}
    assert faults(document)[0].place is None


def test_with_every_pair_open_the_cable_s_own_velocity_gives_the_distance():
    document = made((JACK_6, *(part for k in range(4) for part in (Break(k),)), JACK_6), 5003)
    whole = made(tuple([JACK_6, *with_part(30, 60, *(Break(k) for k in range(4)))[1:]]), 5004)
    for each in (document, whole):
        each["wire_map"]["contacts"] = []
        each["pairs"] = {}
    found = faults(whole)
    assert len(found) == 4
    assert all(abs(f.place.position_m - 30) <= f.place.uncertainty_m for f in found)


def broken_at(*places_m, length_m=60.0, seed=5008):
    """A link whose pair 45 is open at one or two places."""
    parts, at = [], 0.0
    for place in places_m:
        parts += [Stretch(CATEGORY_6, place - at), Break(2)]
        at = place
    document = made((JACK_6, *parts, Stretch(CATEGORY_6, length_m - at), JACK_6), seed)
    document["wire_map"]["contacts"] = [c for c in STRAIGHT if c[0] not in "45"]
    return document


def test_a_break_seen_from_both_ends_is_one_statement_and_lies_where_it_is_of_the_length():
    document = broken_at(24.0)
    (fault, *_) = faults(document)
    length_m = min(reading["length_m"] for pair, reading in document["pairs"].items() if pair != "45")

    assert "seen from both ends" in fault.evidence[1]
    # Better than any velocity is known: both ends together tell it.
    assert fault.place.position_m / length_m == pytest.approx(24.0 / 60.0, abs=0.004)


def test_two_breaks_of_one_pair_are_told_as_two_places():
    (fault, *_) = faults(broken_at(15.0, 40.0))

    assert abs(fault.place.position_m - 15) <= fault.place.uncertainty_m
    assert "there may be two breaks" in fault.evidence[1]


def test_an_open_shield_is_named_where_a_shield_is_declared(plain_db):
    document = copy.deepcopy(plain_db)
    document["cable"]["screening"] = "F/UTP"
    document["requirement"]["shield_required"] = True
    measurement = measured.read_measurement(document).measurement
    wire_map = replace(measurement.wire_map, shield_tested=True)
    found = measured.answer_to_measurement(replace(measurement, wire_map=wire_map), document)
    assert [fault.code for fault in found.diagnosis.faults] == [FaultCode.OPEN_SHIELD]


def test_one_end_measured_and_no_phase_are_both_said():
    document = made(link(30, near=BAD), phase=False)
    for parameter in ("next", "return_loss"):
        del document["sweeps"][parameter]["far"]
    notes = answer_to(document).diagnosis.notes
    assert notes == (PHASE_NOTE, BOTH_ENDS_NOTE)


def test_a_summary_that_fails_has_no_curves_to_diagnose(plain_db):
    document = changed(plain_db)
    del document["sweeps"], document["frequency_mhz"]
    document["summary"] = {
        "rule_set": "tia-568.2-d-2018",
        "category": "6",
        "readings": [
            {
                "parameter": "next",
                "end": "near",
                "margin_db": -2.0,
                "measured_db": 40.0,
                "frequency_mhz": 100.0,
                "pairs": "36-45",
            },
            {
                "parameter": "ps_next",
                "end": "near",
                "margin_db": -2.0,
                "measured_db": 38.0,
                "frequency_mhz": 100.0,
                "pairs": "36",
            },
            {
                "parameter": "return_loss",
                "end": "near",
                "margin_db": -2.0,
                "measured_db": 10.0,
                "frequency_mhz": 100.0,
                "pairs": "36",
            },
        ],
    }
    found = answer_to(document)
    assert found.verdict.outcome == "fail"
    assert found.diagnosis.faults == ()


def test_a_power_sum_that_fails_alone_is_traced_to_its_worst_combination(plain_db):
    document = copy.deepcopy(plain_db)
    limit = CATALOGUE.get("tia-568.2-d-2018")
    measurement = answer_to(document).measurement
    f = measurement.sweep(Parameter.INSERTION_LOSS, None, "12").frequency_mhz
    next_db = limit.curve("6", Configuration.PERMANENT_LINK, Parameter.NEXT).at(f) + 0.5
    for key in ("12-36", "12-45", "12-78"):
        document["sweeps"]["next"]["near"][key] = [round(v, 2) for v in np.minimum(next_db, 65).tolist()]
    found = answer_to(document)
    assert not any(r.outcome == "fail" for r in found.verdict.parameters if r.parameter is Parameter.NEXT)
    assert any("12" in fault.pairs for fault in found.diagnosis.faults)


def test_a_link_without_length_has_no_distances_and_no_material(plain_phase):
    document = copy.deepcopy(plain_phase)
    document["pairs"] = {}
    evidence = _evidence(document)
    assert evidence.path("12") is None
    assert evidence.path_between("12-36") is None
    assert evidence.loss_ratio((16.0, 100.0)) == {}
    assert evidence.resistance_ratio(23) is None
    assert along_document(evidence)["reflections"] == []


def test_a_loss_that_is_noise_gives_no_path(plain_phase):
    document = copy.deepcopy(plain_phase)
    random = np.random.default_rng(1)
    for pair, curve in document["sweeps"]["insertion_loss"].items():
        count = len(curve["re"])
        document["sweeps"]["insertion_loss"][pair] = {
            "re": (1e-5 * random.normal(size=count)).tolist(),
            "im": (1e-5 * random.normal(size=count)).tolist(),
        }
    assert _evidence(document).path("12") is None


def test_a_band_that_was_not_measured_gives_no_ratio(plain_db):
    evidence = _evidence(plain_db)
    assert evidence.loss_ratio((300.0, 400.0)) == {}
    assert set(evidence.loss_ratio((16.0, 100.0))) == {"12", "36", "45", "78"}


def test_the_loss_of_good_cable_lies_below_that_of_its_category(plain_db):
    # Cable of a category may lose what the category allows; the limit is per 100 m (TIA-568.2-D).
    assert all(0.8 < ratio < 1.0 for ratio in _evidence(plain_db).loss_ratio((16.0, 100.0)).values())


def test_along_a_good_link_both_connectors_and_the_impedance_are_seen(plain_phase):
    found = along_document(_evidence(plain_phase))
    length = found["length_m"]
    places = {round(r["position_m"] / length) for r in found["reflections"]}
    assert places <= {0, 1}
    assert {i["pair"] for i in found["impedance"]} == {"12", "36", "45", "78"}
    middle = [i["impedance_ohm"][100] for i in found["impedance"]]
    assert all(abs(ohm - 98) < 4 for ohm in middle)  # the wire type has 98 ohm (CAT5 row, ITU-T G.9701 study)
    assert {c["measured_from"] for c in found["couplings"]} == {"near", "far"}


@pytest.mark.parametrize(("without", "ends"), [(None, ["near", "far"]), ("far", ["near"]), ("near", ["far"])])
def test_impedance_is_seen_from_the_ends_that_were_measured_and_counted_from_the_near_end(without, ends):
    # 10 m of 82 ohm cable at the near end, 30 m of 98 ohm behind it.
    parts = (*link(10, cable=LOW_OHM)[:-1], *link(30)[1:])
    document = made(parts, 5002)
    if without is not None:
        del document["sweeps"]["return_loss"][without]
    profile = along_document(_evidence(document))["impedance"][0]
    ohm = dict(zip(np.round(profile["distance_m"]), profile["impedance_ohm"], strict=True))
    assert profile["seen_from"] == ends
    assert abs(ohm[5] - 82) < (6 if without is None else 12)
    assert abs(ohm[5] - 98) > abs(ohm[5] - 82)
    assert abs(ohm[35] - 98) < abs(ohm[35] - 82)


def test_without_return_loss_no_impedance_is_told():
    document = made(link(30), 5003)
    del document["sweeps"]["return_loss"]
    assert along_document(_evidence(document))["impedance"] == []


def test_along_a_broken_pair_there_is_no_impedance():
    document = made(with_part(20, 40, Break(2)), 5006)
    document["wire_map"]["contacts"] = [c for c in STRAIGHT if c[0] not in "45"]
    found = along_document(_evidence(document))
    assert "45" not in {i["pair"] for i in found["impedance"]}
    assert any(r["kind"] == "open" and abs(r["position_m"] - 20) < 1 for r in found["reflections"])


def test_a_coil_is_told_along_the_link_from_both_ends():
    document = made(coiled(15, 25, 15, 0.8), 5010)
    found = along_document(_evidence(document))["repeated"]

    assert {each["measured_from"] for each in found} == {"near", "far"}
    assert all(each["from_m"] == pytest.approx(15, abs=4) for each in found)
    assert all(each["to_m"] == pytest.approx(40, abs=6) for each in found)


def test_without_a_length_nothing_is_counted_from_the_far_end():
    document = made(tuple([JACK_6, *with_part(30, 60, *(Break(k) for k in range(4)))[1:]]), 5004)
    document["wire_map"]["contacts"] = []
    document["pairs"] = {}
    found = along_document(_evidence(document))["reflections"]

    assert {each["pair"] for each in found if each["kind"] == "open"} == set(PAIRS)
    assert all(each["seen_from"] == ["near"] for each in found)


def test_two_mismatches_show_their_spacing_in_the_ripple_of_the_loss():
    # a stretch of 82 ohm, 4 m long
    document = made(
        (JACK_6, Stretch(CATEGORY_6, 20), Stretch(LOW_OHM, 4), Stretch(CATEGORY_6, 16), JACK_6), 5009
    )
    found = along_document(_evidence(document))["loss_deviation"]

    assert {each["pair"] for each in found} == set(PAIRS)
    assert all(each["spacing_m"] == pytest.approx(4.0, abs=0.3) for each in found)


def test_a_diagnosis_as_a_document_says_where_and_links_to_help():
    document = diagnosis_document(answer_to(made(link(45, far=BAD), 5007)).diagnosis)
    first = document["faults"][0]
    assert first["place"]["end"] == "far"
    assert first["help"] == "/v1/faults/bad_connector"
    assert first["could_also_be"] == ["untwisted_pair", "lower_category_part"]
    assert "desk" in first["text"]


def test_two_adapters_joined_read_near_zero_length(plain_db):
    document = copy.deepcopy(plain_db)
    for pair in document["pairs"].values():
        pair["length_m"], pair["delay_ns"] = 0.3, 1.5
    assert "adapters were joined" in " ".join(faults(document)[0].evidence)


def test_a_long_link_that_loses_nothing_was_not_in_the_path(plain_db):
    document = copy.deepcopy(plain_db)
    for pair, values in document["sweeps"]["insertion_loss"].items():
        document["sweeps"]["insertion_loss"][pair] = [
            0.001 * (i % 7 + int(pair) % 5) for i in range(len(values))
        ]
    assert "loses nothing" in " ".join(faults(document)[0].evidence)


def test_fext_copied_from_one_direction_to_the_other_is_no_sign_of_a_bad_test(plain_db):
    document = copy.deepcopy(plain_db)
    fext = document["sweeps"]["fext"]["near"]
    fext["36>12"] = fext["12>36"]
    assert faults(document) == ()


def test_every_fault_has_a_kind_and_what_looks_alike_is_another():
    assert set(FAULT_KINDS) == set(FaultCode)
    for code, kind in FAULT_KINDS.items():
        assert code not in kind.could_also_be


@settings(max_examples=25)
@given(st.floats(-12, 25), st.sampled_from(("near", "far")), st.sampled_from(("12-36", "36-45", "45-78")))
def test_a_diagnosis_never_contradicts_the_verdict(plain_db, less_db, end, combination):
    found = answer_to(with_next(plain_db, end, combination, less_db))
    if found.verdict.outcome in ("pass", "marginal_pass"):
        assert found.diagnosis.faults == ()
    else:
        assert found.diagnosis.faults


def _evidence(document):
    found = answer_to(document)
    rule_set = CATALOGUE.get(document["requirement"]["rule_set"])
    return Evidence(found.measurement, found.verdict, rule_set, FACTS)


def test_the_cable_of_the_model_is_the_one_that_the_samples_use():
    assert CATEGORY_6.row.impedance_ohm == 98


def test_a_hot_cable_that_would_fail_when_cool_is_not_excused_by_heat():
    story = {"cable": replace(SIX, temperature_c=60.0)}
    document = made(link(108, cable=HOT_60), phase=False, story=story)
    assert [fault.code for fault in faults(document)] == [FaultCode.TOO_LONG]


def test_a_skew_that_is_stated_without_delays_is_named_without_pairs(plain_db):
    document = copy.deepcopy(plain_db)
    for pair in document["pairs"].values():
        del pair["delay_ns"]
    document["delay_skew_ns"] = 60.0
    (fault,) = faults(document)
    assert (fault.code, fault.pairs) == (FaultCode.MIXED_INSULATION, ())


def test_skew_and_delay_that_both_fail_are_not_said_to_be_independent_of_length():
    document = made(link(112, cable=MIXED_INSULATION), phase=False)
    skew = next(f for f in faults(document) if f.code is FaultCode.MIXED_INSULATION)
    assert not any("not the length" in sentence for sentence in skew.evidence)


def test_a_crush_that_couples_and_reflects_is_one_damage():
    document = made(with_part(20, 60, Spot((1, 2), 31.0), Crush((1, 2), 18.0)), 5010)
    damages = [f for f in faults(document) if f.code is FaultCode.DAMAGED_CABLE]
    assert len(damages) == 1
    assert any("NEXT" in e for e in damages[0].evidence)
    assert any("Return loss" in e for e in damages[0].evidence)


def test_a_fault_without_a_place_has_none_in_its_document(plain_db):
    document = copy.deepcopy(plain_db)
    contacts = [[a, {"1": "2", "2": "1"}.get(b, b)] for a, b in STRAIGHT]
    document["wire_map"]["contacts"] = contacts
    assert diagnosis_document(answer_to(document).diagnosis)["faults"][0]["place"] is None


def test_on_a_link_of_a_few_metres_impedance_is_not_told_from_its_connectors():
    bad = replace(BAD, return_loss_db=14.0)
    document = made(link(4, near=bad, far=bad), 5011)
    codes = {fault.code for fault in faults(document)}
    assert FaultCode.BAD_CONNECTOR in codes
    assert FaultCode.WRONG_IMPEDANCE_CABLE not in codes


def test_low_frequency_return_loss_from_one_end_without_phase_points_at_its_first_metres(plain_db):
    document = copy.deepcopy(plain_db)
    values = document["sweeps"]["return_loss"]["near"]["36"]
    ripple = np.where(np.arange(len(values)) % 7 < 3, 12.0, 30.0)
    low = np.arange(len(values)) < 130
    document["sweeps"]["return_loss"]["near"]["36"] = np.where(low, ripple, ripple + 8).round(2).tolist()
    cord = next(f for f in faults(document) if f.code is FaultCode.WRONG_IMPEDANCE_CORD)
    assert (cord.confidence, cord.place.end, cord.place.position_m) == (Confidence.POSSIBLE, "near", None)


def test_a_few_spot_frequencies_are_not_held_against_the_instrument(plain_db):
    document = copy.deepcopy(plain_db)
    for pair in document["sweeps"]["insertion_loss"]:
        document["sweeps"]["insertion_loss"][pair] = {
            "frequency_mhz": [1.0, 10.0, 100.0],
            "db": [1.0, 2.6, 8.0],
        }
    assert faults(document) == ()


def test_crosstalk_is_diagnosed_where_return_loss_was_measured_on_some_pairs_only():
    document = made(link(35, near=BAD), 3005, phase=False)
    del document["sweeps"]["return_loss"]["near"]["78"]
    assert faults(document)[0].code is FaultCode.BAD_CONNECTOR
