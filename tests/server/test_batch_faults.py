"""What goes wrong in a batch stays where it belongs: in its item, or told in the summary."""

import csv
import errno
import io
import json
import logging
import os
import signal
import socket
import tempfile
import time
from contextlib import nullcontext
from multiprocessing import connection
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from stillpipe.api import limits
from stillpipe.api.answers import ANSWERS
from stillpipe.api.problems import RequestError
from stillpipe.physics.column.work import Work
from stillpipe.server.admission import departures
from stillpipe.server.admission.departures import Caller
from stillpipe.server.batch import batch, pool
from stillpipe.server.batch.endings import Shutdown
from stillpipe.server.batch.spool import Spool, Store
from stillpipe.server.tables import table

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
REQUEST = json.loads((EXAMPLES / "plug-time-request.json").read_text())
GOOD = {"estimate": "plug-time", "request": REQUEST}
HALF = json.dumps({"estimate": "plug-time", "request": REQUEST | {"id": "\ud800"}})
KINDS = ["application/json", "application/x-ndjson", "text/csv"]
BODIES = {
    "application/json": json.dumps([GOOD] * 3).encode(),
    "application/x-ndjson": (json.dumps(GOOD) + "\n").encode() * 3,
    "text/csv": (EXAMPLES / "batch-table.csv").read_bytes(),
}


def outcomes(kind: str, body: bytes) -> list[str]:
    """The status of every item in a reply."""
    if kind == "application/json":
        return [str(i["status"]) for i in json.loads(body)["items"]]
    if kind == "text/csv":
        return [row["status"] for row in csv.DictReader(io.StringIO(body.decode()))]
    return [str(i["status"]) for i in map(json.loads, body.splitlines()[:-1])]


@pytest.mark.parametrize("escaped", ["\\ud800", "\\udfff", "a\\udc00\\ud800"])
def test_half_a_surrogate_pair_is_refused_and_pointed_at(client: FlaskClient, escaped: str) -> None:
    body = json.dumps(REQUEST | {"id": "@"}).replace("@", escaped)
    reply = client.post("/v1/plug-time", data=body, content_type="application/json")
    assert reply.status_code == 400
    assert reply.json is not None
    assert [e["pointer"] for e in reply.json["errors"]] == ["#/id"]


def test_half_a_pair_in_a_name_is_pointed_at_in_ascii(client: FlaskClient) -> None:
    body = b'{"pipe":{"\\ud800":1},"id":[0,"\\udc00"]}'
    reply = client.post("/v1/plug-time", data=body, content_type="application/json")
    assert reply.json is not None
    pointers = sorted(e["pointer"] for e in reply.json["errors"])
    assert pointers == ["#/id/1", "#/pipe/\\ud800"]


def test_a_whole_pair_is_a_character(client: FlaskClient) -> None:
    body = json.dumps(REQUEST | {"id": "\U0001f600"})
    reply = client.post("/v1/plug-time", data=body, content_type="application/json")
    assert reply.json is not None
    assert reply.json["id"] == "\U0001f600"


@pytest.mark.parametrize("kind", KINDS[:2])
def test_half_a_pair_in_one_item_costs_no_other_its_answer(client: FlaskClient, kind: str) -> None:
    texts = [json.dumps(GOOD)] * 30 + [HALF] + [json.dumps(GOOD)] * 29
    body = "\n".join(texts) if kind.endswith("ndjson") else f"[{','.join(texts)}]"
    reply = client.post("/v1/batch", data=body, content_type=kind)
    assert reply.status_code == 200
    assert outcomes(kind, reply.get_data()) == ["200"] * 30 + ["400"] + ["200"] * 29


def test_an_object_of_too_many_members_is_refused(client: FlaskClient) -> None:
    body = "{" + ",".join(f'"{i}":0' for i in range(limits.MEMBERS + 1)) + "}"
    reply = client.post("/v1/plug-time", data=body, content_type="application/json")
    assert reply.status_code == 400
    assert reply.json is not None
    assert "1000 members" in reply.json["detail"]


@pytest.mark.parametrize(
    "error", [MemoryError(), RecursionError(), ValueError(), UnicodeError(), OSError(28, "full")]
)
def test_nothing_that_goes_wrong_in_an_item_leaves_it(
    monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    def fail(*_: Any) -> dict[str, Any]:
        raise error

    with monkeypatch.context() as patched:
        patched.setattr(ANSWERS, "reply", fail)
        patched.setattr("stillpipe.api.problems.body", fail)
        (failed,) = batch.work([json.dumps(GOOD).encode()])
    (answered,) = batch.work([json.dumps(GOOD).encode()])
    assert (failed[0], json.loads(failed[1])["status"]) == (False, 500)
    assert answered[0]


def test_an_answer_that_cannot_be_written_is_that_items_problem(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(ANSWERS, "reply", lambda *_: ({"half": "\ud800"}, None))
    ((good, reply, *_),) = batch.work([json.dumps(GOOD).encode()])
    assert (good, json.loads(reply)["status"]) == (False, 500)


def full_disk(*_: Any, **__: Any) -> Any:
    """A file on a disk without room: the kernel's own."""
    return open("/dev/full", "r+b", buffering=0)


@pytest.mark.parametrize("kind", KINDS)
def test_a_full_disk_is_told_before_the_reply_begins(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    monkeypatch.setattr(tempfile, "TemporaryFile", full_disk)
    reply = client.post("/v1/batch", data=BODIES[kind], content_type=kind)
    assert reply.status_code == 507
    assert reply.json is not None
    assert reply.json["type"] == "/v1/problems/insufficient-storage"
    assert client.get("/v1/problems/insufficient-storage").status_code == 200
    monkeypatch.undo()
    again = client.post("/v1/batch", data=BODIES[kind], content_type=kind)
    assert outcomes(kind, again.get_data()) == ["200"] * 3


@pytest.mark.parametrize("kind", KINDS)
def test_no_file_at_all_is_told_likewise(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    def none(*_: Any, **__: Any) -> Any:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(tempfile, "TemporaryFile", none)
    reply = client.post("/v1/batch", data=BODIES[kind], content_type=kind)
    assert reply.status_code == 507


def test_a_table_whose_answer_finds_no_room_is_told(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The body still has room, the answer none."""
    real, made = tempfile.TemporaryFile, []

    def second(*given: Any, **named: Any) -> Any:
        made.append(0)
        return full_disk() if len(made) == 2 else real(*given, **named)

    monkeypatch.setattr(tempfile, "TemporaryFile", second)
    reply = client.post("/v1/batch", data=BODIES["text/csv"], content_type="text/csv")
    assert reply.status_code == 507


def test_a_table_whose_answer_is_too_long_is_refused(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two of three rows have room; the same rows as lines of JSON need none."""
    whole = client.post("/v1/batch", data=BODIES["text/csv"], content_type="text/csv")
    assert outcomes("text/csv", whole.get_data()) == ["200"] * 3
    monkeypatch.setattr(limits, "TABLE_BYTES", 3000)
    reply = client.post("/v1/batch", data=BODIES["text/csv"], content_type="text/csv")
    assert reply.status_code == 413
    assert reply.json is not None
    assert reply.json["type"] == "/v1/problems/too-large"
    assert "3,000" in reply.json["detail"]
    lines = client.post("/v1/batch", data=BODIES[KINDS[1]], content_type=KINDS[1])
    assert outcomes(KINDS[1], lines.get_data()) == ["200"] * 3


def test_a_disk_that_fills_while_lines_are_answered_is_told_in_the_summary(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was stored before is answered."""
    real = os.pwrite

    def little(file: int, data: bytes, at: int) -> int:
        if at + len(data) > 100_000:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(file, data, at)

    monkeypatch.setattr(os, "pwrite", little)
    body = b'{"estimate":"none"}\n' * 20_000
    reply = client.post("/v1/batch", data=body, content_type="application/x-ndjson")
    assert reply.status_code == 200
    *items, last = map(json.loads, reply.get_data().splitlines())
    summary = last["summary"]
    assert 1 < len(items) < 20_000
    assert (summary["total"], summary["failed"]) == (len(items), len(items))
    assert summary["complete"] is False
    assert summary["problem"]["type"] == "/v1/problems/insufficient-storage"


def test_what_a_disk_takes_in_pieces_is_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.pwrite
    monkeypatch.setattr(os, "pwrite", lambda file, data, at: real(file, data[:3], at))
    store = Store()
    store.append(b"0123456789")
    assert store.read(0, 100) == b"0123456789"
    store.close()


def test_a_body_shorter_than_was_said_is_not_whole() -> None:
    spool = Spool(io.BytesIO(b"ab\ncd"), 1000, expected=10)
    assert list(spool.lines(100)) == [b"ab"]
    assert spool.fault == "broken-off"
    spool.close()


def test_blank_lines_without_end_are_not_read(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "BATCH_LINES", 3)
    reply = client.post("/v1/batch", data=b"\n" * 9 + b"1\n", content_type=KINDS[1])
    (last,) = map(json.loads, reply.get_data().splitlines())
    assert last["summary"]["problem"]["status"] == 413


def _lost(chunk: list[int]) -> list[int]:
    """Answer what no process can: never the answer of one that could."""
    return [-1 - item for item in chunk]


def _die_at_two(chunk: list[int]) -> list[int]:
    if 2 in chunk:
        os.kill(os.getpid(), signal.SIGKILL)
    return chunk


def test_an_item_that_kills_its_worker_costs_no_other_its_answer() -> None:
    chunks = iter([[0, 1], [2, 3, 4], [5], [6, 7]])
    found = list(pool.ordered(pool.Task(), _die_at_two, chunks, _lost))
    assert found == [0, 1, -3, 3, 4, 5, 6, 7]


def _die_in_its_answer(chunk: list[str]) -> list[str]:
    """Once, end with half of the answer written, and so with the lock of all answers held."""
    mark = Path(chunk[0])
    if mark.name == "killed" and not mark.exists():
        mark.touch()

        def half(self: Any, data: Any, _write: Any = None) -> None:
            os.write(self.fileno(), bytes(data[: len(data) // 2]))
            os.kill(os.getpid(), signal.SIGKILL)

        connection.Connection._send = half  # type: ignore[attr-defined]
    return chunk


def test_a_process_killed_in_its_answer_costs_no_item_its_own(tmp_path: Path) -> None:
    """The others wait for a lock that nobody gives back; they are replaced."""
    names = [str(tmp_path / name) for name in ("a", "b", "killed", "c", "d", "e", "f", "g")]
    chunks = iter([[n] for n in names])
    found = list(pool.ordered(pool.Task(), _die_in_its_answer, chunks, lambda _: ["lost"]))
    assert found == names
    assert Path(names[2]).exists()


def _until_cancelled(chunk: list[int]) -> list[int]:
    while Work().flag[0] == 0:
        time.sleep(0.01)
    return chunk


def test_what_is_under_way_ends_when_nobody_waits() -> None:
    """Without the flag this would never end; the others' work is not touched."""
    task = pool.Task()
    looks: list[int] = []

    def look() -> None:
        looks.append(1)
        if len(looks) == 3:
            task.cancel()

    chunks = iter([[i] for i in range(20)])
    assert list(pool.ordered(task, _until_cancelled, chunks, _lost, look)) == list(range(20))
    assert list(pool.ordered(pool.Task(), _die_at_two, iter([[0]]), _lost)) == [0]


def test_flags_come_back_when_nothing_looks_at_them() -> None:
    free = pool._workers().free
    before = len(free)
    answers_ = pool.ordered(pool.Task(), _die_at_two, iter([[i] for i in range(9, 40)]), _lost)
    assert next(answers_) == 9
    assert len(free) == before - 1
    answers_.close()
    deadline = time.monotonic() + 60
    while len(free) < before:
        assert time.monotonic() < deadline
        time.sleep(0.01)
    assert not pool._workers().flags.any()


def test_a_pool_at_the_end_of_its_process_is_busy(monkeypatch: pytest.MonkeyPatch) -> None:
    """As the interpreter leaves it, which takes no more work."""
    workers = pool._workers()
    over = workers.start(1)
    over.shutdown()
    monkeypatch.setattr(workers, "pool", over)
    with pytest.raises(RequestError) as raised:
        pool.Task().submit(_die_at_two, [0])
    assert raised.value.slug == "busy"


def test_a_pool_that_another_thread_replaced_is_not_the_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    workers = pool._workers()
    good, over = workers.pool, workers.start(1)
    over.shutdown()

    class Replaced:
        """A pool that is shut down just before it is asked."""

        def submit(self, *given: Any) -> Any:
            workers.pool = good
            return over.submit(*given)

    monkeypatch.setattr(workers, "pool", Replaced())
    _, future = pool.Task().submit(_die_at_two, [0])
    assert future.result(600) == [0]


def test_an_item_whose_service_ends_is_told_so() -> None:
    task = pool.Task()
    task.cancel()
    items = iter([[json.dumps(GOOD).encode()] * 2])
    found = [json.loads(d.reply) for d in pool.ordered(task, batch.work, items, batch.lost)]
    assert [(f["id"], f["status"]) for f in found] == [(REQUEST["id"], 503)] * 2


@pytest.mark.parametrize("kind", KINDS)
def test_a_service_that_ends_answers_what_it_has_and_says_what_it_has_not(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    """Every item has its own answer or problem, and the summary is true."""
    looks: list[int] = []
    watched = Shutdown()
    watched.watch(lambda: len(looks) < 12, 0.0)
    monkeypatch.setattr(batch, "shutdown", watched)
    real = pool._Flight.land

    def land(self: Any, *given: Any) -> Any:
        looks.append(1)
        return real(self, *given)

    monkeypatch.setattr(pool._Flight, "land", land)
    head, *rows = BODIES["text/csv"].decode().splitlines()
    body = {
        KINDS[0]: json.dumps([GOOD] * 400).encode(),
        KINDS[1]: (json.dumps(GOOD) + "\n").encode() * 400,
        KINDS[2]: "\n".join([head, *(rows[0] for _ in range(400))]).encode(),
    }[kind]
    reply = client.post("/v1/batch", data=body, content_type=kind)
    found = outcomes(kind, reply.get_data())
    assert 400 >= len(found) >= 96
    assert len(looks) <= 12 + pool.AHEAD * pool.processes(), "no worker is asked for the rest"
    assert set(found) == {"200", "503"}
    if kind == KINDS[0]:
        summary = reply.json["summary"] if reply.json else {}
        assert len(found) == 400
        assert (summary["succeeded"], summary["failed"]) == (found.count("200"), found.count("503"))
    if kind == KINDS[2]:
        assert len(found) == 400
        assert reply.headers["Batch-Failed"] == str(found.count("503"))


def test_a_client_that_left_is_noticed_with_unread_data_before_its_end() -> None:
    ours, theirs = socket.socketpair()
    with departures.watched(ours) as caller:
        theirs.sendall(b"more")
        assert not caller.left
        theirs.close()
        assert caller.called.wait(60.0)
        assert caller.left
    ours.close()


def test_a_client_that_takes_nothing_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(departures, "PATIENCE", 1)
    ours, theirs = socket.socketpair()
    with departures.watched(ours), pytest.raises(OSError, match="unavailable"):
        ours.sendall(b"x" * 2**24)
    ours.close()
    theirs.close()


def test_a_table_whose_client_has_left_is_no_fault_of_the_service(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """It ends with a problem that nobody reads, is counted, and gives its place back."""
    monkeypatch.setattr(logging.getLogger("stillpipe"), "propagate", True)

    caller, real = Caller(), table.read_csv

    def leaving(*given: Any) -> Any:
        caller.leave()
        return real(*given)

    with monkeypatch.context() as patched:
        patched.setattr(departures, "watched", lambda _: nullcontext(caller))
        patched.setattr(table, "read_csv", leaving)
        reply = client.post("/v1/batch", data=BODIES["text/csv"], content_type="text/csv")
    assert (reply.status_code, reply.content_type) == (503, "application/problem+json")
    assert reply.json is not None
    assert reply.json["type"] == "/v1/problems/busy"
    assert caplog.records == []
    again = client.post("/v1/batch", data=BODIES["text/csv"], content_type="text/csv")
    assert outcomes("text/csv", again.get_data()) == ["200"] * 3
