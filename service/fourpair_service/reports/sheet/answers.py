"""The four questions of a reader, answered from the verdict and the assessment alone."""

from __future__ import annotations

from collections.abc import Sequence

from fourpair_service.reports.language import Language
from fourpair_service.reports.sheet import saying
from fourpair_service.reports.sheet.model import Answer, Document

MOST_REASONS = 3


def answers(
    verdict: Document, assessment: Document | None, words: Language, names: dict[str, str]
) -> tuple[Answer, ...]:
    """Return whether the link is sound, by how much, what it carries, what must be done."""
    faults: Sequence[Document] = assessment["diagnosis"]["faults"] if assessment else ()
    first, *more = saying.step(verdict, faults, words, names)
    return (
        _sound(verdict, words),
        _above(verdict, words),
        _carries(assessment, words),
        Answer("do", words.say("heading.do"), first, tuple(more)),
    )


def _shortened(lines: Sequence[str], words: Language) -> tuple[str, ...]:
    left = len(lines) - MOST_REASONS
    if left <= 0:
        return tuple(lines)
    return (*lines[:MOST_REASONS], words.say("answer.and_more", count=str(left)))


def _sound(verdict: Document, words: Language) -> Answer:
    outcome = verdict["outcome"]
    text = words.say(f"answer.{outcome}", requirement=saying.requirement(verdict, words))
    reasons = [*saying.findings(verdict, words)]
    reasons += [saying.failure(result, words) for result in saying.failing(verdict)]
    if outcome == "incomplete":
        reasons += missing(verdict, words) or [words.say("answer.basis_too_weak")]
    return Answer("sound", words.say("heading.sound"), text, _shortened(reasons, words))


def missing(verdict: Document, words: Language) -> list[str]:
    """Return what could not be judged, a sentence each."""
    said = []
    if verdict["wire_map"]["outcome"] == "incomplete":
        said.append(words.say("answer.wires_untested"))
    for result in verdict["parameters"]:
        if result["incomplete_because"]:
            what = words.say(f"parameter.{result['parameter']}")
            end = f", {words.say('end_at.' + result['end'])}" if result["end"] else ""
            why = "; ".join(dict.fromkeys(words.reason(why) for why in result["incomplete_because"]))
            said.append(words.say("sentence.not_judged", what=f"{what}{end}", why=why) + ".")
    return said


def _above(verdict: Document, words: Language) -> Answer:
    return Answer("above", words.say("heading.above"), _distance(verdict, words))


def _distance(verdict: Document, words: Language) -> str:
    headroom = verdict["headroom"]
    if headroom is not None:
        at = (headroom["end"], headroom["pairs"], headroom["frequency_mhz"])
        what = saying.where(headroom["parameter"], *at, words)
        name = "answer.closest" if headroom["margin_db"] >= 0 else "answer.outside"
        if verdict["outcome"] == "incomplete" and headroom["margin_db"] >= 0:
            name = "answer.closest_so_far"
        return words.say(name, margin=words.amount(abs(headroom["margin_db"]), "db"), what=what)
    if verdict["wire_map"]["findings"]:
        return words.say("answer.failing_not_db", what=words.say("parameter.wire_map"))
    for result in saying.failing(verdict):
        if result["unit"] != "db":
            return words.say("answer.failing_not_db", what=saying.of_result(result, words))
    return words.say("answer.no_margin")


def _carries(assessment: Document | None, words: Language) -> Answer:
    question = words.say("heading.carries")
    if assessment is None or "applications" not in assessment:
        return Answer("carries", question, words.say("answer.not_assessed"))
    carried = assessment["applications"]
    by_state: dict[str, list[str]] = {}
    for application in carried["applications"]:
        by_state.setdefault(application["state"], []).append(application["application"])
    said = [
        words.say(f"answer.{state}", names=", ".join(by_state[state]))
        for state in ("supported", "conditional", "not_supported")
        if state in by_state
    ]
    if "supported" not in by_state and "conditional" not in by_state:
        said.insert(0, words.say("answer.nothing_carried" if said else "answer.carrying_unknown"))
    return Answer("carries", question, said[0], (*said[1:], *_conditions(carried, words)))


def _conditions(carried: Document, words: Language) -> list[str]:
    """Return what the conditional ones depend on, each condition once with their names."""
    names: dict[str, list[str]] = {}
    for application in carried["applications"]:
        for condition in application["conditions"][:1]:
            names.setdefault(words.condition(condition), []).append(application["application"])
    return [f"{', '.join(of)}: {condition}" for condition, of in names.items()]
