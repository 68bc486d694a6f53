"""The commands that look after a store."""

from __future__ import annotations

import sqlite3

import pytest

from fourpair_service.cli import run
from fourpair_service.records import commands, job_commands
from fourpair_service.records.desk import Terms
from fourpair_service.storage.sqlite import SqliteStore
from record_factory import ANYONE, desk_of, measurement


@pytest.fixture
def path(tmp_path, monkeypatch):
    path = tmp_path / "records.db"
    monkeypatch.setenv("FOURPAIR_STORE", str(path))
    store = SqliteStore(path)
    desk = desk_of(store)
    job_commands.create_job(desk, ANYONE, "harbour-hall", {"name": "Harbour hall"}, Terms())
    commands.submit(desk, ANYONE, measurement(), Terms())
    store.close()
    return path


def test_a_sound_store_is_said_to_be_sound_and_a_broken_one_is_named(path, capsys):
    assert run(["verify"]) == 0
    assert "Sound: 2 entries" in capsys.readouterr().out
    with sqlite3.connect(path) as raw:
        raw.execute("DROP TRIGGER revision_refuses_update")
        raw.execute("UPDATE revision SET actor = 'somebody else'")
    raw.close()

    assert run(["verify"]) == 5
    assert "record r1, revision 1: it was sealed as sha256:" in capsys.readouterr().out


def test_a_store_goes_through_backup_and_restore(path, tmp_path, capsys, monkeypatch):
    assert run(["backup", str(tmp_path / "copy.db")]) == 0
    assert run(["restore", str(tmp_path / "copy.db")]) == 2
    monkeypatch.setenv("FOURPAIR_STORE", str(tmp_path / "again.db"))

    assert run(["restore", str(tmp_path / "copy.db")]) == 0
    assert "1 records, proven up to entry 2" in capsys.readouterr().out
    assert run(["verify"]) == 0


def test_a_store_goes_through_export_and_import(path, tmp_path, capsys, monkeypatch):
    assert run(["export", str(tmp_path / "all.ndjson")]) == 0
    assert run(["import", str(tmp_path / "all.ndjson")]) == 2
    monkeypatch.setenv("FOURPAIR_STORE", str(tmp_path / "other.db"))

    assert run(["import", str(tmp_path / "all.ndjson")]) == 0
    assert run(["verify"]) == 0


def test_keys_are_shown_once_and_can_be_listed_rotated_and_revoked(path, capsys):
    assert run(["keys", "make", "night run", "--scope", "read", "--job", "harbour-hall", "--days", "30"]) == 0
    text = capsys.readouterr().out.splitlines()[0]
    key_id = text.split("_")[1]

    assert run(["keys", "rotate", key_id]) == 0
    assert run(["keys", "revoke", key_id]) == 0
    capsys.readouterr()
    assert run(["keys", "list"]) == 0
    listed = capsys.readouterr().out
    assert text not in listed
    assert "night run" in listed
    assert "revoked" in listed
    assert "harbour-hall" in listed
    assert run(["keys", "revoke", "none"]) == 2


def test_a_missing_store_is_told_and_not_made(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("FOURPAIR_STORE", str(tmp_path / "none.db"))

    assert run(["verify"]) == 2
    assert "There is no store" in capsys.readouterr().err
    assert not (tmp_path / "none.db").exists()
