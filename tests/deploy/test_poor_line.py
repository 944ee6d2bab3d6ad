"""Apps on a poor line against real gunicorn and nginx; the long command, on few rounds."""

import json
from random import Random
from typing import Any

import pytest

from deploy import poor_line
from deploy.apps import App
from deploy.ledger import Ledger, canonical
from deploy.lines import LINES, NONE, Reply, Request
from deploy.poor_line import single
from deploy.stack import NGINX

ITEMS = [{"estimate": "plug-time", "request": {"id": f"harbour-lane-baths/{n}"}} for n in range(2)]


@pytest.mark.server
@pytest.mark.skipif(NGINX is None, reason="no nginx on this machine")
def test_nothing_is_lost_and_nothing_is_answered_twice_differently() -> None:
    """Cut requests and replies, resets, callers who give up, batches resumed by what is missing."""
    poor_line.main(2, apps=4, items=6)


def line(index: int, **other: Any) -> bytes:
    """The answer to item ``index``, whole."""
    one = {"index": index, "id": f"harbour-lane-baths/{index}", "status": 200, "result": {}}
    return canonical(one | other) + b"\n"


def end(total: int) -> bytes:
    """The summary of a whole reply."""
    counts = {"total": total, "succeeded": total, "failed": 0, "complete": True}
    return canonical({"summary": counts}) + b"\n"


@pytest.fixture
def app() -> App:
    """An app that asks nobody."""
    return App(0, "127.0.0.1", Ledger(), Random(0))


def test_lines_that_came_before_the_cut_are_kept(app: App) -> None:
    """Half a line is none."""
    got = line(0) + line(1)[:-1]
    assert app.lines(ITEMS, Reply(200, None, got, whole=False)) == ["harbour-lane-baths/0"]
    assert len(app.lines(ITEMS, Reply(200, None, line(0) + line(1) + end(2), whole=True))) == 2


@pytest.mark.parametrize(
    "body",
    [
        line(0) + end(2),
        line(1) + line(0) + end(2),
        line(0) + line(1),
        line(0) + line(1, id="harbour-lane-baths/0") + end(2),
        line(0, status=500) + line(1) + end(2),
        line(0) + line(1) + end(3),
    ],
    ids=["an item lost", "another order", "no summary", "an id twice", "a failure", "a wrong sum"],
)
def test_a_whole_reply_that_is_not_right_is_found(app: App, body: bytes) -> None:
    with pytest.raises(AssertionError):
        app.lines(ITEMS, Reply(200, None, body, whole=True))


def test_another_answer_to_the_same_is_found(app: App) -> None:
    """Byte for byte alone; by content in a batch, where the item before is what it has to equal."""
    asked = single("/v1/plug-time", {"id": "a"}, "a")
    assert app.keep(asked, Reply(200, None, b'{"id":"a","closure":1}', whole=True), 200)
    with pytest.raises(AssertionError):
        app.keep(asked, Reply(200, None, b'{"id":"a","closure":2}', whole=True), 200)
    item = {"estimate": "plug-time", "request": {"id": "a"}}
    app.item(item, {"id": "a", "status": 200, "result": {"closure": 1, "id": "a"}})
    with pytest.raises(AssertionError):
        app.item(item, {"id": "a", "status": 200, "result": {"closure": 2, "id": "a"}})


@pytest.mark.parametrize("status", [500, 502, 504, 422])
def test_a_status_that_is_not_promised_is_found(app: App, status: int) -> None:
    reply = Reply(status, None, json.dumps({"id": "a"}).encode(), whole=True)
    with pytest.raises(AssertionError):
        app.keep(single("/v1/plug-time", {"id": "a"}, "a"), reply, 200)


def test_a_request_is_the_same_at_every_try() -> None:
    assert NONE.kind == "none"
    one = Request("/v1/batch", b"{}", "harbour-lane", LINES)
    assert one.sent(packed=False) == one.sent(packed=False)
    assert b"X-Request-Id: harbour-lane\r\n" in one.sent(packed=False)
