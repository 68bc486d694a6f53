"""What is written can be read, and what hues tell apart is apart in grey and for colour-blind readers too.

Contrast: WCAG 2.2, relative luminance and contrast ratio (1.4.3: 4.5 for text, 1.4.11: 3 for graphics).
Colour blindness: Machado, Oliveira, Fernandes, "A Physiologically-based Model for Simulation of Color
Vision Deficiency", IEEE TVCG 15(6), 2009, table of matrices for severity 1.0, over linear sRGB.
Lightness and colour difference: CIE L*a*b* of IEC 61966-2-1 colours, 1976 difference.
"""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from fourpair_service.reports import inks
from fourpair_service.reports.inks import (
    FAINT,
    INK,
    INSIDE,
    INSIDE_FILL,
    MUTED,
    OUTSIDE,
    OUTSIDE_FILL,
    WHITE,
)

REPORTS = Path(inks.__file__).parent
HEX = re.compile(r"#[0-9a-fA-F]{3,8}\b")
# Own choice: a step of grey that a copier keeps, and a difference several times the just noticeable one (2.3).
GREY_STEP = 1.4
TOLD_APART = 20.0

READ = [
    (ink, ground)
    for ground in (WHITE, FAINT, OUTSIDE_FILL, INSIDE_FILL)
    for ink in (INK, MUTED, OUTSIDE, INSIDE)
    if (ink, ground) != (INSIDE, OUTSIDE_FILL)  # never written so
]
# Whatever is drawn to be told from something else by its ink.
DRAWN = {"ink": INK, "inside": INSIDE, "outside": OUTSIDE}
PAIRS = list(combinations(DRAWN, 2))

SIGHTS = {
    "all cones": np.eye(3),
    "no red cones": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green cones": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no blue cones": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# Linear sRGB to XYZ, and the white of it (IEC 61966-2-1, D65).
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
WHITE_XYZ = TO_XYZ.sum(axis=1)


def linear(colour):
    values = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def luminance(colour):
    return float(np.array([0.2126, 0.7152, 0.0722]) @ linear(colour))


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def lab(rgb):
    share = TO_XYZ @ np.clip(rgb, 0, 1) / WHITE_XYZ
    x, y, z = np.where(share > 216 / 24389, np.cbrt(share), (24389 / 27 * share + 16) / 116)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_the_formula_gives_the_known_contrasts():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    # The lightest grey that WCAG passes on white is known to be #767676.
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


def test_white_stays_white_in_every_sight():
    for name, matrix in SIGHTS.items():
        assert matrix @ np.ones(3) == pytest.approx(np.ones(3), abs=2e-6), name


@pytest.mark.parametrize(("ink", "ground"), READ)
def test_text_can_be_read_on_its_ground(ink, ground):
    assert contrast(ink, ground) >= 4.5


def test_the_near_end_is_seen_where_its_curve_runs_outside():
    assert contrast(INSIDE, OUTSIDE_FILL) >= 3.0


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_inks_are_apart_in_grey(one, other):
    assert contrast(DRAWN[one], DRAWN[other]) >= GREY_STEP


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_inks_are_apart_in_every_sight(one, other, sight):
    seen = [lab(SIGHTS[sight] @ linear(DRAWN[ink])) for ink in (one, other)]

    assert float(np.linalg.norm(seen[0] - seen[1])) >= TOLD_APART


def test_pages_pictures_and_sheets_use_these_inks_and_no_others():
    known = {value for name, value in vars(inks).items() if name.isupper()}
    own = [REPORTS / "inks.py"]
    files = [path for kind in ("py", "css") for path in (*REPORTS.glob(f"*.{kind}"),
             *(REPORTS / "drawing").glob(f"*.{kind}"), *(REPORTS / "pictures").glob(f"*.{kind}"),
             *(REPORTS / "sheet").glob(f"*.{kind}"))]  # fmt: skip

    for path in files:
        found = set(HEX.findall(path.read_text(encoding="utf-8")))
        if path.suffix == ".py":
            assert not found or path in own, path
        assert found <= known, path
