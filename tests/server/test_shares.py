"""Places for batches: shared by caller, exact over processes, given back by the dead."""

import multiprocessing
import os
import signal
from collections.abc import Iterator
from multiprocessing.connection import Connection

import pytest
from flask import Flask, request
from flask.testing import FlaskClient

from stillpipe.api.problems import RequestError
from stillpipe.server.admission import shares
from stillpipe.server.admission.shares import Shares

ITEM = b'[{"estimate":"none"}]'


def refused(places: Shares, caller: str) -> bool:
    try:
        places.enter(caller).leave()
    except RequestError as error:
        return error.slug == "busy"
    return False


def test_a_caller_holds_at_most_half_of_the_places() -> None:
    places = Shares(4, 4)
    held = [places.enter("dispatch") for _ in range(2)]
    assert refused(places, "dispatch")
    held.append(places.enter("field"))
    held[0].leave()
    held[0].leave()
    assert not refused(places, "dispatch")
    assert places.held() == 2


def test_whoever_waits_comes_before_a_second_batch_of_another() -> None:
    places = Shares(4, 4)
    first, second = [places.enter("dispatch") for _ in range(2)]
    others = [places.enter("field") for _ in range(2)]
    assert refused(places, "third")
    first.leave()
    assert refused(places, "dispatch")
    third = places.enter("third")
    for place in (second, third, *others):
        place.leave()
    assert places.held() == 0
    assert [places.enter("dispatch") for _ in range(2)]


def test_a_caller_who_waited_long_ago_holds_nobody_up(monkeypatch: pytest.MonkeyPatch) -> None:
    places = Shares(4, 4)
    held = [places.enter(name) for name in ("a", "a", "b", "b")]
    assert refused(places, "third")
    held[0].leave()
    assert refused(places, "a")
    monkeypatch.setattr(shares, "PATIENCE", 0)
    assert not refused(places, "a")


def test_one_process_takes_only_its_part() -> None:
    places = Shares(8, 1)
    place = places.enter("a")
    assert refused(places, "b")
    place.leave()
    assert not refused(places, "b")


def test_many_callers_are_remembered_as_waiting_and_the_oldest_forgotten() -> None:
    places = Shares(1, 1)
    place = places.enter("a")
    assert all(refused(places, f"caller-{i}") for i in range(3 * shares.WAITING))
    place.leave()
    assert not refused(places, "caller-0")


def hold(places: Shares, caller: str, pipe: Connection) -> None:
    try:
        places.enter(caller)
        pipe.send("held")
    except RequestError:
        pipe.send("refused")
    pipe.recv()


class Process:
    """A forked process that asks for a place as ``caller`` and keeps it."""

    def __init__(self, places: Shares, caller: str) -> None:
        self.pipe, other = multiprocessing.Pipe()
        context = multiprocessing.get_context("fork")
        self.process = context.Process(target=hold, args=(places, caller, other))
        self.process.start()
        self.said = self.pipe.recv()

    def kill(self) -> None:
        assert self.process.pid is not None
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.join()


@pytest.fixture
def processes() -> Iterator[list[Process]]:
    begun: list[Process] = []
    yield begun
    for one in begun:
        if one.process.is_alive():
            one.kill()


def test_places_are_counted_over_processes_and_come_back_from_the_dead(
    processes: list[Process],
) -> None:
    places = Shares(4, 2)
    for caller in ("a", "a", "a", "b", "c"):
        processes.append(Process(places, caller))
    assert [p.said for p in processes] == ["held", "held", "refused", "held", "held"]
    assert places.held() == 4
    assert refused(places, "d")
    processes[0].kill()
    assert places.held() == 3
    assert not refused(places, "d")


@pytest.mark.parametrize(
    ("address", "caller"),
    [("192.0.2.7", "192.0.2.7"), ("2001:db8::1", "2001:db8::/64"), ("", ""), ("unix:", "unix:")],
)
def test_a_caller_of_ipv6_is_its_network(address: str, caller: str) -> None:
    assert shares.network(address) == caller


@pytest.mark.parametrize(
    ("trusted", "said", "caller"),
    [
        ("0", "198.51.100.1", "127.0.0.1"),
        ("1", "198.51.100.1", "198.51.100.1"),
        ("1", "203.0.113.9, 198.51.100.1", "198.51.100.1"),
        ("2", "203.0.113.9, 198.51.100.1", "203.0.113.9"),
    ],
)
def test_the_callers_address_is_what_a_trusted_proxy_says(
    monkeypatch: pytest.MonkeyPatch, trusted: str, said: str, caller: str
) -> None:
    monkeypatch.setenv("STILLPIPE_TRUSTED_PROXIES", trusted)
    app = Flask("stillpipe")
    app.add_url_rule("/", "who", lambda: str(request.remote_addr))
    shares.trust_proxies(app)
    reply = app.test_client().get("/", headers={"X-Forwarded-For": said})
    assert reply.get_data(as_text=True) == caller


@pytest.fixture
def full(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> Shares:
    places = Shares(2, 2)
    monkeypatch.setitem(client.application.config, "SHARES", places)
    return places


@pytest.mark.parametrize("kind", ["application/json", "application/x-ndjson", "text/csv"])
def test_a_batch_without_a_place_is_told_to_ask_again(
    client: FlaskClient, full: Shares, kind: str
) -> None:
    place = full.enter("127.0.0.1")
    reply = client.post("/v1/batch", data=ITEM, content_type=kind)
    assert reply.status_code == 503
    assert reply.json is not None
    assert reply.json["type"] == "/v1/problems/busy"
    assert int(reply.headers["Retry-After"]) > 0
    place.leave()
    table = b"estimate\nnone\n"
    body = table if kind == "text/csv" else ITEM
    assert client.post("/v1/batch", data=body, content_type=kind).status_code == 200


@pytest.mark.parametrize(
    ("kind", "body"),
    [("application/json", b"["), ("application/json", b"[]"), ("text/csv", b"x\n1\n"),
     ("application/json", ITEM), ("application/x-ndjson", b"1\n"),
     ("text/csv", b"estimate\nnone\n")],
)  # fmt: skip
def test_every_batch_gives_its_place_back(
    client: FlaskClient, full: Shares, kind: str, body: bytes
) -> None:
    for _ in range(3):
        client.post("/v1/batch", data=body, content_type=kind).get_data()
    assert full.held() == 0


def test_a_body_known_to_be_too_long_takes_no_place(client: FlaskClient, full: Shares) -> None:
    said = {"CONTENT_LENGTH": "40000000"}
    reply = client.post("/v1/batch", environ_overrides=said, content_type="text/csv", data=b"x")
    assert reply.status_code == 413
    assert full.held() == 0


def test_a_reply_that_nobody_reads_gives_its_place_back(client: FlaskClient, full: Shares) -> None:
    reply = client.post("/v1/batch", data=ITEM, content_type="application/json", buffered=False)
    reply.close()
    assert full.held() == 0
