"""Write the samples again: the invented job, its table of stories, the measured cable.

Run as ``python samples/generate.py [DIRECTORY]``; without a directory the files
beside this script are replaced. The same bytes come out every time.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any, Final

from clinic import faulty, handed_over, miswired, ordinary
from clinic.documents import JOB, document
from clinic.story import Story
from line_model.writing import file_text
from measured_cable import cable_document

HERE: Final = Path(__file__).resolve().parent
SITE: Final = "Alder Row veterinary clinic"
STORIES: Final = tuple(
    sorted(
        (*ordinary.STORIES, *miswired.STORIES, *faulty.STORIES, *handed_over.STORIES), key=lambda s: s.label
    )
)
MEASURED_STORY: Final = {
    "file": "measured/cable1.json",
    "label": "CABLE1",
    "story": "A real cable, two of its four pairs, from 10 MHz up: an honest verdict lacks too much.",
    "kind": "incomplete test",
    "outcome": "incomplete",
    "stopped_by": ["next", "wire_map"],
}


def story_table() -> dict[str, Any]:
    """Return the table of all samples and what each is meant to show."""
    rows = [
        {
            "file": f"links/{story.file_name}",
            "label": story.label,
            "story": story.story,
            "kind": story.kind,
            "outcome": story.outcome,
            "stopped_by": list(story.stopped_by),
        }
        for story in STORIES
    ]
    return {"job": JOB, "site": SITE, "samples": [*rows, MEASURED_STORY]}


def sample_text(story: Story) -> str:
    """Return the file of one link."""
    return file_text(document(story))


def write_all(directory: Path) -> None:
    """Write every generated file below ``directory``."""
    for folder in ("links", "measured"):
        (directory / folder).mkdir(parents=True, exist_ok=True)
    for story in STORIES:
        (directory / "links" / story.file_name).write_text(sample_text(story), encoding="utf-8")
    measured = file_text(cable_document(HERE / "measured"))
    (directory / "measured" / "cable1.json").write_text(measured, encoding="utf-8")
    table = json.dumps(story_table(), indent=1, ensure_ascii=False) + "\n"
    (directory / "stories.json").write_text(table, encoding="utf-8")


if __name__ == "__main__":
    write_all(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
