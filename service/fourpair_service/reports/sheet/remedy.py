"""What must be done about a link: what, by whom, where, and how to begin.

The reader may know nothing of cabling, and whoever goes there with a ladder wants to know where.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fourpair_service.domain.diagnosis.faults import FAULT_KINDS
from fourpair_service.domain.diagnosis.faults import FaultCode as Code
from fourpair_service.domain.link import End
from fourpair_service.reports.language import Language
from fourpair_service.reports.next_step import PARAMETER_STEPS, WIRE_MAP_STEPS
from fourpair_service.reports.sheet import saying
from fourpair_service.reports.sheet.model import Answer, Document

# Where to go for what cannot be placed: names of texts.
EITHER_END, BOTH_ENDS, WHOLE, TESTER = "either_end", "both_ends", "whole", "tester"
ONE_THEN_OTHER: Final = "one_then_other"
UNPLACED: Final[Mapping[Code, str]] = {
    Code.TEST_SETUP: TESTER,
    Code.WRONG_NVP: TESTER,
    Code.OPEN_CONDUCTOR: EITHER_END,
    Code.SHORT_CIRCUIT: EITHER_END,
    Code.WIRES_EXCHANGED: EITHER_END,
    Code.SPLIT_PAIR: BOTH_ENDS,
    Code.OPEN_SHIELD: BOTH_ENDS,
    Code.BAD_CONNECTOR: EITHER_END,
    Code.UNTWISTED_PAIR: EITHER_END,
    Code.LOWER_CATEGORY_PART: BOTH_ENDS,
    Code.POOR_CONTACT: ONE_THEN_OTHER,
    Code.WRONG_IMPEDANCE_CORD: EITHER_END,
}
WIRES_PLACED: Final[Mapping[str, str]] = {"split_pair": BOTH_ENDS, "open_shield": BOTH_ENDS}
# Lines that come first.
WHO_AND_WHERE: Final = 2
# What is mended in another way where it lies along the cable and not at its end.
DIFFERS_ALONG: Final = frozenset({Code.OPEN_CONDUCTOR, Code.SHORT_CIRCUIT, Code.SPLIT_PAIR})
# What the installer cannot settle alone.
WITH_OTHERS: Final[Mapping[Code, str]] = {
    Code.TOO_LONG: "with_customer",
    Code.HOT_OR_WET_CABLE: "with_keeper",
}


@dataclass(frozen=True, slots=True)
class Site:
    """Where a link runs.

    Attributes:
        label: of the link.
        names: of its ends, as far as they are named.
        length_m: from end to end, ``None`` where it is not known. [m]
        words: the language.
    """

    label: str
    names: Mapping[str, str]
    length_m: float | None
    words: Language

    def end(self, end: str) -> str:
        """Return an end as a place, with its name."""
        return self._named(self.words.say(f"end_at.{end}"), end)

    def _named(self, said: str, end: str) -> str:
        name = self.names.get(end)
        if name is None:
            return said if not self.names else f"{said} ({self.words.say('end_of.unnamed')})"
        return f"{said} ({name})"

    def some(self, place: str) -> str:
        """Return a place that is both ends, one of them, all of the cable, or none of these."""
        if place == BOTH_ENDS and not self.names:
            return self.words.say("place.both_ends_unnamed")
        return self.words.say(f"place.{place}", near=self.of(End.NEAR), far=self.of(End.FAR))

    def at(self, position_m: float, about_m: float | None) -> str:
        """Return a place along the cable, counted from the end that is nearer, then from the other. [m]."""
        from_ends = {End.NEAR: position_m}
        if self.length_m is not None and position_m <= self.length_m:
            from_ends[End.FAR] = self.length_m - position_m
        first = "place.from_end" if about_m is None else "place.from_end_about"
        said, texts = [], (first, "place.from_end")
        for name, (end, metres) in zip(
            texts, sorted(from_ends.items(), key=lambda each: each[1]), strict=False
        ):
            length, about = self.words.length(metres), self.words.length(about_m or 0.0)
            said.append(self.words.say(name, length=length, uncertainty=about, end=self.of(end)))
        return "; ".join(said)

    def of(self, end: str) -> str:
        """Return an end as something to count from, with its name."""
        return self._named(self.words.say(f"end_of.{end}"), end)

    def is_from_end_to_end(self, place: Document) -> bool:
        """Return whether a stretch is all of the cable, as far as it can be told."""
        return saying.is_from_end_to_end(place, self.length_m)


def is_mended_at_both_ends(fault: Document) -> bool:
    """Return whether a fault that runs from end to end is mended at the ends and not along the cable."""
    return UNPLACED.get(Code(fault["code"]), WHOLE) == BOTH_ENDS


def to_do(verdict: Document, faults: Sequence[Document], site: Site) -> Answer:
    """Return what must be done: by the first suspicion, else by what fails.

    Args:
        verdict: the verdict document.
        faults: of the diagnosis, the first suspicion first.
        site: where the link runs.
    """
    what, *more = _said(verdict, faults, site)
    if saying.is_unsafe_to_feed(verdict, faults):
        # What can hurt comes before how it is mended, and is kept where little is shown.
        more.insert(WHO_AND_WHERE, site.words.say("sentence.power_not_before"))
    return Answer("do", site.words.say("heading.do"), what, tuple(more))


def _said(verdict: Document, faults: Sequence[Document], site: Site) -> Iterator[str]:
    words = site.words
    if faults:
        yield from _about_fault(faults[0], verdict, site)
    elif verdict["outcome"] in saying.FAILING:
        yield from _about_failure(verdict, site)
    elif verdict["outcome"] == "incomplete":
        yield words.say("step.incomplete", heading=words.say("heading.missing"))
        yield from _who_and_where("installer", _where_untested(verdict, site), site)
        yield words.say("step.until_finished")
    else:
        yield from _about_pass(verdict, site)


def _about_pass(verdict: Document, site: Site) -> Iterator[str]:
    words = site.words
    is_provisional = "provisional" in saying.reservations(verdict)
    if verdict["outcome"] == "marginal_pass":
        yield words.say("step.marginal_pass")
        yield words.say("step.otherwise", place=_where_closest(verdict, site))
        if is_provisional:
            yield words.say("step.pass_provisional")
    elif is_provisional:
        yield words.say("step.pass_first")
        yield words.say("step.pass_after")
    else:
        yield words.say("step.pass")
    if saying.is_split_open(verdict):
        yield words.say("step.split_pair")


def _about_fault(fault: Document, verdict: Document, site: Site) -> Iterator[str]:
    words, code = site.words, Code(fault["code"])
    along = "_along" if code in DIFFERS_ALONG and _is_along(fault, site) else ""
    confidence = saying.confidence(fault, verdict)
    is_sure = saying.is_sure(confidence)
    remedy = _remedy(fault, along, verdict, words)
    yield remedy if is_sure else words.say(f"step.{confidence}", remedy=words.continued(remedy))
    yield from _who_and_where(WITH_OTHERS.get(code, "installer"), _where(fault, site), site)
    if code is Code.TOO_LONG:
        yield words.say("step.choose_too_long")
    # How to begin: with the work where the cause is known, with the cause where it is not.
    if is_sure:
        first = words.by_code("fault_first", code, FAULT_KINDS[code].first)
        yield words.say("step.first", first=words.say(f"begin.{code}{along}") if along else first)
    else:
        check, sure = words.say(f"check.{code}"), words.say(f"confidence.{confidence}")
        yield words.say("step.unproven", confidence=sure, check=check)
    if verdict["outcome"] in saying.FAILING:
        yield words.say("step.again")


def _remedy(fault: Document, along: str, verdict: Document, words: Language) -> str:
    code = Code(fault["code"])
    over_m = saying.over_length_m(verdict) if code is Code.TOO_LONG else None
    if over_m is not None:
        return words.say("remedy.too_long_by", over=words.length(over_m))
    return words.say(f"remedy.{code}{along}", pairs=", ".join(fault["pairs"]))


def _who_and_where(who: str, where: str, site: Site) -> Iterator[str]:
    words = site.words
    yield words.say("step.who", who=words.say(f"who.{who}"))
    said = words.say("step.where", place=where)
    yield said if site.names else f"{said} {words.say('step.ends_unnamed', label=site.label)}"


def _is_along(fault: Document, site: Site) -> bool:
    """Return whether a fault lies on the way and not at an end, nor from end to end."""
    place = fault["place"]
    if place is None or place["end"] or place["position_m"] is None:
        return False
    if place["to_m"] is not None:
        return not site.is_from_end_to_end(place)
    about = max(place["uncertainty_m"] or 0.0, saying.AT_END_M)
    to_far = about + 1 if site.length_m is None else site.length_m - place["position_m"]
    return bool(min(place["position_m"], to_far) > about)


def _where(fault: Document, site: Site) -> str:
    """Return where to work: the place that was found, else where such a fault is looked for."""
    place = fault["place"]
    unplaced = UNPLACED.get(Code(fault["code"]), WHOLE)
    if place is None:
        return site.some(unplaced)
    if place["end"]:
        return site.end(place["end"])
    if place["position_m"] is None:
        return site.some(unplaced)
    if place["to_m"] is None:
        return site.at(place["position_m"], place["uncertainty_m"])
    if site.is_from_end_to_end(place):
        return site.some(unplaced)
    low, high = site.words.length(place["position_m"]), site.words.length(place["to_m"])
    length = site.words.length(max(site.length_m or 0.0, place["to_m"]))
    return site.words.say("place.between", low=low, high=high, end=site.of(End.NEAR), length=length)


def _about_failure(verdict: Document, site: Site) -> Iterator[str]:
    """Yield what to do where nothing is suspected, by what fails."""
    words = site.words
    what, where = _step(verdict, site)
    yield what
    yield from _who_and_where("installer", where, site)
    yield words.say("step.again")


def _step(verdict: Document, site: Site) -> tuple[str, str]:
    words = site.words
    for finding in verdict["wire_map"]["findings"]:
        kind = finding["kind"]
        return words.by_code("wire_step", kind, WIRE_MAP_STEPS[kind]), site.some(
            WIRES_PLACED.get(kind, EITHER_END)
        )
    for result in saying.failing(verdict):
        name = result["parameter"]
        if name in PARAMETER_STEPS:
            where = site.end(result["end"]) if result["end"] else site.some(WHOLE)
            return words.by_code("parameter_step", name, PARAMETER_STEPS[name]), where
    return words.say("step.fail"), site.some(WHOLE)


def _where_closest(verdict: Document, site: Site) -> str:
    """Return the end at which a link is closest to its limit, all of it where that is not known."""
    end = (verdict["headroom"] or {}).get("end")
    return site.end(end) if end else site.some(WHOLE)


def _where_untested(verdict: Document, site: Site) -> str:
    """Return the end that was not tested, both where both or neither are named."""
    ends = {result["end"] for result in verdict["parameters"] if result["incomplete_because"]}
    return site.end(next(iter(ends))) if len(ends) == 1 and None not in ends else site.some(BOTH_ENDS)
