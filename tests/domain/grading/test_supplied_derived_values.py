"""Rule 11 of the verdict: derived values are computed, and supplied ones only compared."""

from dataclasses import replace

import numpy as np
import pytest

from domain.grading.flat import AXIS, SOUND, codes, edition, link, result, rules, verdict_of
from fourpair_service.domain.errors import InvalidMeasurementError
from fourpair_service.domain.link import FEXT_COMBINATIONS, PAIRS, End
from fourpair_service.domain.measurement import CurveGroup
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.verdict import Outcome
from fourpair_service.http.schemas.document_errors import InvalidDocumentError
from fourpair_service.http.schemas.measurement import read_measurement

PS_NEXT_DB = SOUND[Parameter.NEXT] - 10 * np.log10(3)


def supplied(parameter, keys, value, measured=None, end=End.NEAR, axis=AXIS):
    measured = measured or link()
    group = CurveGroup(axis, keys, np.broadcast_to(np.asarray(value, float), (len(keys), axis.size)))
    return replace(measured, curves={**measured.curves, (parameter, end): (group,)})


@pytest.mark.parametrize("off", [0.0, 0.199, -0.199])
def test_rule_11_a_supplied_value_within_0_2_db_of_ours_is_ignored(off):
    verdict = verdict_of(supplied(Parameter.PS_NEXT, PAIRS, PS_NEXT_DB + off))

    assert "derived-differs" not in codes(verdict)


@pytest.mark.parametrize("off", [0.21, -0.21, 0.99, -0.99])
def test_rule_11_up_to_1_db_is_a_caution_and_ours_is_judged(off):
    verdict = verdict_of(supplied(Parameter.PS_NEXT, ("45",), PS_NEXT_DB + off))

    (text,) = [c.text for c in verdict.cautions if c.code == "derived-differs"]
    assert text.startswith(f"The supplied PS NEXT 45 at the near end differs by up to {abs(off):.2f} dB")
    assert result(verdict, Parameter.PS_NEXT, End.NEAR).worst_margin.measured == pytest.approx(PS_NEXT_DB)


@pytest.mark.parametrize("off", [1.01, -1.01, 40.0])
def test_rule_11_more_than_1_db_is_refused_with_the_pointer_and_the_size(off):
    with pytest.raises(InvalidMeasurementError) as refused:
        verdict_of(supplied(Parameter.PS_NEXT, ("45",), PS_NEXT_DB + off))

    assert refused.value.pointer == "/sweeps/ps_next/near/45"
    assert refused.value.value == round(abs(off), 3)


def test_rule_11_one_point_that_is_off_is_enough():
    off = np.where(AXIS == 50.0, 1.5, 0.0)

    with pytest.raises(InvalidMeasurementError):
        verdict_of(supplied(Parameter.PS_NEXT, ("45",), PS_NEXT_DB + off))


@pytest.mark.parametrize(
    ("parameter", "keys"),
    [
        (Parameter.ACR_N, FEXT_COMBINATIONS),
        (Parameter.PS_ACR_N, PAIRS),
        (Parameter.ACR_F, FEXT_COMBINATIONS),
        (Parameter.PS_ACR_F, PAIRS),
        (Parameter.PS_NEXT, PAIRS),
    ],
)
def test_rule_11_every_derived_parameter_is_compared(parameter, keys):
    sound = result(verdict_of(), parameter, End.FAR).by_pair[0].measured

    assert verdict_of(supplied(parameter, keys, sound, end=End.FAR)).outcome is Outcome.PASS
    with pytest.raises(InvalidMeasurementError):
        verdict_of(supplied(parameter, keys, sound + 2, end=End.FAR))


@pytest.mark.parametrize("of", ["disturbed", "disturbing"])
def test_rule_11_acr_f_by_the_other_pairs_loss_is_named_and_not_refused(of):
    measured = link({(Parameter.INSERTION_LOSS, None, "12"): 5.0})
    switches = rules(acr_f_loss_of=of)
    # 70 dB of FEXT less the loss of the pair that the edition does not take.
    other = 70.0 - (10.0 if of == "disturbed" else 5.0)

    verdict = verdict_of(supplied(Parameter.ACR_F, ("36>12",), other, measured), edition(switches=switches))

    (text,) = [c.text for c in verdict.cautions if c.code == "derived-other-loss"]
    named = "disturbing" if of == "disturbed" else "disturbed"
    assert f"ACR-F 36>12 at the near end refers to the insertion loss of the {named} pair" in text


def test_rule_11_a_supplied_value_of_which_we_have_no_curve_is_not_compared_and_not_judged():
    measured = supplied(Parameter.PS_NEXT, PAIRS, 5.0, link(without=[(Parameter.NEXT, End.NEAR)]))

    verdict = verdict_of(measured)

    assert result(verdict, Parameter.PS_NEXT, End.NEAR).outcome is Outcome.INCOMPLETE


def test_rule_11_a_supplied_value_on_another_axis_is_compared_at_its_own_frequencies():
    axis = np.array([5.0, 55.0])

    assert verdict_of(supplied(Parameter.PS_NEXT, PAIRS, PS_NEXT_DB, axis=axis)).outcome is Outcome.PASS
    with pytest.raises(InvalidMeasurementError):
        verdict_of(supplied(Parameter.PS_NEXT, PAIRS, PS_NEXT_DB + 2, axis=axis))


def test_rule_11_small_negative_losses_are_noise_and_valid():
    noisy = {(Parameter.INSERTION_LOSS, None): np.where(AXIS < 5, -0.01, 10.0)}

    assert verdict_of(link(noisy)).outcome is Outcome.PASS


def _document(values):
    return {
        "configuration": "channel",
        "frequency_mhz": [1.0, 2.0, 3.0],
        "sweeps": {"insertion_loss": {"12": values}},
    }


def test_rule_11_a_loss_list_with_a_median_below_0_is_refused_and_its_noise_is_not():
    read_measurement(_document([-0.01, 0.2, 0.3]))

    with pytest.raises(InvalidDocumentError):
        read_measurement(_document([-1.2, -2.3, 0.1]))
