"""The promises of the house: documents, contract, packaging."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import yaml
from openapi_spec_validator import OpenAPIV31SpecValidator

from fourpair_service.app import create_app
from fourpair_service.config import SETTINGS
from fourpair_service.http.resources.pages import description, description_yaml

ROOT = Path(__file__).resolve().parents[1]


def test_the_committed_contract_is_that_of_the_code_and_valid():
    with create_app().app_context():
        text = description_yaml(description())

    assert (ROOT / "openapi.yaml").read_text() == text
    OpenAPIV31SpecValidator(yaml.safe_load(text)).validate()


def test_every_setting_stands_in_the_readme():
    readme = (ROOT / "README.md").read_text()

    assert [s.variable for s in SETTINGS if f"`{s.variable}`" not in readme] == []


def test_the_base_install_needs_requests_alone():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]

    assert [d.partition(">")[0] for d in project["dependencies"]] == ["requests"]


def test_the_sdk_imports_without_the_packages_of_the_service():
    blocked = ("flask", "numpy", "marshmallow", "sqlite_utils", "flask_smorest", "orjson", "skrf")
    code = (
        "import sys\n"
        f"for name in {blocked!r}: sys.modules[name] = None\n"
        "import fourpair\n"
        "assert not any(m.startswith('fourpair_service') for m in sys.modules)\n"
    )

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_grading_a_failing_file_says_so_in_text_and_status():
    sample = ROOT / "samples" / "links" / "1A-01-bad-far-connector.json"
    run = subprocess.run(
        [sys.executable, "-m", "fourpair_service", "grade", str(sample)],
        capture_output=True,
        text=True,
        check=False,
    )

    assert run.returncode == 4
    assert "NEXT at the far end" in run.stdout


def test_the_demo_shows_every_sample_and_ends():
    run = subprocess.run(
        [sys.executable, "-m", "fourpair_service", "demo"],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )

    assert run.returncode == 0, run.stderr
    labels = {path.stem[:5] for path in (ROOT / "samples" / "links").glob("*.json")}
    assert all(label in run.stdout for label in labels)
    # It has ended: an address would lead nowhere.
    assert "http://" not in run.stdout
    assert "demo --keep" in run.stdout and "/docs" in run.stdout
