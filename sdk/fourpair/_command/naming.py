"""What people call a record: its id, or job and label."""

from __future__ import annotations

from fourpair._client import Client
from fourpair._errors import InvalidSettingError
from fourpair._kept import Record

HELP = "id of a record, or JOB/LABEL"


def found(client: Client, name: str) -> Record:
    """Return the record that a person names.

    Raises:
        InvalidSettingError: none is called so.
        NotFoundError: there is none of that id.
    """
    job, slash, label = name.partition("/")
    if not slash:
        return client.records.get(name)
    for record in client.records.list(job=job, label_prefix=label):
        if record.label == label:
            return client.records.get(record.id)
    raise InvalidSettingError(f"The job {job!r} has no record with the label {label!r}")
