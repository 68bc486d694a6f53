"""From the plan of a handover and its verdicts to its lines."""

from __future__ import annotations

from collections.abc import Iterator

from fourpair_service.records.model import Record
from fourpair_service.records.views.handover import PlannedLink, Step, history
from fourpair_service.records.views.summary import FINE, group_of
from fourpair_service.reports.handover.model import MISSING, Handover, HistoryLine, Kept, LinkLine, Remedy
from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.sheet import saying
from fourpair_service.reports.sheet.answers import answers
from fourpair_service.reports.sheet.model import Document
from fourpair_service.reports.sheet.sections import suspected

LABEL_CHARACTERS = 60
REASON_CHARACTERS = 200
PLACE_CHARACTERS = 60


def each_link(handover: Handover) -> Iterator[tuple[PlannedLink, LinkLine, Kept | None]]:
    """Yield each link in label order, its line and what is kept of it, one at a time."""
    for link in handover.plan.links:
        if link.record is None:
            label = printable(link.label, LABEL_CHARACTERS)
            yield link, LinkLine(label, MISSING, MISSING, link.is_scheduled), None
        else:
            kept = handover.kept(link.record)
            yield link, _line(handover, link, link.record, kept), kept


def link_lines(handover: Handover) -> Iterator[LinkLine]:
    """Yield a line for each link, in label order."""
    return (line for _, line, _ in each_link(handover))


def _line(handover: Handover, link: PlannedLink, record: Record, kept: Kept) -> LinkLine:
    words, verdict = handover.words, kept.verdict
    group = group_of(record, handover.plan.job)
    said = (words.by_code("caution", c["code"], c["text"]) for c in verdict["cautions"])
    return LinkLine(
        label=printable(link.label, LABEL_CHARACTERS),
        state=record.outcome,
        group=group,
        is_scheduled=link.is_scheduled,
        record=record.id,
        revision=record.revision,
        requirement=saying.requirement(verdict, words),
        basis=verdict["basis"],
        headroom_db=record.headroom_db,
        where=_where(verdict, words),
        length_m=length_m(verdict),
        tested_at=record.tested_at,
        failing=tuple(_failing(verdict, words)),
        reservations=tuple(saying.reservations(verdict)),
        cautions=tuple(dict.fromkeys(printable(text, REASON_CHARACTERS) for text in said)),
        remedy=None if group == FINE else _remedy(kept, words),
    )


def _where(verdict: Document, words: Language) -> str:
    found = verdict["headroom"]
    if found is None:
        return ""
    parts = [words.say(f"parameter.{found['parameter']}")]
    parts += [words.say(f"picture.{found['end']}")] if found["end"] else []
    if found["pairs"]:
        name = "sentence.on_pair" if found["pairs"].isdigit() else "sentence.on_pairs"
        parts.append(words.say(name, pairs=found["pairs"]))
    at = found["frequency_mhz"]
    return ", ".join(parts + ([f"{words.frequency(at)} MHz"] if at is not None else []))


def length_m(verdict: Document) -> float | None:
    """Return the length that was judged; none where wires are broken, which makes it that of a piece. [m]."""
    if verdict["wire_map"]["findings"]:
        return None
    found = [p["worst_margin"] for p in verdict["parameters"] if p["parameter"] == "length"]
    return found[0]["measured_m"] if found and found[0] else None


def _failing(verdict: Document, words: Language) -> Iterator[str]:
    if verdict["wire_map"]["findings"]:
        yield words.say("parameter.wire_map")
    yield from dict.fromkeys(words.say(f"parameter.{p['parameter']}") for p in saying.failing(verdict))


def _remedy(kept: Kept, words: Language) -> Remedy:
    names = {end: printable(name, PLACE_CHARACTERS) for end, name in kept.places.items()}
    sound, _, above, do = answers(kept.verdict, kept.assessment, words, names)
    causes = suspected(kept.verdict, kept.assessment, words, names).lines
    if len(causes) == 1:
        # The number is that of a mark on the sheet, where there may be several.
        causes = (causes[0].removeprefix("1. "),)
    # A sheet lists below what is missing; here the reasons above name it.
    is_open = do.text == words.say("step.incomplete", heading=words.say("heading.missing"))
    step = words.say("handover.incomplete_step") if is_open else do.text
    return Remedy(sound.more or (above.text,), causes, (step, *do.more))


def history_lines(handover: Handover) -> Iterator[HistoryLine]:
    """Yield a line for each revision of the links that have several."""
    for step in history(handover.reader, handover.plan):
        yield _history_line(step, handover.words)


def _history_line(step: Step, words: Language) -> HistoryLine:
    before, after = step.before, step.after
    return HistoryLine(
        label=printable(after.label, LABEL_CHARACTERS),
        number=after.number,
        kind=words.say(f"handover_kind.{after.kind.value}"),
        at=after.at,
        before=before.outcome if before else None,
        after=after.outcome,
        headroom_before_db=before.headroom_db if before else None,
        headroom_after_db=after.headroom_db,
        reason=printable(after.reason or "", REASON_CHARACTERS),
    )
