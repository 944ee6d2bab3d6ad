"""What a field app does on a poor line: ``python tests/deploy/poor_line.py [ROUNDS]``.

Starts gunicorn behind nginx and asks for ROUNDS rounds (50) from several apps at once, each with an
address of its own. Their lines end in the middle of a request or a reply, by closing or by a reset,
deliver in pieces, or are given up after a random time; the apps ask again with the same body, ask
for those items of a batch alone that they have not got, and send the same twice at once.

Every answer that arrives whole is equal to the one other answer to that body, by whatever way it
was asked (alone, in an array, in lines); no item is lost; what is refused says when to ask again.
No server logs an error. When all have left, nothing is computed any more, and files, descriptors
and processes are where they were after the rounds that warm, a fifth more of them; so is memory,
where there are enough.
"""

import json
import os
import re
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

import requests

sys.path.insert(0, str(Path(__file__).parents[1]))

from deploy import district
from deploy.apps import App
from deploy.batch_endurance import State, Subject, settled
from deploy.ledger import Ledger, canonical
from deploy.lines import Request
from deploy.stack import PATIENCE, Stack, until

PROCESSES = 2
"""Of a worker's batches."""
TELLING = 20
"""Rounds that are enough; in fewer, memory still grows by what answers take at first."""
COMPUTED = "stillpipe_solver_units_total"


class Asked(NamedTuple):
    """What an app wants to know in a round."""

    alone: list[Request]
    wrong: Request
    lines: list[dict[str, Any]]
    array: Request


def single(path: str, tree: dict[str, Any], name: str) -> Request:
    """``tree`` as a request for one estimate."""
    return Request(path, canonical(tree), name)


def wanted(number: int, app: int, items: int) -> Asked:
    """Jobs and freezes; two apps each ask the same, so that answers of all workers meet."""
    first = 1000 * number + 100 * (app // 2)
    freezes = [
        {"estimate": "plug-time", "request": district.freeze(first + n)} for n in range(items)
    ]
    wrong = district.freeze(first) | {"line_pressure": district.quantity(-3, "bar")}
    return Asked(
        [
            single("/v1/job-estimate", district.job(first), f"job-{first}"),
            single("/v1/plug-time", district.freeze(first), f"freeze-{first}"),
        ],
        single("/v1/plug-time", wrong, f"wrong-{first}"),
        freezes,
        Request("/v1/batch", canonical(freezes[:4]), f"array-{first}"),
    )


def use(app: App, number: int, asked: Asked) -> Counter[str]:
    """Ask for everything, in any order; return what happened."""
    acts = [
        *(partial(app.settle, request) for request in asked.alone),
        partial(app.settle, asked.wrong, 422),
        partial(app.settle, asked.array),
        partial(app.resume, asked.lines, f"lines-{number}"),
        partial(app.twice, asked.alone[0]),
    ]
    app.chance.shuffle(acts)
    for act in acts:
        act()
    assert all(app.ledger.has(r.path.encode() + r.body) for r in (*asked.alone, asked.array))
    return app.tally


@dataclass
class Town:
    """The apps that ask a service, and what became of it all."""

    stack: Stack
    apps: int
    items: int
    """Of a batch."""
    ledger: Ledger = field(default_factory=Ledger)
    tally: Counter[str] = field(default_factory=Counter)
    rounds: int = 0

    def play(self) -> None:
        """Let all apps do a round at once."""
        number = self.rounds

        def one(n: int) -> Counter[str]:
            chance = Random(f"poor-line/{number}/{n}")
            app = App(self.stack.outer, f"127.1.{number % 250}.{n + 1}", self.ledger, chance)
            return use(app, number, wanted(number, n, self.items))

        with ThreadPoolExecutor(self.apps) as pool:
            for tally in pool.map(one, range(self.apps)):
                self.tally += tally
        self.rounds += 1
        print(f"round {number}: {self.tally['requests']} requests so far", flush=True)

    def warm(self, subject: Subject, rounds: int) -> None:
        """Play ``rounds`` at least, until every worker has all processes of its batches."""
        while self.rounds < rounds or len(subject.pool()) < PROCESSES * len(self.stack.workers()):
            self.play()


def counted(stack: Stack, name: str, labels: str = "") -> float:
    """The sum of the service's own counter over those of its series that have ``labels``."""
    page = requests.get(f"http://127.0.0.1:{stack.inner}/metrics", timeout=PATIENCE).text
    found = re.findall(rf"^{name}(?:\{{(.*)\}})? (\S+)$", page, re.MULTILINE)
    return sum(float(value) for series, value in found if labels in series)


def quiet(stack: Stack) -> None:
    """Wait until the service computes nothing more, though callers have left in the middle."""

    def still() -> bool:
        before = counted(stack, COMPUTED)
        time.sleep(1.0)
        return counted(stack, COMPUTED) == before

    until(still, "nothing is computed any more")


def logged(stack: Stack) -> Counter[int]:
    """How many requests had which status, by the proxy's own log."""
    lines = (stack.folder / "access.log").read_text().splitlines()
    return Counter(json.loads(line)["status"] for line in lines)


def accounted(stack: Stack, tally: Counter[str]) -> None:
    """Hold what the apps got against what the proxy and the service say they answered."""
    assert tally["whole answers"] + tally["cut off"] == tally["requests"]
    for what in ("request cut", "reply cut", "timed out", "in pieces"):
        assert tally[f"fault: {what}"], "it happened"
    assert tally["batches resumed"], "some came in parts"
    statuses = logged(stack)
    print(f"the proxy's log: {dict(sorted(statuses.items()))}")
    assert set(statuses) <= {200, 400, 408, 422, 429, 499, 503}, statuses
    assert statuses[503] + statuses[429] >= tally["refused 503"] + tally["refused 429"]
    assert counted(stack, "stillpipe_requests_total", 'status="500"') == 0
    answered = counted(stack, "stillpipe_requests_total", 'method="POST"')
    assert answered >= tally["whole answers"] - tally["refused 429"] - tally["refused 503"]
    items = counted(stack, "stillpipe_batch_items_total", 'outcome="succeeded"')
    assert items >= tally["items of batches"]
    left = [p for p in stack.folder.glob("stillpipe-nginx-*/**/*") if p.is_file()]
    assert left == [], "files of the proxy"


def same(before: State, after: State, telling: bool) -> None:
    """Print both states, and hold what must be equal; memory where it is ``telling``."""
    for name in ("processes", "descriptors", "memory", "anonymous"):
        print(f"{name}: {getattr(before, name):.0f} before, {getattr(after, name):.0f} after")
    print(f"files: {len(before.files)} before, {len(after.files)} after")
    assert after.processes == before.processes
    assert after.descriptors <= before.descriptors
    assert len(after.files) <= len(before.files), sorted(after.files - before.files)
    assert not telling or after.anonymous <= 1.1 * before.anonymous, "memory grows"


@contextmanager
def overheard(file: Path) -> Iterator[None]:
    """Write to ``file`` what the servers that are started meanwhile log, and show it at the end."""
    kept = os.dup(2)
    try:
        with file.open("wb") as out:
            os.dup2(out.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        sys.stderr.write(file.read_text())


def untroubled(file: Path) -> None:
    """Hold that no line of the servers' log in ``file`` is an error: callers who leave are none."""
    bad = re.compile(r'"level": "error"|\[(?:ERROR|CRITICAL)\]')
    errors = [line for line in file.read_text().splitlines() if bad.search(line)]
    assert errors == []


def main(rounds: int = 50, apps: int = 6, items: int = 12) -> None:
    """Do so many rounds beyond those that warm, and print what was measured."""
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as scratch:
        log = Path(folder, "servers.log")
        stack = Stack(
            Path(folder), TMPDIR=scratch, STILLPIPE_TRUSTED_PROXIES="1", STILLPIPE_BATCHES="4",
            STILLPIPE_BATCH_PROCESSES=str(PROCESSES),
        )  # fmt: skip
        with overheard(log), stack:
            subject, town = Subject(stack, Path(scratch)), Town(stack, apps, items)
            town.warm(subject, max(1, rounds // 5))
            quiet(stack)
            before = settled(subject, subject.state())
            for _ in range(rounds):
                town.play()
            quiet(stack)
            after = settled(subject, before)
            for what, count in sorted(town.tally.items()):
                print(f"{what}: {count}")
            ledger = town.ledger
            print(f"{ledger.answers} answers to {len(ledger)} questions, {ledger.repeated} of them "
                  "answered more than once, none differently")  # fmt: skip
            accounted(stack, town.tally)
            same(before, after, rounds >= TELLING)
        untroubled(log)
        left = sorted(str(p) for p in Path(scratch).rglob("*"))
        assert left == [], left
    print(f"{town.rounds} rounds of {apps} apps, {town.rounds - rounds} of them to warm, in "
          f"{time.monotonic() - begun:.0f} s")  # fmt: skip


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
