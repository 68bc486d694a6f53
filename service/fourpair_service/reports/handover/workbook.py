"""A handover as a workbook: summary, all links, all results by unit, what to do, history; or a sheet a link."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from xlsxwriter import Workbook
from xlsxwriter.worksheet import Worksheet

from fourpair_service.records.views.handover import PlannedLink
from fourpair_service.reports.handover.build import each_link, history_lines
from fourpair_service.reports.handover.cover import counted, job_notes, reservations, verdict_on_all
from fourpair_service.reports.handover.model import MISSING, STATES, Handover, Kept, LinkLine
from fourpair_service.reports.handover.pages import job_title
from fourpair_service.reports.handover.tables import in_unit, result_numbers
from fourpair_service.reports.handover.worksheet import Cell, Head, Table, formats_of, put, sheet_name
from fourpair_service.reports.language import UNIT_SIGNS, Language
from fourpair_service.reports.sheet.model import Document
from fourpair_service.reports.sheet.saying import capitalised

# A character for each answer, of the same shapes as the marks on paper.
SIGNS: Final = dict(zip(STATES, "●◐⬖◆◌▢", strict=True))
UNITS: Final = ("db", "ns", "m", "ohm")
MOST_CAUTIONS: Final = 1000


def write_workbook(handover: Handover, target: Path) -> None:
    """Write one row a link; rows are on disk as soon as the next is begun."""
    _write(handover, target, is_sheet_each=False)


def write_sheets_workbook(handover: Handover, target: Path) -> None:
    """Write one sheet a link; these are in memory until the end."""
    _write(handover, target, is_sheet_each=True)


def _write(handover: Handover, target: Path, *, is_sheet_each: bool) -> None:
    with TemporaryDirectory(prefix="fourpair-workbook-") as directory:
        options = {
            # A file stays open for each sheet that is kept on disk, and there may be a thousand.
            "constant_memory": not is_sheet_each,
            "tmpdir": directory,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        }
        with Workbook(str(target), options) as book:
            at = datetime.fromisoformat(handover.plan.at).astimezone(UTC).replace(tzinfo=None)
            book.set_properties({"title": job_title(handover), "author": "fourpair", "created": at})
            Writing(handover, book, is_sheet_each=is_sheet_each).run()


class Writing:
    """A workbook that is being written.

    Args:
        handover: what is written.
        book: where to.
        is_sheet_each: a sheet for each link in place of tables of results.
    """

    def __init__(self, handover: Handover, book: Workbook, *, is_sheet_each: bool) -> None:
        self._handover, self._words = handover, handover.words
        self._book, self._formats = book, formats_of(book)
        self._is_sheet_each = is_sheet_each
        self._taken: set[str] = set()
        self._summary = self._new(self._words.say("handover.summary"))
        self._links = self._table("handover.table", link_heads(self._words))
        self._results = {} if is_sheet_each else {unit: self._result_table(unit) for unit in UNITS}
        self._trouble = self._table("handover.exceptions_short", trouble_heads(self._words))
        self._history = self._table("handover.history", history_heads(self._words))

    def _new(self, name: str) -> Worksheet:
        return self._book.add_worksheet(sheet_name(name, self._taken))

    def _table(self, name: str, heads: tuple[Head, ...]) -> Table:
        return Table(self._new(self._words.say(name)), heads, self._formats)

    def _result_table(self, unit: str) -> Table:
        sign = unit_sign(unit, self._words)
        name = f"{self._words.say('handover.results')} {sign}"
        return Table(self._new(name), result_heads(sign, self._words), self._formats)

    def run(self) -> None:
        """Write everything; the summary last, when all links were seen."""
        links, lines = self._handover.plan.links, []
        for done, (link, line, kept) in enumerate(each_link(self._handover), 1):
            self._link(link, line)
            if kept is not None and not self._is_sheet_each:
                self._link_results(line, kept)
            elif kept is not None:
                self._link_sheet(line, kept)
            lines.append(line)
            self._handover.progress(done, len(links))
        self._steps()
        for table in (self._links, *self._results.values(), self._trouble, self._history):
            table.finish(self._words)
        self._sum_up(lines)

    def _link(self, link: PlannedLink, line: LinkLine) -> None:
        words, record = self._words, link.record
        length = in_unit(line.length_m, "m", words.length_unit)
        tested = datetime.fromisoformat(line.tested_at) if line.tested_at else None
        outcome = words.say("handover.missing") if record is None else words.say(f"outcome.{line.state}")
        provisional = None if record is None else record.provisional
        number = record.revision if record else None
        reference = record.id if record else None
        self._links.add(
            (
                *(link.label, SIGNS[line.state], outcome, line.headroom_db, line.where, length),
                *(line.requirement, provisional, ", ".join(line.failing), tested, number, reference),
            )
        )
        if line.remedy is not None:
            told = line.remedy
            texts = (told.reasons, told.suspected, told.steps)
            self._trouble.add((link.label, SIGNS[line.state], outcome, *map(" ".join, texts)))
        elif line.state == MISSING:
            step = words.say("handover.missing_step")
            self._trouble.add((link.label, SIGNS[line.state], outcome, None, None, step))

    def _link_results(self, line: LinkLine, kept: Kept) -> None:
        for result in kept.verdict["parameters"]:
            self._results[result["unit"]].add((line.label, *result_cells(result, self._words)))

    def _link_sheet(self, line: LinkLine, kept: Kept) -> None:
        words = self._words
        sheet = self._new(line.label)
        outcome = words.say(f"outcome.{line.state}")
        put(sheet, 0, 0, line.label, self._formats["title"])
        put(sheet, 1, 0, f"{SIGNS[line.state]} {outcome}", self._formats["strong"])
        put(sheet, 2, 0, line.requirement, self._formats["text"])
        heads = result_heads("", words)[1:]
        table = Table(sheet, heads, self._formats, top=4)
        for result in kept.verdict["parameters"]:
            cells = result_cells(result, words)
            table.add((f"{cells[0]} ({unit_sign(result['unit'], words)})", *cells[1:]))
        table.finish(words)

    def _steps(self) -> None:
        words = self._words
        for step in history_lines(self._handover):
            before = words.say(f"outcome.{step.before}") if step.before else None
            after = words.say(f"outcome.{step.after}")
            at = datetime.fromisoformat(step.at)
            margins = (step.headroom_before_db, step.headroom_after_db)
            self._history.add((step.label, step.number, step.kind, at, before, after, *margins, step.reason))

    def _sum_up(self, lines: list[LinkLine]) -> None:
        words, plan, sheet, formats = self._words, self._handover.plan, self._summary, self._formats
        sheet.set_column(0, 0, 28)
        sheet.set_column(1, 1, 100)
        rows: list[tuple[str, Cell, str]] = [(words.say("handover.title"), plan.job.name, "title")]
        given = {"job": plan.job.id, "customer": plan.customer, "site": plan.job.site}
        rows += [(words.say(f"field.{name}"), value, "text") for name, value in given.items() if value]
        rows.append(("", verdict_on_all(self._handover, lines), "strong"))
        rows += [("", text, "wrapped") for text in reservations(lines, words)]
        counts = Counter(line.state for line in lines)
        for state in STATES:
            name = words.say("handover.missing") if state == MISSING else words.say(f"outcome.{state}")
            rows.append((f"{SIGNS[state]} {name}", counts[state], "whole"))
        tested = [line for line in lines if line.record]
        asked = counted((capitalised(line.requirement) for line in tested), words, MOST_CAUTIONS)
        rows += [(words.say("handover.asked"), text, "wrapped") for text in asked]
        cautions = counted((text for line in lines for text in line.cautions), words, MOST_CAUTIONS)
        notes = [*cautions, *job_notes(self._handover)]
        rows += [(words.say("handover.cautions"), text, "wrapped") for text in notes]
        rows.append((words.say("handover.state"), plan.seq, "whole"))
        rows.append((words.say("handover.when"), datetime.fromisoformat(plan.at), "day"))
        rows.append((words.say("handover.state_digest"), plan.state_digest, "text"))
        rows.append(("", words.say("safety.ladder"), "wrapped"))
        for row, (name, value, form) in enumerate(rows):
            put(sheet, row, 0, name, formats["strong"])
            put(sheet, row, 1, value, formats[form])


def unit_sign(unit: str, words: Language) -> str:
    """Return how a unit is written; a length in the one that is asked for."""
    return words.length_unit.value if unit == "m" else UNIT_SIGNS[unit]


def result_cells(result: Document, words: Language) -> tuple[Cell, ...]:
    """Return a result as the cells below its heads."""
    worst: Mapping[str, object] = result["worst_margin"] or {}
    largest: Mapping[str, object] = result["worst_value"] or {}
    unit = result["unit"]
    return (
        words.say(f"parameter.{result['parameter']}"),
        words.say(f"picture.{result['end']}") if result["end"] else None,
        words.say(f"outcome.{result['outcome'] or 'shown'}"),
        *result_numbers(result, words.length_unit),
        _cell(worst.get("pairs")),
        _cell(worst.get("frequency_mhz")),
        in_unit(largest.get(f"measured_{unit}"), unit, words.length_unit),  # type: ignore[arg-type]
        _cell(largest.get("pairs")),
        _cell(largest.get("frequency_mhz")),
        result["clause"] or (words.say(f"basis_word.{result['basis']}") if result["basis"] else None),
    )


def _cell(value: object) -> Cell:
    return value if isinstance(value, (str, float, int)) else None


def result_heads(sign: str, words: Language) -> tuple[Head, ...]:
    """Return the heads of results in one unit."""

    def told(name: str) -> str:
        return capitalised(words.say(f"column.{name}"))

    of_unit = f" ({sign})" if sign else ""
    worst = told("worst_value")
    return (
        Head(words.say("handover.label"), width=20),
        Head(told("parameter"), width=30),
        Head(told("end"), width=9),
        Head(told("outcome"), width=18, role="outcome"),
        Head(f"{told('margin')}{of_unit}", "number", 13, role="margin"),
        Head(f"{words.say('handover.measured')}{of_unit}", "number", 13),
        Head(f"{told('limit')}{of_unit}", "number", 13),
        Head(told("pairs"), width=9),
        Head(f"{words.say('handover.frequency')} (MHz)", "frequency", 13),
        Head(f"{worst}{of_unit}", "number", 16),
        Head(f"{worst}: {words.say('column.pairs')}", width=16),
        Head(f"{worst}: {words.say('handover.frequency')} (MHz)", "frequency", 20),
        Head(told("clause"), width=18),
    )


def link_heads(words: Language) -> tuple[Head, ...]:
    """Return the heads of the table of links."""
    return (
        Head(words.say("handover.label"), width=20),
        Head(words.say("handover.mark"), width=9),
        Head(capitalised(words.say("column.outcome")), width=20, role="outcome"),
        Head(f"{capitalised(words.say('column.margin'))} (dB)", "number", 13, role="margin"),
        Head(words.say("handover.worst_place"), width=34),
        Head(f"{words.say('handover.length')} ({words.length_unit.value})", "number", 13),
        Head(words.say("handover.asked_column"), width=48),
        Head(words.say("handover.provisional"), width=12),
        Head(words.say("handover.failing"), width=34),
        Head(f"{words.say('handover.tested')} (UTC)", "day", 17),
        Head(words.say("handover.revision_long"), "whole", 10),
        Head(words.say("field.record"), width=21),
    )


def trouble_heads(words: Language) -> tuple[Head, ...]:
    """Return the heads of what is not fine."""
    return (
        Head(words.say("handover.label"), width=20),
        Head(words.say("handover.mark"), width=9),
        Head(capitalised(words.say("column.outcome")), width=20, role="outcome"),
        Head(words.say("handover.reasons"), "wrapped", 60),
        Head(words.say("handover.suspected"), "wrapped", 60),
        Head(words.say("handover.do"), "wrapped", 60),
    )


def history_heads(words: Language) -> tuple[Head, ...]:
    """Return the heads of what was touched again."""
    margin = words.say("handover.margin_change")
    return (
        Head(words.say("handover.label"), width=20),
        Head(words.say("handover.revision_long"), "whole", 10),
        Head(words.say("handover.what"), width=24),
        Head(words.say("handover.when"), "day", 17),
        Head(words.say("handover.before"), width=20, role="outcome"),
        Head(words.say("handover.after"), width=20, role="outcome"),
        Head(f"{margin}, {words.say('handover.before')} (dB)", "number", 18, role="margin"),
        Head(f"{margin}, {words.say('handover.after')} (dB)", "number", 18, role="margin"),
        Head(words.say("handover.reason"), "wrapped", 50),
    )
