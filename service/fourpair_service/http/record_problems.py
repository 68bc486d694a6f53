"""What can go wrong with jobs, records and keys, as kinds of problems."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from typing import Final

from fourpair_service.errors import ServiceError
from fourpair_service.http.auth_errors import KeyMissingError, RateLimitedError, ScopeMissingError
from fourpair_service.http.body_errors import BatchRefusedError, InvalidBodyError, StreamsFullError
from fourpair_service.http.problem import Problem
from fourpair_service.records import errors
from fourpair_service.webhooks.targets import TargetRefusedError

READ_AGAIN: Final = "Read it again, look at what has changed, and re-apply the change with its new ETag."
OPERATOR: Final = "Whoever runs the service must look at it; the message says what to do. Nothing was stored."

RECORD_PROBLEMS: Final[Mapping[type[ServiceError], Problem]] = {
    errors.NotFoundError: Problem(
        HTTPStatus.NOT_FOUND,
        "not-kept",
        "There is no such thing",
        "Nothing is kept under that name, or it is not the key's to see: both read alike.",
        "Check the name, and whether the key is restricted to other jobs.",
    ),
    errors.AnswerChangedError: Problem(
        HTTPStatus.PRECONDITION_FAILED,
        "answer-changed",
        "It is another answer now",
        "If-Match asked for an answer by its tag, and what is read has another.",
        "Read it without If-Match, or with * for whichever answer there is.",
    ),
    errors.RevisionConflictError: Problem(
        HTTPStatus.PRECONDITION_FAILED,
        "revision-conflict",
        "It has moved on",
        "The change rests on a revision that is no longer the newest.",
        READ_AGAIN,
    ),
    errors.PreconditionMissingError: Problem(
        HTTPStatus.PRECONDITION_REQUIRED,
        "precondition-missing",
        "If-Match is missing",
        "A change must say which revision it rests on, so that nobody's work is overwritten unseen.",
        "Send the ETag that reading gave as If-Match, or * for whichever revision is there.",
    ),
    errors.IdempotencyRunningError: Problem(
        HTTPStatus.CONFLICT,
        "idempotency-running",
        "The same request is being carried out",
        "Another request with this idempotency key has not been answered yet.",
        "Wait a moment and send it again with the same key: it then gets the first one's answer.",
    ),
    errors.IdempotencyMismatchError: Problem(
        HTTPStatus.UNPROCESSABLE_ENTITY,
        "idempotency-mismatch",
        "The idempotency key was used for another request",
        "One key came with two different requests; the second has had no effect.",
        "Take a new key for a new request.",
    ),
    errors.LabelTakenError: Problem(
        HTTPStatus.CONFLICT,
        "label-taken",
        "The label is taken",
        "One label names one link of a job, and another record has it.",
        "Retest that record, or correct its label first.",
    ),
    errors.ExternalIdTakenError: Problem(
        HTTPStatus.CONFLICT,
        "external-id-taken",
        "The external id is taken",
        "One external id names one thing, and another has it.",
        "Use the thing that has it, or withdraw that one first.",
    ),
    errors.JobExistsError: Problem(
        HTTPStatus.CONFLICT,
        "job-exists",
        "The job exists",
        "The id of the new job is in use.",
        "Change the job that is there, or choose another id.",
    ),
    errors.RecordWithdrawnError: Problem(
        HTTPStatus.CONFLICT,
        "record-withdrawn",
        "The record is withdrawn",
        "Nothing is added to a withdrawn record.",
        "Submit the link again as a new record.",
    ),
    errors.InvalidRecordError: Problem(
        HTTPStatus.UNPROCESSABLE_ENTITY,
        "invalid-record",
        "It cannot be kept as it is",
        "Something is missing, or contradicts what is kept already.",
        "Each entry of errors names the place and what to do.",
    ),
    errors.InvalidQueryError: Problem(
        HTTPStatus.UNPROCESSABLE_ENTITY,
        "invalid-list",
        "The list cannot be given",
        "A cursor, an order or a period means nothing here.",
        "Start again from the first page, or mend what the detail names.",
    ),
    errors.NotSupersedingError: Problem(
        HTTPStatus.CONFLICT,
        "not-superseding",
        "The rule set does not supersede",
        "Only a rule set that supersedes the one in force moves a record.",
        "Assess the record against the other rule set instead, which moves nothing.",
    ),
    errors.RunFinishedError: Problem(
        HTTPStatus.CONFLICT,
        "run-finished",
        "The run has ended",
        "A run over many records that has ended can be neither stopped nor resumed.",
        "Start a new run; it leaves alone what the first one has moved.",
    ),
    errors.HandoverNotReadyError: Problem(
        HTTPStatus.CONFLICT,
        "handover-not-ready",
        "The papers are not there yet",
        "The papers of a job are made beside the requests, and these are not done, or could not be made.",
        "Ask for the state of the handover until it is done; where it has failed, order it again.",
    ),
    errors.RunHeldError: Problem(
        HTTPStatus.CONFLICT,
        "run-held",
        "The run is being carried on",
        "Somebody else is carrying this run on at the moment.",
        "Wait for it, or stop it first.",
    ),
    StreamsFullError: Problem(
        HTTPStatus.SERVICE_UNAVAILABLE,
        "streams-full",
        "No further stream is taken",
        "A stream keeps a worker for as long as it lasts, and some workers stay free for everything else.",
        "Wait as long as Retry-After says, or send single measurements meanwhile.",
    ),
    TargetRefusedError: Problem(
        HTTPStatus.UNPROCESSABLE_ENTITY,
        "target-refused",
        "Nothing is sent to that address",
        "Messages go to public addresses by https, and to networks that the operator has allowed.",
        "Give an https URL with a public host on port 443, or ask the operator to allow the receiver's network.",
    ),
    errors.InvalidKeyError: Problem(
        HTTPStatus.UNAUTHORIZED,
        "invalid-key",
        "The key opens nothing",
        "The API key is mistyped, unknown, expired or revoked.",
        "Check it for typing mistakes, or ask for a new one: fourpair-service keys make.",
    ),
    KeyMissingError: Problem(
        HTTPStatus.UNAUTHORIZED,
        "key-missing",
        "A key is needed",
        "The service has keys, and the request showed none.",
        "Send the header Authorization: Bearer followed by the key.",
    ),
    ScopeMissingError: Problem(
        HTTPStatus.FORBIDDEN,
        "scope-missing",
        "The key may not do this",
        "The key is good, and has not the scope that this needs.",
        "Use a key with that scope.",
    ),
    RateLimitedError: Problem(
        HTTPStatus.TOO_MANY_REQUESTS,
        "rate-limited",
        "Too many requests",
        "The key asks more often than it may.",
        "Wait as long as Retry-After says.",
    ),
    BatchRefusedError: Problem(
        HTTPStatus.CONFLICT,
        "batch-refused",
        "Nothing of the batch was kept",
        "The batch was to be kept whole or not at all, and an item cannot be kept.",
        "Mend the items that errors names, or send it with mode=partial.",
    ),
    InvalidBodyError: Problem(
        HTTPStatus.UNPROCESSABLE_ENTITY,
        "invalid-body",
        "The body is not valid",
        "Something in the body contradicts its form.",
        "Each entry of errors names the place by its JSON pointer, the value, and what to send instead.",
    ),
    errors.StoreBusyError: Problem(
        HTTPStatus.SERVICE_UNAVAILABLE,
        "store-busy",
        "The store is busy",
        "Others were writing for longer than is reasonable; nothing of the request was stored.",
        "Send it again with the same idempotency key.",
    ),
    errors.StoreFullError: Problem(
        HTTPStatus.INSUFFICIENT_STORAGE,
        "store-full",
        "There is no room left",
        "The disk under the store is full; nothing of the request was stored.",
        OPERATOR,
    ),
    errors.StoreReadOnlyError: Problem(
        HTTPStatus.SERVICE_UNAVAILABLE,
        "store-read-only",
        "The store cannot be written",
        "The file of the store or its directory may not be written.",
        OPERATOR,
    ),
    errors.StoreCorruptError: Problem(
        HTTPStatus.SERVICE_UNAVAILABLE,
        "store-corrupt",
        "The store is damaged",
        "What is on the disk is no sound store.",
        OPERATOR,
    ),
    errors.SchemaFromFutureError: Problem(
        HTTPStatus.SERVICE_UNAVAILABLE,
        "schema-from-future",
        "The store is of a newer release",
        "A newer release has changed the store, and this one does not know how.",
        OPERATOR,
    ),
    errors.ImportRefusedError: Problem(
        HTTPStatus.UNPROCESSABLE_ENTITY,
        "import-refused",
        "The export cannot be imported",
        "It was changed or cut, or the store is not empty.",
        "Make the export anew, and import it into a new store.",
    ),
    errors.StoreError: Problem(
        HTTPStatus.SERVICE_UNAVAILABLE,
        "store-failed",
        "The store failed",
        "The store could not do it; nothing of the request was stored.",
        OPERATOR,
    ),
}

# How long to wait before the same request may do better. [s]
RETRY_AFTER_S: Final[Mapping[type[ServiceError], int]] = {
    errors.IdempotencyRunningError: 1,
    errors.StoreBusyError: 2,
    StreamsFullError: 5,
}
