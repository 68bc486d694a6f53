"""Papers that are ordered: made once, told as they are made, kept for a day, on every kind of store."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from itertools import count

import pytest

from fourpair_service.errors import ServiceError
from fourpair_service.records import job_commands
from fourpair_service.records.desk import Caller, Desk, Terms
from fourpair_service.records.errors import HandoverNotReadyError, NotFoundError
from fourpair_service.records.handovers import making
from fourpair_service.records.handovers.commands import file_pieces, known_order, place_order, visible_order
from fourpair_service.records.handovers.making import PIECE_BYTES, claim_order, make
from fourpair_service.records.handovers.model import OrderState
from fourpair_service.records.transfer import export_lines
from fourpair_service.storage.opening import open_store
from record_factory import ANYONE, START, grade
from stores import KINDS, store_name

FORM = {"format": "pdf"}
CONTENT = bytes(range(256)) * (PIECE_BYTES // 256) + b"the rest"


class Clock:
    def __init__(self):
        self.now = START

    def __call__(self):
        return self.now


def alive(holder):
    return False


def gone(holder):
    return True


@pytest.fixture(params=KINDS)
def desk(request, tmp_path):
    numbers = count(1)
    with store_name(request.param, tmp_path) as name:
        store = open_store(name)
        desk = Desk(store, Clock(), lambda: f"{next(numbers):08}", grade)
        job_commands.create_job(desk, ANYONE, "hall", {"name": "Hall"}, Terms())
        yield desk
        store.close()


def ordered(desk, **terms):
    return place_order(desk, ANYONE, "hall", FORM, Terms(**terms))


def claimed(desk, order, holder="a:1", is_gone=alive):
    with desk.store.writing() as writer:
        return claim_order(writer, desk, order.id, holder, is_gone)


def write(reader, job, form, target, progress):
    assert (job.id, form) == ("hall", FORM)
    progress(0, 3)
    progress(3, 3)
    target.write_bytes(CONTENT)


def made(desk):
    order, _ = ordered(desk)
    return make(desk, claimed(desk, order), write)


def test_papers_that_were_ordered_are_made_and_read_back_piece_by_piece(desk):
    order = made(desk)
    pieces = list(file_pieces(desk.store, order))

    assert (order.state, order.size, order.done, order.total) == (OrderState.DONE, len(CONTENT), 3, 3)
    assert b"".join(pieces) == CONTENT
    assert max(map(len, pieces)) == PIECE_BYTES
    assert known_order(desk.store, order.id) == order


def test_how_far_they_are_is_told_while_they_are_made(desk, monkeypatch):
    monkeypatch.setattr(making, "TELL_EVERY_S", 0.0)
    order, _ = ordered(desk)
    seen = []

    def slowly(reader, job, form, target, progress):
        for done in range(1, 4):
            progress(done, 3)
            progress.end()
            # Another thread looks, since this one reads the state of the beginning.
            with ThreadPoolExecutor(1) as pool:
                told = pool.submit(known_order, desk.store, order.id).result()
            seen.append((told.state, told.done, told.total))
        target.write_bytes(b"x")

    assert make(desk, claimed(desk, order), slowly).state is OrderState.DONE
    assert seen == [(OrderState.RUNNING, done, 3) for done in range(1, 4)]


def test_papers_that_are_not_made_cannot_be_read(desk):
    order, _ = ordered(desk)

    with pytest.raises(HandoverNotReadyError, match="waiting"):
        file_pieces(desk.store, order)


def test_what_fails_is_told_and_not_tried_again(desk):
    def fail(*_):
        raise ServiceError("The paper is torn.")

    order, _ = ordered(desk)
    ended = make(desk, claimed(desk, order), fail)

    assert (ended.state, ended.trouble) == (OrderState.FAILED, "The paper is torn.")
    assert claimed(desk, order) is None
    with pytest.raises(HandoverNotReadyError, match="torn"):
        file_pieces(desk.store, ended)


def test_an_order_is_made_by_one_and_taken_over_when_that_one_is_gone(desk):
    order, _ = ordered(desk)

    assert claimed(desk, order, "a:1") is not None
    assert claimed(desk, order, "b:1") is None
    assert claimed(desk, order, "b:1", gone).holder == "b:1"
    desk.clock.now += timedelta(seconds=61)
    assert claimed(desk, order, "c:1").holder == "c:1"


def test_a_clock_that_is_set_back_holds_no_order_until_it_has_caught_up(desk):
    order, _ = ordered(desk)
    claimed(desk, order, "a:1")
    desk.clock.now -= timedelta(seconds=30)
    assert claimed(desk, order, "b:1") is None
    desk.clock.now -= timedelta(days=1)

    assert make(desk, claimed(desk, order, "b:1"), write).state is OrderState.DONE


def test_whoever_lost_an_order_keeps_nothing_of_it(desk):
    order, _ = ordered(desk)
    first = claimed(desk, order, "a:1")
    claimed(desk, order, "b:1", gone)

    assert make(desk, first, write) is None
    assert known_order(desk.store, order.id).holder == "b:1"


def test_an_order_waits_for_somebody_else_where_the_process_is_to_end(desk):
    order, _ = ordered(desk)

    assert make(desk, claimed(desk, order), write, go_on=lambda: False) is None
    assert known_order(desk.store, order.id).state is OrderState.WAITING
    assert make(desk, claimed(desk, order, "b:1"), write).state is OrderState.DONE


def test_a_repeated_order_is_the_same_one(desk):
    first, was_known = ordered(desk, key="k", fingerprint="f")
    second, is_known = ordered(desk, key="k", fingerprint="f")

    assert (was_known, is_known) == (False, True)
    assert second.id == first.id


def test_papers_are_dropped_a_day_after_they_were_made(desk):
    old = made(desk)
    desk.clock.now += timedelta(hours=25)
    ordered(desk)

    assert known_order(desk.store, old.id) is None
    assert desk.store.drawer(old.drawer, limit=1) == []


def test_only_who_sees_the_job_sees_its_papers(desk):
    order = made(desk)
    stranger = Caller("other", jobs=frozenset({"elsewhere"}))

    assert visible_order(desk.store, ANYONE, "hall", order.id) == order
    for job_id, caller in (("hall", stranger), ("elsewhere", ANYONE)):
        with pytest.raises(NotFoundError):
            visible_order(desk.store, caller, job_id, order.id)


def test_papers_are_no_part_of_an_export(desk):
    order = made(desk)

    with desk.store.reading() as reader:
        text = b"\n".join(export_lines(reader)).decode()
    assert order.id not in text
