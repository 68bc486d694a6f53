"""A verdict as a notebook shows it: what was decided, a table, and margins over frequency."""

from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING

from fourpair._verdict_parts import OUTCOME_WORDS

if TYPE_CHECKING:
    from fourpair._curves import MarginCurve
    from fourpair._models import Verdict
    from fourpair._verdict_parts import ParameterResult

WIDTH, HEIGHT, ROOM = 420, 110, 34
MOST_POINTS = 400
# Margins beyond this are drawn at the edge, so that the zero line keeps its place. [dB]
SHOWN_DB = 20.0


def _cell(text: object, tag: str = "td") -> str:
    return f'<{tag} style="text-align:left">{escape(str(text))}</{tag}>'


def _row(result: ParameterResult) -> str:
    point = str(result.worst_margin) if result.worst_margin is not None else ""
    because = "; ".join(result.incomplete_because)
    return (
        "<tr>"
        + "".join(
            _cell(text) for text in (result.name, OUTCOME_WORDS.get(result.outcome, ""), point or because)
        )
        + "</tr>"
    )


def _across(frequency_mhz: float, low: float, high: float) -> float:
    span = math.log(high / low) or 1.0
    return ROOM + (WIDTH - ROOM - 8) * math.log(frequency_mhz / low) / span


def _down(margin_db: float) -> float:
    bounded = max(-SHOWN_DB, min(SHOWN_DB, margin_db))
    return 10 + (HEIGHT - 30) * (SHOWN_DB - bounded) / (2 * SHOWN_DB)


def curve_svg(curve: MarginCurve) -> str:
    """Return the smallest margin over frequency as a picture with its own description."""
    if not curve.frequency_mhz:
        return ""
    low, high = curve.frequency_mhz[0], curve.frequency_mhz[-1]
    worst = curve.worst()
    step = max(1, len(worst) // MOST_POINTS)
    # Of each stretch the smallest is drawn: no dip is lost.
    chosen = [
        min(range(i, min(i + step, len(worst))), key=worst.__getitem__) for i in range(0, len(worst), step)
    ]
    points = " ".join(
        f"{_across(curve.frequency_mhz[i], low, high):.1f},{_down(worst[i]):.1f}" for i in chosen
    )
    least = min(range(len(worst)), key=worst.__getitem__)
    end = f" at the {curve.end} end" if curve.end else ""
    told = (
        f"{curve.title}{end}: smallest margin {worst[least]:.1f} dB at {curve.frequency_mhz[least]:.4g} MHz, "
        "no point excused"
    )
    zero, foot = _down(0.0), HEIGHT - 6
    return (
        f'<figure style="margin:8px 0"><figcaption>{escape(told)}</figcaption>'
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" role="img" '
        f'aria-label="{escape(told)}" font-size="10" fill="currentColor">'
        f'<line x1="{ROOM}" x2="{WIDTH - 8}" y1="{zero}" y2="{zero}" stroke="currentColor" '
        'stroke-dasharray="3 2"/>'
        f'<text x="2" y="{_down(SHOWN_DB) + 4}">+{SHOWN_DB:.0f} dB</text><text x="2" y="{zero + 4}">limit</text>'
        f'<text x="2" y="{_down(-SHOWN_DB) + 4}">-{SHOWN_DB:.0f} dB</text>'
        f'<text x="{ROOM}" y="{foot}">{low:.4g} MHz</text>'
        f'<text x="{WIDTH - 8}" y="{foot}" text-anchor="end">{high:.4g} MHz</text>'
        f'<polyline points="{points}" fill="none" stroke="currentColor" stroke-width="1.5"/></svg></figure>'
    )


def verdict_html(verdict: Verdict) -> str:
    """Return a verdict as HTML without scripts; the outcome is told in words, never by colour alone."""
    notices = "".join(f"<p><em>{escape(notice)}</em></p>" for notice in verdict.notices)
    reasons = "".join(f"<li>{escape(reason)}</li>" for reason in verdict.reasons)
    suspected = "".join(
        f"<li>Suspected: {escape(fault.text)} First: {escape(fault.first)}</li>" for fault in verdict.faults
    )
    rows = "".join(_row(result) for result in verdict.parameters)
    head = "".join(_cell(word, "th") for word in ("Parameter", "Outcome", "Smallest margin"))
    curves = "".join(curve_svg(curve) for curve in verdict.curves)
    return (
        f"<div>{notices}<p><strong>{escape(verdict.headline)}</strong></p><ul>{reasons}{suspected}</ul>"
        f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>{curves}</div>"
    )
