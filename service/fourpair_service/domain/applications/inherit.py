"""What a link carries because of the class or category that it meets."""

from __future__ import annotations

from dataclasses import dataclass

from fourpair_service.domain.applications.data import Application, ApplicationData, CategorySupport, Statement
from fourpair_service.domain.limits import Basis, weakest
from fourpair_service.domain.verdict import CategoryState, Outcome, Verdict


@dataclass(frozen=True, slots=True)
class Inheritance:
    """One class or category that a link meets, and what it says of an application.

    Attributes:
        title: of the class or category.
        condition: on what it depends; ``None``: on nothing.
        basis: the weaker of that of the table and that of the verdict.
    """

    title: str
    condition: Statement | None
    basis: Basis | None

    @property
    def is_full(self) -> bool:
        """Whether it depends on nothing."""
        return self.condition is None


def met_categories(verdict: Verdict) -> dict[str, str]:
    """Return the titles of the categories that a link meets, by name, lowest first."""
    met = {r.category: r.title for r in verdict.categories if r.state is CategoryState.MET}
    if verdict.outcome in (Outcome.PASS, Outcome.MARGINAL_PASS):
        met.setdefault(verdict.requirement.category, verdict.category_title)
    return met


def inherited(verdict: Verdict, application: Application, data: ApplicationData) -> Inheritance | None:
    """Return what the categories met say of an application, ``None`` where they say nothing.

    The lowest category that carries it without a condition is named, else the
    highest that carries it with one.
    """
    found = [
        answer
        for name, title in met_categories(verdict).items()
        for row in data.support
        if name in row.categories and (answer := _answer(row, title, application, verdict)) is not None
    ]
    return next((a for a in found if a.is_full), found[-1] if found else None)


def _answer(
    row: CategorySupport, title: str, application: Application, verdict: Verdict
) -> Inheritance | None:
    condition = row.conditional.get(application.name)
    if application.name not in row.supported and condition is None:
        return None
    known = [basis for basis in (row.basis, verdict.basis) if basis is not None]
    return Inheritance(title, condition, weakest(known))
