"""What to do next about a verdict, in one line for the person on the ladder.

It follows from the first suspected fault, and from the verdict alone where nothing is suspected.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

WIRE_MAP_STEPS: Final = {
    "short": "Look for wires touching in the connectors, re-terminate, test again.",
    "open": "Re-terminate the named wires; if they stay open, the cable is cut.",
    "rollover": "Re-terminate one end in the same wire order as the other.",
    "crossover": "Use the same wiring scheme (T568A or T568B) at both ends.",
    "crossover_all_pairs": "Re-terminate one end in the same wire order as the other.",
    "reversed_pair": "Exchange the two wires of the pair at one end.",
    "crossed_pair": "Put each pair on its own pins at the end that is wired wrongly.",
    "miswire": "Put each wire on its own pin at the end that is wired wrongly.",
    "conductors_exchanged": "Exchange the two wires at one end.",
    "open_shield": "Connect the shield at both ends.",
    "split_pair": "Re-terminate both ends so that twisted wires stay together as pairs.",
}

PARAMETER_STEPS: Final = {
    "length": "Shorten the run, or check the NVP that the test used.",
    "propagation_delay": "Shorten the run.",
    "delay_skew": "Replace the cable: its pairs differ too much.",
    "dc_loop_resistance": "Check contacts; if they are sound, replace the cable.",
    "resistance_unbalance_within_pair": "Re-terminate the pair: one contact is poor.",
    "resistance_unbalance_between_pairs": "Re-terminate the pair that differs.",
    "insertion_loss": "Check length and type of the cable; stranded cable does not belong in the wall.",
    "next": "Re-terminate the end named, with the twist kept up to the contacts.",
    "ps_next": "Re-terminate the end named, with the twist kept up to the contacts.",
    "acr_n": "Re-terminate the end named, with the twist kept up to the contacts.",
    "ps_acr_n": "Re-terminate the end named, with the twist kept up to the contacts.",
    "acr_f": "Re-terminate, and check that connectors and cable are of one category.",
    "ps_acr_f": "Re-terminate, and check that connectors and cable are of one category.",
    "return_loss": "Look for kinks, coils and a poor termination at the end named.",
}

OUTCOME_STEPS: Final = {
    "pass": "Nothing.",
    "marginal_pass": "Accept if the job allows it; otherwise re-terminate and test again.",
    "incomplete": "Finish the test: what is missing is listed.",
}


def next_step(verdict: Mapping[str, Any], faults: Sequence[Mapping[str, Any]] = ()) -> str:
    """Return what to do about a verdict document, by the first suspicion where there is one.

    >>> next_step({"outcome": "pass"})
    'Nothing.'
    """
    if faults:
        place = faults[0]["place"]
        return f"{faults[0]['first']}" + (f" Place: {place['text']}." if place else "")
    outcome = str(verdict["outcome"])
    if outcome in OUTCOME_STEPS:
        return OUTCOME_STEPS[outcome]
    for finding in verdict["wire_map"]["findings"]:
        return WIRE_MAP_STEPS[finding["kind"]]
    failing = [p for p in verdict["parameters"] if p["outcome"] in {"fail", "marginal_fail"}]
    steps = [PARAMETER_STEPS[p["parameter"]] for p in failing if p["parameter"] in PARAMETER_STEPS]
    return steps[0] if steps else "Find the cause, mend it, test again."
