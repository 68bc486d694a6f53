"""The one base of every error that this service raises on purpose."""

from __future__ import annotations

__all__ = ["ServiceError"]


class ServiceError(Exception):
    """Something that a caller can understand and act on.

    Attributes:
        code: stable machine word; also the page under ``/problems/<code>``.
    """

    code = "internal-error"
