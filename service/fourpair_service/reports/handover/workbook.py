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
from fourpair_service.reports.handover.worksheet import (
    Cell,
    Head,
    Table,
    for_paper,
    formats_of,
    lines_of,
    put,
    set_height,
    sheet_name,
)
from fourpair_service.reports.language import UNIT_SIGNS, Language
from fourpair_service.reports.sheet.model import Document
from fourpair_service.reports.sheet.saying import capitalised

# A character for each answer, of the same shapes as the marks on paper.
SIGNS: Final = dict(zip(STATES, "●◐⬖◆◌▢", strict=True))
UNITS: Final = ("db", "ns", "m", "ohm")
# What is measured with a direct current, or once for a link, has no frequency.
SWEPT: Final = frozenset({"db", "ns"})
SAID_WIDTH: Final = 100
NAME_WIDTH: Final = 28
MOST_CAUTIONS: Final = 1000
YES_OR_NO: Final = {True: "handover.yes", False: "handover.no"}
# Above the results of a link that has a sheet of its own.
LINK_ROWS: Final = 6


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
        self._summary = self._new(self._words.say("handover.summary"), is_wide=False)
        self._links = self._table("handover.table", link_heads(self._words))
        self._results = {} if is_sheet_each else {unit: self._result_table(unit) for unit in UNITS}
        self._trouble = self._table("handover.exceptions_short", trouble_heads(self._words))
        self._history = self._table("handover.history", history_heads(self._words))

    def _new(self, name: str, *, is_wide: bool = True, heads_row: int | None = None) -> Worksheet:
        sheet = self._book.add_worksheet(sheet_name(name, self._taken))
        foot = f"{job_title(self._handover)}  ·  {name}"
        for_paper(sheet, self._handover.paper, foot, self._words, is_wide=is_wide, heads_row=heads_row)
        return sheet

    def _table(self, name: str, heads: tuple[Head, ...]) -> Table:
        return Table(self._new(self._words.say(name), heads_row=0), heads, self._formats)

    def _result_table(self, unit: str) -> Table:
        sign = unit_sign(unit, self._words)
        name = f"{self._words.say('handover.results')} {sign}"
        heads = result_heads(sign, self._words, is_swept=unit in SWEPT)
        return Table(self._new(name, heads_row=0), heads, self._formats)

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
        self._trouble.say(self._words.say("handover.nothing"))
        self._history.say(self._words.say("handover.no_history"))
        self._sum_up(lines)

    def _link(self, link: PlannedLink, line: LinkLine) -> None:
        words, record = self._words, link.record
        length = in_unit(line.length_m, "m", words.length_unit)
        tested = datetime.fromisoformat(line.tested_at) if line.tested_at else None
        outcome = words.say("handover.missing") if record is None else words.say(f"outcome.{line.state}")
        # A word, since programs show truth as a word of another language, or as 1.
        is_provisional = "" if record is None else words.say(YES_OR_NO[record.provisional])
        number = record.revision if record else None
        reference = record.id if record else None
        self._links.add(
            (
                *(link.label, SIGNS[line.state], outcome, line.headroom_db, line.where, length),
                *(
                    capitalised(line.requirement),
                    is_provisional,
                    ", ".join(line.failing),
                    tested,
                    number,
                    reference,
                ),
            )
        )
        if line.remedy is not None:
            told = line.remedy
            texts = ("\n".join(told.reasons), "\n".join(told.suspected), " ".join(told.steps))
            self._trouble.add((link.label, SIGNS[line.state], outcome, *texts))
        elif line.state == MISSING:
            step = words.say("handover.missing_step")
            self._trouble.add((link.label, SIGNS[line.state], outcome, None, None, step))

    def _link_results(self, line: LinkLine, kept: Kept) -> None:
        for result in kept.verdict["parameters"]:
            unit = result["unit"]
            cells = result_cells(result, self._words, is_swept=unit in SWEPT)
            self._results[unit].add((line.label, *cells))

    def _link_sheet(self, line: LinkLine, kept: Kept) -> None:
        words = self._words
        sheet = self._new(line.label, heads_row=LINK_ROWS)
        table = Table(sheet, result_heads("", words)[1:], self._formats, top=LINK_ROWS)
        for result in kept.verdict["parameters"]:
            cells = result_cells(result, words)
            table.add((f"{cells[0]} ({unit_sign(result['unit'], words)})", *cells[1:]))
        table.finish(words)
        self._above(table, line)

    def _above(self, table: Table, line: LinkLine) -> None:
        """Write what a link is, why it is not fine and what to do."""
        words = self._words
        table.above(0, line.label, "title")
        table.above(1, f"{SIGNS[line.state]} {words.say(f'outcome.{line.state}')}", "strong")
        table.above(2, capitalised(line.requirement))
        if line.remedy is not None:
            told = {"reasons": line.remedy.reasons, "do": line.remedy.steps}
            for row, (name, sentences) in enumerate(told.items(), 3):
                table.above(row, f"{words.say(f'handover.{name}')}: {' '.join(sentences)}")

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
        sheet.set_column(0, 0, NAME_WIDTH)
        sheet.set_column(1, 1, SAID_WIDTH)
        rows: list[tuple[str, Cell, str]] = [(words.say("handover.title"), plan.job.name, "title")]
        given = {"job": plan.job.id, "customer": plan.customer, "site": plan.job.site}
        rows += [(words.say(f"field.{name}"), value, "said") for name, value in given.items() if value]
        rows.append((words.say("handover.change"), verdict_on_all(self._handover, lines), "strong"))
        rows += [("", text, "said") for text in reservations(lines, words)]
        counts = Counter(line.state for line in lines)
        for state in STATES:
            name = words.say("handover.missing") if state == MISSING else words.say(f"outcome.{state}")
            rows.append((f"{SIGNS[state]} {name}", counts[state], "count"))
        tested = [line for line in lines if line.record]
        asked = counted((capitalised(line.requirement) for line in tested), words, MOST_CAUTIONS)
        rows += _under(words.say("handover.asked"), asked)
        cautions = counted((text for line in lines for text in line.cautions), words, MOST_CAUTIONS)
        notes = [*cautions, *job_notes(self._handover)]
        rows += _under(words.say("handover.cautions"), notes)
        rows.append((words.say("handover.state"), plan.seq, "count"))
        rows.append((words.say("handover.when"), datetime.fromisoformat(plan.at), "moment"))
        rows.append((words.say("handover.state_digest"), plan.state_digest, "said"))
        rows.append(("", words.say("safety.ladder"), "said"))
        for row, (name, value, form) in enumerate(rows):
            said = lines_of(value, SAID_WIDTH) if isinstance(value, str) and form != "title" else 1
            set_height(sheet, row, max(said, lines_of(name, NAME_WIDTH)))
            put(sheet, row, 0, name, formats["strong"])
            put(sheet, row, 1, value, formats[form])


def _under(name: str, texts: list[str]) -> list[tuple[str, Cell, str]]:
    """Return the rows of sentences under a name that stands once."""
    return [("" if number else name, text, "said") for number, text in enumerate(texts)]


def unit_sign(unit: str, words: Language) -> str:
    """Return how a unit is written; a length in the one that is asked for."""
    return words.length_unit.value if unit == "m" else UNIT_SIGNS[unit]


def result_cells(result: Document, words: Language, *, is_swept: bool = True) -> tuple[Cell, ...]:
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
        *([_cell(worst.get("frequency_mhz"))] if is_swept else []),
        in_unit(largest.get(f"measured_{unit}"), unit, words.length_unit),  # type: ignore[arg-type]
        _cell(largest.get("pairs")),
        *([_cell(largest.get("frequency_mhz"))] if is_swept else []),
        result["clause"] or (words.say(f"basis_word.{result['basis']}") if result["basis"] else None),
    )


def _cell(value: object) -> Cell:
    return value if isinstance(value, (str, float, int)) else None


def result_heads(sign: str, words: Language, *, is_swept: bool = True) -> tuple[Head, ...]:
    """Return the heads of results in one unit."""

    def told(name: str) -> str:
        return capitalised(words.say(f"column.{name}"))

    def frequency(before: str) -> list[Head]:
        head = f"{before}{words.say('handover.frequency')} (MHz)"
        return [Head(head, "frequency", 14)] if is_swept else []

    of_unit = f" ({sign})" if sign else ""
    worst = told("worst_value")
    return (
        Head(words.say("handover.label"), width=18),
        Head(told("parameter"), width=32),
        Head(told("end"), width=8),
        Head(told("outcome"), width=16, role="outcome"),
        Head(f"{told('margin')}{of_unit}", "number", 13, role="margin"),
        Head(f"{words.say('handover.measured')}{of_unit}", "number", 13),
        Head(f"{told('limit')}{of_unit}", "number", 12),
        Head(told("pairs"), "beside", 9),
        *frequency(""),
        Head(f"{worst}{of_unit}", "number", 14),
        Head(f"{worst}: {words.say('column.pairs')}", "beside", 14),
        *frequency(f"{worst}: "),
        Head(told("clause"), "beside", 17),
    )


def link_heads(words: Language) -> tuple[Head, ...]:
    """Return the heads of the table of links."""
    return (
        Head(words.say("handover.label"), width=18),
        Head(words.say("handover.mark"), width=7),
        Head(capitalised(words.say("column.outcome")), width=16, role="outcome"),
        Head(f"{capitalised(words.say('column.margin'))} (dB)", "number", 13, role="margin"),
        Head(words.say("handover.worst_place"), "wrapped", 30),
        Head(f"{words.say('handover.length')} ({words.length_unit.value})", "number", 13),
        Head(words.say("handover.asked_column"), "wrapped", 48),
        Head(words.say("handover.provisional"), "beside", 13),
        Head(words.say("handover.failing"), "wrapped", 30),
        Head(f"{words.say('handover.tested')} (UTC)", "day", 17),
        Head(words.say("handover.revision_long"), "whole", 10),
        Head(words.say("field.record"), "beside", 22),
    )


def trouble_heads(words: Language) -> tuple[Head, ...]:
    """Return the heads of what is not fine."""
    return (
        Head(words.say("handover.label"), width=18),
        Head(words.say("handover.mark"), width=7),
        Head(capitalised(words.say("column.outcome")), width=16, role="outcome"),
        Head(words.say("handover.reasons"), "wrapped", 50),
        Head(words.say("handover.suspected"), "wrapped", 45),
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
