"""What can be done next with what an operation answered, as OpenAPI links."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from flask_smorest import Api

TAG: Final = "$response.header.ETag"


class Next(NamedTuple):
    """An operation that takes up an answer.

    Attributes:
        operation_id: its name.
        parameters: where each comes from.
        body: what of its body is known.
    """

    operation_id: str
    parameters: Mapping[str, str] = {}
    body: Mapping[str, str] | None = None


JOB: Final = {"job_id": "$response.body#/id"}
RECORD: Final = {"record_id": "$response.body#/record/id"}
REVISION: Final = {**RECORD, "number": "$response.body#/revision/number"}
MATCH: Final = {"header.If-Match": TAG}

AFTER_A_JOB: Final = (
    *(Next(name, JOB) for name in ("getJob", "getSummary", "getBilling", "listJobFaults", "getSchedule")),
    *(Next(name, {**JOB, **MATCH}) for name in ("changeJob", "acceptJob")),
    Next("createRecord", body={"job": "$response.body#/id"}),
)
AFTER_A_RECORD: Final = (
    *(Next(name, RECORD) for name in ("getRecord", "getVerdict", "getMeasurement", "listRevisions")),
    *(Next(name, REVISION) for name in ("getRevision", "getRevisionVerdict", "getRevisionMeasurement")),
    *(Next(name, {**RECORD, **MATCH}) for name in ("correctRecord", "retestRecord", "withdrawRecord")),
)
LINKS: Final[Mapping[tuple[str, str], tuple[Next, ...]]] = {
    ("createJob", "201"): AFTER_A_JOB,
    ("changeJob", "200"): AFTER_A_JOB,
    ("createRecord", "201"): AFTER_A_RECORD,
    ("upsertRecord", "201"): AFTER_A_RECORD,
    ("correctRecord", "200"): AFTER_A_RECORD,
    ("retestRecord", "200"): AFTER_A_RECORD,
}


def describe_links(api: Api) -> None:
    """Write the links into the OpenAPI document.

    Raises:
        KeyError: a link leads to an operation that there is not.
    """
    operations = {
        operation["operationId"]: operation
        for path in api.spec._paths.values()
        for operation in path.values()
        if isinstance(operation, dict) and "operationId" in operation
    }
    for (name, status), found in LINKS.items():
        links = {each.operation_id: _link(each) for each in found if operations[each.operation_id]}
        operations[name]["responses"][status]["links"] = links


def _link(each: Next) -> dict[str, Any]:
    link: dict[str, Any] = {"operationId": each.operation_id, "parameters": dict(each.parameters)}
    return link if each.body is None else {**link, "requestBody": dict(each.body)}
