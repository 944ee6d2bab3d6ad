"""Batches: every item stands for itself, nothing is lost, memory stays flat."""

import csv
import io
import json
import os
import signal
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
from flask.testing import FlaskClient

from stillpipe.api import limits
from stillpipe.server.batch import batch, pool
from stillpipe.server.batch.spool import Spool

REQUEST = {
    "id": "harbour-lane-baths/filter-room/point-1",
    "pipe": {"standard": "ASTM B88", "size": "3/4", "schedule": "L"},
    "fluid": {"temperature": {"value": 18, "unit": "degC"}},
    "ambient": {"temperature": {"value": 21, "unit": "degC"}},
    "line_pressure": {"value": 2.5, "unit": "bar"},
}
GOOD = {"estimate": "plug-time", "request": REQUEST}
BAD = {"estimate": "plug-time", "request": REQUEST | {"line_pressure": {"value": "2", "unit": "x"}}}


def lines(client: FlaskClient, body: bytes) -> list[dict[str, Any]]:
    reply = client.post("/v1/batch", data=body, content_type="application/x-ndjson")
    assert reply.status_code == 200
    return [json.loads(line) for line in reply.get_data().splitlines()]


def text(*items: Any) -> bytes:
    return b"".join(json.dumps(i).encode() + b"\n" for i in items)


def test_a_failing_item_never_loses_the_others(client: FlaskClient) -> None:
    reply = client.post("/v1/batch", json=[GOOD, BAD, 5, GOOD]).json
    assert reply is not None
    assert [i["status"] for i in reply["items"]] == [200, 422, 422, 200]
    assert [i["index"] for i in reply["items"]] == [0, 1, 2, 3]
    assert reply["summary"] == {"total": 4, "succeeded": 2, "failed": 2, "complete": True}
    assert reply["items"][1]["id"] == REQUEST["id"]
    pointers = [e["pointer"] for e in reply["items"][1]["problem"]["errors"]]
    assert pointers == ["#/request/line_pressure/value", "#/request/line_pressure/unit"]


def test_an_item_gets_the_same_answer_as_alone(client: FlaskClient) -> None:
    alone = client.post("/v1/plug-time", json=REQUEST).json
    assert lines(client, text(GOOD))[0]["result"] == alone


def test_answers_keep_the_order_of_the_items(client: FlaskClient) -> None:
    items = [
        {"estimate": "plug-time", "request": REQUEST | {"id": str(i)}} if i % 3 else BAD
        for i in range(40)
    ]
    *answers, last = lines(client, text(*items))
    assert [a["index"] for a in answers] == list(range(40))
    assert [a["id"] for a in answers if a["status"] == 200] == [str(i) for i in range(40) if i % 3]
    assert last["summary"]["failed"] == 14


def test_a_line_that_is_not_json_or_too_long_fails_alone(client: FlaskClient) -> None:
    long = b" " * (limits.BODY_BYTES + 1) + b"\n"
    body = b'{"a":\n' + long + b"\n \r\n" + text(GOOD).rstrip() + b"\r\n" + b'\xff\n{"estimate":1}'
    answers = lines(client, body)
    assert [a["status"] for a in answers[:-1]] == [400, 413, 200, 400, 422]
    assert answers[-1]["summary"] == {"total": 5, "succeeded": 1, "failed": 4, "complete": True}


def test_lines_beyond_the_limit_are_told(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "BATCH_LINES", 3)
    *answers, last = lines(client, text(BAD, BAD, BAD, BAD))
    assert len(answers) == 3
    assert last["summary"]["complete"] is False
    assert last["summary"]["problem"]["status"] == 413


@pytest.mark.parametrize("body", [b"", b"{}", b"[]", b"[1,]", b'{"items":[]}'])
def test_a_body_that_is_no_array_of_items_is_refused(client: FlaskClient, body: bytes) -> None:
    reply = client.post("/v1/batch", data=body, content_type="application/json")
    assert reply.status_code in {400, 422}
    assert reply.mimetype == "application/problem+json"


def test_other_media_types_are_refused(client: FlaskClient) -> None:
    assert client.post("/v1/batch", data=b"x", content_type="text/plain").status_code == 415


def test_a_dead_worker_is_replaced_and_its_items_are_answered(client: FlaskClient) -> None:
    lines(client, text(GOOD))
    items = [{"estimate": "hold-time", "request": REQUEST | {"id": str(i)}} for i in range(60)]
    victims = list(pool._workers().pool._processes)
    timer = threading.Timer(0.1, lambda: os.kill(victims[0], signal.SIGKILL))
    timer.start()
    *answers, last = lines(client, text(*items))
    timer.join()
    assert last["summary"] == {"total": 60, "succeeded": 60, "failed": 0, "complete": True}
    assert [a["id"] for a in answers] == [str(i) for i in range(60)]
    assert victims[0] not in pool._workers().pool._processes


def _die(_: list[bytes]) -> batch.Answered:
    os.kill(os.getpid(), signal.SIGKILL)
    return []


def test_items_that_kill_their_worker_are_failed_not_lost() -> None:
    good = json.dumps(GOOD).encode()
    found = list(pool.ordered(pool.Task(), _die, [[good, b"2"]], batch.lost))
    replies = [json.loads(done.reply) for done in found]
    assert [done.good for done in found] == [False, False]
    assert [(r["status"], r["id"]) for r in replies] == [(500, REQUEST["id"]), (500, None)]


def _slow(chunk: list[int]) -> list[int]:
    time.sleep(0.05)
    return chunk


def test_closing_a_batch_drops_what_has_not_begun() -> None:
    taken = []

    def source() -> Iterator[list[int]]:
        for i in range(1000):
            taken.append(i)
            yield [i]

    answers = pool.ordered(pool.Task(), _slow, source(), lambda _: [-1])
    assert [next(answers), next(answers)] == [0, 1]
    answers.close()
    assert len(taken) <= pool.AHEAD * pool.processes() + 2


TABLE = (
    "estimate,id,pipe.standard,pipe.size,pipe.schedule,fluid.temperature [degF],"
    "ambient.temperature [degC],line_pressure [psi],units\r\n"
)


def table(client: FlaskClient, body: str) -> list[dict[str, str]]:
    reply = client.post("/v1/batch", data=body.encode(), content_type="text/csv")
    assert reply.status_code == 200, reply.get_data(as_text=True)
    return list(csv.DictReader(io.StringIO(reply.get_data(as_text=True))))


def test_a_row_gets_the_figures_of_the_same_request(client: FlaskClient) -> None:
    (row,) = table(client, TABLE + 'plug-time,"a, b",ASTM B88,3/4,L,64.4,21,36.26,us\r\n')
    request = REQUEST | {
        "id": "a, b", "units": "us",
        "fluid": {"temperature": {"value": 64.4, "unit": "degF"}},
        "line_pressure": {"value": 36.26, "unit": "psi"},
    }  # fmt: skip
    alone = client.post("/v1/plug-time", json=request).json
    assert alone is not None
    assert row["id"] == "a, b"
    assert row["verdict"] == alone["verdict"]
    assert float(row["closure.likely [s]"]) == alone["closure"]["likely"]
    assert float(row["plug_length.likely [in]"]) == alone["plug_length"]["likely"]
    assert row["cautions"].split()[0] == alone["cautions"][0]["code"]


def test_rows_that_cannot_be_used_say_why(client: FlaskClient) -> None:
    body = TABLE + (
        "plug-time,a,ASTM B88,3/4,L,1_0,21,36,\n"
        "plug-time,b,ASTM B88,3/4,L,64\n"
        ",c,ASTM B88,3/4,L,64,21,36,\n"
        "plug-time,d,ASTM B88,3/4,L,64,21,,\n"
    )
    rows = table(client, body)
    assert [r["status"] for r in rows] == ["422", "422", "422", "422"]
    assert "#/request/fluid/temperature/value must be a number" in rows[0]["problem.errors"]
    assert "#/request/line_pressure required" in rows[1]["problem.errors"]
    assert "row 3, column line_pressure [psi], cell H3" in rows[1]["problem.errors"]
    assert "#/estimate required" in rows[2]["problem.errors"]
    assert "#/request/line_pressure required" in rows[3]["problem.errors"]


def test_any_member_may_be_given_as_json(client: FlaskClient) -> None:
    pipe = json.dumps(REQUEST["pipe"]).replace('"', '""')
    body = (
        "estimate,pipe [json],fluid.temperature [degC],ambient.temperature [degC],"
        f'line_pressure [bar]\nplug-time,"{pipe}",18,21,2.5\n'
    )
    assert table(client, body)[0]["verdict"] == "go"


@pytest.mark.parametrize(
    ("head", "detail"),
    [
        ("estimate,pipe.siz", "is no input, but near pipe.size"),
        ("estimate,line_pressure", "needs a unit in brackets"),
        ("estimate,line_pressure [bars]", "needs a unit in brackets"),
        ("estimate,id [mm]", "takes no unit"),
        ("estimate,pipe", "has members of its own"),
        ("estimate,id,id", "the column is given twice"),
        ("estimate,hold [h],hold [min]", "another column holds the same member"),
        ("estimate,pipe [json],pipe.size", "another column holds the same member"),
        ("estimate, Id", "is no input, but near id"),
        ("id", "required"),
    ],
)
def test_an_unusable_column_is_named(client: FlaskClient, head: str, detail: str) -> None:
    reply = client.post("/v1/batch", data=f"{head}\n1,2\n", content_type="text/csv")
    assert reply.status_code == 400
    assert reply.json is not None
    assert any(e["detail"].startswith(detail) for e in reply.json["errors"])


@pytest.mark.parametrize("body", [b"", b"estimate\n", b'estimate\n"a\n', b"\xff\n1\n"])
def test_what_is_no_table_is_refused(client: FlaskClient, body: bytes) -> None:
    reply = client.post("/v1/batch", data=body, content_type="text/csv")
    assert reply.status_code == 400
    assert reply.json is not None
    assert reply.json["type"] == "/v1/problems/malformed-csv"


class Drip(io.RawIOBase):
    """A stream that gives one byte at a time, and may break."""

    def __init__(self, data: bytes, breaks: bool = False) -> None:
        self.data, self.at, self.breaks = data, 0, breaks

    def read(self, _size: int = -1) -> bytes:
        if self.at == len(self.data) and self.breaks:
            raise ConnectionResetError
        self.at += 1
        return self.data[self.at - 1 : self.at]


def test_lines_survive_any_cut() -> None:
    spool = Spool(Drip(b"ab\n\ncd\nlong line\nef"), 1000)  # type: ignore[arg-type]
    assert list(spool.lines(4)) == [b"ab", b"", b"cd", None, b"ef"]
    assert spool.fault == ""
    spool.close()


def test_a_broken_stream_gives_its_whole_lines_and_the_fault() -> None:
    spool = Spool(Drip(b"ab\ncd\nhal", breaks=True), 1000)  # type: ignore[arg-type]
    assert list(spool.lines(100)) == [b"ab", b"cd"]
    assert spool.fault == "broken-off"
    spool.close()


def test_a_stream_beyond_the_limit_is_cut_there() -> None:
    spool = Spool(Drip(b"ab\ncd\nef\n"), 6)  # type: ignore[arg-type]
    assert list(spool.lines(100)) == [b"ab", b"cd"]
    assert spool.fault == "too-large"
    spool.close()
