"""What every test stands on: how examples are drawn, and that what cannot run is said."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from hypothesis import settings

from postgres_server import binaries

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
# Set by .ci/run: there, what cannot run is a failure.
ALL_PARTS = "FOURPAIR_TEST_ALL"

NOT_RUN: list[str] = []

# How long an example takes tells of the machine and of what else it does: no test asserts it.
settings.register_profile("drawn_anew", deadline=None)
# Where a commit is judged it gets one answer: the same examples however often it is asked.
settings.register_profile("same_for_a_commit", deadline=None, derandomize=True)
settings.load_profile("same_for_a_commit" if os.environ.get(ALL_PARTS) else "drawn_anew")


# What a marked test needs, whether it is there, and what is said of those that are left out.
NEEDS = {
    "browser": (
        lambda: any(map(shutil.which, BROWSERS)),
        "tests of pages: they need Chromium on the path",
    ),
    "postgresql": (
        lambda: binaries() is not None,
        "tests of the PostgreSQL store: they need its server programs",
    ),
    "second_reader": (
        lambda: shutil.which("pdfinfo") is not None,
        "tests of papers by a second reader of PDFs: they need pdfinfo of poppler",
    ),
    "register_headers": (
        lambda: Path("/usr/include/linux/mdio.h").exists(),
        "tests of registers against the system's own list: they need linux-libc-dev",
    ),
}


def pytest_collection_modifyitems(config, items):
    """Take out the tests that need what is not there, and remember to say so."""
    if os.environ.get(ALL_PARTS):
        return
    for mark, (is_there, told) in NEEDS.items():
        left_out = [item for item in items if item.get_closest_marker(mark)]
        if left_out and not is_there():
            items[:] = [item for item in items if item not in left_out]
            config.hook.pytest_deselected(items=left_out)
            NOT_RUN.append(f"{len(left_out)} {told}")


def pytest_terminal_summary(terminalreporter):
    """Print a line for each part that was not run."""
    for reason in NOT_RUN:
        terminalreporter.write_line(f"not run: {reason}", yellow=True)
