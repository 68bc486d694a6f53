"""``client.handovers``: the papers of whole jobs, as files."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import quote

from fourpair._saving import save
from fourpair._transport import NO_TIMEOUT, Send, operation


class Handovers:
    """Papers of jobs: summary, exceptions, history and the sheet of every link."""

    def __init__(self, send: Send) -> None:
        self._send = send

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

        Raises:
            NotFoundError: there is no such job.
            TransportError: the answer was cut off.
        """
        query = {
            "format": media,
            "language": language,
            "length_unit": length_unit,
            "paper": paper,
            "per_link": per_link,
            "table": table,
        }
        path = f"/v1/jobs/{quote(job_id, safe='')}/handover"
        answer = self._send("GET", path, params=query, read_timeout_s=NO_TIMEOUT, is_streamed=True)
        return save(answer, target)
