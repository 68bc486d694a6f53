"""The smaller parts of a sheet: suspicions, categories, power, port, cautions, what is missing."""

from __future__ import annotations

from typing import Final

from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.sheet import saying
from fourpair_service.reports.sheet.answers import missing
from fourpair_service.reports.sheet.model import Document, Section
from fourpair_service.reports.sheet.port import port_lines

LONGEST_LINE: Final = 260
# What is judged where it is measured, or is shown only.
OPTIONAL: Final = (
    "dc_loop_resistance", "resistance_unbalance_within_pair", "resistance_unbalance_between_pairs",
    "tcl", "eltctl", "ps_anext", "ps_aacr_f",
)  # fmt: skip


def suspected(
    verdict: Document, assessment: Document | None, words: Language, names: dict[str, str]
) -> Section:
    """Return what is suspected, numbered as the marks of the run."""
    lines, length_m = [], saying.length_m(verdict)
    faults = assessment["diagnosis"]["faults"] if assessment else ()
    for number, fault in enumerate(faults, start=1):
        title = words.by_code("fault_title", fault["code"], fault["title"])
        confidence = words.say(f"confidence.{saying.confidence(fault, verdict)}")
        line = f"{number}. {words.say('sentence.suspected', title=title, confidence=confidence)}"
        if fault["pairs"]:
            name = "sentence.on_pair" if len(fault["pairs"]) == 1 else "sentence.on_pairs"
            line += f", {words.say(name, pairs=', '.join(fault['pairs']))}"
        whole = saying.is_from_end_to_end(fault["place"], length_m)
        at = saying.place(fault["place"], words, names, is_whole=whole)
        lines.append(line + (f", {at}" if at else ""))
    return _section("faults", lines, words)


def sections(verdict: Document, assessment: Document | None, words: Language) -> tuple[Section, ...]:
    """Return the sections that say something, in the order of the sheet."""
    found = (
        _section(
            "missing",
            [
                *missing(verdict, words),
                *_split(verdict, words),
                *_optional(verdict, words),
                *_curves(verdict, words),
            ],
            words,
        ),
        _section("excused", _excused(verdict, words), words),
        _section("cautions", _cautions(verdict, assessment, words), words),
        _section("categories", _categories(verdict, words), words),
        _section("power", _power(verdict, assessment, words), words),
        _section("port", port_lines(assessment, words), words),
    )
    return tuple(section for section in found if section.lines)


def _optional(verdict: Document, words: Language) -> list[str]:
    """Return what no standard requires of every link, and was not measured on this one."""
    measured = {result["parameter"] for result in verdict["parameters"]}
    names = [words.say(f"parameter.{name}") for name in OPTIONAL if name not in measured]
    return [words.say("sentence.not_required", names=", ".join(names))] if names else []


def _split(verdict: Document, words: Language) -> list[str]:
    """Return that a split pair is not ruled out, where the wires are otherwise right."""
    name = "split_unfinished" if verdict["outcome"] == "incomplete" else "split_not_excluded"
    return [words.say(f"answer.{name}")] if saying.is_split_open(verdict) else []


def _curves(verdict: Document, words: Language) -> list[str]:
    return [words.say("sentence.no_curves")] if verdict["from_summary"] else []


def _excused(verdict: Document, words: Language) -> list[str]:
    """Return what passes without a figure, which stands as dashes among the numbers, and why."""
    names: dict[str, list[str]] = {}
    for result in verdict["parameters"]:
        if result["excused"] and result["outcome"] == "pass" and result["worst_margin"] is None:
            names.setdefault(result["excused"]["rule"], []).append(
                words.say(f"parameter.{result['parameter']}")
            )
    return [
        words.say(
            "sentence.excused", names=", ".join(dict.fromkeys(of)), why=words.by_code("excused", rule, rule)
        )
        for rule, of in names.items()
    ]


def _section(name: str, lines: list[str], words: Language) -> Section:
    shown = tuple(printable(line, LONGEST_LINE) for line in lines)
    return Section(name, words.say(f"heading.{name}"), shown)


def _categories(verdict: Document, words: Language) -> list[str]:
    said = []
    for category in verdict["categories"]:
        title = saying.category_title(category["title"], words)
        if category["state"] == "met" and category["headroom_db"] is not None:
            margin = words.amount(category["headroom_db"], "db")
            said.append(words.say("sentence.met", category=title, margin=margin))
        else:
            state = "met_plain" if category["state"] == "met" else category["state"]
            said.append(words.say(f"sentence.{state}", category=title))
    return [f"{saying.capitalised('; '.join(said))}."] if said else []


def _cautions(verdict: Document, assessment: Document | None, words: Language) -> list[str]:
    said = [words.by_code("caution", c["code"], c["text"]) for c in verdict["cautions"]]
    poe = ((assessment or {}).get("port") or {}).get("poe") or {}
    return list(dict.fromkeys([*said, *map(words.phrase, poe.get("cautions", ()))]))


def _power(verdict: Document, assessment: Document | None, words: Language) -> list[str]:
    powering = (assessment or {}).get("powering")
    if powering is None:
        return []
    if verdict["outcome"] in saying.FAILING:
        return [words.say("sentence.power_withheld")]
    if powering["highest_class"] is None:
        states = {c["state"] for c in powering["classes"]}
        unknown = not states or states == {"not_evaluated"}
        return [words.say("sentence.power_unknown" if unknown else "sentence.power_none")]
    faults = (assessment or {}).get("diagnosis", {}).get("faults", ())
    if saying.is_unsafe_to_feed(verdict, faults):
        return [words.say("sentence.power_withheld")]
    of = next(c for c in powering["classes"] if c["class"] == powering["highest_class"])
    amount = {"number": str(of["class"]), "watts": words.number(of["promised_w"], 1)}
    is_estimated = bool(powering["resistance"]["estimated"])
    if verdict["outcome"] == "incomplete":
        is_known = verdict["wire_map"]["outcome"] != "incomplete" and not is_estimated
        so_far = [words.say("sentence.power_so_far", **amount)] if is_known else []
        return [words.say("sentence.power_unfinished"), *so_far]
    estimated = [words.say("sentence.power_estimated")] if is_estimated else []
    return [words.say("sentence.power_all", **amount), *estimated, words.say("sentence.power_heat")]
