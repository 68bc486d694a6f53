"""Every collected figure, each with its published source in ``published_figures.csv``.

Rows that are met are held to the tolerance noted beside them. Rows that are
not met assert by how much they are missed, and why, so that a miss can neither
grow nor vanish unnoticed. Rows of kind ``remembered`` compare recall with
recall and prove consistency alone.
"""

import csv
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from domain.applications.links import DATA, ISO, TIA
from fourpair_service.domain.applications.noise import (
    LineCurves,
    alien_line_db,
    grid_mhz,
    salz_db,
    signal_to_noise,
)
from fourpair_service.domain.curves import FORMS, evaluate
from fourpair_service.domain.limits import Basis
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.parameters import Parameter

ROWS = list(csv.DictReader((Path(__file__).parent / "published_figures.csv").read_text().splitlines()))
TEN_GIGABIT_LOSS = DATA.applications["10GBASE-T"].limits[Parameter.INSERTION_LOSS].segments[0]
SILENT = 400.0

# Every row that is missed, by id and condition: what is done about it.
MISSED = {
    (
        "next_10t",
        "10 MHz",
    ): "the recalled 26 dB is stricter than the printed category 3 channel; kept, as memory",
    ("acrf_10gt", "200 MHz"): "the source breaks its own slope of 20 dB a decade: taken as its error",
    ("acrf_10gt", "250 MHz"): "the source breaks its own slope of 20 dB a decade: taken as its error",
    ("psacrf_10gt", "200 MHz"): "the source breaks its own slope of 20 dB a decade: taken as its error",
    ("psacrf_10gt", "250 MHz"): "the source breaks its own slope of 20 dB a decade: taken as its error",
    ("return_loss_10gt", "16 MHz"): "the source is tighter; unresolved, the segment stays memory",
    ("return_loss_10gt", "20 MHz"): "the source is tighter; unresolved, the segment stays memory",
    ("return_loss_10gt", "31.25 MHz"): "the source is tighter; unresolved, the segment stays memory",
    ("salz_m3", "X=62, PSD -81.0 dBm/Hz, -150 AWGN"): "missed by 1.6 and 1.9 dB: stated as uncertainty",
    ("salz_pam4", "X=64.5"): "the setting that meets the other two results contradicts this one",
}


def megahertz(row):
    found = re.search(r"([\d.]+) MHz", row["condition"]) or re.match(r"([\d.]+)$", row["condition"])
    return float(found[1])


def application(name, parameter):
    return lambda row: float(DATA.applications[name].limits[parameter].at(np.array([megahertz(row)]))[0])


def channel(rule_set, category):
    curve = rule_set.curve(category, Configuration.CHANNEL, Parameter.INSERTION_LOSS)
    return lambda row: float(curve.at(np.array([megahertz(row)]))[0])


def class_e_loss_db(f):
    return evaluate(TEN_GIGABIT_LOSS, f, {})


def delay_ns(row):
    coefficients = {"constant": 546.0, "inverse_sqrt": 34.0}
    return float(FORMS["delay"].function(np.array([megahertz(row)]), coefficients)[0])


def model_3_snr_db(top_mhz, level_db, signal_dbm_per_hz):
    """100 m of class E loss, worst-pair alien noise, everything of the own pairs cancelled."""
    f = grid_mhz(top_mhz)
    silent = np.full_like(f, SILENT)
    receiver = DATA.noise.receivers["10GBASE-T"]
    # The models of that study fall by 15 dB a decade over the whole range.
    line = LineCurves(class_e_loss_db(f), silent, silent, silent, level_db - 15 * np.log10(f / 100))
    sent = replace(receiver.signal_dbm_per_hz, value=signal_dbm_per_hz)
    return float(salz_db(signal_to_noise(line, replace(receiver, signal_dbm_per_hz=sent), DATA.noise)))


SYMBOLS_MBD = {"PAM8": 1000.0, "PAM12": 825.0, "PAM4": 1666.67}


def _number(pattern, text):
    return float(re.search(pattern, text)[1])


def salz_row(row):
    code = row["quantity"].split("optimum DFE SNR ")[1].split(" ")[0]
    level, signal = _number(r"X=([\d.]+)", row["condition"]), _number(r"PSD (-[\d.]+)", row["condition"])
    return model_3_snr_db(SYMBOLS_MBD[code] / 2, level, signal)


def salz_difference(row):
    level = _number(r"X=([\d.]+)", row["quantity"])
    return model_3_snr_db(412.5, level, -81.0) - model_3_snr_db(500.0, level, -81.0)


def salz_pam4(row):
    top = SYMBOLS_MBD["PAM4"] / 2
    level = _number(r"X=([\d.]+)", row["quantity"])
    return model_3_snr_db(top, level, 4.5 - 10 * np.log10(top * 1e6))


def device_power_w(row):
    sent, volt, ohm = (
        _number(pattern, row["condition"]) for pattern in (r"P_PSE (\d+)", r"V (\d+)", r"R ([\d.]+)")
    )
    return sent - (sent / volt) ** 2 * ohm


def join(parameter):
    segment = DATA.applications["10GBASE-T"].limits[parameter].segments[1]
    return lambda row: float(evaluate(segment, np.array([megahertz(row)]), {})[0])


def alien_less_loss_100_m(row):
    level = _number(r"X=([\d.]+)", row["quantity"])
    f = np.array([megahertz(row)])
    loss = ISO.curve("EA", Configuration.CHANNEL, Parameter.INSERTION_LOSS).at(f)
    return float((alien_line_db(level, f) - loss)[0])


def alien_less_loss_55_m(row):
    f = np.array([megahertz(row)])
    return float((alien_line_db(49.5, f) - 0.55 * class_e_loss_db(f))[0])


def cable_loss_db(row):
    curve = TIA.references[("5e", "component", "insertion_loss_cable_100m")]
    return float(curve.at(np.array([megahertz(row)]))[0])


TEN = "10GBASE-T"
COMPUTED = {
    "il_1000t": application("1000BASE-T", Parameter.INSERTION_LOSS),
    "next_1000t": application("1000BASE-T", Parameter.NEXT),
    "rl_1000t": application("1000BASE-T", Parameter.RETURN_LOSS),
    "acrf_1000t": application("1000BASE-T", Parameter.ACR_F),
    "il_10t": application("10BASE-T", Parameter.INSERTION_LOSS),
    "next_10t": application("10BASE-T", Parameter.NEXT),
    "insertion_loss_10gt": application(TEN, Parameter.INSERTION_LOSS),
    "next_10gt": application(TEN, Parameter.NEXT),
    "psnext_10gt": application(TEN, Parameter.PS_NEXT),
    "acrf_10gt": application(TEN, Parameter.ACR_F),
    "psacrf_10gt": application(TEN, Parameter.PS_ACR_F),
    "return_loss_10gt": application(TEN, Parameter.RETURN_LOSS),
    "il_5e_ch": application("2.5GBASE-T", Parameter.INSERTION_LOSS),
    "il_6_ch": application(TEN, Parameter.INSERTION_LOSS),
    "il_F": channel(ISO, "F"),
    "il_EA": channel(ISO, "EA"),
    "il_E": channel(ISO, "E"),
    "next_join": join(Parameter.NEXT),
    "psn_join": join(Parameter.PS_NEXT),
    "delay_iso": delay_ns,
    "delay_802": delay_ns,
    "cable5e": cable_loss_db,
    "v585": lambda row: 2.2 * 10 ** (-11.5 / 20),
    "poe": device_power_w,
    "unb": lambda row: 100 * (1.06 - 1) / (1.06 + 1),
    "heat": lambda row: 20 * 0.6**2,
    "pamgap": lambda row: 12.25 + 6.02 * 3,
    "salz_m3": salz_row,
    "salz_m3_diff": salz_difference,
    "salz_pam4": salz_pam4,
    "cross55": alien_less_loss_55_m,
    "cross100": alien_less_loss_100_m,
    "psd81": lambda row: -81 + 10 * np.log10(400e6),
    "bits": lambda row: 3.125 * 2,
}
# The noted values come from another grid of frequencies, which moves a ratio by up to 0.05 dB.
COMPUTED_CLOSE = {"salz_m3": 0.06, "salz_m3_diff": 0.06, "salz_pam4": 0.06}


def named(row):
    return f"{row['id']} {row['condition']} {row['quantity']}"[:90]


def missed(row):
    key = (row["id"], row["condition"])
    by_level = (row["id"], row["quantity"].rpartition(", ")[2])
    return MISSED.get(key) or MISSED.get(by_level)


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_every_figure_is_computed_as_it_was_when_it_was_collected(row):
    assert COMPUTED[row["id"]](row) == pytest.approx(
        float(row["computed"]), abs=COMPUTED_CLOSE.get(row["id"], 0.006)
    )


@pytest.mark.parametrize("row", [r for r in ROWS if r["verdict"] == "ok" and r["tolerance"]], ids=named)
def test_a_figure_that_is_met_is_within_its_tolerance(row):
    assert COMPUTED[row["id"]](row) == pytest.approx(
        float(row["published_value"]), abs=float(row["tolerance"])
    )


@pytest.mark.parametrize("row", [r for r in ROWS if r["verdict"] == "DIFF"], ids=named)
def test_a_figure_that_is_missed_has_its_reason_and_is_missed_by_what_was_noted(row):
    reason = missed(row)

    assert reason, f"no reason is noted for {named(row)}"
    if row["tolerance"]:
        miss = COMPUTED[row["id"]](row) - float(row["published_value"])
        assert abs(miss) > float(row["tolerance"])
        assert miss == pytest.approx(float(row["difference"]), abs=0.01)


def test_the_reasons_are_those_of_rows_that_are_there():
    known = {(r["id"], r["condition"]) for r in ROWS} | {
        (r["id"], r["quantity"].rpartition(", ")[2]) for r in ROWS
    }

    assert set(MISSED) <= known


def test_no_published_figure_is_left_without_a_computation():
    assert {row["id"] for row in ROWS} == set(COMPUTED)
    assert all(row["source"] for row in ROWS)


def test_limits_that_miss_a_printed_value_are_marked_as_memory():
    ten = DATA.applications["10GBASE-T"].limits
    for parameter, at_mhz in ((Parameter.RETURN_LOSS, 20), (Parameter.ACR_F, 200), (Parameter.PS_ACR_F, 250)):
        segment = ten[parameter].segment_at(at_mhz)
        assert segment.basis is Basis.MEMORY
        assert segment.note
    assert DATA.applications["10BASE-T"].limits[Parameter.NEXT].basis is Basis.MEMORY


def test_the_two_published_equaliser_results_are_missed_by_no_more_than_the_uncertainty_that_is_stated():
    # IEEE 802.3an reflector msg00937: 5.2 dB over 19.9 dB and 5.7 dB over 23.8 dB.
    found = [model_3_snr_db(500.0, 62.0, -81.0), model_3_snr_db(412.5, 62.0, -81.0)]

    assert [abs(a - b) for a, b in zip(found, (25.1, 29.5), strict=True)] == pytest.approx(
        [1.63, 1.86], abs=0.06
    )
    assert DATA.noise.uncertainty.value >= 1.86
