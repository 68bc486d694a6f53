"""The four questions of a reader, answered from the verdict and the assessment alone."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.sheet import saying
from fourpair_service.reports.sheet.carries import carries
from fourpair_service.reports.sheet.model import Answer, Document
from fourpair_service.reports.sheet.port import device_holds_back
from fourpair_service.reports.sheet.remedy import Site, to_do

MOST_REASONS: Final = 3
LABEL_CHARACTERS: Final = 60
ON_PAIRS: Final = re.compile(r"(?P<what>.* on )(?P<pairs>[0-9>, -]+)")


def answers(
    verdict: Document, assessment: Document | None, words: Language, names: dict[str, str]
) -> tuple[Answer, ...]:
    """Return whether the link is sound, what it carries, how close it is, what must be done."""
    faults: Sequence[Document] = assessment["diagnosis"]["faults"] if assessment else ()
    label = printable(verdict["label"] or "", LABEL_CHARACTERS)
    do = to_do(verdict, faults, Site(label, names, saying.length_m(verdict), words))
    if verdict["outcome"] in saying.PASSING and device_holds_back(assessment):
        do = replace(do, more=(words.say("step.device"), *do.more))
    return (_sound(verdict, words), carries(verdict, assessment, words), _above(verdict, words), do)


def _shortened(lines: Sequence[str], rest: str, words: Language) -> tuple[str, ...]:
    left = len(lines) - MOST_REASONS
    if left <= 0:
        return tuple(lines)
    return (*lines[:MOST_REASONS], words.say(rest, count=str(left), heading=words.say("heading.missing")))


def _sound(verdict: Document, words: Language) -> Answer:
    outcome, rest = verdict["outcome"], "answer.and_more"
    is_split_open = outcome in saying.PASSING and saying.is_split_open(verdict)
    name = "answer.pass_unsplit" if is_split_open and outcome == "pass" else f"answer.{outcome}"
    text = words.say(name, requirement=saying.requirement(verdict, words))
    reasons = [*saying.findings(verdict, words)]
    failing = saying.failing(verdict)
    if reasons and failing:
        # What a wrong wire does to the numbers tells a reader nothing more.
        reasons.append(words.say("answer.figures_besides", count=str(len(failing))))
    else:
        reasons += [saying.failure(result, words) for result in failing]
    if outcome == "incomplete":
        reasons += missing(verdict, words) or [words.say("answer.basis_too_weak")]
        rest = "answer.and_more_untested"
    if is_split_open:
        reasons.append(words.say("answer.split_not_excluded"))
    return Answer("sound", words.say("heading.sound"), text, _shortened(reasons, rest, words))


def missing(verdict: Document, words: Language) -> list[str]:
    """Return what could not be judged, a sentence for what has one reason at one end."""
    said = [words.say("answer.wires_untested")] if verdict["wire_map"]["outcome"] == "incomplete" else []
    ends: dict[tuple[str, str], list[str]] = {}
    for result in verdict["parameters"]:
        if result["incomplete_because"]:
            why = "; ".join(map(words.reason, _pairs_together(result["incomplete_because"])))
            ends.setdefault((why, result["parameter"]), []).append(result["end"] or "")
    together: dict[tuple[str, str], list[str]] = {}
    for (why, parameter), of in ends.items():
        end = "both" if len(of) > 1 else of[0]
        together.setdefault((why, end), []).append(words.say(f"parameter.{parameter}"))
    for (why, end), names in together.items():
        what = ", ".join([*names, words.say(f"end_at.{end}")] if end else names)
        said.append(words.say("sentence.not_judged", what=what, why=why) + ".")
    return said


def _pairs_together(reasons: Sequence[str]) -> list[str]:
    """Return reasons once each, those that differ by their pairs alone as one.

    >>> _pairs_together(["delay not measured on 12", "not measured", "delay not measured on 36"])
    ['delay not measured on 12, 36', 'not measured']
    """
    pairs: dict[str, list[str]] = {}
    for reason in dict.fromkeys(reasons):
        found = ON_PAIRS.fullmatch(reason)
        what, of = (found["what"], [found["pairs"]]) if found else (reason, [])
        pairs.setdefault(what, []).extend(of)
    return [f"{what}{', '.join(of)}" for what, of in pairs.items()]


def _above(verdict: Document, words: Language) -> Answer:
    is_inside = verdict["outcome"] in saying.PASSING and verdict["headroom"] is not None
    name = "inside_is_enough" if verdict["outcome"] == "pass" else "inside_uncertainly"
    more = (words.say(f"answer.{name}"),) if is_inside else ()
    return Answer("above", words.say("heading.above"), _distance(verdict, words), more)


def _distance(verdict: Document, words: Language) -> str:
    if verdict["wire_map"]["findings"]:
        return words.say("answer.wires_decide")
    failing = [result for result in saying.failing(verdict) if result["unit"] != "db"]
    if failing:
        margin = words.amount(abs(saying.margin_of(failing[0]) or 0.0), failing[0]["unit"])
        return words.say("answer.outside", margin=margin, what=saying.of_result(failing[0], words))
    headroom = verdict["headroom"]
    if headroom is None:
        is_any = any(saying.margin_of(result) is not None for result in verdict["parameters"])
        return words.say("answer.no_margin" if is_any else "answer.nothing_compared")
    at = (headroom["end"], headroom["pairs"], headroom["frequency_mhz"])
    what = saying.where(headroom["parameter"], *at, words)
    name = "answer.closest" if headroom["margin_db"] >= 0 else "answer.outside"
    if verdict["outcome"] == "incomplete" and headroom["margin_db"] >= 0:
        name = "answer.closest_so_far"
    return words.say(name, margin=words.amount(abs(headroom["margin_db"]), "db"), what=what)
