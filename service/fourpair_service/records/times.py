"""Instants as text: UTC, microseconds, so that they sort as they follow each other."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from fourpair_service.records.errors import InvalidRecordError


def instant(moment: datetime) -> str:
    """Return an aware moment as text.

    >>> instant(datetime.fromisoformat("2026-03-04T10:21:07+01:00"))
    '2026-03-04T09:21:07.000000Z'
    """
    return moment.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def lies_ahead(told: str | None, now: datetime, within: timedelta) -> bool:
    """Return whether an instant that was set to come within so long is still to come.

    One further ahead was set by a clock that has been set back since: it is over, or
    everybody would wait until the clock has come there again.

    >>> now, hour = datetime.fromisoformat("2026-03-04T10:00:00Z"), timedelta(hours=1)
    >>> [lies_ahead(instant(now + ahead), now, hour) for ahead in (-hour, hour, 2 * hour)]
    [False, True, False]
    """
    return told is not None and instant(now) < told <= instant(now + within)


def instant_of(text: str, pointer: str) -> str:
    """Return an RFC 3339 time in the sortable form.

    Raises:
        InvalidRecordError: no time, or one without an offset.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise InvalidRecordError(pointer, "is no RFC 3339 time with an offset, as 2026-03-04T10:21:07Z", text)
    try:
        return instant(moment)
    except OverflowError:
        raise InvalidRecordError(pointer, "is outside the years 1 to 9999 in UTC", text) from None
