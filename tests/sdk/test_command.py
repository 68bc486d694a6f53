"""The command line ``fourpair``, against the real service on a loopback port."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from werkzeug.serving import make_server

from fourpair import Client
from fourpair._command import parser, run
from fourpair._command.output import STATUSES
from fourpair_service.app import create_app
from fourpair_service.storage.memory import MemoryStore

ROOT = Path(__file__).resolve().parents[2]
LINKS = ROOT / "samples" / "links"
JOB = "alder-row-clinic"
PASSING, NEAR_MISS, INCOMPLETE = (
    str(LINKS / f"{name}.json") for name in ("0A-01-clean-pass", "0A-02-near-miss", "1A-07-far-end-missing")
)


@pytest.fixture(scope="module")
def store():
    return MemoryStore()


@pytest.fixture(scope="module")
def url(store):
    server = make_server("127.0.0.1", 0, create_app(store=store), threaded=True)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    address = f"http://127.0.0.1:{server.server_port}"
    with Client(address) as client:
        schedule = [{"label": label, "item_code": "outlet"} for label in ("0A-01", "0A-02", "0A-03")]
        client.jobs.create(JOB, name="Clinic", schedule=schedule)
    try:
        yield address
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture
def fourpair(url, capsys):
    def call(*arguments):
        status = run(["--url", url, *arguments])
        captured = capsys.readouterr()
        assert "Traceback" not in captured.err
        return status, captured.out, captured.err

    return call


@pytest.fixture(scope="module")
def kept(url):
    status = run(["--url", url, "submit", PASSING, NEAR_MISS])
    assert status == 0


def test_grade_ends_with_the_status_of_the_worst(fourpair):
    assert fourpair("grade", PASSING)[0] == 0
    assert fourpair("grade", PASSING, INCOMPLETE)[0] == 3
    status, out, _ = fourpair("grade", PASSING, INCOMPLETE, NEAR_MISS)

    assert status == 4
    assert "0A-02: fail, headroom" in out
    assert "Suspected: " in out


def test_grade_takes_touchstone_files_as_they_are(fourpair, tmp_path):
    described = tmp_path / "cable.json"
    requirement = {"rule_set": "TIA", "category": "6"}
    described.write_text(
        json.dumps({"configuration": "channel", "requirement": requirement, "touchstone": {"pairs": ["12"]}})
    )
    file = ROOT / "samples" / "measured" / "CABLE1_TX_pair.s4p"
    status, out, _ = fourpair("grade", str(described), "--touchstone", str(file), "--json")

    verdict = json.loads(out)["verdict"]
    assert status == 3
    assert verdict["outcome"] == "incomplete"
    loss = next(p for p in verdict["parameters"] if p["parameter"] == "insertion_loss")
    assert (loss["points_judged"], loss["worst_value"]["pairs"]) == (39, "12")


def test_grade_holds_a_file_against_another_standard_on_request(fourpair):
    _, out, _ = fourpair("grade", PASSING, "--rule-set", "ISO", "--category", "E", "--json")

    assert json.loads(out)["verdict"]["requirement"]["category"] == "E"


def test_submit_keeps_and_tells_and_a_second_time_changes_nothing(fourpair, kept, tmp_path):
    lines = tmp_path / "links.ndjson"
    lines.write_text("\n".join(json.dumps(json.loads(Path(p).read_bytes())) for p in (PASSING, NEAR_MISS)))
    status, out, _ = fourpair("submit", str(lines), "--json")

    assert status == 0
    assert [json.loads(line)["result"] for line in out.splitlines()] == ["unchanged", "unchanged"]


def test_submit_says_why_a_link_does_not_pass_and_of_a_refused_one_each_place_once(fourpair, kept, tmp_path):
    other = {**json.loads(Path(PASSING).read_bytes()), "label": "X", "requirement": {"category": "6A"}}
    (bad := tmp_path / "bad.json").write_text(json.dumps({**other, "job": JOB}))
    _, out, _ = fourpair("submit", "--dry-run", "--job", JOB, PASSING, NEAR_MISS, INCOMPLETE, str(bad))

    _, passing, near_miss, incomplete, refused, _ = out.splitlines()
    assert re.fullmatch(r"0A-01 +\w+ +pass +-", passing)
    assert re.search(r" fail +NEXT at the far end .* fails by 1\.9 dB on pairs 36-45", near_miss)
    assert re.search(r" incomplete +NEXT at the far end .*: not measured\.", incomplete)
    assert re.search(r"X +refused +- ", refused)
    assert refused.count("/requirement/rule_set") == refused.count("Say which edition") == 1


def test_submit_says_what_was_refused_and_why(fourpair, kept, tmp_path):
    document = json.loads(Path(PASSING).read_bytes())
    bad = tmp_path / "bad.ndjson"
    bad.write_text(
        json.dumps({**document, "job": "none"}) + "\n" + json.dumps({**document, "lable": 1}) + "\n"
    )
    status, out, _ = fourpair("submit", str(bad))

    assert status == 2
    assert "none" in out
    assert "/lable" in out
    assert "2 refused" in out


def test_a_dry_run_says_that_it_was_one(fourpair, kept):
    status, out, _ = fourpair("submit", "--dry-run", "--job", JOB, INCOMPLETE)

    assert (status, "nothing was kept" in out) == (0, True)
    assert "1A-07" not in fourpair("list", "--job", JOB)[1]


def test_list_shows_a_table_and_lines_of_json(fourpair, kept):
    _, table, _ = fourpair("list", "--job", JOB, "--outcome", "fail")
    _, lines, _ = fourpair("--json", "list", "--job", JOB, "--most", "1")

    header, row = table.splitlines()
    assert header.split()[:3] == ["job", "label", "outcome"]
    assert "0A-02" in row
    assert len([json.loads(line) for line in lines.splitlines()]) == 1
    assert fourpair("list", "--job", JOB, "--outcome", "incomplete")[1].strip() == "No record is like that."


def test_show_and_retest_name_a_link_as_people_do(fourpair, kept):
    _, before, _ = fourpair("show", f"{JOB}/0A-02")
    status, out, _ = fourpair("retest", f"{JOB}/0A-02", PASSING, "--reason", "jack replaced", "--dry-run")

    assert "History:\n  1 submitted" in before
    assert status == 0
    assert "0A-02: pass" in out
    assert "dry run" in out


def test_watch_goes_on_where_it_was(fourpair, kept, tmp_path):
    state = tmp_path / "seq"
    _, first, _ = fourpair("watch", "--once", "--state", str(state))
    _, second, _ = fourpair("watch", "--once", "--state", str(state))

    assert len(first.splitlines()) == 3
    assert "record.submitted" in first
    assert (second, state.read_text()) == ("", "3\n")
    state.write_text("three")
    assert "no seq" in fourpair("watch", "--once", "--state", str(state))[2]


def test_export_writes_whole_files(fourpair, kept, tmp_path):
    target = tmp_path / "job.ndjson"
    status, out, _ = fourpair("export", "--job", JOB, "-o", str(target))
    lines = [json.loads(line) for line in target.read_text().splitlines()]

    assert (status, "2 records" in out) == (0, True)
    assert {line["record"]["label"]: line["verdict"]["outcome"] for line in lines} == {
        "0A-01": "pass",
        "0A-02": "fail",
    }
    assert lines[0]["measurement"] == json.loads(Path(PASSING).read_bytes())
    assert [path.name for path in tmp_path.iterdir()] == ["job.ndjson"]


def test_summary_faults_and_billing_say_what_a_shop_asks(fourpair, kept):
    summary, faults, billing = (fourpair(command, JOB)[1] for command in ("summary", "faults", "billing"))

    assert re.search(r"To redo:\n  0A-02  NEXT at the far end .* fails by 1\.9 dB on pairs 36-45", summary)
    assert "Not tested yet: 0A-03" in summary
    assert "open" in faults
    assert "0A-02" in faults
    assert re.search(r"0A-01 +outlet +\+1 +pass", billing)
    assert "Next time: --since 3" in billing
    assert json.loads(fourpair("billing", JOB, "--json")[1])["totals"] == [
        {"item_code": "outlet", "quantity": 1}
    ]


def test_verify_finds_what_was_altered_behind_the_back_of_the_service(fourpair, kept, store):
    sound = fourpair("verify", "--job", JOB)
    contents = store._state.contents
    place = next(key for key, (_, verdict) in contents.items() if verdict["label"] == "0A-02")
    measurement, verdict = contents[place]
    contents[place] = (measurement, {**verdict, "outcome": "pass"})
    try:
        status, out, _ = fourpair("verify", f"{JOB}/0A-01", f"{JOB}/0A-02")
    finally:
        contents[place] = (measurement, verdict)

    assert sound[:2] == (0, "2 records, 0 not as they were sealed\n")
    assert status == 5
    assert "revision 1: its verdict was sealed as" in out
    assert "2 records, 1 not as they were sealed" in out


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (("grade", "nowhere.json"), 2, "nowhere.json"),
        (("grade", str(ROOT / "README.md")), 2, "is no JSON"),
        (("grade", PASSING, "--category", "9"), 2, "category or class '9'"),
        (("show", "none"), 2, "record"),
        (("show", f"{JOB}/none"), 2, "no record with the label 'none'"),
        (("summary", "none"), 2, "none"),
    ],
)
def test_what_cannot_be_done_is_told_in_sentences(fourpair, arguments, status, words):
    got, out, err = fourpair(*arguments)

    assert (got, out) == (status, "")
    assert words in err
    assert err.startswith("fourpair: ")


def test_a_service_that_is_not_there_has_a_status_of_its_own(capsys, monkeypatch):
    monkeypatch.setattr("fourpair._retries.Retries.pause_s", lambda *_: 0.0)

    assert run(["--url", "http://127.0.0.1:9", "list"]) == 6
    assert "No fourpair service could be reached" in capsys.readouterr().err


def test_an_address_that_is_none_is_told(capsys):
    assert run(["--url", "localhost", "list"]) == 2
    assert "http://127.0.0.1:8740" in capsys.readouterr().err


def test_the_module_is_the_command_and_a_closed_pipe_is_no_error(url, kept):
    environment = os.environ | {"FOURPAIR_URL": url}
    command = f"{sys.executable} -m fourpair list --json | head -n 1; exit ${{PIPESTATUS[0]}}"
    ran = subprocess.run(
        ["bash", "-c", command], env=environment, capture_output=True, text=True, check=False
    )

    assert (ran.returncode, ran.stderr) == (0, "")
    assert json.loads(ran.stdout)["job"] == JOB


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_is_told_every_command(capsys, shell):
    assert run(["completion", shell]) == 0
    script = capsys.readouterr().out

    for name in ("grade", "submit", "retest", "show", "list", "watch", "export", "billing", "verify"):
        assert re.search(rf"\b{name}\b", script)


def test_bash_completes_commands_and_options(capsys, tmp_path):
    run(["completion", "bash"])
    script = tmp_path / "completion.bash"
    script.write_text(capsys.readouterr().out)

    def completed(*words):
        line = " ".join(f"'{word}'" for word in words)
        code = (
            f"source {script}; COMP_WORDS=({line}); COMP_CWORD={len(words) - 1}; _fourpair; "
            'echo "${COMPREPLY[@]}"'
        )
        return subprocess.run(["bash", "-c", code], capture_output=True, text=True, check=True).stdout.split()

    assert completed("fourpair", "su") == ["submit", "summary"]
    assert completed("fourpair", "submit", "--ch") == ["--checkpoint"]


def test_every_command_and_every_status_is_in_the_readme():
    readme = (ROOT / "README.md").read_text()
    commands = parser()._subparsers._group_actions[0].choices

    assert [name for name in commands if f"`fourpair {name}" not in readme] == []
    assert [status for status in re.findall(r"\b(\d+) ", STATUSES) if f"| {status} |" not in readme] == []


def test_the_summary_tells_what_the_job_wants_and_who_may_not_carry_it(fourpair, url):
    wanted = {"applications": ["1000base-t", "10GBASE-T"], "power_type": "3"}
    with Client(url) as client:
        client.jobs.create(
            id="wanting", name="Wanting", requirement={"rule_set": "TIA", "category": "6"}, **wanted
        )
    assert fourpair("submit", "--job", "wanting", PASSING)[0] == 0
    summary = fourpair("summary", "wanting")[1]

    assert "1000base-t: carried by 1 of 1\n" in summary
    assert "10GBASE-T: carried by 0 of 1; not, or not for sure: 0A-01\n" in summary
    assert "Power type 3: carried by 1 of 1" in summary


def test_what_has_no_item_code_or_reason_is_said_in_words(fourpair, url):
    with Client(url) as client:
        client.jobs.create(id="bare", name="Bare", requirement={"rule_set": "TIA", "category": "6"})
    empty = fourpair("summary", "bare")[1]
    assert fourpair("submit", "--job", "bare", PASSING)[0] == 0
    summary, billing = fourpair("summary", "bare")[1], fourpair("billing", "bare")[1]

    assert "first-pass rate not known yet" in empty
    assert "first-pass rate 100%" in summary
    assert "Totals: without item code +1" in billing
    assert re.search(r"0A-01 +without item code +\+1 +pass", billing)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("list", "--most", "0"), "'0' is no whole number from 1 up"),
        (("list", "--most", "-1"), "whole number from 1 up"),
        (("submit", PASSING, "--threads", "none"), "whole number from 1 up"),
        (("billing", JOB, "--since", "-1"), "whole number from 0 up"),
        (("watch", "--after", "1.5"), "whole number from 0 up"),
        (("--timeout", "-1", "list"), "'-1' is no number of seconds above 0"),
        (("--timeout", "soon", "list"), "seconds above 0"),
    ],
)
def test_a_number_that_cannot_be_is_told_before_anything_is_asked(arguments, words, capsys):
    with pytest.raises(SystemExit) as ended:
        run(arguments)

    assert ended.value.code == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("grade", "/none.json"), "/none.json: No such file or directory\n"),
        (("export", "-o", "/none/file"), "/none/file.part: No such file or directory\n"),
        (("billing", JOB, "--since", "9999"), "9999 to"),
        (("grade", PASSING, "--category", "9"), "no category or class '9'"),
    ],
)
def test_an_error_is_one_sentence_for_a_person(fourpair, kept, arguments, words):
    status, _, err = fourpair(*arguments)

    assert status == 2
    assert err.count(words) == 1
    assert "Errno" not in err


def test_show_names_what_is_suspected_and_what_to_do_first(fourpair, kept):
    _, text, _ = fourpair("show", f"{JOB}/0A-02")
    _, line, _ = fourpair("show", f"{JOB}/0A-02", "--json")

    assert "Suspected: " in text
    assert "First: " in text
    assert json.loads(line)["assessment"]["diagnosis"]["faults"]


def test_what_was_refused_has_no_outcome(fourpair, kept, tmp_path):
    bad = tmp_path / "bad.ndjson"
    bad.write_text(json.dumps({**json.loads(Path(PASSING).read_bytes()), "job": "none"}) + "\n")
    _, out, _ = fourpair("submit", str(bad))

    assert out.splitlines()[1].split()[:3] == ["0A-01", "refused", "-"]


def test_submit_and_retest_take_touchstone_files_as_they_are(fourpair, kept, tmp_path):
    described = tmp_path / "cable.json"
    requirement = {"rule_set": "TIA", "category": "6"}
    document = {"label": "C-1", "configuration": "channel", "requirement": requirement}
    described.write_text(json.dumps({**document, "touchstone": {"pairs": ["12"]}}))
    file = str(ROOT / "samples" / "measured" / "CABLE1_TX_pair.s4p")

    made = fourpair("submit", str(described), "--job", JOB, "--touchstone", file)
    retested = fourpair("retest", f"{JOB}/C-1", str(described), "--touchstone", file)
    refused = fourpair("submit", str(described), PASSING, "--touchstone", file)

    assert (made[0], retested[0], refused[0]) == (0, 0, 2)
    assert "C-1: incomplete" in made[1]
    assert "Revision 1 of" in made[1]
    assert "Revision 2 of" in retested[1]
    assert "one link at a time" in refused[2]
