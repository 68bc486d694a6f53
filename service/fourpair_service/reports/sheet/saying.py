"""The sentences of a sheet, made from the verdict and the diagnosis in the language asked for."""

from __future__ import annotations

from collections.abc import Sequence

from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.next_step import PARAMETER_STEPS, WIRE_MAP_STEPS
from fourpair_service.reports.sheet.model import Document

FAILING = frozenset({"fail", "marginal_fail"})


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


def failing(verdict: Document) -> list[Document]:
    """Return the results that fail, the worst in dB first."""
    found = [p for p in verdict["parameters"] if p["outcome"] in FAILING]
    return sorted(found, key=lambda p: (p["outcome"] != "fail", margin_of(p) or 0.0))


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
    return ["provisional_coverage"] * has_gaps + ["provisional"] * is_from_memory


def findings(verdict: Document, words: Language) -> tuple[str, ...]:
    """Return what is wrong with the wires, a sentence each."""
    said = []
    for finding in verdict["wire_map"]["findings"]:
        sentence = words.by_code(
            "finding", finding["kind"], finding["text"].replace("{", "(").replace("}", ")")
        )
        said.append(sentence.format(pins=", ".join(finding["pins"]), pairs=", ".join(finding["pairs"])))
    return tuple(dict.fromkeys(said))


def place(found: Document | None, words: Language, names: dict[str, str]) -> str:
    """Return where something is suspected, nothing where nobody can tell."""
    if found is None:
        return ""
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


def step(verdict: Document, faults: Sequence[Document], words: Language, names: dict[str, str]) -> list[str]:
    """Return what to do: by the first suspicion, else by what fails."""
    if faults:
        first = faults[0]
        at = place(first["place"], words, names)
        said = [words.by_code("fault_first", first["code"], first["first"])]
        return [*said, words.say("step.place", place=at)] if at else said
    outcome = verdict["outcome"]
    if outcome not in FAILING:
        return [words.say(f"step.{outcome}")]
    for finding in verdict["wire_map"]["findings"]:
        return [words.by_code("wire_step", finding["kind"], WIRE_MAP_STEPS[finding["kind"]])]
    for result in failing(verdict):
        if result["parameter"] in PARAMETER_STEPS:
            english = PARAMETER_STEPS[result["parameter"]]
            return [words.by_code("parameter_step", result["parameter"], english)]
    return [words.say("step.fail")]
