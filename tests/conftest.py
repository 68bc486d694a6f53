"""What cannot run on a machine is said, never passed over in silence."""

from __future__ import annotations

import os
import shutil

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
# Set by .ci/run: there, what cannot run is a failure.
ALL_PARTS = "FOURPAIR_TEST_ALL"

NOT_RUN: list[str] = []


def pytest_collection_modifyitems(config, items):
    """Take out the tests that need a browser where there is none, and remember to say so."""
    if any(map(shutil.which, BROWSERS)) or os.environ.get(ALL_PARTS):
        return
    left_out = [item for item in items if item.get_closest_marker("browser")]
    if left_out:
        items[:] = [item for item in items if item not in left_out]
        config.hook.pytest_deselected(items=left_out)
        NOT_RUN.append(f"{len(left_out)} tests of the docs page: they need Chromium on the path")


def pytest_terminal_summary(terminalreporter):
    """Print a line for each part that was not run."""
    for reason in NOT_RUN:
        terminalreporter.write_line(f"not run: {reason}", yellow=True)
