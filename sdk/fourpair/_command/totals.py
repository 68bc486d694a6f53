"""``fourpair summary``, ``faults`` and ``billing``."""

from __future__ import annotations

from argparse import Namespace, _SubParsersAction
from collections.abc import Mapping
from typing import Any

from fourpair._client import Client
from fourpair._command.argument_types import whole
from fourpair._command.output import DONE, Output, aligned


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the commands."""
    summary = commands.add_parser("summary", help="where a job stands, and what is left to do")
    summary.add_argument("job")
    summary.set_defaults(run=run_summary)
    faults = commands.add_parser("faults", help="what is to be mended in a job")
    faults.add_argument("job")
    faults.add_argument("--all", action="store_true", help="also what has been mended")
    faults.set_defaults(run=run_faults)
    billing = commands.add_parser("billing", help="signed quantities by item code, never prices")
    billing.add_argument("job")
    billing.add_argument(
        "--since", type=whole(0), default=0, metavar="SEQ", help="the 'until' of what was billed last"
    )
    billing.add_argument("--until", type=whole(0), metavar="SEQ")
    billing.set_defaults(run=run_billing)


def run_summary(client: Client, options: Namespace, output: Output) -> int:
    """Show where a job stands."""
    found = client.jobs.summary(options.job)
    rate = "not known yet" if found.first_pass_rate is None else f"{found.first_pass_rate:.0%}"
    lines = [
        f"{found.job}: {found.done} of {max(found.scheduled, found.links)} links done, "
        f"first-pass rate {rate}" + (", provisional" if found.provisional else ""),
        "  ".join(f"{outcome.replace('_', ' ')} {number}" for outcome, number in found.counts.items()),
    ]
    for group, words in (("redo", "To redo"), ("look_again", "To look at again")):
        links = [(f"  {link['label']}", _reason(link)) for link in found.groups.get(group, ())]
        lines += [f"{words}:", *aligned(links)] if links else []
    for each in found.wanted:
        name = each["name"] if each["what"] == "application" else f"Power type {each['name']}"
        others = f"; not, or not for sure: {', '.join(each['others'])}" if each["others"] else ""
        lines.append(f"{name}: carried by {each['links']} of {found.links}{others}")
    lines += [f"Not tested yet: {', '.join(found.missing)}"] if found.missing else []
    lines += [f"Tested, not scheduled: {', '.join(found.unscheduled)}"] if found.unscheduled else []
    for same in found.same_measurement:
        lines.append(f"The same measurement under {', '.join(same['labels'])}: one was not tested")
    output.value(found.raw, "\n".join(lines))
    return DONE


def _reason(link: Mapping[str, Any]) -> str:
    """Return why a link is no plain pass; a service older than this client names parameters alone."""
    return str(link.get("reason") or ", ".join(link["failing"]) or link["outcome"].replace("_", " "))


def run_faults(client: Client, options: Namespace, output: Output) -> int:
    """List what is to be mended."""
    found = client.jobs.faults(options.job, include_closed=options.all)
    rows = ((fault.raw, (fault.label, fault.state, fault.ticket["title"], fault.key)) for fault in found)
    output.table(("label", "state", "what", "key"), rows, "Nothing is to be mended.")
    return DONE


def _item(code: str | None) -> str:
    return code or "without item code"


def _why(line: Mapping[str, Any]) -> str:
    """Return why a line is there; a credit names the entry of the feed that was billed."""
    credited = "" if line["credits_seq"] is None else f" (credit for seq {line['credits_seq']})"
    return f"{line['reason']}{credited}"


def run_billing(client: Client, options: Namespace, output: Output) -> int:
    """Show what can be billed."""
    found = client.jobs.billing(options.job, since=options.since, until=options.until)
    if output.as_json:
        output.value(found.raw, "")
        return DONE
    rows = (
        (line, (line["label"], _item(line["item_code"]), f"{line['quantity']:+d}", _why(line)))
        for line in found.lines
    )
    output.table(("label", "item code", "quantity", "why"), rows, "Nothing to bill.")
    totals = ", ".join(f"{_item(q.item_code)} {q.quantity:+d}" for q in found.totals)
    output.text(
        f"\nTotals: {totals or 'none'}\nNext time: --since {found.until}\nState: {found.state_digest}"
    )
    return DONE
