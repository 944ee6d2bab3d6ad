"""Places to compute in: first come, first in; who leaves makes room; the rest is refused."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from flask.testing import FlaskClient

from stillpipe.api.problems import RequestError
from stillpipe.errors import CancelledError
from stillpipe.server import settings
from stillpipe.server.admission import departures
from stillpipe.server.admission.departures import Caller
from stillpipe.server.admission.gate import Gate
from stillpipe.server.app import create_app

PATIENCE = 300.0


def until(condition: object) -> None:
    """Wait until ``condition()`` holds."""
    assert callable(condition)
    end = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < end, "it never came to that"
        time.sleep(0.01)


class Visitor:
    """A caller in a thread of its own, who keeps a place until told to go."""

    def __init__(self, gate: Gate, order: list[int], number: int) -> None:
        self.caller, self.done = Caller(), threading.Event()
        self.gate, self.order, self.number = gate, order, number
        self.error: Exception | None = None
        self.thread = threading.Thread(target=self._visit)
        self.thread.start()

    def _visit(self) -> None:
        try:
            with self.gate.place(self.caller):
                self.order.append(self.number)
                self.done.wait(PATIENCE)
        except (CancelledError, RequestError) as error:
            self.error = error

    def go(self) -> None:
        self.done.set()
        self.thread.join()


def waiting(gate: Gate) -> int:
    return len(gate._queue)


def test_places_are_given_in_the_order_of_coming() -> None:
    gate, order = Gate(1, 3), list[int]()
    visitors = []
    for number in range(4):
        visitors.append(Visitor(gate, order, number))
        until(lambda n=number: len(order) + waiting(gate) == n + 1)
    assert order == [0]
    with pytest.raises(RequestError) as refused, gate.place(Caller()):
        pass
    assert refused.value.slug == "busy"
    for visitor in visitors:
        until(lambda n=visitor.number: n in order)
        visitor.go()
    assert order == [0, 1, 2, 3]
    with gate.place(Caller()):
        assert waiting(gate) == 0


def test_who_leaves_the_queue_makes_room_in_it() -> None:
    gate, order = Gate(1, 1), list[int]()
    first = Visitor(gate, order, 1)
    until(lambda: order == [1])
    second = Visitor(gate, order, 2)
    until(lambda: waiting(gate) == 1)
    second.caller.leave()
    second.thread.join(PATIENCE)
    assert isinstance(second.error, CancelledError)
    third = Visitor(gate, order, 3)
    until(lambda: waiting(gate) == 1)
    first.go()
    until(lambda: order == [1, 3])
    third.go()


def test_a_place_given_to_somebody_who_has_left_is_passed_on() -> None:
    gate, order = Gate(1, 2), list[int]()
    for _ in range(50):
        order.clear()
        visitors = [Visitor(gate, order, 1)]
        until(lambda: order == [1])
        visitors += [Visitor(gate, order, 2), Visitor(gate, order, 3)]
        until(lambda: waiting(gate) == 2)
        leaving = gate._queue[0]
        threading.Thread(target=leaving.leave).start()
        for visitor in visitors:
            visitor.go()
    with gate.place(Caller()):
        pass


@contextmanager
def pair() -> Iterator[tuple[socket.socket, socket.socket]]:
    ours, theirs = socket.socketpair()
    with ours, theirs:
        yield ours, theirs


def test_a_caller_whose_connection_closes_has_left() -> None:
    with pair() as (ours, theirs), departures.watched(ours) as caller:
        theirs.sendall(b"bytes that nobody reads")
        assert not caller.called.wait(0.2)
        assert not caller.left
        theirs.close()
        assert caller.called.wait(PATIENCE)
        assert caller.left
        assert caller.flag[0] == 1


def test_a_caller_who_had_left_before_is_found_too() -> None:
    with pair() as (ours, theirs):
        theirs.close()
        with departures.watched(ours) as caller:
            assert caller.called.wait(PATIENCE)


def test_the_next_caller_on_a_number_is_not_taken_for_the_last() -> None:
    for _ in range(200):
        with pair() as (ours, theirs), departures.watched(ours):
            theirs.close()
        with pair() as (ours, _), departures.watched(ours) as caller:
            assert not caller.called.wait(0.001)


def test_batches_have_places_of_their_own(client: FlaskClient) -> None:
    """More batches than a caller may have are refused; one that is read or dropped makes room."""
    app = create_app(warm_up=False)
    ask, most = app.test_client(), app.config["SHARES"].most
    for _ in range(2):
        held = [ask.post("/v1/batch", json=[1]) for _ in range(most)]
        assert [r.status_code for r in held] == [200] * most
        refused = ask.post("/v1/batch", json=[1])
        assert refused.status_code == 503
        assert refused.headers["Retry-After"] == "1"
        assert ask.post("/v1/plug-time", json={}).status_code == 422
        held[0].close()
        for reply in held[1:]:
            assert reply.get_data()
    assert ask.post("/v1/batch", data="no", content_type="text/csv").status_code == 400
    assert client is not None


@pytest.mark.parametrize("said", ["0", "-1", "two", "1.5"])
def test_a_number_of_places_that_cannot_be_stops_the_start(
    monkeypatch: pytest.MonkeyPatch, said: str
) -> None:
    monkeypatch.setenv("STILLPIPE_THREADS", said)
    with pytest.raises(settings.SettingError, match="STILLPIPE_THREADS"):
        create_app(warm_up=False)
