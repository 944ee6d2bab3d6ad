"""Batches under everything that happens to them: every item answered, nothing left behind.

    python tests/deploy/batch_endurance.py [ITEMS] [KIND]

Starts gunicorn and sends ITEMS items (10,000) in each of the three forms, and again while processes
of the pool are killed, while the client pauses, leaves, while workers of gunicorn are killed, and
through HUP and SIGTERM. Each item has its own answer or problem, each summary is true; memory
(proportional set size), descriptors, processes and files return to where they were. KIND is

held     freezes of a small pipe held for four hours, about 50 ms of a processor each; the default
dearest  what costs most of all that is accepted, a job of about 0.6 s, its answer of 300 KiB
long     rooms with as many stretches of release as let 10,000 into the 32 MiB of a batch

or else the name of an estimate, whose example is asked.
"""

import csv
import http.client
import io
import json
import os
import re
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import psutil

from deploy.batch_items import ARRAY, LINES, TABLE, Items
from deploy.holding import family, held
from deploy.stack import Server, until

PATIENCE = 600
"""How long anything is waited for [s]."""
LOOK = 0.25
"""How often it is looked whether there is a process to kill [s]."""


@dataclass
class Reply:
    """What came back: each item's index, name and status, and what was said of all."""

    items: list[tuple[int, str, int]]
    succeeded: int
    failed: int
    complete: bool

    def check(self, count: int, allowed: tuple[int, ...] = (200,)) -> None:
        """Hold the reply against ``count`` items, whose statuses may be ``allowed``."""
        assert [(i, n) for i, n, _ in self.items] == [
            (i, f"harbour-lane-baths/{i}") for i in range(len(self.items))
        ]
        statuses = [s for _, _, s in self.items]
        assert set(statuses) <= set(allowed), set(statuses)
        assert (self.succeeded, self.failed) == (
            statuses.count(200), len(statuses) - statuses.count(200),
        )  # fmt: skip
        if self.complete:
            assert len(self.items) == count


def outcome(answer: dict[str, Any]) -> tuple[int, str, int]:
    """An item's index, name and status."""
    return answer["index"], answer["id"], answer["status"]


def understood(form: str, body: bytes, heads: Any) -> Reply:
    """Return the reply in ``body``.

    Raises
    ------
    ValueError
        where it was cut off
    """
    if form == TABLE:
        rows = list(csv.DictReader(io.StringIO(body.decode(), newline="")))
        items = [(int(r["index"]), r["id"], int(r["status"])) for r in rows]
        counts = [int(heads[f"Batch-{k}"]) for k in ("Succeeded", "Failed")]
        return Reply(items, *counts, len(items) == sum(counts))
    if form == ARRAY:
        tree = json.loads(body)
        items, summary = [outcome(answer) for answer in tree["items"]], tree["summary"]
    else:
        *lines, last = body.splitlines()
        items, summary = [outcome(json.loads(x)) for x in lines], json.loads(last)["summary"]
    assert summary["total"] == len(items)
    return Reply(items, summary["succeeded"], summary["failed"], summary["complete"])


class Client:
    """A connection on which one batch is asked for."""

    def __init__(self, port: int) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE)

    def begin(self, form: str, body: bytes) -> http.client.HTTPResponse:
        """Send the batch and return its reply, as soon as it begins and is no refusal."""
        for _ in range(PATIENCE):
            self.connection.request("POST", "/v1/batch", body, {"Content-Type": form})
            reply = self.connection.getresponse()
            if reply.status != 503:
                break
            reply.read()
            time.sleep(float(reply.headers["Retry-After"]))
        assert reply.status == 200, reply.read()
        return reply

    def ask(self, form: str, body: bytes) -> Reply:
        """Send the batch and return its whole reply."""
        reply = self.begin(form, body)
        found = understood(form, reply.read(), reply.headers)
        self.connection.close()
        return found


class State(NamedTuple):
    """What gunicorn and all below it hold: that of :class:`deploy.holding.Held`, and files."""

    memory: float
    anonymous: float
    descriptors: int
    processes: int
    files: frozenset[str]
    """In the service's folder of metrics and in its temporary folder, without the counts of workers
    that have ended, which are kept; and semaphores of its processes that have ended, not of another
    service that runs beside it."""


class Subject:
    """A running gunicorn, and how to hurt it."""

    def __init__(self, server: Server, scratch: Path) -> None:
        self.server, self.scratch = server, scratch
        self.ever: set[str] = set()
        """Processes that were seen."""
        self.ended: set[str] = set()
        """Processes that have ended, and whose counts are kept."""
        self.served: set[str] = set()
        """Workers of gunicorn that were ended: no other process may keep counts."""

    def state(self) -> State:
        """Return what is held now."""
        return State(*held(self.server), frozenset(self.files()))

    def files(self) -> set[str]:
        """Return the files of :class:`State`."""
        metrics = Path("/dev/shm", f"stillpipe-metrics-{self.server.server.pid}")  # noqa: S108
        alive = {str(p.pid) for p in family(self.server)}
        found = {str(p) for folder in (metrics, self.scratch) for p in folder.rglob("*")}
        kept = re.compile(rf"{metrics}/(?:counter|histogram)_(\d+)\.db")
        ended = {f for f in found if (m := kept.fullmatch(f)) and m[1] not in alive}
        self.ever |= alive
        semaphores = Path("/dev/shm").glob("sem.stillpipe-*")  # noqa: S108
        found |= {str(p) for p in semaphores if p.name.split("-")[1] in self.ever - alive}
        self.ended = {re.sub(r"\D*(\d+)\.db", r"\1", Path(f).name) for f in ended}
        return found - ended

    def pool(self) -> list[psutil.Process]:
        """Return the processes that compute items: those below the fork servers."""
        workers = self.server.workers()
        found = []
        for worker in workers:
            with suppress(psutil.Error):
                for child in psutil.Process(worker).children():
                    found += child.children()
        return found

    def warm(self) -> None:
        """Let every worker of gunicorn begin its pool."""
        body = Items(32).body(LINES)
        for _ in range(PATIENCE):
            threads = [
                threading.Thread(target=Client(self.server.inner).ask, args=(LINES, body))
                for _ in range(2)
            ]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
            if len(self.pool()) >= 2 * len(self.server.workers()):
                return
        raise AssertionError("not every worker has a pool")

    def spent(self) -> dict[int, float]:
        """Return the processor time that each process of the pools has used [s]."""
        found = {}
        for process in self.pool():
            with suppress(psutil.Error):
                found[process.pid] = process.cpu_times().user
        return found

    def since(self, before: dict[int, float]) -> float:
        """Return what those that live have used since they had spent ``before`` [s]."""
        return sum(spent - before.get(pid, 0.0) for pid, spent in self.spent().items())

    def at_work(self, before: dict[int, float]) -> None:
        """Wait until the pools have begun what was asked when they had spent ``before`` [s]."""
        until(lambda: self.since(before) > 0.1, "the pools are at work")

    def busy(self) -> bool:
        """Return whether the pools use more than a fifth of a core."""
        before = self.spent()
        time.sleep(1.0)
        return self.since(before) > 0.2

    def idle(self) -> float:
        """Wait until the pools do nothing, and return how long that took [s]."""
        begun = time.monotonic()
        while self.busy():
            assert time.monotonic() - begun < PATIENCE, "the work goes on"
        return time.monotonic() - begun - 1.0


@contextmanager
def repeated(begun: Callable[[], None], act: Callable[[], None]) -> Iterator[None]:
    """Do ``act`` after ``begun``, and then again and again meanwhile."""
    ended = threading.Event()

    def go() -> None:
        begun()
        act()
        while not ended.wait(LOOK):
            act()

    thread = threading.Thread(target=go)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def plain(subject: Subject, items: Items) -> None:
    """Answer all three forms."""
    for form in (LINES, ARRAY, TABLE):
        begun = time.monotonic()
        reply = Client(subject.server.inner).ask(form, items.body(form))
        reply.check(items.count)
        assert reply.failed == 0
        print(f"{form}: {items.count / (time.monotonic() - begun):.0f} items/s", flush=True)


def killed_pool(subject: Subject, items: Items, pause: float) -> None:
    """Answer all while processes of the pool are killed."""

    for form in (LINES, ARRAY, TABLE):
        kills: list[int] = []
        before = subject.spent()
        with repeated(partial(subject.at_work, before), partial(kill_one, subject, kills, pause)):
            reply = Client(subject.server.inner).ask(form, items.body(form))
        reply.check(items.count, (200, 500))
        assert kills
        print(f"{form}: {len(kills)} processes killed, {reply.failed} items failed", flush=True)


def kill_one(subject: Subject, killed: list[int], pause: float) -> None:
    """Kill a process of the pool that has worked for ``pause`` [s], and any the first time.

    What gives way to a busy machine would else be killed before it has answered anything.
    """
    for process in subject.pool():
        with suppress(psutil.Error):
            if not killed or process.cpu_times().user > pause:
                process.kill()
                killed.append(process.pid)
                return


def leaving(subject: Subject, items: Items) -> None:
    """Pause in the middle of a reply, and leave in the middle of one of each form."""
    client = Client(subject.server.inner)
    reply = client.begin(LINES, items.body(LINES))
    first = reply.readline()
    time.sleep(3.0)
    understood(LINES, first + reply.read(), reply.headers).check(items.count)
    client.connection.close()
    for form in (LINES, ARRAY, TABLE):
        client, before = Client(subject.server.inner), subject.spent()
        client.connection.request("POST", "/v1/batch", items.body(form), {"Content-Type": form})
        subject.at_work(before)
        client.connection.close()
        if client.connection.sock is not None:
            client.connection.sock.close()
        print(f"{form}: idle {subject.idle():.1f} s after its client left", flush=True)


def killed_server(subject: Subject, items: Items) -> None:
    """Kill the worker that answers: its reply is whole or seen to be cut off; and ask again."""
    body = items.body(LINES)
    client, before = Client(subject.server.inner), subject.spent()
    client.connection.request("POST", "/v1/batch", body, {"Content-Type": LINES})
    subject.at_work(before)
    for worker in subject.server.workers():
        subject.served.add(str(worker))
        os.kill(worker, signal.SIGKILL)
    try:
        reply = client.connection.getresponse()
        understood(LINES, reply.read(), reply.headers).check(items.count)
    except (http.client.HTTPException, ConnectionError, ValueError, KeyError):
        print("cut off by the end of its worker", flush=True)
    client.connection.close()
    Client(subject.server.inner).ask(LINES, body).check(items.count)


def told_to_end(subject: Subject, items: Items, number: signal.Signals) -> None:
    """Send ``number`` in the middle of a reply of each form."""
    for form in (LINES, ARRAY, TABLE):
        body, before = items.body(form), subject.spent()
        with ThreadPoolExecutor(1) as one:
            asked = one.submit(Client(subject.server.inner).ask, form, body)
            subject.at_work(before)
            subject.served |= {str(worker) for worker in subject.server.workers()}
            subject.server.server.send_signal(number)
            reply = asked.result()
        reply.check(items.count, (200, 503))
        print(f"{form}: {number.name}, {reply.failed} of {items.count} to ask again", flush=True)
        if number == signal.SIGTERM:
            subject.server.server.wait(timeout=PATIENCE)
            subject.server.start()


def settled(subject: Subject, before: State) -> State:
    """Wait until all is as ``before``, or as near as it comes, and return what is held."""
    after = subject.state()
    for _ in range(60):
        after = subject.state()
        if (
            after.descriptors <= before.descriptors
            and after.processes == before.processes
            and len(after.files) <= len(before.files)
        ):
            break
        time.sleep(1.0)
    return after


def main(count: int = 10_000, kind: str = "held", grace: int = 15, pause: float = 3.0) -> None:
    """Do all of it to ``count`` items of a ``kind``, and print what was measured."""
    items, few = Items(count, kind), Items(min(count, 1000), kind)
    with tempfile.TemporaryDirectory() as folder:
        settings = ("--graceful-timeout", str(grace))
        server = Server(
            settings, TMPDIR=folder, STILLPIPE_BATCHES="4", STILLPIPE_BATCH_PROCESSES="2"
        )
        with server:
            subject = Subject(server, Path(folder))
            subject.warm()
            plain(subject, few)
            before = settled(subject, subject.state())
            plain(subject, items)
            killed_pool(subject, items, pause)
            leaving(subject, items)
            killed_server(subject, items)
            told_to_end(subject, items, signal.SIGHUP)
            subject.warm()
            plain(subject, few)
            after = settled(subject, before)
            report(before, after)
            # those killed, and those ended by HUP; what computed items keeps no counts
            assert subject.ended, "the counts of workers that ended are kept"
            assert subject.ended <= subject.served, subject.ended - subject.served
            told_to_end(subject, items, signal.SIGTERM)
        left = sorted(str(p) for p in Path(folder).rglob("*"))
        assert left == [], left


def report(before: State, after: State) -> None:
    """Print both states, and hold what must be equal against each other."""
    print(f"memory {before.memory:.0f} MiB before, {after.memory:.0f} MiB after; "
          f"anonymous {before.anonymous:.0f} and {after.anonymous:.0f}")  # fmt: skip
    print(f"descriptors {before.descriptors}, {after.descriptors}; "
          f"processes {before.processes}, {after.processes}; "
          f"files {len(before.files)}, {len(after.files)}")  # fmt: skip
    assert after.processes == before.processes
    assert after.descriptors <= before.descriptors
    assert len(after.files) <= len(before.files), sorted(after.files - before.files)
    assert after.anonymous <= 1.1 * before.anonymous


if __name__ == "__main__":
    main(*(kind(given) for kind, given in zip((int, str), sys.argv[1:], strict=False)))
