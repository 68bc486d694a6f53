"""The SDK's rule sets and limits, against a real server on a loopback port."""

from __future__ import annotations

import threading

import pytest
from werkzeug.serving import make_server

from fourpair import Client, InvalidDocumentError, NotFoundError
from fourpair_service.app import create_app


@pytest.fixture(scope="module")
def client():
    server = make_server("127.0.0.1", 0, create_app())
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        with Client(f"http://127.0.0.1:{server.server_port}") as client:
            yield client
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def test_the_editions_come_with_how_well_they_are_known(client):
    found = {rule_set.id: rule_set for rule_set in client.rule_sets()}

    assert found["tia-568.2-d-2018"].origin == "built_in"
    assert found["tia-568.2-d-2018"].basis["memory"] > 0
    assert found["tsb-67-1995"].gradable is False
    assert found["iso-11801-1-2017"].category("i").missing is not None


def test_an_edition_says_what_a_category_requires(client):
    tia = client.rule_set("TIA")
    six_a = tia.category("6a")
    rules = {rule.parameter: rule for rule in six_a.parameters}

    assert tia.id == "tia-568.2-d-2018"
    assert "next" in six_a.required() and "dc_loop_resistance" not in six_a.required()
    assert rules["acr_n"].status == "information"
    assert rules["next"].basis["permanent_link"] == "memory"
    assert tia.notes
    with pytest.raises(KeyError, match="it has 3, 5e, 6, 6A, 8"):
        tia.category("7")


def test_a_limit_comes_with_its_rows_and_their_sources(client):
    limits = client.limits("TIA", "3", "channel", "next", frequency_mhz=[16, 4])

    # 29.3 and 19.3 dB: TSB67 tables, the source stands in each row.
    assert [row.limit for row in limits.rows] == pytest.approx([29.3, 19.3], abs=0.06)
    assert [row.frequency_mhz for row in limits.rows] == [4, 16]
    assert (limits.unit, limits.inside, limits.status) == ("db", "at_least", "required")
    assert all("TSB67" in row.source for row in limits.rows)
    assert limits.provisional is False
    assert limits.rule_set_digest == client.rule_set("TIA").digest


@pytest.mark.parametrize(
    ("parameter", "unit", "limit"),
    [("length", "m", 99.0), ("delay_skew", "ns", 44.0), ("dc_loop_resistance", "ohm", 21.0)],
)
def test_a_single_value_has_one_row_without_a_frequency(client, parameter, unit, limit):
    limits = client.limits("TIA", "6", "permanent_link", parameter)

    assert limits.unit == unit
    assert [(row.frequency_mhz, row.limit) for row in limits.rows] == [(None, limit)]


def test_a_limit_comes_as_a_picture_and_as_rows_for_a_spreadsheet(client):
    asked = ("ISO", "EA", "channel", "insertion_loss")

    assert client.limits_as("svg", *asked).startswith(b"<?xml")
    assert client.limits_as("csv", *asked, frequency_mhz=[500]).count(b"\r\n") == 2


def test_an_unknown_edition_is_not_found_and_is_told_what_there_is(client):
    with pytest.raises(NotFoundError, match="load your own") as caught:
        client.rule_set("EN 50173-1")

    assert caught.value.code == "rule-set-not-found"


def test_a_name_that_holds_a_slash_stays_one_name(client):
    with pytest.raises(NotFoundError):
        client.limits("../records", "6", "channel", "next")


def test_a_limit_that_is_not_there_is_refused_with_advice(client):
    with pytest.raises(InvalidDocumentError, match="has limits from 1 to 250 MHz, none at 300"):
        client.limits("TIA", "6", "channel", "next", frequency_mhz=[300])
