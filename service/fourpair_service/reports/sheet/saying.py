"""The sentences of a sheet, made from the verdict and the diagnosis in the language asked for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from fourpair_service.domain.diagnosis.faults import FaultCode
from fourpair_service.domain.diagnosis.model import Confidence
from fourpair_service.domain.wiremap import WireMapFault
from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.sheet.model import Document

# Nearer to an end than this it may be in the connection itself: common practice, no published source. [m]
AT_END_M: Final = 1.0
# Of a cause that the verdict itself finds.
DECIDED: Final = "decided"
# Findings after which the length of a pair is not that of the run.
BROKEN = frozenset({"open", "short"})
# Bases of limits that no later check changes; none where the wires decide.
KNOWN = frozenset({None, "published", "cross_checked"})
# Suspicions under which nothing is promised for power: such places and conductors grow hot.
UNSAFE_TO_FEED: Final = frozenset({
    FaultCode.OPEN_CONDUCTOR, FaultCode.SHORT_CIRCUIT, FaultCode.WIRES_EXCHANGED, FaultCode.SPLIT_PAIR,
    FaultCode.POOR_CONTACT, FaultCode.CLAD_CONDUCTORS, FaultCode.HOT_OR_WET_CABLE,
})  # fmt: skip
FAILING = frozenset({"fail", "marginal_fail"})
PASSING = frozenset({"pass", "marginal_pass"})


def capitalised(text: str) -> str:
    """Return text with a capital at its start."""
    return text[:1].upper() + text[1:]


def category_title(title: str, words: Language) -> str:
    """Return ``category 6`` or ``class EA`` in the language."""
    kind, _, name = title.partition(" ")
    return f"{words.by_code('category', kind, kind)} {name}".rstrip()


def requirement(verdict: Document, words: Language) -> str:
    """Return what the link was asked to meet."""
    rule_set = verdict["rule_set"]
    configuration = words.say(f"configuration.{verdict['requirement']['configuration']}")
    title = category_title(rule_set["category_title"], words)
    return f"{printable(title, 40)}, {configuration} ({printable(rule_set['title'], 60)})"


def where(
    parameter: str, end: str | None, pairs: str | None, frequency_mhz: float | None, words: Language
) -> str:
    """Return parameter, end, pairs and frequency as a list."""
    parts = [words.say(f"parameter.{parameter}")]
    if end:
        parts.append(words.say(f"end_at.{end}"))
    if pairs:
        parts.append(words.say("sentence.on_pair" if pairs.isdigit() else "sentence.on_pairs", pairs=pairs))
    if frequency_mhz is not None:
        parts.append(words.say("sentence.at_frequency", frequency=words.frequency(frequency_mhz)))
    return ", ".join(parts)


def of_result(result: Document, words: Language) -> str:
    """Return where a result has its worst margin."""
    point = result["worst_margin"] or {}
    # A single value has a frequency too (delay at 10 MHz), which tells a reader nothing.
    at = point.get("frequency_mhz") if result["unit"] == "db" else None
    return where(result["parameter"], result["end"], point.get("pairs"), at, words)


def margin_of(result: Document) -> float | None:
    """Return the worst margin of a result in its unit."""
    point = result["worst_margin"]
    return None if point is None else point[f"margin_{result['unit']}"]


def length_m(verdict: Document) -> float | None:
    """Return the length that was judged; none where it is that of a pair that does not arrive. [m]."""
    findings = verdict["wire_map"]["findings"]
    broken = {pair for f in findings if f["kind"] in BROKEN for pair in f["pairs"]}
    for result in verdict["parameters"]:
        point = result["worst_margin"]
        if result["parameter"] == "length" and point and point["measured_m"] and point["pairs"] not in broken:
            return float(point["measured_m"])
    return None


def over_length_m(verdict: Document) -> float | None:
    """Return by how much a link is too long, ``None`` where its length does not fail. [m]."""
    margins = [
        margin_of(r) for r in verdict["parameters"] if r["parameter"] == "length" and r["outcome"] in FAILING
    ]
    return None if not margins or margins[0] is None else abs(margins[0])


def failing(verdict: Document) -> list[Document]:
    """Return the results that fail: length before the delay that follows from it, then the worst in dB."""
    found = [p for p in verdict["parameters"] if p["outcome"] in FAILING]
    return sorted(
        found, key=lambda p: (p["outcome"] != "fail", p["parameter"] != "length", margin_of(p) or 0.0)
    )


def failure(result: Document, words: Language) -> str:
    """Return that a result fails, and by how much."""
    margin = words.amount(abs(margin_of(result) or 0.0), result["unit"])
    name = "sentence.marginal" if result["outcome"] == "marginal_fail" else "sentence.fails"
    return words.say(name, what=of_result(result, words), margin=margin) + "."


def reservations(verdict: Document) -> list[str]:
    """Return why a verdict is provisional, as names of texts, what must be read first."""
    said = verdict["notices"]
    has_gaps = any("coverage" in n or "does not cover" in n for n in said)
    is_from_memory = any("not yet been checked" in n for n in said)
    # What fails by its wires or by limits that are known fails whatever a check of the others may bring.
    by_wires = verdict["wire_map"]["outcome"] in FAILING
    stands = verdict["outcome"] in FAILING and (by_wires or verdict["basis"] in KNOWN)
    kind = "provisional_in_part" if stands else "provisional"
    return ["provisional_coverage"] * has_gaps + [kind] * is_from_memory


def notices(verdict: Document) -> list[str]:
    """Return what must be read first, as names of texts: of limits to be compared, when that is to be done."""
    said = {"incomplete": "provisional_unfinished", **dict.fromkeys(FAILING, "provisional_failing")}
    own = said.get(verdict["outcome"], "provisional")
    return [own if name == "provisional" else name for name in reservations(verdict)]


def is_unsafe_to_feed(verdict: Document, faults: Sequence[Document]) -> bool:
    """Return whether current would flow through what is wrong: wires, contacts, conductors."""
    outcomes = {verdict["wire_map"]["outcome"]}
    outcomes |= {r["outcome"] for r in verdict["parameters"] if r["unit"] == "ohm"}
    return bool(FAILING & outcomes or UNSAFE_TO_FEED & {fault["code"] for fault in faults})


def confidence(fault: Document, verdict: Document) -> str:
    """Return how sure a suspicion is; what the verdict itself finds in the wires is not doubted beside it."""
    found = {finding["kind"] for finding in verdict["wire_map"]["findings"]}
    is_found = fault["code"] == FaultCode.SPLIT_PAIR and WireMapFault.SPLIT_PAIR in found
    return DECIDED if is_found else str(fault["confidence"])


def is_sure(confidence: str) -> bool:
    """Return whether nothing has to be checked before a cause is mended."""
    return confidence in (DECIDED, Confidence.CERTAIN)


def is_split_open(verdict: Document) -> bool:
    """Return whether a split pair could not be looked for, where the wires are otherwise right."""
    wires = verdict["wire_map"]
    return bool(wires["split_pairs"] == "not_excluded" and not wires["findings"])


def findings(verdict: Document, words: Language) -> tuple[str, ...]:
    """Return what is wrong with the wires, a sentence each."""
    said = []
    for finding in verdict["wire_map"]["findings"]:
        sentence = words.by_code(
            "finding", finding["kind"], finding["text"].replace("{", "(").replace("}", ")")
        )
        said.append(sentence.format(pins=", ".join(finding["pins"]), pairs=", ".join(finding["pairs"])))
    return tuple(dict.fromkeys(said))


def is_from_end_to_end(found: Document | None, length_m: float | None) -> bool:
    """Return whether a place is a stretch that is all of the cable, as far as it can be told. [m]."""
    if found is None or length_m is None or found["position_m"] is None or found["to_m"] is None:
        return False
    about = max(found["uncertainty_m"] or 0.0, AT_END_M)
    return bool(found["position_m"] <= about and found["to_m"] >= length_m - about)


def place(found: Document | None, words: Language, names: dict[str, str], *, is_whole: bool = False) -> str:
    """Return where something is suspected, nothing where nobody can tell."""
    if found is None:
        return ""
    if is_whole:
        return words.say("sentence.whole_run")
    parts = []
    if found["end"]:
        name = names.get(found["end"])
        parts.append(words.say(f"end_at.{found['end']}") + (f" ({name})" if name else ""))
    if found["position_m"] is not None and found["to_m"] is not None:
        low, high = words.length(found["position_m"]), words.length(found["to_m"])
        parts.append(words.say("sentence.from_to", position=low, to=high))
    elif found["position_m"] is not None:
        at, about = words.length(found["position_m"]), words.length(found["uncertainty_m"] or 0.0)
        parts.append(words.say("sentence.at_position", position=at, uncertainty=about))
    return ", ".join(parts)
