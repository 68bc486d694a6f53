"""The four questions of a reader, answered from the verdict and the assessment alone."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from fourpair_service.reports.language import Language
from fourpair_service.reports.sheet import saying
from fourpair_service.reports.sheet.model import Answer, Document

MOST_REASONS: Final = 3
RATE: Final = re.compile(r"(?P<number>[\d.]+)(?P<giga>G?)BASE")


def answers(
    verdict: Document, assessment: Document | None, words: Language, names: dict[str, str]
) -> tuple[Answer, ...]:
    """Return whether the link is sound, by how much, what it carries, what must be done."""
    faults: Sequence[Document] = assessment["diagnosis"]["faults"] if assessment else ()
    first, *more = saying.step(verdict, faults, words, names)
    if faults and verdict["outcome"] in saying.FAILING:
        more.append(words.say("step.again"))
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
    is_inside = verdict["outcome"] == "pass" and verdict["headroom"] is not None
    more = (words.say("answer.inside_is_enough"),) if is_inside else ()
    return Answer("above", words.say("heading.above"), _distance(verdict, words), more)


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
    more = _conditions(carried, words)
    if "not_supported" in by_state:
        more.append(words.say("answer.not_supported", names=", ".join(by_state["not_supported"])))
    if "supported" in by_state:
        names = by_state["supported"]
        first = words.say("answer.supported", names=", ".join(names), speed=fastest(names, words))
    elif "conditional" in by_state:
        first = words.say("answer.on_condition_only")
    else:
        first = words.say(
            "answer.nothing_carried" if "not_supported" in by_state else "answer.carrying_unknown"
        )
    return Answer("carries", question, first, tuple(more))


def fastest(names: Sequence[str], words: Language) -> str:
    """Return the speed of the fastest of some applications, which their names begin with (IEEE 802.3, 1.2.3).

    >>> from fourpair_service.reports.language import language
    >>> fastest(["1000BASE-T", "2.5GBASE-T", "100BASE-TX"], language("en"))
    '2.5 Gbit/s'
    """
    most_mbps = max(_rate_mbps(name) for name in names)
    of_thousand = most_mbps >= 1000
    number = f"{most_mbps / 1000 if of_thousand else most_mbps:g}".replace(".", words.texts["decimal"])
    return f"{number} {'G' if of_thousand else 'M'}bit/s"


def _rate_mbps(name: str) -> float:
    found = RATE.match(name)
    return 0.0 if found is None else float(found["number"]) * (1000 if found["giga"] else 1)


def _conditions(carried: Document, words: Language) -> list[str]:
    """Return what the conditional ones depend on, each condition once with their names."""
    names: dict[tuple[str, str], list[str]] = {}
    for application in carried["applications"]:
        said = [words.condition(condition) for condition in application["conditions"][:1]]
        if application["state"] == "conditional" or (said and application["state"] == "not_evaluated"):
            key = (application["state"], "".join(said))
            names.setdefault(key, []).append(application["application"])
    return [
        words.say(f"answer.only_{state}", names=", ".join(of), condition=condition).rstrip()
        for (state, condition), of in names.items()
    ]
