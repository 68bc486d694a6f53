"""The Python SDK of fourpair: send a measured link, get a verdict.

>>> from fourpair import Client
>>> client = Client("http://127.0.0.1:8740")  # doctest: +SKIP
>>> client.grade(measurement).outcome  # doctest: +SKIP
'pass'
"""

from fourpair._client import Client
from fourpair._errors import (
    ApiError,
    ConflictError,
    ConnectionFailedError,
    FourpairError,
    InvalidDocumentError,
    NotAllowedError,
    NotFoundError,
    RateLimitedError,
    ServerFailedError,
    StaleError,
    TimedOutError,
    TooLargeError,
    TransportError,
)
from fourpair._kept import (
    BatchItem,
    Billing,
    Change,
    Job,
    JobFault,
    KeyState,
    Quantity,
    Record,
    Revision,
    Summary,
    Written,
)
from fourpair._models import CategoryResult, Caution, Fault, ParameterResult, Point, Verdict
from fourpair._rule_sets import Category, LimitRow, Limits, ParameterRule, RuleSet

__all__ = [
    "ApiError",
    "BatchItem",
    "Billing",
    "Category",
    "CategoryResult",
    "Caution",
    "Change",
    "Client",
    "ConflictError",
    "ConnectionFailedError",
    "Fault",
    "FourpairError",
    "InvalidDocumentError",
    "Job",
    "JobFault",
    "KeyState",
    "LimitRow",
    "Limits",
    "NotAllowedError",
    "NotFoundError",
    "ParameterResult",
    "ParameterRule",
    "Point",
    "Quantity",
    "RateLimitedError",
    "Record",
    "Revision",
    "RuleSet",
    "ServerFailedError",
    "StaleError",
    "Summary",
    "TimedOutError",
    "TooLargeError",
    "TransportError",
    "Verdict",
    "Written",
]
