"""Labels of any form sort as people expect."""

from __future__ import annotations

import random

import pytest

from fourpair_service.records.label_order import label_key


@pytest.mark.parametrize(
    "ordered",
    [
        ["A1", "A2", "A10", "A100", "B1"],
        ["1A-A01", "1A-A02", "1A-B01", "2A-A01", "10A-A01"],
        ["TR1.A-2", "TR1.A-10", "TR10.A-1"],
        ["room 9 left", "room 9 right", "room 10 left"],
        ["1", "2", "007", "8", "10"],
        ["Äpfel 2", "Apfel 10", "Zug 1"],
        ["a1", "A2", "a10", "A11"],
        ["", " ", "=1+1", "A", "漢字 2", "漢字 10", "🧬1", "🧬2"],
        ["A" + "9" * 5000, "A1" + "0" * 5000],
    ],
    ids=lambda labels: labels[1][:12],
)
def test_labels_sort_as_people_expect(ordered):
    for seed in range(5):
        mixed = ordered.copy()
        random.Random(seed).shuffle(mixed)

        assert sorted(mixed, key=label_key) == ordered


def test_labels_that_read_alike_still_have_one_order():
    alike = ["a1", "A1", "A01", "A１"]  # noqa: RUF001 - a full-width digit

    assert sorted(alike, key=label_key) == sorted(reversed(alike), key=label_key)
    assert len({label_key(label) for label in alike}) == len(alike)
