"""What a link will carry: every Ethernet speed that can be judged, by its speed before its name."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Final

from fourpair_service.reports.language import Language
from fourpair_service.reports.sheet.model import Answer, Document
from fourpair_service.reports.sheet.port import held_by, observed_port
from fourpair_service.reports.sheet.saying import FAILING

RATE: Final = re.compile(r"(?P<number>[\d.]+)(?P<giga>G?)BASE")
# What offices expect today: common practice, no published source. [Mbit/s]
USUAL_MBPS: Final = 1000
PASSING: Final = frozenset({"pass", "marginal_pass"})
# What is said of those that are not simply supported, in this order.
OTHERS: Final = ("conditional", "not_evaluated", "not_supported")


def carries(verdict: Document, assessment: Document | None, words: Language) -> Answer:
    """Return what the link will carry, the fastest first, and of every other speed why not or not surely."""
    question = words.say("heading.carries")
    if assessment is None or "applications" not in assessment:
        return Answer("carries", question, words.say("answer.not_assessed"))
    found = [a for a in assessment["applications"]["applications"] if _has_limits(a)]
    supported = [a["application"] for a in found if a["state"] == "supported"]
    more = tuple(_others(found, words))
    if all(a["state"] == "not_evaluated" for a in found):
        first = words.say("answer.carrying_unknown")
        more = tuple(dict.fromkeys(words.condition(c) for a in found for c in a["conditions"][:1]))
    elif supported:
        is_slow = verdict["outcome"] in PASSING and max(map(_rate_mbps, supported)) < USUAL_MBPS
        more = (*more, words.say("answer.more_needs_category")) if is_slow else more
        name = "answer.supported_as_is" if verdict["outcome"] in FAILING else "answer.supported"
        first = words.say(name, speed=fastest(supported, words), names=", ".join(supported))
    elif any(a["state"] == "conditional" for a in found):
        first = words.say("answer.on_condition_only")
    else:
        first = words.say("answer.nothing_carried")
        more = () if all(a["state"] == "not_supported" for a in found) else more
    return Answer("carries", question, first, (*_with_devices(assessment, words), *more))


def _with_devices(assessment: Document, words: Language) -> Iterator[str]:
    """Yield what runs with the devices that were found at the ends, and what holds that back."""
    port = observed_port(assessment)
    if port is None:
        return
    together = port["together"]
    if together["runs_at"] is None:
        if together["is_certain"]:
            yield words.say("answer.devices_no_link")
        return
    name = "answer.devices_run" if together["is_certain"] else "answer.devices_may_run"
    runs = words.say(name, speed=fastest([together["runs_at"]], words))
    yield f"{runs} {held_by(port, words)}"


def carries_anything(assessment: Document | None) -> bool:
    """Return whether any application is supported."""
    carried = (assessment or {}).get("applications") or {"applications": ()}
    return any(a["state"] == "supported" for a in carried["applications"])


def _has_limits(application: Document) -> bool:
    """Return whether there are limits to judge it by; the fastest ones, for 30 m of category 8, have none here."""
    return application["state"] != "not_evaluated" or application["reasoning"] is not None


def _others(applications: Sequence[Document], words: Language) -> Iterator[str]:
    """Yield what is said of those that are not surely carried, those with one reason together."""
    for state in OTHERS:
        by_reason: dict[str, list[str]] = {}
        for application in (a for a in applications if a["state"] == state):
            by_reason.setdefault(_reason(application, words), []).append(application["application"])
        for reason, names in by_reason.items():
            said = words.say(
                f"answer.only_{state}", speeds=speeds(names, words), names=", ".join(names), reason=reason
            )
            yield said.rstrip()


def _reason(application: Document, words: Language) -> str:
    if application["state"] == "not_supported":
        return ""
    # What is known of the length says more than that it matters.
    conditions = sorted(application["conditions"], key=lambda c: not c.startswith("From end to end"))
    if conditions:
        return words.condition(conditions[0])
    return words.say("answer.too_little_for_speed")


def speeds(names: Sequence[str], words: Language) -> str:
    """Return the speeds of applications as one would say them, each unit once.

    >>> from fourpair_service.reports.language import language
    >>> speeds(["100BASE-TX", "1000BASE-T", "2.5GBASE-T", "10GBASE-T"], language("en"))
    '100 Mbit/s, 1, 2.5 and 10 Gbit/s'
    """
    rates = sorted({_rate_mbps(name) for name in names})
    units = [_number_and_unit(rate, words) for rate in rates]
    said = [
        number if following == unit else f"{number} {unit}"
        for (number, unit), following in zip(units, [*(unit for _, unit in units[1:]), ""], strict=True)
    ]
    return words.say("sentence.and").join(filter(None, (", ".join(said[:-1]), said[-1])))


def fastest(names: Sequence[str], words: Language) -> str:
    """Return the speed of the fastest of some applications, which their names begin with (IEEE 802.3, 1.2.3).

    >>> from fourpair_service.reports.language import language
    >>> fastest(["1000BASE-T", "2.5GBASE-T", "100BASE-TX"], language("en"))
    '2.5 Gbit/s'
    """
    return " ".join(_number_and_unit(max(map(_rate_mbps, names)), words))


def _number_and_unit(rate_mbps: float, words: Language) -> tuple[str, str]:
    of_thousand = rate_mbps >= 1000
    number = f"{rate_mbps / 1000 if of_thousand else rate_mbps:g}".replace(".", words.texts["decimal"])
    return number, f"{'G' if of_thousand else 'M'}bit/s"


def _rate_mbps(name: str) -> float:
    found = RATE.match(name)
    return 0.0 if found is None else float(found["number"]) * (1000 if found["giga"] else 1)
