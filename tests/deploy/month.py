"""A dispatcher's month: ``python tests/deploy/month.py [JOBS]``.

Starts gunicorn behind nginx and asks for JOBS whole jobs (50,000) of an invented district, day by
day: a batch in the morning of what is booked, then calls from several desks at once: new jobs, the
same once more, and jobs in which something changed. Workers are replaced (HUP) in the middle of a
day every week, and the service is stopped and started between days halfway.

Every answer is kept by its digest: equal bodies get equal bytes whichever worker answers, before
and after it was replaced, at once or weeks later; an item of a batch gets what it alone would.
Every job that was asked is accounted for, by what came and by the service's own counters.
"""

import http.client
import json
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from statistics import median, quantiles
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

from deploy import district
from deploy.holding import Held, held
from deploy.ledger import Ledger, canonical
from deploy.poor_line import counted
from deploy.stack import PATIENCE, Stack

DAYS = 22
"""Working days of a month."""
WEEK = 5
MORNING = 0.3
"""Of a day's jobs, so many are in the morning's batch."""
AGAIN, CHANGED = 0.25, 0.2
"""Of the calls, so many repeat one of before, and so many change one."""
DESKS = 4
"""Dispatchers who ask at once."""
REFUSED = {429, 503}


class Call(NamedTuple):
    """A job that is asked about: its number, and which change to it."""

    number: int
    change: int = 0

    @property
    def body(self) -> bytes:
        """What is sent for it, the same bytes every time."""
        return canonical(district.job(*self))


@dataclass
class Month:
    """What is asked on which day; drawn once, from the number of jobs alone."""

    jobs: int
    days: int = DAYS
    chance: Random = field(default_factory=lambda: Random(f"month/{district.SEED}"))
    known: list[Call] = field(default_factory=list)
    """All that were asked before."""
    kinds: Counter[str] = field(default_factory=Counter)

    def day(self, day: int) -> tuple[list[Call], list[Call]]:
        """The morning's batch and the calls of day number ``day``."""
        count = self.jobs * (day + 1) // self.days - self.jobs * day // self.days
        morning = [self._new("booked") for _ in range(round(MORNING * count))]
        return morning, [self._call() for _ in range(count - len(morning))]

    def _new(self, kind: str) -> Call:
        self.kinds[kind] += 1
        call = Call(len(self.known))
        self.known.append(call)
        return call

    def _call(self) -> Call:
        kind = self.chance.random()
        if not self.known or kind >= AGAIN + CHANGED:
            return self._new("new")
        one = self.chance.choice(self.known)
        if kind < AGAIN:
            self.kinds["again"] += 1
            return one
        self.kinds["changed"] += 1
        changed = one._replace(change=one.change + 1)
        self.known.append(changed)
        return changed


@dataclass
class Desk:
    """A dispatcher's connection to the proxy, kept open as long as it lasts."""

    stack: Stack
    ledger: Ledger
    tally: Counter[str] = field(default_factory=Counter)
    times: list[float] = field(default_factory=list)
    """From a question to its whole answer [s]."""

    def __post_init__(self) -> None:
        self.connection = http.client.HTTPConnection(
            "127.0.0.1", self.stack.outer, timeout=PATIENCE
        )

    def post(self, path: str, body: bytes, form: str) -> bytes:
        """Ask until there is an answer; its body."""
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            try:
                self.connection.request("POST", path, body, {"Content-Type": form})
                reply = self.connection.getresponse()
                answer = reply.read()
            except (http.client.HTTPException, OSError):
                self.tally["broken off"] += 1
                self.connection.close()
                time.sleep(0.05)
                continue
            if reply.status not in REFUSED:
                assert reply.status == 200, (reply.status, answer[:2000])
                return answer
            self.tally[f"refused {reply.status}"] += 1
            time.sleep(float(reply.headers["Retry-After"]))
        raise AssertionError("never answered")

    def call(self, call: Call) -> None:
        """Ask about one job and keep the answer."""
        body, begun = call.body, time.perf_counter()
        answer = self.post("/v1/job-estimate", body, "application/json")
        self.times.append(time.perf_counter() - begun)
        tree = json.loads(answer)
        assert tree["id"] == json.loads(body)["id"], "the answer to another job"
        self.ledger.note(body, answer)
        self.ledger.note(b"item" + body, canonical(tree))
        self.tally["single"] += 1

    def morning(self, calls: list[Call]) -> None:
        """Ask about a day's bookings in one batch, and for what was not reached once more."""
        left = calls
        while left:
            body = b"\n".join(b'{"estimate":"job-estimate","request":%s}' % c.body for c in left)
            answer = self.post("/v1/batch", body, "application/x-ndjson")
            *lines, last = map(json.loads, answer.splitlines())
            assert [x["index"] for x in lines] == list(range(len(left)))
            summary = last["summary"]
            assert summary["complete"]
            assert summary["total"] == len(left) == summary["succeeded"] + summary["failed"]
            again = []
            for call, line in zip(left, lines, strict=True):
                if line["status"] == 503:
                    again.append(call)
                    continue
                assert line["status"] == 200, line
                assert line["result"]["id"] == line["id"], "the answer to another item"
                self.ledger.note(b"item" + call.body, canonical(line["result"]))
                self.tally["in a batch"] += 1
            left = again


@dataclass
class Office:
    """The desks, the service they ask, and what is read of it day by day."""

    stack: Stack
    ledger: Ledger = field(default_factory=Ledger)
    samples: list[Held] = field(default_factory=list)
    served: Counter[str] = field(default_factory=Counter)
    """By the counters of services that were stopped."""

    def __post_init__(self) -> None:
        self.desks = [Desk(self.stack, self.ledger) for _ in range(DESKS)]

    def day(self, morning: list[Call], calls: list[Call], replaced: bool) -> None:
        """Ask about everything of a day, and replace all workers in its middle or not."""
        self.desks[0].morning(morning)
        left, half, lock = iter(calls), len(calls) // 2, threading.Lock()
        place = iter(range(len(calls)))

        def sit(desk: Desk) -> None:
            while True:
                with lock:
                    call = next(left, None)
                    if call is not None and next(place) == half and replaced:
                        self.stack.server.send_signal(signal.SIGHUP)
                if call is None:
                    return
                desk.call(call)

        with ThreadPoolExecutor(DESKS) as pool:
            list(pool.map(sit, self.desks))
        self.samples.append(held(self.stack))

    def close(self) -> None:
        """Close all connections."""
        for desk in self.desks:
            desk.connection.close()

    def count(self) -> None:
        """Add what the service says that it answered, before it is stopped."""
        self.served["single"] += int(
            counted(self.stack, "stillpipe_requests_total",
                    'route="/v1/job-estimate",status="200"')
        )  # fmt: skip
        self.served["in a batch"] += int(
            counted(self.stack, "stillpipe_batch_items_total", 'outcome="succeeded"')
        )
        for status in ("500", "504", "507"):
            assert not counted(self.stack, "stillpipe_requests_total", f'status="{status}"')

    @property
    def tally(self) -> Counter[str]:
        """What came to all desks."""
        return sum((desk.tally for desk in self.desks), Counter())


def summary(office: Office, month: Month, seconds: float) -> None:
    """Print what was asked, what came, how fast and in how much memory."""
    times = [t for desk in office.desks for t in desk.times]
    print(f"{month.jobs} jobs in {seconds:.0f} s, {month.jobs / seconds:.1f} a second: "
          f"{dict(month.kinds)}")  # fmt: skip
    print(f"came: {dict(office.tally)}; by the service's counters: {dict(office.served)}")
    print(f"one job: median {1e3 * median(times):.1f} ms, p99 "
          f"{1e3 * quantiles(times, n=100)[98]:.1f} ms, longest {max(times):.2f} s")  # fmt: skip
    ledger = office.ledger
    print(f"{ledger.answers} answers to {len(ledger)} questions, {ledger.repeated} of them "
          "answered more than once, none differently")  # fmt: skip
    for name in ("memory", "anonymous"):
        values = [getattr(s, name) for s in office.samples]
        print(f"{name} (PSS) after a day: first {values[0]:.0f} MiB, median {median(values):.0f}, "
              f"most {max(values):.0f}, last {values[-1]:.0f}")  # fmt: skip


def accounted(office: Office, month: Month) -> None:
    """Hold what was asked, what came and what the service counted against each other."""
    came, kinds = office.tally, month.kinds
    assert came["single"] + came["in a batch"] == month.jobs == kinds.total()
    assert came["in a batch"] == kinds["booked"]
    # what broke off after the service had counted it was asked, and counted, again
    more = {what: office.served[what] - came[what] for what in ("single", "in a batch")}
    assert 0 <= more["single"] <= came["broken off"]
    assert 0 <= more["in a batch"] <= came["broken off"] * kinds["booked"]
    assert all(office.ledger.has(b"item" + call.body) for call in month.known), "a job is lost"


def main(jobs: int = 50_000, days: int = DAYS) -> None:
    """Live through the month, and print what was measured."""
    month = Month(jobs, days)
    with (
        tempfile.TemporaryDirectory() as folder,
        Stack(Path(folder)) as stack,
        closing(Office(stack)) as office,
    ):
        begun = time.monotonic()
        for day in range(days):
            office.day(*month.day(day), replaced=day % WEEK == WEEK // 2)
            print(f"day {day}: {dict(office.tally)}, {office.samples[-1].memory:.0f} MiB "
                  f"after {time.monotonic() - begun:.0f} s", flush=True)  # fmt: skip
            if day == days // 2:
                office.count()
                stack.stop()
                stack.start()
        office.count()
        summary(office, month, time.monotonic() - begun)
        accounted(office, month)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
