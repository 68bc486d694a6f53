"""``fourpair handover``."""

from __future__ import annotations

from argparse import Namespace, _SubParsersAction
from pathlib import Path
from typing import Any

from fourpair._client import Client
from fourpair._command.argument_types import whole
from fourpair._command.output import DONE, Output
from fourpair._errors import InvalidSettingError, NotAllowedError

MEDIA = ("pdf", "xlsx", "csv", "zip")
CHOICES = {
    "language": ("en", "de"),
    "length_unit": ("m", "ft"),
    "paper": ("a4", "letter"),
    "per_link": ("row", "sheet"),
    "table": ("links", "results"),
}


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    handover = commands.add_parser("handover", help="write the papers of a whole job to a file")
    handover.add_argument("job")
    handover.add_argument(
        "--output", "-o", type=Path, required=True, help=f"file that ends in .{', .'.join(MEDIA)}"
    )
    for name, choices in CHOICES.items():
        handover.add_argument(f"--{name.replace('_', '-')}", choices=choices)
    handover.add_argument(
        "--as-of", type=whole(0), metavar="SEQ", help="as the job stood when the feed had come so far"
    )
    handover.set_defaults(run=run)


def run(client: Client, options: Namespace, output: Output) -> int:
    """Have the papers made, show how far they are, and write them."""
    media = options.output.suffix.lower().removeprefix(".")
    if media not in MEDIA:
        raise InvalidSettingError(f"{options.output}: end the name of the file in .{', .'.join(MEDIA)}")
    form = {name: getattr(options, name) for name in (*CHOICES, "as_of")}
    with output.progress("links", None) as show:
        try:
            client.handovers.make(options.job, options.output, media=media, progress=show, **form)
        except NotAllowedError:
            # A key that may only read gets them in one answer, without being told how far they are.
            client.handovers.save(options.job, options.output, media=media, **form)
    size = options.output.stat().st_size
    output.value({"file": str(options.output), "bytes": size}, f"{options.output}: {size} bytes")
    return DONE
