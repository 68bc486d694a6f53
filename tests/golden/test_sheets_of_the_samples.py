"""The sheet of every sample is the one that was looked at and kept."""

import pytest

from fourpair_service.reports.language import Tongue
from golden.sheets_writing import COMMAND, GOLDEN, golden_file, golden_text
from golden.test_verdicts_of_the_samples import differences
from golden.writing import SAMPLES


@pytest.mark.parametrize("tongue", Tongue)
@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_the_sheet_of_each_sample_is_the_kept_one(sample, tongue):
    kept, found = golden_file(sample, tongue).read_text(encoding="utf-8"), golden_text(sample, tongue)

    if kept != found:
        pytest.fail(
            f"If the change is meant: {COMMAND}\n{differences(kept, found, sample.name)}", pytrace=False
        )


def test_every_kept_sheet_belongs_to_a_sample_and_none_is_missing():
    wanted = {golden_file(sample, tongue) for sample in SAMPLES for tongue in Tongue}

    assert set(GOLDEN.glob("*.txt")) == wanted
