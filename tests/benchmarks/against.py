"""This tree against version 0.2.0, both measured in one run and in turns: prints one table.

    python tests/benchmarks/against.py [--quick | --share SHARE] [--rows NAME,NAME] [--tree OTHER]

The commit of 0.2.0 is checked out beside the tree, into a folder of its own that goes afterwards.
Each tree has processes of its own; a sample of one is followed by the same sample of the other, the
first in every second pair the second. A row states the median of the pairs' ratios with the least
and the greatest, and the medians of both aside. Cold: a pipe that the process has never seen, the
tables of what fills it and its grid included; compiled code and interpreter are loaded before.
"""

import argparse
import io
import json
import os
import random
import statistics
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "service")]

from benchmarks import jobs, serving  # noqa: E402

YARDSTICK = "b42ce88"
"""The commit of version 0.2.0."""
JSON = dict[str, Any]


class Inside:
    """A process that measures inside one tree."""

    def __init__(self, tree: Path) -> None:
        """Start it, with a single thread of BLAS as the service has it.

        With a new tree its solver is compiled first.
        """
        self._process = subprocess.Popen(
            [sys.executable, str(HERE / "inside.py")],
            env=os.environ | {"PYTHONPATH": str(tree / "service"), "OPENBLAS_NUM_THREADS": "1"},
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip

    def __enter__(self) -> Self:
        """Wait until it is warm."""
        if self._read() != "warm\n":
            raise SystemExit("a tree cannot be measured")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:  # fmt: skip
        self._process.communicate()

    def _read(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline()

    def found(self, task: str, **told: Any) -> Any:
        """Return what was found by ``task``."""
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(told | {"task": task}) + "\n")
        self._process.stdin.flush()
        reply = json.loads(self._read())
        if "failed" in reply:
            raise SystemExit(f"{task}: {reply['failed']}")
        return reply["found"]


class Pair(NamedTuple):
    """The same measured before, on version 0.2.0, and now, on this tree."""

    before: Any
    now: Any

    def each(self, measure: Callable[[Any], Any], turn: int) -> "Pair":
        """Return ``measure`` of both, this tree first in every odd ``turn``."""
        if turn % 2:
            now = measure(self.now)
            return Pair(measure(self.before), now)
        before = measure(self.before)
        return Pair(before, measure(self.now))


@dataclass
class Row:
    """A row of the table: ``pairs`` of samples in ``unit``, of which more or less is better."""

    what: str
    unit: str
    pairs: list[Pair] = field(default_factory=list)
    more: bool = False
    sides: tuple[str, str] = ("0.2.0", "this tree")

    def __str__(self) -> str:
        if not self.pairs:
            return f"| {self.what} | - | - | - |"
        ratios = [p.now / p.before if self.more else p.before / p.now for p in self.pairs]
        before, now = (statistics.median(side) for side in zip(*self.pairs, strict=True))
        ratio = f"{statistics.median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f})"
        aside = f"{self.sides[0]} {before:.3g}, {self.sides[1]} {now:.3g} {self.unit}"
        return f"| {self.what} | {ratio} | {len(ratios)} | {aside} |"


@dataclass(frozen=True)
class Bench:
    """The two trees, a process inside each, and how much is measured."""

    trees: Pair
    inside: Pair
    quick: bool
    share: float

    def many(self, whole: int) -> int:
        """Return how many samples to take of the ``whole``; two where it is a quick look."""
        return 2 if self.quick else max(2, round(self.share * whole))

    def cold(self, what: str, task: str, make: jobs.Maker, count: int, **told: Any) -> Row:
        """Return a row of times [ms] of ``task``, each body new to both processes."""
        row = Row(what, "ms")
        draw = random.Random(what)
        for turn in range(-1, self.many(count)):
            bodies = {"awake": make(draw), "body": make(draw)}
            pair = self.inside.each(
                lambda process, bodies=bodies: 1e3 * process.found(task, **bodies, **told), turn
            )
            if turn >= 0:
                row.pairs.append(pair)
        return row


def closure(bench: Bench) -> Iterator[Row]:
    """Yield the row of closure."""
    yield bench.cold("closure, likely, cold", "closure", jobs.plug_time, 200)


def held(bench: Bench) -> Iterator[Row]:
    """Yield the row of a freeze, its hold and its thaw."""
    yield bench.cold("freeze, 60 min hold, thaw, likely, cold", "held", jobs.plug_time, 100)


def plug_time(bench: Bench) -> Iterator[Row]:
    """Yield the row of a plug-time answer."""
    yield bench.cold(
        "plug-time, body to body, cold", "estimate", jobs.plug_time, 200, name="plug-time"
    )


def job(bench: Bench) -> Iterator[Row]:
    """Yield the row of a whole job."""
    yield bench.cold("whole job, body to body, cold", "estimate", jobs.job, 60, name="job-estimate")


def room(bench: Bench) -> Iterator[Row]:
    """Yield the row of a room's air."""
    yield bench.cold("room air, body to body", "estimate", jobs.ventilation, 60, name="ventilation")


def pictures(bench: Bench) -> Iterator[Row]:
    """Yield the rows of what is drawn."""
    for what, name, make, form in (
        ("picture of plug-time, beyond the estimate", "plug-time", jobs.plug_time, "image/svg+xml"),
        ("picture of a job, beyond the estimate", "job-estimate", jobs.job, "image/svg+xml"),
        ("sheet of a job, beyond the estimate", "job-estimate", jobs.job, "text/html"),
    ):
        yield bench.cold(what, "form", make, 10, name=name, form=form)


def library(bench: Bench) -> Iterator[Row]:
    """Yield the row of a general library on the same cells."""
    row = Row("closure by FiPy on the cells of this tree", "ms", sides=("FiPy", "this tree"))
    steps, draw = 12 if bench.quick else 120, random.Random(7)
    for _ in range(bench.many(5)):
        body = jobs.plug_time(draw)
        theirs = bench.inside.now.found("library", body=body, steps=steps)
        ours = bench.inside.now.found("closure", body=body)
        row.pairs.append(Pair(1e3 * theirs, 1e3 * ours))
    yield row


def start(bench: Bench) -> Iterator[Row]:
    """Yield the row of starting with a warm cache of compiled code."""
    row = Row("start to ready, warm cache", "s")
    for turn in range(bench.many(5)):
        row.pairs.append(bench.trees.each(_started, turn))
    yield row


def _started(tree: Path) -> float:
    with serving.Server(tree) as server:
        return server.start


def repeated(bench: Bench) -> Iterator[Row]:
    """Yield the rows of one body asked again and again, each tree against a bare endpoint."""
    body, count = serving.repeated(), 20 if bench.quick else 400
    with ExitStack() as stack:
        bare = stack.enter_context(serving.Server(ROOT, "bare:create_app()"))
        for what, tree in zip(("0.2.0", "this tree"), bench.trees, strict=True):
            server = stack.enter_context(serving.Server(tree))
            row = Row(
                f"repeated request, {what} over a bare endpoint", "requests/s", more=True,
                sides=("bare", what),
            )  # fmt: skip
            both = Pair(bare, server)
            for turn in range(-1, bench.many(15)):
                pair = both.each(lambda asked: asked.rate(body, count), turn)
                if turn >= 0:
                    row.pairs.append(pair)
            yield row


def batch(bench: Bench) -> Iterator[Row]:
    """Yield the row of batches over HTTP, on all cores."""
    count = 16 if bench.quick else 500
    row = Row("batch of plug-time lines over HTTP, all cores", "jobs/s", more=True)
    with serving.Server(bench.trees.before) as before, serving.Server(bench.trees.now) as now:
        for turn in range(-1, bench.many(3)):
            pair = Pair(before, now).each(
                lambda server, turn=turn: server.batch("application/x-ndjson", count, turn)[0], turn
            )
            if turn >= 0:
                row.pairs.append(pair)
    yield row


def memory(bench: Bench) -> Iterator[Row]:
    """Yield the rows of the memory that a long batch takes, against a short one."""
    few, many = (8, 16) if bench.quick else (1000, 10_000)
    for what, tree in (("this tree", bench.trees.now), ("0.2.0", bench.trees.before)):
        for form in serving.FORMS:
            row = Row(
                f"memory, {many} over {few} jobs, {form}, {what}", "MiB", more=True,
                sides=(str(few), str(many)),
            )  # fmt: skip
            with serving.Server(tree) as server:
                server.batch(form, few, 1)
                short = server.batch(form, few, 2)[1]
                row.pairs.append(Pair(short, server.batch(form, many, 3)[1]))
            yield row


def register(bench: Bench) -> Iterator[Row]:
    """Yield the row of a register of rows no two alike."""
    count = 8 if bench.quick else 2000
    row = Row("register, rows no two alike, two workers", "rows/s", more=True)
    for turn in range(bench.many(3)):
        rows = list(jobs.register(count, turn))
        row.pairs.append(bench.inside.each(_registered(rows), turn))
    yield row


def register_alike(bench: Bench) -> Iterator[Row]:
    """Yield the rows of a long register of few kinds, and of its memory."""
    count = 16 if bench.quick else 200_000
    rate = Row(f"register, {count} rows of few kinds, two workers", "rows/s", more=True)
    peak = Row("the same, memory of scheduler and workers", "MiB")
    rows = list(jobs.alike(count, 1))
    found = bench.inside.each(lambda p: p.found("register", rows=rows, part=2000), 0)
    rate.pairs.append(Pair(found.before["rate"], found.now["rate"]))
    peak.pairs.append(Pair(found.before["peak"], found.now["peak"]))
    yield from (rate, peak)


def _registered(rows: list[JSON]) -> Callable[[Inside], float]:
    def measure(process: Inside) -> float:
        rate: float = process.found("register", rows=rows, part=500)["rate"]
        return rate

    return measure


ROWS: Mapping[str, Callable[[Bench], Iterator[Row]]] = {
    "closure": closure, "held": held, "plug-time": plug_time, "job": job, "room": room,
    "pictures": pictures, "library": library, "start": start, "repeated": repeated,
    "batch": batch, "memory": memory, "register": register, "register-alike": register_alike,
}  # fmt: skip


def check_out(commit: str, folder: Path) -> Path:
    """Unpack ``commit`` of this repository into ``folder`` and return it."""
    packed = subprocess.run(
        ["git", "-C", str(ROOT), "archive", commit], capture_output=True, check=True
    ).stdout
    with tarfile.open(fileobj=io.BytesIO(packed)) as archive:
        # Python before 3.11.4 has no filters
        filters = {"filter": "data"} if hasattr(tarfile, "data_filter") else {}
        archive.extractall(folder, **filters)  # noqa: S202 - of this repository's own history
    return folder


def main(arguments: list[str] | None = None) -> None:
    """Measure the rows that are asked for and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])  # type: ignore[union-attr]
    parser.add_argument("--quick", action="store_true", help="as little as it takes to run")
    parser.add_argument("--rows", help=f"of {', '.join(ROWS)}; all where not given")
    parser.add_argument("--share", type=float, default=1.0, help="of the usual samples (1)")
    parser.add_argument("--tree", type=Path, help="0.2.0, or another tree, already checked out")
    given = parser.parse_args(arguments)
    names = given.rows.split(",") if given.rows else list(ROWS)
    if unknown := set(names) - set(ROWS):
        parser.error(f"no such row: {', '.join(sorted(unknown))}")
    with ExitStack() as stack:
        beside = given.tree and given.tree.resolve()
        if beside is None:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
            beside = check_out(YARDSTICK, folder)
        inside = Pair(*(stack.enter_context(Inside(tree)) for tree in (beside, ROOT)))
        bench = Bench(Pair(beside, ROOT), inside, given.quick, given.share)
        print("| what | ratio: median (least to greatest) | pairs | medians |", flush=True)
        print("|---|---|---|---|", flush=True)
        for name in names:
            for row in ROWS[name](bench):
                print(row, flush=True)
        load = ", ".join(f"{x:.1f}" for x in os.getloadavg())
        print(f"\nload of the machine at the end: {load}; {os.cpu_count()} cores")


if __name__ == "__main__":
    main()
