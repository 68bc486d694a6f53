"""A picture as PNG is what it is as SVG: read back by another library, drawn again by another program."""

from __future__ import annotations

import io
import json
import shutil
import subprocess

import numpy as np
import pytest
from PIL import Image

from fourpair_service.reports.drawing.as_png import png
from fourpair_service.reports.drawing.as_svg import svg_document
from fourpair_service.reports.drawing.shapes import Area, Picture, Words, box
from fourpair_service.reports.inks import INK, INSIDE
from reports.sheets import LINKS, answer_of, sheet_of

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


@pytest.fixture(scope="module")
def pictures():
    sheet = sheet_of(answer_of(json.loads(LINKS[8].read_bytes())))
    return [sheet.wires, sheet.run, *sheet.margins]


def opened(content):
    image = Image.open(io.BytesIO(content))
    image.load()
    return image


def grey(image):
    return np.asarray(image.convert("L"), dtype=float)


def lettered(*texts):
    words = tuple(Words(text, 10, 20 + 20 * i, 14) for i, text in enumerate(texts))
    return Picture("lettered", "Letters", "Some letters.", 200, 60, words)


def test_every_picture_has_the_width_asked_for_and_its_title_and_description(pictures):
    for picture in pictures:
        image = opened(png(picture, 640, "en"))

        assert image.format == "PNG"
        assert image.size == (640, pytest.approx(640 * picture.height / picture.width, abs=1))
        assert image.text["Title"] == picture.title
        assert image.text["Description"] == picture.description
        assert image.text["Title"].lang == "en"


def test_the_same_picture_gives_the_same_bytes(pictures):
    assert [png(p, 500, "de") for p in pictures] == [png(p, 500, "de") for p in pictures]


def test_a_coloured_area_stands_where_it_was_put_and_the_rest_is_white():
    area = Area(box(20, 10, 40, 20), INSIDE)
    pixels = np.asarray(opened(png(Picture("x", "t", "d", 100, 50, (area,)), 200, "en")).convert("RGB"))

    assert pixels.shape == (100, 200, 3)
    assert "#" + bytes(pixels[40, 80]).hex() == INSIDE
    assert (pixels[:18] == 255).all() and (pixels[:, 124:] == 255).all()


def test_letters_are_drawn_in_the_type_that_is_carried_along():
    seen = opened(png(lettered("Wires", "ÄöΩ"), 800, "en")).convert("RGB")
    pixels = grey(seen)

    for top, bottom in ((20, 90), (100, 180)):
        dark = np.flatnonzero((pixels[top:bottom] < 100).any(axis=0))
        assert dark.size and dark[0] >= 40
    assert any("#" + bytes(colour).hex() == INK for _, colour in seen.getcolors(1 << 20))


def test_a_character_that_the_type_lacks_is_written_by_its_number():
    assert png(lettered("\U0001f9ec"), 400, "en") == png(lettered("[U+1F9EC]"), 400, "en")


def test_markup_in_a_text_is_drawn_as_text():
    hostile = '<image href="file:///etc/passwd"/>&<script>'

    drawn = grey(opened(png(lettered(hostile), 800, "en")))
    assert (drawn[20:90, 40:400] < 100).any()
    assert opened(png(lettered(hostile), 800, "en")).size == (800, 240)


@pytest.mark.browser
def test_a_browser_draws_the_same_picture_from_the_svg(pictures, tmp_path):
    for picture in pictures:
        width, height = round(picture.width * 2), round(picture.height * 2)
        page, shot = tmp_path / "page.html", tmp_path / "shot.png"
        svg = svg_document(picture).partition("?>")[2]
        look = "<meta charset='utf-8'><style>body{margin:0}svg{display:block;width:100vw;height:auto}</style>"
        page.write_text(look + svg, encoding="utf-8")
        options = ("--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run")
        command = [BROWSER, *options, f"--user-data-dir={tmp_path / 'profile'}", f"--screenshot={shot}"]
        size = f"--window-size={width},{height}"
        subprocess.run([*command, size, page.as_uri()], check=True, capture_output=True, timeout=120)

        seen = grey(Image.open(shot))
        ours = grey(opened(png(picture, width, "en")))[: seen.shape[0]]
        # Letters are of another type there, and edges are smoothed otherwise.
        assert np.abs(seen[: ours.shape[0]] - ours).mean() < 6
        assert np.corrcoef(seen[: ours.shape[0]].ravel(), ours.ravel())[0, 1] > 0.8
