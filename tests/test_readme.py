"""The README's own commands, run as they stand there against the real service."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
import requests

from running import ROOT, running_service

README = (ROOT / "README.md").read_text()
BLOCKS = re.findall(r"(<!-- \w+ -->\n)?```(\w+)\n(.*?)```", README, flags=re.S)
DEFAULT_URL = "http://127.0.0.1:8740"
# Setting up an environment is what .ci/run does with the first two blocks.
SHELL = [text for mark, kind, text in BLOCKS if kind == "sh" and not mark]
JSON = [text for mark, kind, text in BLOCKS if kind == "json"]
PYTHON = [text for mark, kind, text in BLOCKS if kind == "python"]
# The commands in the words of the environment that runs these tests.
BIN = Path(sys.executable).parent
EXPECTED_STATUS = {"grade samples/links/1A-01-bad-far-connector": 4}


@pytest.fixture(scope="module")
def url():
    with running_service() as address:
        yield address


def _environment(tmp_path):
    return os.environ | {"PATH": f"{BIN}{os.pathsep}{os.environ['PATH']}", "TMPDIR": str(tmp_path)}


def _here(text, url):
    return text.replace(DEFAULT_URL, url).replace(".venv/bin/", "")


def test_the_two_commands_that_do_everything_are_marked():
    marked = {mark.strip("<!- >\n"): text for mark, kind, text in BLOCKS if mark}
    assert set(marked) == {"demo", "tests"}
    assert marked["demo"].strip() == (
        "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/fourpair-service demo"
    )
    assert marked["tests"].strip() == ".venv/bin/python -m pytest"


@pytest.mark.parametrize("text", SHELL, ids=lambda text: text.split()[0])
def test_each_shell_command_of_the_readme_works(text, url, tmp_path):
    for name in ("samples", "service", "sdk"):
        (tmp_path / name).symlink_to(ROOT / name)
    run = subprocess.run(
        [
            "bash",
            "-ec",
            f'set -o pipefail; fourpair-service() {{ {sys.executable} -m fourpair_service "$@"; }}\n'
            f'fourpair() {{ {sys.executable} -m fourpair "$@"; }}\n{_here(text, url)}',
        ],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        env=_environment(tmp_path),
    )
    expected = next((status for part, status in EXPECTED_STATUS.items() if part in text), 0)
    assert run.returncode == expected, run.stderr + run.stdout
    assert '"status":4' not in run.stdout, run.stdout


def test_the_document_that_the_readme_shows_is_graded_and_its_gaps_are_named(url):
    (text,) = JSON
    verdict = requests.post(f"{url}/v1/grade", json=json.loads(text), timeout=30).json()["verdict"]
    results = {row["parameter"]: row for row in verdict["parameters"]}

    assert verdict["wire_map"]["outcome"] == "pass"
    assert results["insertion_loss"]["worst_margin"]["margin_db"] > 0
    assert verdict["outcome"] == "incomplete"


@pytest.mark.parametrize("number", range(len(PYTHON)))
def test_each_python_example_of_the_readme_works(number, url):
    # Later examples use what earlier ones imported.
    code = "\n".join(_here(text, url) for text in PYTHON[: number + 1])
    run = subprocess.run(
        [sys.executable, "-W", "error::DeprecationWarning", "-c", code],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )
    assert run.returncode == 0, run.stderr
    assert run.stdout.strip()


def _run(*arguments, **options):
    command = [sys.executable, "-m", "fourpair_service", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT, **options)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("grade", "nowhere.json"), "nowhere.json"),
        (("grade", "README.md"), "README.md"),
        (("grade", "samples/links/0A-01-clean-pass.json", "--standard", "EIA"), "rule set 'EIA'"),
        (("grade", "samples/links/0A-01-clean-pass.json", "--category", "9"), "category or class '9'"),
        (("demo", "--samples", "sdk"), "no samples in sdk"),
    ],
)
def test_a_command_that_cannot_be_done_says_why_in_one_line_and_ends_with_2(arguments, words):
    run = _run(*arguments)
    assert run.returncode == 2
    assert words in run.stderr
    assert len(run.stderr.strip().splitlines()) == 1
    assert "Traceback" not in run.stderr


def test_a_server_that_cannot_listen_says_why_in_our_own_words_and_ends_with_2(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        cases = {
            ("127.0.0.1", port): f"Cannot listen at 127.0.0.1, port {port}: another program listens there",
            ("203.0.113.7", "0"): "this machine has no such address",
            ("no.such.host.invalid", "0"): "FOURPAIR_HOST is 'no.such.host.invalid'",
        }
        for (host, number), words in cases.items():
            own = {"FOURPAIR_HOST": host, "FOURPAIR_PORT": number, "FOURPAIR_ALLOW_OPEN": "1"}
            store = {"FOURPAIR_STORE": str(tmp_path / "records.db")}
            run = _run("serve", env={**os.environ, **store, **own}, timeout=60)

            assert (run.returncode, run.stdout) == (2, "")
            assert words in run.stderr
            assert len(run.stderr.strip().splitlines()) == 1


def test_on_a_terminal_the_server_says_how_to_stop_it(tmp_path):
    ours, theirs = os.openpty()
    own = {"FOURPAIR_PORT": "0", "FOURPAIR_STORE": str(tmp_path / "records.db")}
    command = [sys.executable, "-m", "fourpair_service", "serve"]
    with subprocess.Popen(
        command, stdout=theirs, stderr=subprocess.DEVNULL, env={**os.environ, **own}
    ) as process:
        os.close(theirs)
        with os.fdopen(ours) as shown:
            assert "Ctrl-C stops it" in shown.readline()
        process.terminate()


def test_grade_ends_with_the_status_of_the_worst_file():
    links = ROOT / "samples" / "links"
    passing, incomplete, failing = (
        str(next(links.glob(f"{label}-*.json"))) for label in ("0A-01", "1A-07", "1A-01")
    )
    assert _run("grade", passing).returncode == 0
    assert _run("grade", passing, incomplete).returncode == 3
    assert _run("grade", incomplete, failing, passing).returncode == 4


def test_grade_holds_a_file_against_another_standard_on_request():
    sample = "samples/links/0A-01-clean-pass.json"
    run = _run("grade", sample, "--standard", "ISO", "--category", "E")
    assert "class E" in run.stdout
    assert "ISO/IEC 11801-1" in run.stdout


def test_the_demo_stays_up_until_it_is_interrupted():
    # Whoever was started in the background hands down that Ctrl-C is ignored: listen to it again.
    listening = (
        "import os, signal, sys; signal.signal(signal.SIGINT, signal.SIG_DFL); "
        "os.execv(sys.executable, [sys.executable, *sys.argv[1:]])"
    )
    command = [sys.executable, "-c", listening, "-m", "fourpair_service", "demo", "--keep"]
    with subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if "Ctrl-C" in line:
                break
        assert process.poll() is None
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=30) == 0
        # Nothing stands between the lines of the table, no log and no traceback.
        assert process.stderr.read() == ""
