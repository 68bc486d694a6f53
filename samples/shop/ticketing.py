"""Ticketing: one ticket for each fault, closed when the link passes its retest.

    python ticketing.py alder-row-clinic tickets.db

A fault has a key that stays the same until it is mended, so that running this again,
or twice at once, opens nothing twice. Here tickets are rows of an SQLite file: put
the calls of your own ticket system in the place of ``open_ticket`` and ``close_ticket``.
"""

from __future__ import annotations

import sqlite3
import sys

from fourpair import Client, JobFault

TABLE = """CREATE TABLE IF NOT EXISTS ticket (
  key TEXT PRIMARY KEY, state TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL,
  opened_seq INTEGER NOT NULL, closed_seq INTEGER)"""


def open_ticket(tickets: sqlite3.Connection, fault: JobFault) -> bool:
    """Open the ticket of a fault; return whether there was none."""
    row = (fault.key, fault.ticket["title"], fault.ticket["body"], fault.opened_seq)
    sql = """INSERT INTO ticket (key, state, title, body, opened_seq) VALUES (?, 'open', ?, ?, ?)
      ON CONFLICT (key) DO UPDATE SET state = 'open', closed_seq = NULL WHERE state = 'closed'"""
    return tickets.execute(sql, row).rowcount == 1


def close_ticket(tickets: sqlite3.Connection, key: str, seq: int | None) -> bool:
    """Close the ticket of what is mended or told in another one; return whether it was open."""
    sql = "UPDATE ticket SET state = 'closed', closed_seq = ? WHERE key = ? AND state = 'open'"
    return tickets.execute(sql, (seq, key)).rowcount == 1


def keep_up(client: Client, job: str, tickets: sqlite3.Connection) -> tuple[int, int]:
    """Open and close tickets until they are as the service says; return how many of each."""
    opened = closed = 0
    with tickets:
        tickets.execute(TABLE)
        for fault in client.jobs.faults(job, include_closed=True):
            if fault.state == "open":
                opened += open_ticket(tickets, fault)
            else:
                closed += close_ticket(tickets, fault.key, fault.closed_seq)
            # What fails because of a fault of the wiring is in that fault's ticket.
            for key in (each["key"] for each in fault.by_products):
                closed += close_ticket(tickets, key, fault.seen_seq)
    return opened, closed


if __name__ == "__main__":
    job_name, file = sys.argv[1:]
    with Client() as service:
        print("{} opened, {} closed".format(*keep_up(service, job_name, sqlite3.connect(file))))
