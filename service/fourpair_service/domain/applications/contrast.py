"""Why an application and the category asked for do not give the same answer."""

from __future__ import annotations

from fourpair_service.domain.applications.data import Application
from fourpair_service.domain.applications.result import ApplicationResult
from fourpair_service.domain.applications.segment import rows_used
from fourpair_service.domain.grading.categories import described
from fourpair_service.domain.link import PAIRS
from fourpair_service.domain.parameters import TRAITS
from fourpair_service.domain.support import Support
from fourpair_service.domain.verdict import FAILED, Outcome, ParameterResult, Verdict

CARRIES = frozenset({Support.SUPPORTED, Support.CONDITIONAL})
MET = frozenset({Outcome.PASS, Outcome.MARGINAL_PASS})


def contrast(result: ApplicationResult, verdict: Verdict) -> str | None:
    """Return a sentence where category and application differ, else ``None``.

    Args:
        result: the answer for the application.
        verdict: what the category asked for says.
    """
    title, name = verdict.category_title, result.application.name
    if verdict.outcome in FAILED and result.state in CARRIES:
        return f"The link does not meet {title}, and {name} is another question: {_why(result, verdict)}."
    if verdict.outcome in MET and result.state is Support.NOT_SUPPORTED:
        return f"The link meets {title}, and {name} asks for more: {_range(result.application)}."
    if verdict.outcome in MET and result.state is Support.CONDITIONAL:
        return f"The link meets {title}, whose limits leave open what {name} depends on."
    return None


def _range(application: Application) -> str:
    return (
        f"its link segment has limits of its own, from {application.from_mhz:g} to {application.to_mhz:g} MHz"
    )


def _why(result: ApplicationResult, verdict: Verdict) -> str:
    application = result.application
    if verdict.wire_map.outcome is Outcome.FAIL:
        spared = len(application.pairs) < len(PAIRS)
        return _alone(application) if spared else "its devices can put that wiring right"
    reasons = [_spared(r, application) for r in verdict.parameters if r.outcome in FAILED]
    return "; ".join(dict.fromkeys(reasons)) or _range(application)


def _alone(application: Application) -> str:
    return f"it uses {' and '.join(application.pairs)} alone"


def _spared(failing: ParameterResult, application: Application) -> str:
    """Return why a parameter that fails the category does not stop the application."""
    title = TRAITS[failing.parameter].title
    if failing.parameter not in application.limits:
        return f"it has no limit of {title}"
    bad = [p for p in failing.by_pair if p.outcome in FAILED]
    keys = tuple(p.pairs for p in bad if p.pairs is not None)
    if keys and not rows_used(keys, application.pairs):
        return f"{title} fails on {', '.join(keys)}, and {_alone(application)}"
    worst = failing.worst_margin
    where = described(failing.parameter, failing.end)
    if worst is not None and worst.frequency_mhz is not None and worst.frequency_mhz > application.to_mhz:
        return (
            f"{where} fails at {worst.frequency_mhz:.4g} MHz, and it is judged to {application.to_mhz:g} MHz"
        )
    return f"its limit of {title} is less strict"
