"""The office screen for tests: a store with jobs and records, keys, and a browser of the test client."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.records.key_commands import KeyGrant, make_key
from fourpair_service.records.keys import Scope
from fourpair_service.records.times import instant
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.storage.sqlite import SqliteStore

LINKS = Path(__file__).resolve().parents[2] / "samples" / "links"
NOW = datetime(2026, 12, 1, 9, 0, tzinfo=UTC)
CLINIC = "alder-row-clinic"


def sample(name: str = "0A-01-clean-pass", **changes: Any) -> dict[str, Any]:
    """Return a sample's document."""
    return {**json.loads((LINKS / f"{name}.json").read_bytes()), **changes}


class Clock:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        """Return the present moment."""
        return self.now

    def forward(self, **by: float) -> None:
        """Let time go by."""
        self.now += timedelta(**by)


@dataclass
class Office:
    """A service with its store, and what a test does with it."""

    settings: Settings = field(default_factory=Settings)
    store: MemoryStore | SqliteStore = field(default_factory=MemoryStore)
    clock: Clock = field(default_factory=Clock)

    def __post_init__(self) -> None:
        """Start it."""
        self.app = create_app(self.settings, clock=self.clock, store=self.store)
        self.open = self.app.test_client()

    def key(self, name: str, *scopes: Scope, title: str = "", **more: Any) -> str:
        """Make a key; the service asks for one from then on."""
        grant = KeyGrant(title or name, frozenset(scopes), **more)
        randomness = name.encode().ljust(32, b"-")[:32]
        return make_key(self.store, grant, key_id=name, randomness=randomness, now=instant(self.clock())).text

    def put(self, path: str, document: dict[str, Any], key: str | None = None, **headers: str) -> Any:
        """Send a document to the interface."""
        own = {"Authorization": f"Bearer {key}"} if key else {}
        answer = self.open.post(path, json=document, headers={**own, **headers})
        assert answer.status_code in (200, 201), answer.get_json()
        return answer.get_json()

    def job(self, job_id: str = CLINIC, **more: Any) -> None:
        """Make a job."""
        self.put("/v1/jobs", {"id": job_id, "name": f"Job {job_id}", **more})

    def record(self, name: str = "0A-01-clean-pass", **changes: Any) -> str:
        """Keep a sample; return the id of its record."""
        made: str = self.put("/v1/records", sample(name, **changes))["record"]["id"]
        return made

    def retest(self, record: str, name: str, **changes: Any) -> None:
        """Keep another test of a record."""
        self.put(f"/v1/records/{record}/retests", sample(name, **changes), **{"If-Match": "*"})

    def browser(self, key: str | None = None, **environ: Any) -> Browser:
        """Return a browser, signed in where a key is given."""
        browser = Browser(self.app.test_client(), environ)
        if key is not None:
            browser.sign_in(key)
        return browser


@dataclass
class Browser:
    """A browser without scripts: it keeps cookies, follows nothing by itself, fills in forms."""

    client: FlaskClient
    environ: dict[str, Any] = field(default_factory=dict)

    def get(self, path: str, **more: Any) -> TestResponse:
        """Ask for a page."""
        return self.client.get(path, **self.environ, **more)

    def text(self, path: str, status: int = 200, **more: Any) -> str:
        """Return the text of a page."""
        answer = self.get(path, **more)
        assert answer.status_code == status, answer.status
        return answer.get_data(as_text=True)

    def post(self, form: str, action: str, values: dict[str, Any], **more: Any) -> TestResponse:
        """Fill in the form of a page and send it."""
        token = form_token(self.client.get(form, **self.environ).get_data(as_text=True))
        return self.client.post(action, data={"form_token": token, **values}, **self.environ, **more)

    def sign_in(self, key: str, **values: str) -> TestResponse:
        """Sign in."""
        return self.post("/office/sign-in", "/office/sign-in", {"key": key, **values})

    def sign_out(self, page: str = "/office") -> TestResponse:
        """Sign out, from a page."""
        return self.post(page, "/office/sign-out", {})


def form_token(page: str) -> str:
    """Return the seal of a page's form."""
    found = re.search(r'name="form_token" value="([0-9a-f]{64})"', page)
    assert found, page
    return found[1]


class Markup(HTMLParser):
    """What a page is made of: its elements with their attributes, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element."""
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        """Note text."""
        self.words.append(data)

    @property
    def text(self) -> str:
        """The text of the page, as one line."""
        return " ".join(" ".join(self.words).split())

    def addresses(self) -> list[str]:
        """Return every address that the page names."""
        names = ("href", "src", "action", "data-follow")
        return [
            value for _, attrs in self.elements for name, value in attrs.items() if name in names and value
        ]
