"""What a link will carry: every Ethernet speed that can be judged, by its speed before its name."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from fourpair_service.domain.wiremap import WireMapFault
from fourpair_service.reports.language import Language
from fourpair_service.reports.sheet.model import Answer, Document
from fourpair_service.reports.sheet.port import held_by, observed_port
from fourpair_service.reports.sheet.saying import FAILING, PASSING

RATE: Final = re.compile(r"(?P<number>[\d.]+)(?P<giga>G?)BASE")
# What offices expect today: common practice, no published source. [Mbit/s]
USUAL_MBPS: Final = 1000
# Speeds of which it is said what they are enough for. [Mbit/s]
USES: Final = (10, 100, 1000, 2500, 5000, 10000)
BY_LENGTH: Final = "From end to end"
# Why networks run over a link whose wires are at fault; over others they run on wires that are not.
ALL_THE_SAME: Final[Mapping[str | None, str]] = {
    None: "less_than_standard",
    WireMapFault.OPEN_SHIELD: "less_than_standard",
    WireMapFault.REVERSED_PAIR: "made_up_for",
    WireMapFault.CROSSED_PAIR: "made_up_for",
    WireMapFault.CROSSOVER: "made_up_for",
    WireMapFault.CROSSOVER_ALL_PAIRS: "made_up_for",
}
# What is said of those that are not simply supported, in this order.
OTHERS: Final = ("conditional", "not_evaluated", "not_supported")


def carries(verdict: Document, assessment: Document | None, words: Language) -> Answer:
    """Return what the link will carry, the fastest first, and of every other speed why not or not surely."""
    question = words.say("heading.carries")
    if assessment is None or "applications" not in assessment:
        return Answer("carries", question, words.say("answer.not_assessed"))
    found = [a for a in assessment["applications"]["applications"] if _has_limits(a)]
    supported = [a["application"] for a in found if a["state"] == "supported"]
    more = tuple(_others(found, verdict["outcome"] in PASSING, words))
    if all(a["state"] == "not_evaluated" for a in found):
        first = words.say("answer.carrying_unknown")
        more = tuple(dict.fromkeys(words.condition(c) for a in found for c in a["conditions"][:1]))
    elif supported:
        more = (*_enough_for(verdict, supported, words), *more, *_beside(verdict, supported, words))
        name = "answer.supported_as_is" if verdict["outcome"] in FAILING else "answer.supported"
        first = words.say(name, speed=fastest(supported, words), names=", ".join(supported))
    elif any(a["state"] == "conditional" for a in found):
        first = words.say("answer.on_condition_only")
    else:
        first = words.say("answer.nothing_carried")
        more = () if all(a["state"] == "not_supported" for a in found) else more
    with_devices = tuple(_with_devices(assessment, words))
    # What the cable is enough for stands first, beside its speed.
    return Answer(
        "carries",
        question,
        first,
        (*more[:1], *with_devices, *more[1:]) if supported else (*with_devices, *more),
    )


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
    speed = fastest([together["runs_at"]], words)
    if all(a["state"] == "not_evaluated" for a in assessment["applications"]["applications"]):
        yield words.say("answer.devices_could", speed=speed)
        return
    name = "answer.devices_run" if together["is_certain"] else "answer.devices_may_run"
    yield f"{words.say(name, speed=speed)} {held_by(port, words)}"


def _enough_for(verdict: Document, supported: Sequence[str], words: Language) -> Iterator[str]:
    """Yield what the fastest speed is enough for: common practice, no published source."""
    use = max((mbps for mbps in USES if mbps <= max(map(_rate_mbps, supported))), default=None)
    if use is not None:
        name = "enough_meanwhile" if verdict["outcome"] in FAILING else "enough_for"
        yield words.say(f"answer.{name}", use=words.say(f"use.{use}"))


def _beside(verdict: Document, supported: Sequence[str], words: Language) -> Iterator[str]:
    """Yield why it carries more or less than its verdict lets expect."""
    if verdict["outcome"] in FAILING:
        faults = [finding["kind"] for finding in verdict["wire_map"]["findings"]]
        for name in dict.fromkeys(ALL_THE_SAME.get(fault, "other_wires") for fault in faults or [None]):
            yield words.say(f"answer.{name}")
    elif verdict["outcome"] in PASSING and max(map(_rate_mbps, supported)) < USUAL_MBPS:
        yield words.say("answer.more_needs_category")


def _has_limits(application: Document) -> bool:
    """Return whether there are limits to judge it by; the fastest ones, for 30 m of category 8, have none here."""
    return application["state"] != "not_evaluated" or application["reasoning"] is not None


def _others(applications: Sequence[Document], is_passing: bool, words: Language) -> Iterator[str]:
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
        if state == "conditional" and is_passing:
            yield from _with_neighbours(applications, words)


def _with_neighbours(applications: Sequence[Document], words: Language) -> Iterator[str]:
    """Yield what the length says where neighbouring cables decide, and who can tell more.

    Of a link that is to be mended a new test tells it anew.
    """
    for application in (a for a in applications if a["state"] == "conditional"):
        for condition in (c for c in application["conditions"] if c.startswith(BY_LENGTH)):
            speed = speeds([application["application"]], words)
            yield words.say("answer.by_length", speed=speed, reason=words.condition(condition))
    if any("alien" in c.lower() for a in applications for c in a["conditions"]):
        yield words.say("answer.measure_neighbours")


def _reason(application: Document, words: Language) -> str:
    if application["state"] == "not_supported":
        return ""
    if application["conditions"]:
        return words.condition(application["conditions"][0])
    is_too_short = all(missing.startswith("the sweep ends at") for missing in application["missing"])
    return words.say("answer.higher_frequencies" if is_too_short else "answer.too_little_for_speed")


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
