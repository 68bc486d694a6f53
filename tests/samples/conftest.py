"""Make the generator of the samples importable: it is a script beside the packages, not one of them."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "samples"))
