"""The Python SDK of fourpair: send a measured link, get a verdict.

>>> from fourpair import Client
>>> client = Client("http://127.0.0.1:8740")  # doctest: +SKIP
>>> client.grade(measurement).outcome  # doctest: +SKIP
'pass'
"""

from fourpair._client import Client
from fourpair._errors import (
    ApiError,
    ConnectionFailedError,
    FourpairError,
    InvalidDocumentError,
    NotFoundError,
    ServerFailedError,
    TimedOutError,
    TooLargeError,
    TransportError,
)
from fourpair._models import CategoryResult, Caution, Fault, ParameterResult, Point, Verdict
from fourpair._rule_sets import Category, LimitRow, Limits, ParameterRule, RuleSet

__all__ = [
    "ApiError",
    "Category",
    "CategoryResult",
    "Caution",
    "Client",
    "ConnectionFailedError",
    "Fault",
    "FourpairError",
    "InvalidDocumentError",
    "LimitRow",
    "Limits",
    "NotFoundError",
    "ParameterResult",
    "ParameterRule",
    "Point",
    "RuleSet",
    "ServerFailedError",
    "TimedOutError",
    "TooLargeError",
    "TransportError",
    "Verdict",
]
