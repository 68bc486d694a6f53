"""Job costing: an invoice of what passed since the last one, each link exactly once.

    python job_costing.py alder-row-clinic prices.json invoices/

An invoice is one CSV file whose name says which part of the change feed it bills,
``alder-row-clinic.0-57.csv``. The file is the memory too: it appears whole or not at
all, and the next run goes on where the newest one ends. What was billed and failed
later, or was withdrawn, comes as a credit that names what it credits. Every line
carries the digest of all that the invoice rests on.
"""

from __future__ import annotations

import csv
import json
import re
import sys
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path

from fourpair import Billing, Client

COLUMNS = ("link", "item", "quantity", "price", "amount", "seq", "credits_seq", "reason", "state_digest")


def billed_until(invoices: Path, job: str) -> int:
    """Return where the newest invoice of a job ends; 0 before the first."""
    ends = re.compile(re.escape(job) + r"\.\d+-(\d+)\.csv")
    found = (ends.fullmatch(path.name) for path in invoices.iterdir())
    return max((int(match[1]) for match in found if match), default=0)


def write_invoice(path: Path, billing: Billing, prices: Mapping[str, Decimal]) -> Decimal:
    """Write an invoice that appears whole; return its sum."""
    total = Decimal(0)
    beside = path.with_suffix(".part")
    with beside.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow(COLUMNS)
        for line in billing.lines:
            price = prices[str(line["item_code"])]
            amount = price * int(line["quantity"])
            total += amount
            told = (line["seq"], line["credits_seq"] or "", line["reason"], billing.state_digest)
            rows.writerow((line["label"], line["item_code"], line["quantity"], price, amount, *told))
    beside.replace(path)
    return total


def bill(client: Client, job: str, prices: Mapping[str, Decimal], invoices: Path) -> Path | None:
    """Write the next invoice of a job, where there is something to bill.

    Raises:
        KeyError: an item code has no price; nothing is written.
    """
    billing = client.jobs.billing(job, since=billed_until(invoices, job))
    if not billing.lines:
        return None
    path = invoices / f"{job}.{billing.since}-{billing.until}.csv"
    total = write_invoice(path, billing, prices)
    print(f"{path}: {len(billing.lines)} lines, {total}")
    return path


if __name__ == "__main__":
    job_name, price_list, directory = sys.argv[1:]
    with Client() as service:
        known = json.loads(Path(price_list).read_text(), parse_float=Decimal, parse_int=Decimal)
        if bill(service, job_name, known, Path(directory)) is None:
            print("Nothing to bill.")
