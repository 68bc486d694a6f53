"""The Python SDK of fourpair: send a measured link, get a verdict; keep and follow records.

>>> from fourpair import Client
>>> from fourpair.testing import service
>>> with service() as running, running.client() as client:
...     client.jobs.create("clinic", name="Clinic").id
'clinic'

Examples below have a ``client`` of such a service (``running``), with a job "clinic" of two
links: ``record`` (A-01) passes, ``bad`` (A-02) has two pins exchanged. ``link`` and
``failing`` are measurements of A-03, good and bad, that are not kept yet.
"""

from fourpair._client import Client
from fourpair._curves import MarginCurve
from fourpair._errors import (
    ApiError,
    ConflictError,
    ConnectionFailedError,
    FourpairError,
    InvalidDocumentError,
    InvalidMeasurementError,
    InvalidSettingError,
    NotAllowedError,
    NotFoundError,
    RateLimitedError,
    ServerFailedError,
    StaleError,
    TimedOutError,
    TooLargeError,
    TransportError,
)
from fourpair._following import Inbox
from fourpair._handovers import Handover, HandoverFailedError
from fourpair._kept import (
    BatchItem,
    Change,
    FaultPage,
    Group,
    KeyState,
    Party,
    Reconciled,
    Record,
    Revision,
    Written,
)
from fourpair._kept_jobs import Attachment, Billing, Job, JobFault, Quantity, Schedule, Summary
from fourpair._listing import Listing
from fourpair._measurement import Measurement
from fourpair._models import Verdict
from fourpair._predictions import PredictedMargin, Prediction
from fourpair._retries import Retries
from fourpair._rule_sets import Category, LimitRow, Limits, ParameterRule, RuleSet
from fourpair._run_values import Finding, Run, RunGoesOnError
from fourpair._subscriptions import Delivery, NewSecret, Subscription
from fourpair._transport import NO_TIMEOUT
from fourpair._verdict_parts import CategoryResult, Caution, Fault, ParameterResult, Point

__all__ = [
    "NO_TIMEOUT",
    "ApiError",
    "Attachment",
    "BatchItem",
    "Billing",
    "Category",
    "CategoryResult",
    "Caution",
    "Change",
    "Client",
    "ConflictError",
    "ConnectionFailedError",
    "Delivery",
    "Fault",
    "FaultPage",
    "Finding",
    "FourpairError",
    "Group",
    "Handover",
    "HandoverFailedError",
    "Inbox",
    "InvalidDocumentError",
    "InvalidMeasurementError",
    "InvalidSettingError",
    "Job",
    "JobFault",
    "KeyState",
    "LimitRow",
    "Limits",
    "Listing",
    "MarginCurve",
    "Measurement",
    "NewSecret",
    "NotAllowedError",
    "NotFoundError",
    "ParameterResult",
    "ParameterRule",
    "Party",
    "Point",
    "PredictedMargin",
    "Prediction",
    "Quantity",
    "RateLimitedError",
    "Reconciled",
    "Record",
    "Retries",
    "Revision",
    "RuleSet",
    "Run",
    "RunGoesOnError",
    "Schedule",
    "ServerFailedError",
    "StaleError",
    "Subscription",
    "Summary",
    "TimedOutError",
    "TooLargeError",
    "TransportError",
    "Verdict",
    "Written",
]
