"""The wire map's part of the verdict: contacts, shorts, and the shield."""

import pytest

from domain.grading.flat import STRAIGHT, link, verdict_of
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.link import PINS
from fourpair_service.domain.measurement import Cable, WireMap
from fourpair_service.domain.verdict import Outcome, Requirement
from fourpair_service.domain.verdict_document import verdict_document
from fourpair_service.http.schemas.measurement import read_measurement

CONTACTS = tuple((pin, pin) for pin in PINS)
SHIELDED = WireMap((*CONTACTS, ("S", "S")), shield_tested=True)
OPEN_SHIELD = WireMap(CONTACTS, shield_tested=True)


@pytest.mark.parametrize("screening", [None, "U/UTP", "UTP"])
@pytest.mark.parametrize("wire_map", [STRAIGHT, SHIELDED, OPEN_SHIELD])
def test_the_shield_is_not_judged_where_no_screen_is_declared(screening, wire_map):
    verdict = verdict_of(link(cable=Cable(screening=screening, nvp=0.667), wire_map=wire_map))

    assert verdict.wire_map.outcome is Outcome.PASS


@pytest.mark.parametrize("screening", ["F/UTP", "S/FTP", "U/FTP", "SF/UTP", "STP"])
@pytest.mark.parametrize(
    ("wire_map", "outcome"),
    [(STRAIGHT, Outcome.INCOMPLETE), (SHIELDED, Outcome.PASS), (OPEN_SHIELD, Outcome.FAIL)],
)
def test_the_shield_is_judged_where_a_screen_is_declared(screening, wire_map, outcome):
    verdict = verdict_of(link(cable=Cable(screening=screening, nvp=0.667), wire_map=wire_map))

    assert (verdict.wire_map.outcome, verdict.outcome) == (outcome, outcome)


def test_the_shield_is_judged_where_the_requirement_asks_for_it():
    asked = Requirement("X", shield_required=True)

    verdict = verdict_of(link(), requirement=asked)

    assert verdict.wire_map.note == "the shield was not tested"
    assert verdict.reasons[0] == "The shield was not tested."


def test_a_wire_map_that_was_not_measured_leaves_the_link_incomplete():
    verdict = verdict_of(link(wire_map=None))

    assert verdict.outcome is Outcome.INCOMPLETE
    assert verdict.reasons == ("The wire map was not measured.",)


def test_the_document_lists_each_finding_with_pins_and_pairs():
    crossed = WireMap(
        (("1", "3"), ("2", "6"), ("3", "1"), ("6", "2"), ("4", "5"), ("5", "4"), ("7", "7"), ("8", "8"))
    )

    written = verdict_document(verdict_of(link(wire_map=crossed)))["wire_map"]

    assert written["outcome"] == "fail"
    assert [(f["kind"], f["pairs"]) for f in written["findings"]] == [
        ("crossed_pair", ["12", "36"]),
        ("crossed_pair", ["36", "12"]),
        ("reversed_pair", ["45"]),
    ]


@pytest.mark.parametrize(
    ("shield", "tested"),
    [({}, False), ({"shield": None}, False), ({"shield": "connected"}, True), ({"shield": "open"}, True)],
)
def test_a_shield_that_is_absent_or_null_in_the_document_was_not_tested(shield, tested):
    joined = [["S", "S"]] if shield.get("shield") == "connected" else []
    contacts = [[pin, pin] for pin in PINS] + joined
    document = {"configuration": "channel", "wire_map": {"contacts": contacts, "shorts": [], **shield}}

    assert read_measurement(document).measurement.wire_map.shield_tested is tested


@pytest.mark.parametrize(
    ("contacts", "shorts", "pointer"),
    [((("1", "9"),), (), "/wire_map/contacts/0"), ((), (("1", "2"), ("X", "1")), "/wire_map/shorts/1")],
)
def test_a_contact_that_there_is_not_is_refused(contacts, shorts, pointer):
    with pytest.raises(InvalidMeasurementError) as refused:
        WireMap(contacts, shorts)

    assert refused.value.pointer == pointer
