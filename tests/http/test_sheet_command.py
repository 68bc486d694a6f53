"""``fourpair-service grade --sheet`` writes the forms that the service gives, and says what it cannot."""

from __future__ import annotations

import io
from argparse import ArgumentParser
from pathlib import Path

import pytest
from PIL import Image

from fourpair_service.cli import grade
from fourpair_service.config import Settings
from fourpair_service.errors import ServiceError

LINK = str(Path(__file__).resolve().parents[2] / "samples" / "links" / "1A-01-bad-far-connector.json")
SUMMARY = str(Path(LINK).with_name("2A-03-summary-only.json"))


def run(*arguments):
    parser = ArgumentParser()
    grade.add_to(parser.add_subparsers())
    options = parser.parse_args(["grade", *map(str, arguments)])
    return options.run(options, Settings())


@pytest.mark.parametrize(
    ("ending", "begins"), [("pdf", b"%PDF"), ("html", b"<!DOCTYPE"), ("txt", b"1A-01: FAIL")]
)
def test_the_ending_of_the_file_chooses_the_form(tmp_path, ending, begins):
    assert run(LINK, "--sheet", tmp_path / f"sheet.{ending}") == 4
    assert (tmp_path / f"sheet.{ending}").read_bytes().startswith(begins)


def test_a_picture_is_written_as_png_and_svg(tmp_path):
    run(LINK, "--sheet", tmp_path / "next.png", "--picture", "margin-next", "--width-px", "300")
    run(LINK, "--sheet", tmp_path / "{name}.svg", "--picture", "wires")

    image = Image.open(io.BytesIO((tmp_path / "next.png").read_bytes()))
    assert image.size[0] == 300 and image.text["Title"] == "NEXT"
    assert (tmp_path / "1A-01-bad-far-connector.svg").read_bytes().startswith(b"<?xml")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--sheet", "sheet.doc"), "end the name"),
        (("--sheet", "sheet.png"), "--picture wires"),
        (("--sheet", "sheet.pdf", "--picture", "wires"), "an ending of .svg or .png"),
        (("--sheet", "sheet.png", "--picture", "wires", "--receipt"), "end the name"),
        (("--sheet", "sheet.png", "--picture", "margin-fext"), "it has wires, run"),
        (("--sheet", "away/sheet.pdf"), "cannot be written"),
        ((SUMMARY, "--sheet", "sheet.pdf"), "put {name} into the name"),
    ],
)
def test_what_cannot_be_written_is_said_and_leaves_nothing(tmp_path, monkeypatch, arguments, said):
    monkeypatch.chdir(tmp_path)

    with pytest.raises(ServiceError, match=said.replace("{", r"\{").replace("}", r"\}")):
        run(LINK, *arguments)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("width", ["99", "4001", "-300", "many"])
def test_a_width_that_there_is_not_is_refused(capsys, width):
    with pytest.raises(SystemExit) as left:
        run(LINK, "--sheet", "next.png", "--picture", "wires", f"--width-px={width}")

    assert left.value.code == 2
    assert "from 100 to 4000" in capsys.readouterr().err
