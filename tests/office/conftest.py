"""What the tests of the office screen share."""

from __future__ import annotations

import pytest

from office.office_screen import Office


@pytest.fixture
def office() -> Office:
    return Office()
