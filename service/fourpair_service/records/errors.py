"""What can go wrong with records, from the caller's side.

* ServiceError
    + NotFoundError                no such record, revision, job, party, attachment or key
    + RevisionConflictError        read it again, re-apply the change
    + PreconditionMissingError     a change that does not say which revision it rests on
    + IdempotencyRunningError      the same request is being carried out
    + LabelTakenError              another link of the job has this label
    + ExternalIdTakenError         another record or job has this external id
    + JobExistsError               the id is in use
    + RecordWithdrawnError         nothing is added to a withdrawn record
    + InvalidRecordError           a document or change that cannot be kept as it is
    + InvalidQueryError            a filter, sort or cursor that means nothing
    + NotSupersedingError          the rule set does not replace the one in force
    + RunFinishedError             a run that has ended can be neither stopped nor resumed
    + RunHeldError                 somebody else is carrying the run on
    + HandoverNotReadyError        papers that are not made yet, or could not be made
    + IdempotencyMismatchError     one key, two different requests
    + InvalidKeyError              an API key that is mistyped, unknown, expired or revoked
    + StoreError                   the store itself
        - StoreBusyError           other writers held it for too long; retry
        - StoreFullError           no room; nothing of the request was stored
        - StoreReadOnlyError       the file or its directory cannot be written
        - StoreCorruptError        the file is damaged or no store
            - ContentUnreadableError   one thing in it is no longer what was written
        - SchemaFromFutureError    written by a newer release
        - ImportRefusedError       an export that is damaged or does not fit
"""

from __future__ import annotations

from fourpair_service.errors import ServiceError


class NotFoundError(ServiceError):
    """Nothing is kept under that name."""

    code = "not-found"

    def __init__(self, what: str, name: object) -> None:
        super().__init__(f"There is no {what} {name}.")
        self.what, self.name = what, name


class RevisionConflictError(ServiceError):
    """Something has moved on since the caller read it."""

    code = "revision-conflict"

    def __init__(self, what: str, name: str, *, expected: int | str, actual: int | str) -> None:
        super().__init__(
            f"{what} {name} is at revision {actual}, not {expected}; read it again and re-apply the change."
        )
        self.what, self.name, self.expected, self.actual = what, name, expected, actual


class RuleSetChangedError(ServiceError):
    """A rule set that has the id of the one that graded, and says something else."""

    code = "rule-set-changed"

    def __init__(self, rule_set_id: str, *, then: str, now: str) -> None:
        super().__init__(
            f"Rule set {rule_set_id} had the digest {then[:23]} when it graded and has {now[:23]} now; put back the "
            "file that graded, and give the changed one an id of its own."
        )


class PreconditionMissingError(ServiceError):
    """A change that does not say what it rests on."""

    code = "precondition-missing"

    def __init__(self, what: str, name: str) -> None:
        super().__init__(
            f"Say which revision of {what} {name} this rests on: send its ETag as If-Match, or * for whichever."
        )


class IdempotencyRunningError(ServiceError):
    """The same request is being carried out at this moment."""

    code = "idempotency-running"

    def __init__(self, key: str) -> None:
        super().__init__(f"The request with idempotency key {key} is being carried out; ask again shortly.")
        self.key = key


class LabelTakenError(ServiceError):
    """One label names one link of a job."""

    code = "label-taken"

    def __init__(self, job_id: str, label: str, record_id: str) -> None:
        super().__init__(
            f"Job {job_id} already has a record labelled {label}: {record_id}. "
            "Retest that record, or correct its label first."
        )
        self.job_id, self.label, self.record_id = job_id, label, record_id


class ExternalIdTakenError(ServiceError):
    """One external id names one thing of its kind."""

    code = "external-id-taken"

    def __init__(self, system: str, value: str, holder: str) -> None:
        super().__init__(f"External id {system}:{value} already belongs to {holder}.")
        self.system, self.value, self.holder = system, value, holder


class JobExistsError(ServiceError):
    """The id of a new job is in use."""

    code = "job-exists"

    def __init__(self, job_id: str) -> None:
        super().__init__(f"There is already a job {job_id}; change that one or choose another id.")
        self.job_id = job_id


class RecordWithdrawnError(ServiceError):
    """Nothing is added to a withdrawn record."""

    code = "record-withdrawn"

    def __init__(self, record_id: str) -> None:
        super().__init__(f"Record {record_id} is withdrawn; submit the link again as a new record.")
        self.record_id = record_id


class InvalidRecordError(ServiceError):
    """A document or change that cannot be kept as it is.

    Attributes:
        pointer: JSON pointer of the offending part.
        detail: what is wrong with it and what to do.
        value: the offending value, short enough to print.
    """

    code = "invalid-record"

    def __init__(self, pointer: str, detail: str, value: object = None) -> None:
        super().__init__(f"{pointer}: {detail}")
        self.pointer, self.detail, self.value = pointer, detail, value


class InvalidQueryError(ServiceError):
    """A filter, sort or cursor that means nothing."""

    code = "invalid-query"

    def __init__(self, name: str, detail: str) -> None:
        super().__init__(f"/query/{name}: {detail}")
        self.pointer, self.detail = f"/query/{name}", detail


class NotSupersedingError(ServiceError):
    """Only a rule set that supersedes the one in force moves a record."""

    code = "not-superseding"

    def __init__(self, record_id: str, *, current: str, proposed: str) -> None:
        super().__init__(
            f"Rule set {proposed} does not supersede {current}, under which record {record_id} stands; "
            "assess the record instead, which moves nothing."
        )
        self.record_id, self.current, self.proposed = record_id, current, proposed


class RunFinishedError(ServiceError):
    """A run that has ended can be neither stopped nor resumed."""

    code = "run-finished"

    def __init__(self, run_id: str) -> None:
        super().__init__(f"Run {run_id} has ended; start a new one.")
        self.run_id = run_id


class HandoverNotReadyError(ServiceError):
    """Papers that are not made yet, or could not be made."""

    code = "handover-not-ready"

    def __init__(self, order_id: str, state: str, trouble: str | None) -> None:
        why = f": {trouble}" if trouble else "; ask again when it is done."
        super().__init__(f"Handover {order_id} is {state}{why}")
        self.order_id, self.state = order_id, state


class RunHeldError(ServiceError):
    """Somebody else is carrying the run on."""

    code = "run-held"

    def __init__(self, run_id: str, holder: str, until: str) -> None:
        super().__init__(
            f"Run {run_id} is being carried on by {holder}; it is free again at {until} unless that goes on."
        )
        self.run_id, self.holder, self.until = run_id, holder, until


class IdempotencyMismatchError(ServiceError):
    """One idempotency key came with two different requests."""

    code = "idempotency-mismatch"

    def __init__(self, key: str) -> None:
        super().__init__(
            f"Idempotency key {key} was used for another request; repeat that one unchanged or take a new key."
        )
        self.key = key


class InvalidKeyError(ServiceError):
    """An API key that opens nothing."""

    code = "invalid-key"

    def __init__(self, detail: str) -> None:
        super().__init__(detail)
        self.detail = detail


class StoreError(ServiceError):
    """The store itself could not do it; nothing of the request was kept."""

    code = "store-failed"


class StoreBusyError(StoreError):
    """Other writers held the store for longer than is reasonable."""

    code = "store-busy"


class StoreFullError(StoreError):
    """No room is left where the store is kept."""

    code = "store-full"


class StoreReadOnlyError(StoreError):
    """The store or its directory cannot be opened for writing."""

    code = "store-read-only"


class StoreCorruptError(StoreError):
    """The file is damaged, or no store at all."""

    code = "store-corrupt"


class ContentUnreadableError(StoreCorruptError):
    """One thing in a sound file is no longer what was written."""


class SchemaFromFutureError(StoreError):
    """The store was written by a newer release."""

    code = "schema-from-future"


class ImportRefusedError(StoreError):
    """An export that is damaged, or that does not fit the store."""

    code = "import-refused"
