"""Touchstone files read the same in whatever form they come, and never break the reader."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st

from domain.four_pair_network import NUMBERINGS, PAIR_PINS, differential_modes, mixed_modes, single_ended
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.link import PAIRS, Configuration, End
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.port_order import PortKind, PortOrder
from fourpair_service.http.touchstone import (
    TouchstoneDeclaration,
    TouchstoneFile,
    measurement_parts,
    read_touchstone,
)
from fourpair_service.http.touchstone_errors import UnreadableTouchstoneError
from touchstone_writer import version_1, version_2

F = np.arange(1.0, 20.5, 0.5)
LINK = single_ended(F)
PINS = NUMBERINGS["pins_near_then_far"]
SHORT_F = [1.0, 2.0, 10.0]


def four_ports(frequency_mhz=F, pair="36"):
    pins = [PINS.index((end, pin)) for end in "nf" for pin in PAIR_PINS[pair]]
    return single_ended(frequency_mhz)[:, pins][:, :, pins]


def read(text, name="pair.s4p"):
    return read_touchstone(TouchstoneFile(name, text if isinstance(text, bytes) else text.encode()))


S = four_ports(SHORT_F)
PLAIN = version_1(SHORT_F, S)


@pytest.mark.parametrize(("unit", "form"), list(product(["Hz", "kHz", "MHz", "GHz"], ["RI", "MA", "DB"])))
def test_every_unit_and_format_reads_the_same(unit, form):
    for text in (
        version_1(SHORT_F, S, f"# {unit} S {form} R 50", unit, form),
        *(version_2(SHORT_F, S, shape, unit, form) for shape in ("Full", "Lower", "Upper")),
    ):
        network = read(text)

        np.testing.assert_allclose(network.frequency_mhz, SHORT_F, rtol=1e-15)
        np.testing.assert_allclose(network.s, S, atol=1e-15)
        np.testing.assert_array_equal(network.reference_ohm, [50] * 4)


@pytest.mark.parametrize(
    "options",
    [
        "# mhz s ri r 50",
        "#MHZ S RI R 50.0",
        "# R 50 RI S MHz",
        "#  ri   MHz",
        "# S R 50 MHz RI ! comment",
        "\t# RI R 50 50 50 50 MHz",
        "# MHz RI\n# GHz S MA R 75",
    ],
)
def test_option_tokens_may_come_in_any_order_and_case(options):
    np.testing.assert_array_equal(read(PLAIN.replace("# MHz S RI R 50", options)).s, read(PLAIN).s)


def test_options_left_out_have_the_defaults_of_the_specification():
    network = read(version_1(SHORT_F, S, "#", "GHz", "MA"))

    np.testing.assert_allclose(network.frequency_mhz, SHORT_F)
    np.testing.assert_allclose(network.s, S, atol=1e-15)


LIBERTIES = {
    "line ends of two characters": PLAIN.replace("\n", "\r\n"),
    "line ends of old": PLAIN.replace("\n", "\r"),
    "blank lines": PLAIN.replace("\n", "\n\n  \n"),
    "comments everywhere": "! first\n" + PLAIN.replace("\n", " ! 1 2 3\n! between 4\n"),
    "a comment in another code": "! 50 Ω\n".encode("cp1253") + PLAIN.encode(),
    "a byte order mark": b"\xef\xbb\xbf" + PLAIN.encode(),
    "two bytes a character": PLAIN.encode("utf-16"),
    "tabs": PLAIN.replace(" ", "\t"),
    "one line a frequency": "\n".join(
        [PLAIN.splitlines()[0]] + [" ".join(PLAIN.splitlines()[i : i + 4]) for i in (1, 5, 9)]
    ),
    "keywords in capitals": version_2(SHORT_F, S).replace("[Number of Ports]", "[NUMBER OF  PORTS]"),
    "reference on the next line": version_2(SHORT_F, S).replace("[Reference] 50 50", "[Reference]\n50\n50"),
    "information": version_2(SHORT_F, S).replace(
        "[Network Data]", "[Begin Information]\nmade by hand 1 2\n[End Information]\n[Network Data]"
    ),
    "noise data": version_2(SHORT_F, S).replace("[End]", "[Noise Data]\n1 2 3 4 5\n[End]\nafter the end"),
    "port impedances that say the same": PLAIN.replace("\n", "\n! Port Impedance 50 0 50 0\n"),
}


@pytest.mark.parametrize("what", LIBERTIES)
def test_the_liberties_that_files_take_change_nothing(what):
    np.testing.assert_allclose(read(LIBERTIES[what]).s, S, atol=1e-15)


def test_a_version_2_file_needs_no_port_count_in_its_name():
    np.testing.assert_allclose(read(version_2(SHORT_F, S), "pair.ts").s, S, atol=1e-15)


def test_a_point_at_0_hz_is_left_out():
    f = [0.0, *SHORT_F]

    network = read(version_1(f, np.concatenate([S[:1].real + 0j, S])))

    np.testing.assert_allclose(network.frequency_mhz, SHORT_F)
    np.testing.assert_allclose(network.s, S)


# What is sent, where it is wrong, and words of the advice.
HOSTILE = {
    "nothing": (b"", None, "no network data"),
    "comments alone": (b"! hello\n", None, "no network data"),
    "zero bytes": (b"\0" * 100, None, "not a text file"),
    "no options": ("1 2 3\n", 1, "before the option line"),
    "an unknown option": ("# MHz S XY R 50\n", 1, "unknown option 'xy'"),
    "impedances": ("# MHz Z RI R 50\n", 1, "export scattering"),
    "no resistance": ("# MHz S RI R\n", 1, "R is followed by no resistance"),
    "a resistance in words": ("# MHz S RI R fifty\n", 1, "R is followed by no resistance"),
    "a complex resistance": ("# MHz S RI R 50+1j\n", 1, "expected numbers"),
    "too many resistances": (PLAIN.replace("R 50", "R 50 50 50"), 13, "3 reference resistances"),
    "a resistance of 0": (PLAIN.replace("R 50", "R 0"), 13, "outside 1 to 1000 ohm"),
    "words for numbers": (PLAIN + "11 twelve\n", 14, "got 'twelve'"),
    "NaN": (PLAIN + "11 nan\n", 14, "got 'nan'"),
    "infinity": (PLAIN + "11 -Infinity\n", 14, "got '-Infinity'"),
    "beyond all numbers": (PLAIN + "11 1e999\n", 14, "got '1e999'"),
    "underscores": (PLAIN + "1_1 0\n", 14, "got '1_1'"),
    "a short record": (PLAIN + "11 1 2 3\n", 14, "ends after 4 of 33"),
    "a long record": (PLAIN + "11 " + "0 " * 33, 14, "more numbers than the 33"),
    "the same frequency twice": (PLAIN + "10 " + "0 " * 32, 14, "does not increase"),
    "a falling frequency": (PLAIN + "9 " + "0 " * 32, 14, "does not increase"),
    "a negative frequency": (PLAIN.replace("\n1.0 ", "\n-1.0 "), 2, "outside 0 to 100 GHz"),
    "a wrong unit": (PLAIN.replace("MHz", "GHz") + "200 " + "0 " * 32, 14, "check the option line"),
    "a wrong format": (version_1(SHORT_F, S, "# MHz S RI R 50", form="DB"), None, "check the format"),
    "decibels without end": (PLAIN.replace(" RI ", " DB ") + "11 " + "1e300 " * 32, None, "check the format"),
    "only 0 Hz": ("# MHz S RI R 50\n0 " + "0 " * 32, None, "no frequency above 0 Hz"),
    "an open bracket": ("[Version 2.0\n", 1, "closing bracket"),
    "100000 open brackets": ("[" * 100_000, 1, "a line of 100000 characters"),
    "options without end": ("# " + "r 50 " * 6_000 + "x", 1, "unknown option 'x'"),
    "a matrix format behind the data": (PLAIN + "[Matrix Format] Lower\n", 14, "expected it before"),
    "references without end": ("[Number of Ports] 4\n[Reference]\n" + "50\n" * 100, 19, "more reference"),
    "an unknown keyword": ("[Magic] 1\n", 1, "unknown keyword [magic]"),
    "an unknown version": ("[Version] 9\n", 1, "unknown version '9'"),
    "ports without number": ("[Number of Ports] four\n", 1, "expected a whole number"),
    "ports without end": (f"[Number of Ports] {'9' * 5_000}\n", 1, "expected a whole number"),
    "other ports than named": (
        version_2(SHORT_F, S).replace("Ports] 4", "Ports] 8"),
        8,
        "ports is not clear",
    ),
    "an unknown matrix": ("[Matrix Format] Round\n", 1, "expected Full, Lower or Upper"),
    "mixed modes": ("[Mixed-Mode Order] D1,2 C1,2\n", 1, "export single-ended ports"),
    "other frequencies than stated": (
        version_2(SHORT_F, S).replace("Frequencies] 3", "Frequencies] 999999999"),
        20,
        "3 frequencies, [Number of Frequencies] says 999999999",
    ),
    "a reference without end": ("[Number of Ports] 4\n[Reference]", None, "no network data"),
    "other port impedances": ("# MHz S RI R 50\n! Port Impedance 75.2 0.1\n", 2, "export with one reference"),
}


@pytest.mark.parametrize("what", HOSTILE)
def test_a_file_that_makes_no_sense_is_refused_with_its_line_and_advice(what):
    content, line, advice = HOSTILE[what]

    with pytest.raises(UnreadableTouchstoneError) as caught:
        read(content)

    assert advice in caught.value.detail
    assert caught.value.line == line
    assert str(caught.value).startswith("pair.s4p")
    assert caught.value.code == "unreadable-touchstone"


@pytest.mark.parametrize(
    ("name", "advice"),
    [
        ("pair.s2p", "a file of 2 ports"),
        ("pair.s9999p", "a file of 9999 ports"),
        ("pair.s0p", "a file of 0 ports"),
        ("pair.s99999999p", "is not clear"),
        ("pair.txt", "name it .s4p, .s8p or .s16p"),
        ("", "name it .s4p, .s8p or .s16p"),
    ],
)
def test_a_file_of_other_ports_is_refused(name, advice):
    with pytest.raises(UnreadableTouchstoneError, match=advice):
        read(PLAIN, name)


def test_more_numbers_than_any_link_needs_are_refused_before_they_fill_the_memory():
    zeros = " 0" * 512
    text = "# Hz S RI R 50\n" + "".join(f"{hertz}{zeros}\n" for hertz in range(1, 7_800))

    with pytest.raises(UnreadableTouchstoneError, match="more than 4000000 numbers"):
        read(text, "link.s16p")


@given(st.binary(max_size=300), st.sampled_from(["", "# MHz S RI R 50\n", "[Version] 2.0\n# R", PLAIN]))
def test_random_bytes_give_scattering_parameters_or_the_one_error(noise, start):
    try:
        network = read(start.encode() + noise)
    except UnreadableTouchstoneError:
        return
    assert network.s.shape == (len(network.frequency_mhz), 4, 4)


@given(st.integers(0, len(PLAIN)), st.text(alphabet="0123456789.eE+-_ \n!#[]RSnaif", max_size=12))
def test_a_file_with_a_scratch_gives_scattering_parameters_or_the_one_error(at, scratch):
    try:
        network = read(PLAIN[:at] + scratch + PLAIN[at + len(scratch) :])
    except UnreadableTouchstoneError:
        return
    assert np.isfinite(network.s).all()


def parts(files, **declaration):
    return measurement_parts(
        [TouchstoneFile(name, text.encode()) for name, text in files], TouchstoneDeclaration(**declaration)
    )


def curve(measured, parameter, end, key):
    return LinkMeasurement(Configuration.CHANNEL, curves=measured.curves).sweep(parameter, end, key)


WHOLE = [("link.s16p", version_1(F, LINK))]


def test_a_whole_link_gives_every_curve_and_the_delay_of_each_pair_at_10_mhz():
    measured = parts(WHOLE)

    assert len(measured.curves) == 11
    assert all(len(groups) == 1 for groups in measured.curves.values())
    fext = curve(measured, Parameter.FEXT, End.NEAR, "12>45").value_complex
    np.testing.assert_allclose(fext, mixed_modes(F)[:, 6, 0], atol=1e-14)
    assert {r.delay_frequency_mhz for r in measured.readings.values()} == {10.0}
    delays = [measured.readings[pair].delay_ns for pair in PAIRS]
    np.testing.assert_allclose(delays, [250.0, 253.0, 245.0, 247.5])


@pytest.mark.parametrize("order", PortOrder)
def test_every_numbering_gives_the_same_measurement(order):
    measured = parts([("link.s16p", version_1(F, single_ended(F, NUMBERINGS[order])))], order=order)

    for (parameter, end), groups in parts(WHOLE).curves.items():
        theirs = measured.curves[parameter, end][0]
        np.testing.assert_allclose(theirs.value_db, groups[0].value_db, atol=1e-9)


def test_one_file_for_each_pair_makes_one_measurement():
    measured = parts([(f"{pair}.s4p", version_1(F, four_ports(pair=pair))) for pair in PAIRS])

    assert [g.keys for g in measured.curves[Parameter.INSERTION_LOSS, None]] == [PAIRS]
    assert measured.readings["36"].delay_ns == pytest.approx(253.0)
    assert (Parameter.NEXT, End.NEAR) not in measured.curves
    expected = curve(parts(WHOLE), Parameter.ELTCTL, End.FAR, "45").value_db
    np.testing.assert_allclose(curve(measured, Parameter.ELTCTL, End.FAR, "45").value_db, expected, atol=1e-9)


def test_files_on_different_axes_stay_apart():
    measured = parts(
        [
            ("a.s4p", version_1(F, four_ports(pair="12"))),
            ("b.s4p", version_1(F[:30], four_ports(F[:30], "36"))),
        ],
        pairs=("12", "36"),
    )

    assert [g.keys for g in measured.curves[Parameter.RETURN_LOSS, End.FAR]] == [("12",), ("36",)]


def eight_ports(first, second):
    ports = [PINS.index((end, pin)) for end in "nf" for pair in (first, second) for pin in PAIR_PINS[pair]]
    return LINK[:, ports][:, :, ports]


def test_two_pairs_at_a_time_in_six_files_make_the_whole_link():
    couples = [(a, b) for i, a in enumerate(PAIRS) for b in PAIRS[i + 1 :]]

    measured = parts(
        [(f"{a}{b}.s8p", version_1(F, eight_ports(a, b))) for a, b in couples],
        pairs=tuple(pair for couple in couples for pair in couple),
        order=PortOrder.PAIRS_NEAR_THEN_FAR,
    )

    for key, groups in parts(WHOLE).curves.items():
        for pair in groups[0].keys:
            np.testing.assert_allclose(
                curve(measured, *key, pair).value_db, groups[0].sweep(pair).value_db, atol=1e-9
            )


@pytest.mark.parametrize("reference", ["100", "85"])
def test_differential_ports_are_referred_to_100_ohm(reference):
    network = skrf.Network(s=differential_modes(F), f=F, f_unit="MHz", z0=100)
    network.renormalize(float(reference))
    text = version_1(F, network.s, f"# MHz S RI R {reference}")

    measured = parts([("link.s8p", text)], ports=PortKind.DIFFERENTIAL)

    assert len(measured.curves) == 7
    np.testing.assert_allclose(
        curve(measured, Parameter.NEXT, End.FAR, "12-78").value_complex,
        differential_modes(F)[:, 7, 4],
        atol=1e-12,
    )


def test_50_ohm_at_differential_ports_must_be_explained():
    files = [("link.s8p", version_1(F, differential_modes(F)))]

    with pytest.raises(InvalidMeasurementError, match="state reference_ohm 100") as caught:
        parts(files, ports=PortKind.DIFFERENTIAL)
    assert caught.value.pointer == "/touchstone/reference_ohm"
    measured = parts(files, ports=PortKind.DIFFERENTIAL, reference_ohm=100)
    np.testing.assert_allclose(
        curve(measured, Parameter.RETURN_LOSS, End.NEAR, "12").value_complex, differential_modes(F)[:, 0, 0]
    )


def test_single_ended_ports_are_referred_to_50_ohm_each():
    network = skrf.Network(s=four_ports(), f=F, f_unit="MHz", z0=50)
    network.renormalize([75, 60, 75, 60])

    measured = parts([("pair.s4p", version_1(F, network.s, "# MHz S RI R 75 60 75 60"))], pairs=("36",))

    np.testing.assert_allclose(
        curve(measured, Parameter.RETURN_LOSS, End.FAR, "36").value_complex,
        mixed_modes(F)[:, 5, 5],
        atol=1e-12,
    )


def test_what_has_no_meaning_at_50_ohm_is_refused():
    # A reflection of -1.2 at 550 ohm is a resistance of -50 ohm: without bound at 50 ohm.
    s = np.zeros((3, 4, 4), complex)
    s[:, range(4), range(4)] = -1.2

    with pytest.raises(UnreadableTouchstoneError, match="50 ohm"):
        parts(
            [("pair.s4p", version_1(SHORT_F, s, "# MHz S RI R 550"))],
            pairs=("36",),
            order=PortOrder.PAIRS_NEAR_THEN_FAR,
        )


def test_a_pair_through_which_nothing_comes_has_no_delay():
    s = LINK.copy()
    far = [PINS.index(("f", pin)) for pin in (3, 6)]
    s[:, far, :] = s[:, :, far] = 0

    measured = parts([("link.s16p", version_1(F, s))], order=PortOrder.PINS_NEAR_THEN_FAR)

    assert set(measured.readings) == {"12", "45", "78"}


@pytest.mark.parametrize(
    ("declaration", "pointer", "advice"),
    [
        ({}, "/touchstone/pairs", "the files hold 1 pairs"),
        ({"pairs": ("36", "12")}, "/touchstone/pairs", "the files hold 1 pairs"),
        ({"pairs": ("63",)}, "/touchstone/pairs/0", "pairs are 12, 36, 45, 78"),
        ({"pairs": ("36", "36"), "ports": PortKind.DIFFERENTIAL}, "/touchstone/pairs", "twice in one file"),
        ({"pairs": ("36",), "order": (1, 2, 3)}, "/touchstone/order", "each of the ports 1 to 4 once"),
        ({"pairs": ("36",), "reference_ohm": float("nan")}, "/touchstone/reference_ohm", "1 to 1000"),
    ],
)
def test_a_declaration_that_does_not_fit_is_refused_with_its_place(declaration, pointer, advice):
    with pytest.raises(InvalidMeasurementError, match=advice) as caught:
        parts([("pair.s4p", PLAIN)], **declaration)
    assert caught.value.pointer == pointer


def test_the_same_pair_in_a_second_file_is_refused():
    with pytest.raises(InvalidMeasurementError, match=r"file 2 \(b.s4p\) repeats"):
        parts([("a.s4p", PLAIN), ("b.s4p", PLAIN)], pairs=("36", "36"))


def test_no_file_at_all_is_refused():
    with pytest.raises(InvalidMeasurementError, match="hold 0 pairs"):
        parts([])
