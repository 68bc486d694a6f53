"""``client.handovers``: the papers of whole jobs, as files."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from fourpair._errors import FourpairError
from fourpair._saving import save
from fourpair._told import Told, told
from fourpair._transport import NO_TIMEOUT, Send, operation

# How often it is asked how far papers are. [s]
ASK_EVERY_S = 1.0
MADE = "done"
FAILED = "failed"

Progress = Callable[[int, int], None]


class HandoverFailedError(FourpairError):
    """The service could not make the papers.

    Attributes:
        handover: as it was told.

    >>> papers = Handover(id="h1", job="clinic", state="failed", trouble="The disk is full.")
    >>> HandoverFailedError(f"The papers failed: {papers.trouble}", papers).handover.state
    'failed'
    """

    def __init__(self, message: str, handover: Handover) -> None:
        super().__init__(message)
        self.handover = handover


@dataclass(frozen=True, slots=True, kw_only=True)
class Handover(Told):
    """Papers that the service makes beside its answers, and keeps for a day.

    Attributes:
        form: format, language, unit of lengths, paper.
        state: ``waiting``, ``running``, ``done`` or ``failed``.
        done, total: of how many links.
        size: of the file. [bytes]
        sha256: of the file.
        trouble: why it failed.

    >>> papers = client.handovers.start("clinic", media="csv")
    >>> papers.job, papers.form["format"], papers.total
    ('clinic', 'csv', 0)
    """

    id: str
    job: str
    state: str
    form: Mapping[str, str] = field(default_factory=dict)
    done: int = 0
    total: int = 0
    size: int | None = None
    sha256: str | None = None
    trouble: str | None = None
    actor: str = ""
    created_at: str | None = None
    finished_at: str | None = None


def _path(job_id: str, *parts: str) -> str:
    return "/".join(("/v1/jobs", *(quote(part, safe="") for part in (job_id, *parts))))


class Handovers:
    """Papers of jobs: summary, exceptions, history and the sheet of every link.

    >>> client.handovers.save("clinic", "/tmp/clinic.xlsx", media="xlsx").name
    'clinic.xlsx'
    """

    def __init__(
        self,
        send: Send,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._send, self._sleep = send, sleep

    @operation("getHandover")
    def save(
        self,
        job_id: str,
        target: Path | str,
        *,
        media: str = "pdf",
        language: str | None = None,
        length_unit: str | None = None,
        paper: str | None = None,
        per_link: str | None = None,
        table: str | None = None,
        as_of: int | None = None,
    ) -> Path:
        """Write the papers of a job to a file, in one request; a thousand links take a minute or two.

        Args:
            job_id: of the job.
            target: the file; it appears only when it is whole.
            media: ``"pdf"``, ``"xlsx"``, ``"csv"``, or ``"zip"`` for everything.
            language: ``"en"`` or ``"de"``.
            length_unit: ``"m"`` or ``"ft"``.
            paper: ``"a4"`` or ``"letter"``.
            per_link: of a workbook: ``"row"``, or ``"sheet"`` for a sheet each.
            table: of a CSV: ``"links"`` or ``"results"``.
            as_of: a ``seq`` of the feed: as the job stood then, the same bytes whenever it is asked for.

        Raises:
            NotFoundError: there is no such job, or there was none then.
            InvalidDocumentError: the feed has not come so far.
            TransportError: the answer was cut off.

        >>> client.handovers.save("clinic", "/tmp/clinic.csv", media="csv").name
        'clinic.csv'
        >>> seq = client.jobs.summary("clinic").seq
        >>> client.handovers.save("clinic", "/tmp/clinic-then.csv", media="csv", as_of=seq).name
        'clinic-then.csv'
        """
        query = {
            "format": media,
            "language": language,
            "length_unit": length_unit,
            "paper": paper,
            "per_link": per_link,
            "table": table,
            "as_of": as_of,
        }
        path = _path(job_id, "handover")
        answer = self._send("GET", path, params=query, read_timeout_s=NO_TIMEOUT, is_streamed=True)
        return save(answer, target)

    @operation("startHandover")
    def start(
        self,
        job_id: str,
        *,
        media: str = "pdf",
        language: str | None = None,
        length_unit: str | None = None,
        paper: str | None = None,
        per_link: str | None = None,
        table: str | None = None,
        as_of: int | None = None,
        idempotency_key: str | None = None,
    ) -> Handover:
        """Order the papers of a job; they are made beside the service.

        Args:
            job_id: of the job.
            media: as of :meth:`save`, and so are the others.
            language: likewise.
            length_unit: likewise.
            paper: likewise.
            per_link: likewise.
            table: likewise.
            as_of: likewise.
            idempotency_key: one is made where none is given.

        Raises:
            NotFoundError: there is no such job.
            NotAllowedError: the key may only read: use :meth:`save`.

        >>> client.handovers.start("clinic", media="zip").form["format"]
        'zip'
        """
        query = {
            "format": media,
            "language": language,
            "length_unit": length_unit,
            "paper": paper,
            "per_link": per_link,
            "table": table,
            "as_of": as_of,
        }
        answer = self._send("POST", _path(job_id, "handovers"), params=query, key=idempotency_key)
        return told(Handover, answer.json(), response=answer)

    @operation("getHandoverState")
    def get(self, job_id: str, handover_id: str) -> Handover:
        """Return how far papers are.

        Raises:
            NotFoundError: there are none, or they were made more than a day ago.

        >>> papers = client.handovers.start("clinic", media="csv")
        >>> _ = running.carry_on()
        >>> client.handovers.get("clinic", papers.id).state
        'done'
        """
        answer = self._send("GET", _path(job_id, "handovers", handover_id))
        return told(Handover, answer.json(), response=answer)

    @operation("getHandoverFile")
    def download(self, job_id: str, handover_id: str, target: Path | str) -> Path:
        """Write papers that are done to a file, which appears only when it is whole.

        Raises:
            NotFoundError: there are none, or they were made more than a day ago.
            ConflictError: they are not done.
            TransportError: the answer was cut off.

        >>> papers = client.handovers.start("clinic", media="csv")
        >>> _ = running.carry_on()
        >>> client.handovers.download("clinic", papers.id, "/tmp/clinic.csv").name
        'clinic.csv'
        """
        answer = self._send("GET", _path(job_id, "handovers", handover_id, "file"), is_streamed=True)
        return save(answer, target)

    def make(
        self,
        job_id: str,
        target: Path | str,
        *,
        progress: Progress | None = None,
        every_s: float = ASK_EVERY_S,
        **form: Any,
    ) -> Path:
        """Order papers, wait until they are made and write them to a file.

        Args:
            job_id: of the job.
            target: the file; it appears only when it is whole.
            progress: called with how many links are done, of how many.
            every_s: how often to ask. [s]
            form: ``media`` and the others, as of :meth:`save`.

        Raises:
            HandoverFailedError: the service could not make them.
            NotAllowedError: the key may only read: use :meth:`save`.

        >>> client.handovers.make("clinic", "/tmp/clinic.pdf").read_bytes()[:5]
        b'%PDF-'
        """
        handover = self.start(job_id, **form)
        while handover.state != MADE:
            if handover.state == FAILED:
                raise HandoverFailedError(f"The papers of {job_id} failed: {handover.trouble}", handover)
            self._sleep(every_s)
            handover = self.get(job_id, handover.id)
            if progress is not None:
                progress(handover.done, handover.total)
        return self.download(job_id, handover.id, target)
