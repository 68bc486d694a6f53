"""Whether another system holds what this one holds, in one call."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from fourpair_service.records.curves import Document
from fourpair_service.records.desk import Caller
from fourpair_service.records.ports import Reader
from fourpair_service.records.search import Filter
from fourpair_service.records.views.members import records_of

MOST_ITEMS: Final = 10_000


def reconcile(
    reader: Reader, caller: Caller, system: str, held: Iterable[Mapping[str, str]], *, job_id: str | None
) -> Document:
    """Compare (external id, measurement digest) pairs with the records of a system.

    Returns:
        ``same``, ``changed``, ``missing`` here and ``extra`` here, by external id.
    """
    wanted = Filter(external_system=system, job_id=job_id, visible_jobs=caller.jobs)
    here = {record.external_ids[system]: record for record in records_of(reader, wanted)}
    answer: Document = {"same": [], "changed": [], "missing": [], "extra": []}
    for item in held:
        record = here.pop(item["external_id"], None)
        if record is None:
            answer["missing"].append({"external_id": item["external_id"]})
            continue
        same = record.measurement_digest == item["measurement_digest"]
        answer["same" if same else "changed"].append(
            {
                "external_id": item["external_id"],
                "record": record.id,
                "revision": record.revision,
                "measurement_digest": record.measurement_digest,
            }
        )
    answer["extra"] = [
        {"external_id": value, "record": record.id, "measurement_digest": record.measurement_digest}
        for value, record in here.items()
    ]
    return answer
