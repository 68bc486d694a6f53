"""What fails, read from a verdict document, and how the record's faults follow from it.

A fault is named by what fails: a wire map class with its pairs, or a family of
parameters at an end. The suspected cause may be told better tomorrow and is no
part of the name.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from hashlib import sha256
from typing import Final, NamedTuple

from fourpair_service.records.curves import Document
from fourpair_service.records.model import FaultState

FAILED_OUTCOMES: Final = frozenset({"fail", "marginal_fail"})

# A power sum fails with its own disturbers, and a ratio with the crosstalk in
# it: one defect, one ticket. A parameter that is not here is its own family.
FAMILIES: Final = {
    "ps_next": "next",
    "acr_n": "next",
    "ps_acr_n": "next",
    "ps_acr_f": "acr_f",
    "delay_skew": "propagation_delay",
    "ps_anext_average": "ps_anext",
    "ps_aacr_f_average": "ps_aacr_f",
    "resistance_unbalance_within_pair": "dc_loop_resistance",
    "resistance_unbalance_between_pairs": "dc_loop_resistance",
}


class Failure(NamedTuple):
    """One thing that fails, and how a person is told."""

    what: str
    title: str
    detail: str


def _wire_map_failures(wire_map: Document) -> Iterable[Failure]:
    if wire_map.get("outcome") not in FAILED_OUTCOMES:
        return
    for finding in wire_map.get("findings", ()):
        place = "+".join(finding["pairs"]) or "+".join(finding["pins"])
        what = f"wire_map:{finding['kind']}:{place}"
        yield Failure(what, f"Wire map: {finding['kind'].replace('_', ' ')} {place}", finding["text"])


def what_of(row: Document) -> str:
    """Return the name under which a parameter of a verdict fails: its family and end."""
    return f"{FAMILIES.get(row['parameter'], row['parameter'])}:{row['end'] or 'link'}"


def _parameter_failures(parameters: Iterable[Document]) -> Iterable[Failure]:
    for row in parameters:
        if row["outcome"] not in FAILED_OUTCOMES:
            continue
        end = f" at the {row['end']} end" if row["end"] else ""
        yield Failure(what_of(row), f"{row['title']} fails{end}", _point_text(row))


def _point_text(row: Document) -> str:
    point = row.get("worst_margin")
    if not point or point.get(f"margin_{row['unit']}") is None:
        return f"{row['title']}: {row['outcome'].replace('_', ' ')}."
    unit = row["unit"]
    frequency = f" at {point['frequency_mhz']} MHz" if point["frequency_mhz"] is not None else ""
    pairs = f", pairs {point['pairs']}" if point["pairs"] else ""
    word = "dB" if unit == "db" else unit
    return (
        f"{row['title']}: {point[f'measured_{unit}']} against a limit of {point[f'limit_{unit}']} {word}"
        f"{frequency}{pairs}; margin {point[f'margin_{unit}']} {word}."
    )


def failures(verdict: Document) -> dict[str, Failure]:
    """Return what fails in a verdict, by its name; the first of a family tells its story."""
    found: dict[str, Failure] = {}
    for failure in (
        *_wire_map_failures(verdict.get("wire_map") or {}),
        *_parameter_failures(verdict.get("parameters", ())),
    ):
        found.setdefault(failure.what, failure)
    return found


def fault_key(record_id: str, what: str) -> str:
    """Return the stable key of one fault: 16 hexadecimal digits.

    >>> fault_key("r1", "next:near") == fault_key("r1", "next:near") != fault_key("r1", "next:far")
    True
    """
    return sha256(f"{record_id}\n{what}".encode()).hexdigest()[:16]


GOOD_OUTCOMES: Final = frozenset({"pass", "marginal_pass"})
SPLIT_PAIR: Final = "wire_map:split_pair:"


def _found_good(verdict: Document, what: str) -> bool:
    """Return whether a verdict judged the thing and found it inside: silence closes nothing."""
    wire_map = verdict.get("wire_map") or {}
    if what.startswith(SPLIT_PAIR):
        # Continuity does not see a split pair: only crosstalk and reflections exclude it.
        return wire_map.get("split_pairs") in {"none", "found"}
    if what.startswith("wire_map:"):
        return wire_map.get("outcome") not in {None, "incomplete"}
    outcomes = {row["outcome"] for row in verdict.get("parameters", ()) if what_of(row) == what}
    judged = outcomes - {None}
    return bool(judged) and judged <= GOOD_OUTCOMES


def fault_states(
    before: Iterable[FaultState], record_id: str, verdict: Document, *, seq: int, withdrawn: bool
) -> list[FaultState]:
    """Return the faults of a record that a new revision opens, shows again or closes."""
    known = {fault.what: fault for fault in before}
    failing = {} if withdrawn else failures(verdict)
    changed = [
        replace(known[f.what], title=f.title, detail=f.detail, seen_seq=seq, closed_seq=None)
        if f.what in known
        else FaultState(fault_key(record_id, f.what), record_id, f.what, f.title, f.detail, seq, seq)
        for f in failing.values()
    ]
    closed = [
        replace(fault, closed_seq=seq)
        for fault in known.values()
        if fault.what not in failing
        and fault.closed_seq is None
        and (withdrawn or _found_good(verdict, fault.what))
    ]
    return changed + closed
