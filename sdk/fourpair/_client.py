"""The one place that talks HTTP."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import TracebackType
from typing import IO, Any
from urllib.parse import quote

import requests

from fourpair._changes import Changes
from fourpair._errors import ConnectionFailedError, TimedOutError, TransportError, api_error
from fourpair._jobs import Jobs
from fourpair._kept import KeyState, told
from fourpair._models import Verdict
from fourpair._records import Records
from fourpair._rule_sets import Limits, RuleSet
from fourpair._transport import encoded, patient_session

CONNECT_TIMEOUT_S = 3.0
READ_TIMEOUT_S = 30.0
# A request whose answer was lost may still be carried out: its key then says so for a while.
STILL_RUNNING = "idempotency-running"
RUNNING_TRIES = 60
RUNNING_PAUSE_S = 1.0

TouchstoneSource = str | Path | bytes | IO[bytes]


class Client:
    """A connection to a fourpair service; one may serve several threads.

    Args:
        url: where the service listens, ``"http://127.0.0.1:8740"``.
        api_key: a key, ``fpk_...``, where the service asks for one.
        connect_timeout_s: how long to wait for a connection. [s]
        read_timeout_s: how long to wait for an answer. [s]
        session: a ``requests`` session of your own, for proxies or certificates;
            without one, what may be tried again is tried three times more.

    Attributes:
        jobs: contracts.
        records: certification records.
        changes: the change feed.
    """

    def __init__(
        self,
        url: str,
        *,
        api_key: str | None = None,
        connect_timeout_s: float = CONNECT_TIMEOUT_S,
        read_timeout_s: float = READ_TIMEOUT_S,
        session: requests.Session | None = None,
    ) -> None:
        self._url = url.rstrip("/")
        self._timeout = (connect_timeout_s, read_timeout_s)
        self._session = session or patient_session()
        self._headers = {} if api_key is None else {"Authorization": f"Bearer {api_key}"}
        self.jobs = Jobs(self._send)
        self.records = Records(self._send)
        self.changes = Changes(self._send)

    def __enter__(self) -> Client:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the connections back."""
        self._session.close()

    def grade(
        self,
        measurement: Mapping[str, Any],
        *,
        rule_set: str | None = None,
        category: str | None = None,
        minimum_basis: str | None = None,
        touchstone: Mapping[str, TouchstoneSource] | None = None,
        assessment: str | None = None,
    ) -> Verdict:
        """Grade one link; nothing is stored.

        Args:
            measurement: the measurement document.
            rule_set: id of an edition, or ``"TIA"`` or ``"ISO"`` for the newest
                of that standard; may stand in the document's ``requirement`` instead.
            category: category or class; likewise.
            minimum_basis: ``"memory"``, ``"cross_checked"`` or ``"published"``; likewise.
            touchstone: Touchstone files by file name, sent as they are and
                converted by the service. The document's ``touchstone`` object
                says which pairs and ports they hold.
            assessment: how much to say beside the verdict: ``"none"``, ``"faults"`` (the
                usual), ``"all"`` (also what the link can carry, powering and the port) or
                ``"along"`` (also distances on any link).

        Raises:
            InvalidDocumentError: the document or requirement is not valid.
            TransportError: no answer arrived.
            ApiError: the service refused otherwise.
        """
        query = {"rule_set": rule_set, "category": category, "minimum_basis": minimum_basis}
        query["assessment"] = assessment
        asked = {name: value for name, value in query.items() if value is not None}
        if touchstone is None:
            headers = {"Content-Type": "application/json"}
            body = encoded(measurement)
            return self._verdict(self._send("POST", "/v1/grade", params=asked, data=body, headers=headers))
        files = [("measurement", ("measurement.json", encoded(measurement), "application/json"))]
        files += [("sweep", (name, _opened(source), "text/plain")) for name, source in touchstone.items()]
        return self._verdict(self._send("POST", "/v1/grade", params=asked, files=files))

    def landed(self, idempotency_key: str) -> KeyState:
        """Return what became of a write whose answer did not arrive.

        Sending it again with the same key is safe whatever the answer.
        """
        return told(KeyState, self._send("GET", f"/v1/idempotency/{quote(idempotency_key, safe='')}").json())

    def reconcile(
        self, system: str, held: Mapping[str, str], *, job: str | None = None
    ) -> Mapping[str, list[Mapping[str, Any]]]:
        """Compare what another system holds with what is kept.

        Args:
            system: name of the other system.
            held: measurement digest by external id.
            job: only records of this job.

        Returns:
            ``same``, ``changed``, ``missing`` and ``extra``, each with external ids.
        """
        rows = [{"external_id": name, "measurement_digest": digest} for name, digest in held.items()]
        document = {"system": system, "records": rows, **({"job": job} if job else {})}
        headers = {"Content-Type": "application/json"}
        found: Mapping[str, list[Mapping[str, Any]]] = self._send(
            "POST", "/v1/reconcile", data=encoded(document), headers=headers
        ).json()
        return found

    def rule_sets(self) -> list[RuleSet]:
        """Return the editions that the service knows, in short."""
        document = self._send("GET", "/v1/rule-sets").json()
        return [RuleSet.from_document(found) for found in document["rule_sets"]]

    def rule_set(self, name: str) -> RuleSet:
        """Return an edition with what each of its categories does with each parameter.

        Args:
            name: its id, or ``"TIA"`` or ``"ISO"`` for the newest of that standard.

        Raises:
            NotFoundError: there is none of that name.
        """
        return RuleSet.from_document(self._send("GET", f"/v1/rule-sets/{quote(name, safe='')}").json())

    def limits(
        self,
        rule_set: str,
        category: str,
        configuration: str,
        parameter: str,
        *,
        frequency_mhz: Iterable[float] = (),
    ) -> Limits:
        """Return one limit with where each value comes from.

        Args:
            rule_set: id of an edition, or ``"TIA"`` or ``"ISO"``.
            category: category or class.
            configuration: ``"permanent_link"``, ``"channel"``, ``"mptl"`` or ``"patch_cord"``.
            parameter: such as ``"next"`` or ``"length"``.
            frequency_mhz: none for those where printed tables usually give values. [MHz]

        Raises:
            NotFoundError: there is no such rule set.
            InvalidDocumentError: it has no such limit, or none at such a frequency.
        """
        asked = (category, configuration, parameter, frequency_mhz)
        return Limits.from_document(self._limits(rule_set, "json", *asked).json())

    def limits_as(
        self,
        form: str,
        rule_set: str,
        category: str,
        configuration: str,
        parameter: str,
        *,
        frequency_mhz: Iterable[float] = (),
    ) -> bytes:
        """Return one limit as a file: ``"csv"``, ``"svg"`` or ``"json"``; see ``limits``."""
        return self._limits(rule_set, form, category, configuration, parameter, frequency_mhz).content

    def _limits(
        self,
        rule_set: str,
        form: str,
        category: str,
        configuration: str,
        parameter: str,
        frequency_mhz: Iterable[float],
    ) -> requests.Response:
        query = {"category": category, "configuration": configuration, "parameter": parameter, "format": form}
        frequencies = ",".join(f"{frequency:.12g}" for frequency in frequency_mhz)
        asked = {**query, **({"frequency_mhz": frequencies} if frequencies else {})}
        return self._send("GET", f"/v1/rule-sets/{quote(rule_set, safe='')}/limits", params=asked)

    def _send(self, method: str, path: str, **arguments: Any) -> requests.Response:
        try:
            return self._answer(method, path, **arguments)
        except TransportError as error:
            error.idempotency_key = (arguments.get("headers") or {}).get("Idempotency-Key", "").strip(
                '"'
            ) or None
            raise

    def _answer(
        self, method: str, path: str, tries: int = RUNNING_TRIES, **arguments: Any
    ) -> requests.Response:
        arguments["headers"] = {**self._headers, **(arguments.get("headers") or {})}
        try:
            response = self._session.request(method, self._url + path, timeout=self._timeout, **arguments)
        except requests.Timeout as error:
            raise TimedOutError(f"{self._url} did not answer in time: {error}") from error
        except requests.ConnectionError as error:
            raise ConnectionFailedError(
                f"No fourpair service could be reached at {self._url}: {error}"
            ) from error
        except requests.RequestException as error:
            raise TransportError(f"The request to {self._url} failed: {error}") from error
        if response.status_code < 400:
            return response
        refusal = api_error(response.status_code, _problem(response))
        if refusal.code == STILL_RUNNING and tries > 0:
            time.sleep(RUNNING_PAUSE_S)
            return self._answer(method, path, tries=tries - 1, **arguments)
        raise refusal

    @staticmethod
    def _verdict(response: requests.Response) -> Verdict:
        answer = response.json()
        request_id = response.headers.get("X-Request-Id")
        return Verdict.from_document(answer["verdict"], request_id, answer.get("assessment"))


def _opened(source: TouchstoneSource) -> bytes:
    if isinstance(source, bytes):
        return source
    if isinstance(source, (str, Path)):
        return Path(source).read_bytes()
    return source.read()


def _problem(response: requests.Response) -> Mapping[str, Any]:
    try:
        found = response.json()
    except ValueError:
        found = None
    if isinstance(found, Mapping):
        return found
    return {"title": response.reason or "The service answered with an error", "code": ""}
