"""The client: grade links, and the way to jobs, records and changes."""

from __future__ import annotations

import copy
import math
import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from types import TracebackType
from typing import Any
from urllib.parse import quote, urlsplit

import requests

from fourpair._changes import Changes
from fourpair._errors import FourpairError, InvalidSettingError
from fourpair._grading import Grading
from fourpair._handovers import Handovers
from fourpair._jobs import Jobs
from fourpair._kept import KeyState, Reconciled, joined
from fourpair._kept_answers import KeptAnswers
from fourpair._pace import Pace
from fourpair._records import Records
from fourpair._retries import Retries
from fourpair._runs import Assessments, Regrades
from fourpair._sending import Transport, new_session
from fourpair._subscriptions import Subscriptions
from fourpair._told import told
from fourpair._transport import JSON, operation

DEFAULT_URL = "http://127.0.0.1:8740"
CONNECT_TIMEOUT_S = 3.0
READ_TIMEOUT_S = 30.0
KEPT_ANSWERS = 128
# Of what another system holds, in one request.
MOST_HELD = 10_000


def _url(given: str | None) -> str:
    url = (given or os.environ.get("FOURPAIR_URL") or DEFAULT_URL).rstrip("/")
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise InvalidSettingError(f"The url {url!r} is none of a service: give one such as {DEFAULT_URL!r}")
    if parts.username or parts.password:
        raise InvalidSettingError("The url holds a password: give the key as api_key or FOURPAIR_API_KEY")
    return url


def _seconds(name: str, value: float) -> float:
    if not isinstance(value, (int, float)) or math.isnan(value) or value <= 0:
        raise InvalidSettingError(
            f"{name} is {value!r}: give seconds above 0, or fourpair.NO_TIMEOUT to wait for ever"
        )
    return float(value)


class Client(Grading):
    """A connection to a fourpair service; one may serve several threads.

    Whatever is given here stands before the environment, and that before the default.

    Args:
        url: where the service listens; ``FOURPAIR_URL``, else ``"http://127.0.0.1:8740"``.
        api_key: a key, ``fpk_...``, where the service asks for one; ``FOURPAIR_API_KEY``.
        connect_timeout_s: how long to wait for a connection. [s]
        read_timeout_s: how long to wait for an answer; ``NO_TIMEOUT`` for ever. [s]
        retries: how patiently to try again.
        kept_answers: how many answers are kept and only asked about again; 0 keeps none.
        session: a ``requests`` session of your own, for proxies or certificates.

    Attributes:
        jobs: contracts.
        handovers: the papers of whole jobs.
        records: certification records.
        changes: the change feed.
        regrades: records graded again under a newer rule set.
        assessments: records asked what they would meet, run or carry.
        subscriptions: who is told of changes.

    Raises:
        InvalidSettingError: one of these cannot work.

    >>> client = Client("http://127.0.0.1:8740", read_timeout_s=5)
    >>> client
    <Client http://127.0.0.1:8740>
    >>> client.close()
    """

    jobs: Jobs
    handovers: Handovers
    records: Records
    changes: Changes
    regrades: Regrades
    assessments: Assessments
    subscriptions: Subscriptions

    def __init__(
        self,
        url: str | None = None,
        *,
        api_key: str | None = None,
        connect_timeout_s: float = CONNECT_TIMEOUT_S,
        read_timeout_s: float = READ_TIMEOUT_S,
        retries: Retries | None = None,
        kept_answers: int = KEPT_ANSWERS,
        session: requests.Session | None = None,
    ) -> None:
        self._adopt(
            Transport(
                url=_url(url),
                session=session or new_session(),
                api_key=api_key or os.environ.get("FOURPAIR_API_KEY") or None,
                timeout_s=(
                    _seconds("connect_timeout_s", connect_timeout_s),
                    _seconds("read_timeout_s", read_timeout_s),
                ),
                retries=retries or Retries(),
                kept=KeptAnswers(kept_answers),
                pace=Pace(),
                told_deprecated=set(),
            )
        )

    def _adopt(self, transport: Transport) -> None:
        self._transport = transport
        self._send = transport.send
        self.jobs = Jobs(transport.send)
        self.handovers = Handovers(transport.send)
        self.records = Records(transport.send)
        self.changes = Changes(transport.send)
        self.regrades = Regrades(transport.send, transport.sleep, transport.monotonic)
        self.assessments = Assessments(transport.send, transport.sleep, transport.monotonic)
        self.subscriptions = Subscriptions(transport.send)

    def __repr__(self) -> str:
        return f"<Client {self._transport.url}>"

    def __enter__(self) -> Client:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the connections back.

        >>> client = Client()
        >>> client.close()
        """
        self._transport.session.close()

    def with_options(
        self,
        *,
        connect_timeout_s: float | None = None,
        read_timeout_s: float | None = None,
        retries: Retries | None = None,
        sleep: Callable[[float], None] | None = None,
        monotonic: Callable[[], float] | None = None,
    ) -> Client:
        """Return a client that differs in this alone, for a call or for many; it shares the connections.

        >>> with Client() as client:
        ...     hasty = client.with_options(read_timeout_s=2, retries=Retries(tries=1))
        """
        own = self._transport
        connect_s, read_s = own.timeout_s
        other = copy.copy(self)
        other._adopt(
            replace(
                own,
                timeout_s=(
                    connect_s
                    if connect_timeout_s is None
                    else _seconds("connect_timeout_s", connect_timeout_s),
                    read_s if read_timeout_s is None else _seconds("read_timeout_s", read_timeout_s),
                ),
                retries=retries or own.retries,
                sleep=sleep or own.sleep,
                monotonic=monotonic or own.monotonic,
            )
        )
        return other

    def request(
        self,
        method: str,
        path: str,
        *,
        params: Mapping[str, Any] | None = None,
        document: Any = None,
        content: bytes | None = None,
        content_type: str = JSON,
        headers: Mapping[str, str] | None = None,
        idempotency_key: str | None = None,
    ) -> requests.Response:
        """Send what this version has no method for, with time limits, retries and errors as always.

        Args:
            method: HTTP method.
            path: from the root of the service, such as ``"/v1/jobs"``.
            params: of the query.
            document: to be sent as JSON.
            content: bytes to be sent, in place of a document.
            content_type: of either.
            headers: more headers.
            idempotency_key: of a write; one is made where none is given.

        Raises:
            TransportError: no answer arrived.
            ApiError: the service refused.

        >>> client.request("GET", "/v1/jobs/clinic").json()["name"]
        'Clinic'
        """
        return self._send(
            method.upper(),
            path,
            params=params,
            document=document,
            content=content,
            content_type=content_type,
            headers=headers,
            key=idempotency_key,
        )

    @operation("getIdempotency")
    def landed(self, write: str | FourpairError) -> KeyState:
        """Return what became of a write whose answer did not arrive.

        Sending it again with the same key is safe whatever the answer.

        Args:
            write: its idempotency key, or the error that it ended with.

        >>> written = client.records.create(link, idempotency_key="run-7")
        >>> client.landed("run-7").state, client.landed("run-8").state
        ('landed', 'not_landed')
        """
        key = write if isinstance(write, str) else write.idempotency_key
        if not key:
            raise InvalidSettingError("This was no write: it has no idempotency key to ask about")
        answer = self._send("GET", f"/v1/idempotency/{quote(key, safe='')}")
        return told(KeyState, answer.json(), response=answer)

    @operation("reconcile")
    def reconcile(
        self,
        system: str,
        held: Mapping[str, str] | Iterable[tuple[str, str]],
        *,
        job: str | None = None,
    ) -> Reconciled:
        """Compare what another system holds with what is kept.

        Args:
            system: name of the other system.
            held: measurement digest by external id, or pairs of both.
            job: only records of this job.

        >>> client.reconcile("costing", {"J-1": record.measurement_digest}).agree
        True
        """
        rows = [{"external_id": name, "measurement_digest": digest} for name, digest in dict(held).items()]
        named = {"system": system, **({"job": job} if job else {})}
        answers = [
            self._send("POST", "/v1/reconcile", document={**named, "records": part}, is_write=False)
            for part in (rows[i : i + MOST_HELD] for i in range(0, max(1, len(rows)), MOST_HELD))
        ]
        return joined([answer.json() for answer in answers])
