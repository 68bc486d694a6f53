"""The interface page in a real browser: it draws every operation, from this machine alone."""

from __future__ import annotations

import json
import re
import shutil
import subprocess

import pytest

from fourpair_service.app import create_app
from fourpair_service.http.resources.pages import description
from running import running_service

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
SITE = "http://127.0.0.1"
OPTIONS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
    "--virtual-time-budget=10000",
)


@pytest.fixture(scope="module")
def seen(tmp_path_factory):
    """The page as it was drawn, what the console said, and every address that was asked for."""
    assert BROWSER, "these tests need Chromium on the path"
    log = tmp_path_factory.mktemp("browser") / "net.json"
    with running_service() as url:
        run = subprocess.run(
            [
                BROWSER,
                *OPTIONS,
                f"--user-data-dir={log.parent / 'profile'}",
                f"--log-net-log={log}",
                "--enable-logging=stderr",
                "--dump-dom",
                f"{url}/docs",
            ],
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )
    # The browser asks its maker for updates; what the page asks for is kept apart under its own site.
    events = [event.get("params", {}) for event in json.loads(log.read_text())["events"]]
    asked = {
        params["url"]
        for params in events
        if "url" in params and params.get("network_isolation_key", "").startswith(SITE)
    }
    return url, run.stdout, run.stderr, asked


@pytest.mark.browser
def test_the_page_shows_every_operation(seen):
    _, page, _, _ = seen
    drawn = set(re.findall(r'data-path="([^"]*)"', page))
    with create_app().app_context():
        told = description()
    assert drawn == {*told["paths"], *told["webhooks"]}


@pytest.mark.browser
def test_the_page_asks_this_service_alone(seen):
    url, _, _, asked = seen
    assert asked >= {f"{url}/docs/start.js", f"{url}/docs/swagger-ui-bundle.js", f"{url}/openapi.json"}
    assert all(address.startswith(f"{url}/") for address in asked), asked


@pytest.mark.browser
def test_the_page_breaks_none_of_its_own_rules(seen):
    _, _, said, _ = seen
    assert [line for line in said.splitlines() if "CONSOLE" in line] == []
