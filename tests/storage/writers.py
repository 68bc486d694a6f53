"""What other processes do to a store in the tests."""

from __future__ import annotations

from fourpair_service.records import commands
from fourpair_service.records.desk import Terms
from fourpair_service.storage.opening import open_store
from record_factory import ANYONE, desk_of, measurement


def append_some(path, worker, count, failures):
    """Append so many records, and tell the failure or nothing."""
    failure = ""
    store = open_store(str(path))
    desk = desk_of(store, prefix=f"w{worker}-")
    try:
        for number in range(count):
            commands.submit(desk, ANYONE, measurement(f"{worker}-{number}"), Terms())
    except Exception as error:
        failure = repr(error)
    store.close()
    failures.put(failure)


def append_until_killed(path, acknowledged):
    """Append records without end, and tell each once it is acknowledged."""
    store = open_store(str(path))
    last = store.last_change().seq
    desk = desk_of(store, prefix=f"p{last}-")
    for number in range(100_000):
        terms = Terms(key=f"{last}-{number}", fingerprint="f")
        written = commands.submit(desk, ANYONE, measurement(f"{last}-{number}"), terms)
        acknowledged.send((written.change.seq, written.record.id, written.revision.digest))


def open_and_close(path):
    """Open a store, making it where it is not there yet."""
    open_store(str(path)).close()
