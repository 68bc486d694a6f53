"""From a verdict and its measurement to the sheet."""

from __future__ import annotations

from collections.abc import Mapping

from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.wiremap import broken_pairs
from fourpair_service.reports.drawing.shapes import Picture, stretched
from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.pictures.margins import BOTTOM, HEIGHT, LEFT, TOP, margins_picture
from fourpair_service.reports.pictures.run import RunEvent, run_picture
from fourpair_service.reports.pictures.wires import wires_picture
from fourpair_service.reports.sheet import numbers, saying
from fourpair_service.reports.sheet.answers import LABEL_CHARACTERS, answers
from fourpair_service.reports.sheet.model import Document, LinkSheet, SheetSource
from fourpair_service.reports.sheet.remedy import is_mended_at_both_ends
from fourpair_service.reports.sheet.sections import sections, suspected

# What a page has room for; the rest stands in the table of numbers.
MOST_PICTURES = 8
# Up to so many stand three in a row and are wider, more stand four in a row.
FEW_PICTURES = 6
WIDE = 310.0
PLACE_CHARACTERS = 60
# Without these nobody can tell later which cable it was: it is said where one is not known.
RECORDED = ("near", "far", "cable", "tested")


def link_sheet(source: SheetSource, words: Language) -> LinkSheet:
    """Return the sheet of a link in a language."""
    verdict, assessment, measurement = source.verdict, source.assessment, source.measurement
    names = _names(measurement)
    wires_said = _wires_said(verdict, measurement, words)
    length_m = _length_m(verdict, measurement)
    label = printable(verdict["label"] or "–", LABEL_CHARACTERS)  # noqa: RUF001 - a dash for no label
    return LinkSheet(
        language=words.code,
        title=f"{words.say('heading.sheet')} {label}",
        label=label,
        outcome=verdict["outcome"],
        outcome_text=words.say(f"outcome.{verdict['outcome']}"),
        facts=tuple(_facts(source, words, names)),
        notices=tuple(_notices(source, words)),
        answers=answers(verdict, assessment, words, names),
        wires=_wires(source, words, " ".join(wires_said)),
        wires_heading=words.say("heading.wires"),
        wires_said=wires_said,
        run=_run(source, words, names, length_m),
        run_heading=words.say("heading.run"),
        run_said=_run_said(length_m, source, words),
        suspected=suspected(verdict, assessment, words, names),
        margins=_margins(source, words),
        margins_heading=words.say("heading.margins"),
        columns=numbers.columns(words),
        numbers_heading=words.say("heading.numbers"),
        numbers_note=words.say("heading.numbers_note"),
        numbers_key=words.say("heading.numbers_key"),
        rows=numbers.rows(verdict, words),
        sections=sections(verdict, assessment, words),
        footer=tuple(_footer(source, words)),
        safety=words.say("safety.ladder"),
        at=source.provenance.at or _tested_at(measurement),
    )


def _tested_at(measurement: LinkMeasurement) -> str | None:
    return None if measurement.tested_at is None else measurement.tested_at.isoformat()


def _names(measurement: LinkMeasurement) -> dict[str, str]:
    return {end.value: printable(name, PLACE_CHARACTERS) for end, name in measurement.places.items() if name}


def _notices(source: SheetSource, words: Language) -> list[str]:
    withdrawn = [words.say("field.withdrawn")] if source.provenance.withdrawn else []
    return withdrawn + [words.say(f"answer.{name}") for name in saying.notices(source.verdict)]


def _facts(source: SheetSource, words: Language, names: dict[str, str]) -> list[tuple[str, str]]:
    measurement, own = source.measurement, source.provenance
    cable = measurement.cable
    parts = (
        cable.maker,
        cable.part,
        cable.batch,
        cable.category and f"cat. {cable.category}",
        cable.screening,
    )
    tested = "" if measurement.tested_at is None else words.day(measurement.tested_at.isoformat())
    by = f", {words.say('field.by')} {printable(measurement.tested_by, 40)}" if measurement.tested_by else ""
    units = " + ".join(printable(u.serial, 24) for u in measurement.instrument.units if u.serial)
    kind = printable(measurement.instrument.kind or "", 40)
    given = {
        "job": own.job,
        "customer": own.customer,
        "site": own.site,
        "near": names.get("near"),
        "far": names.get("far"),
        "cable": ", ".join(printable(part, 30) for part in parts if part),
        "tested": (tested + by).strip(", "),
        "instrument": " ".join(filter(None, (kind, units))),
        "notes": source.notes,
    }
    lacking = [words.say(f"unrecorded.{name}") for name in RECORDED if not given[name]]
    given["unrecorded"] = ", ".join(lacking)
    return [(words.say(f"field.{name}"), printable(value, 90)) for name, value in given.items() if value]


def _wires_said(verdict: Document, measurement: LinkMeasurement, words: Language) -> tuple[str, ...]:
    if measurement.wire_map is None:
        return (words.say("answer.wires_untested"),)
    found = saying.findings(verdict, words)
    if found:
        return found
    return (words.say("answer.wires_straight"),)


def _length_m(verdict: Document, measurement: LinkMeasurement) -> float | None:
    """Return the length that the verdict judges, else that of the shortest sound pair. [m]."""
    broken = broken_pairs(measurement.wire_map) if measurement.wire_map else frozenset()
    judged = saying.length_m(verdict)
    if judged is not None:
        return judged
    sound = [m for pair, m in _pair_lengths(measurement).items() if pair not in broken]
    return min(sound, default=None)


def _run_said(length_m: float | None, source: SheetSource, words: Language) -> str:
    if length_m is None:
        return words.say("answer.no_length")
    return words.say(f"answer.{_kind_of_length(source)}", length=words.length(length_m))


def _kind_of_length(source: SheetSource) -> str:
    """Return as what a length is shown, as the name of a text."""
    measurement = source.measurement
    if measurement.wire_map and broken_pairs(measurement.wire_map):
        return "length_of_arriving"
    if len(set(_pair_lengths(measurement).values())) <= 1:
        return "length"
    # That pairs differ is no matter of course where they differ by too much.
    is_uneven = any(result["parameter"] == "delay_skew" for result in saying.failing(source.verdict))
    return "length_of_shortest" if is_uneven else "length_of_pairs"


def _pair_lengths(measurement: LinkMeasurement) -> dict[str, float]:
    return {p: r.length_m for p, r in measurement.readings.items() if r.length_m is not None}


def _wires(source: SheetSource, words: Language, said: str) -> Picture | None:
    measurement = source.measurement
    if measurement.wire_map is None:
        return None
    lengths = _pair_lengths(measurement)
    longest = max(lengths.values(), default=0.0)
    broken = broken_pairs(measurement.wire_map)
    shares = {p: m / longest for p, m in lengths.items() if p in broken and 0 < m < longest}
    findings = source.verdict["wire_map"]["findings"]
    return wires_picture(measurement.wire_map, findings, shares, words, said)


def _run(
    source: SheetSource, words: Language, names: Mapping[str, str], length_m: float | None
) -> Picture | None:
    measurement = source.measurement
    if length_m is None:
        return None
    lengths = _pair_lengths(measurement) or {"": length_m}
    broken = broken_pairs(measurement.wire_map) if measurement.wire_map else frozenset()
    places = (
        _end_name(words, names, End.NEAR),
        _end_name(words, names, End.FAR),
    )
    return run_picture(length_m, lengths, broken, _events(source, length_m), places, words)


def _end_name(words: Language, names: Mapping[str, str], end: End) -> str:
    return printable(names.get(end.value, words.say(f"field.{end.value}")), PLACE_CHARACTERS)


def _events(source: SheetSource, length_m: float) -> list[RunEvent]:
    faults = source.assessment["diagnosis"]["faults"] if source.assessment else ()
    events = []
    for number, fault in enumerate(faults, start=1):
        at = fault["place"]
        if at is None:
            continue
        if saying.is_from_end_to_end(at, length_m) and is_mended_at_both_ends(fault):
            events += [RunEvent(number, 0.0, 0.0), RunEvent(number, length_m, length_m)]
            continue
        if at["position_m"] is not None:
            about = at["uncertainty_m"] or 0.0
            low, high = at["position_m"], at["to_m"]
            low, high = (low - about, low + about) if high is None else (low, high)
        elif at["end"]:
            low = high = 0.0 if at["end"] == End.NEAR else length_m
        else:
            continue
        events.append(RunEvent(number, max(low, 0.0), high))
    return events


def _margins(source: SheetSource, words: Language) -> tuple[Picture, ...]:
    judged: dict[str, list[Document]] = {}
    for result in source.verdict["parameters"]:
        if result["outcome"] and result["worst_margin"]:
            judged.setdefault(result["parameter"], []).append(result)
    drawn = {p: [c for c in source.curves if c.parameter == p] for p in judged}
    drawn = {p: curves for p, curves in drawn.items() if curves}
    pictures = [margins_picture(p, curves, judged[p], words) for p, curves in drawn.items()][:MOST_PICTURES]
    if len(pictures) <= FEW_PICTURES:
        pictures = [stretched(picture, WIDE, HEIGHT, LEFT, TOP, BOTTOM) for picture in pictures]
    return tuple(pictures)


def _footer(source: SheetSource, words: Language) -> list[tuple[str, str]]:
    verdict, own = source.verdict, source.provenance
    basis = words.say(f"basis.{verdict['basis'] or 'none'}")
    given: dict[str, str | int | None] = {
        "requirement": saying.requirement(verdict, words),
        "rule_set": verdict["rule_set"]["id"],
        "known_by": basis,
        "record": own.record,
        "revision": own.revision,
        "seq": own.seq,
        "digest": source.verdict_digest,
    }
    return [(words.say(f"field.{n}"), printable(v, 110)) for n, v in given.items() if v is not None]
