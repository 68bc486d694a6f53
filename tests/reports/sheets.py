"""Sheets of measurements, for tests."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from fourpair_service.http.assessment import Detail
from fourpair_service.http.grading import Graded, GradeRequest, graded
from fourpair_service.http.sheets import source_of
from fourpair_service.reports.language import LengthUnit, Tongue, language
from fourpair_service.reports.sheet.build import link_sheet
from fourpair_service.reports.sheet.model import LinkSheet
from fourpair_service.rulesets.catalogue import Catalogue

ROOT = Path(__file__).resolve().parents[2]
LINKS = sorted((ROOT / "samples" / "links").glob("*.json"))


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    """Return the built-in rule sets."""
    return Catalogue.load()


def answer_of(document: dict[str, Any]) -> Graded:
    """Return a measurement graded, with everything that is said beside the verdict."""
    return graded(GradeRequest(document, detail=Detail.ALL), catalogue())


def sheet_of(
    found: Graded, tongue: Tongue = Tongue.ENGLISH, length_unit: LengthUnit = LengthUnit.METRES, **more: Any
) -> LinkSheet:
    """Return the sheet of what was graded."""
    return link_sheet(source_of(found, more.pop("notes", None), **more), language(tongue, length_unit))
