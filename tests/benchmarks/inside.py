"""Measures inside one tree: a process of its own that is told what to do, line by line.

    PYTHONPATH=TREE/service python inside.py

Standard output says ``warm`` first. A line on standard input is ``{"task", ...}``, the answer
``{"found"}`` or ``{"failed"}``. Times are CPU seconds of the whole process, so that what others do
on the machine counts as little as can be; a register's are of the clock: its work lies in other
processes.
"""

import gc
import importlib
import importlib.util
import json
import os
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.memory import Watch

JSON = dict[str, Any]


class Tree(Protocol):
    """What is asked of a tree, whatever its modules are called."""

    def warm(self) -> None:
        """Compile and load everything."""

    def answer(self, name: str, body: bytes, form: str) -> bytes:
        """Return the answer of estimate ``name`` to ``body`` as media type ``form``."""

    def point(self, body: JSON) -> Any:
        """Return the freeze point that a plug-time request describes."""

    def closure(self, point: Any) -> float | None:
        """Solve the likely case to closure, its tables and grid made anew."""

    def held(self, point: Any) -> None:
        """Solve the likely case through closure, ready, an hour's hold, survival and thaw."""


class Before:
    """Version 0.2.0."""

    def __init__(self) -> None:
        names = "web.answers web.schemas estimates.course estimates.hold_time estimates.warm"
        self.answers, self.schemas, self.course, self.hold_time, self.warmth = (
            importlib.import_module(f"stillpipe.{name}") for name in names.split()
        )

    def warm(self) -> None:
        self.warmth.warm()

    def answer(self, name: str, body: bytes, form: str) -> bytes:
        found: bytes = self.answers.answer(name, body, form)
        return found

    def point(self, body: JSON) -> Any:
        return self.schemas.asked(self.answers.ESTIMATES["plug-time"].schema.load(body)).job

    def closure(self, point: Any) -> float | None:
        course = self.course
        freeze = importlib.import_module("stillpipe.physics.freeze")
        column = importlib.import_module("stillpipe.physics.column")
        laid = freeze.Column(course.case(point), course.PRODUCTION, 3600.0)
        state = laid.advance(laid.start(), course.LONGEST_FREEZE, column.CLOSED)
        return float(state.clock[column.EVENT]) if state.why == column.CLOSED else None

    def held(self, point: Any) -> None:
        run = self.course.solve(point, self.course.LIKELY, horizon=7200.0)
        if run.ready is not None:
            self.hold_time.follow(point, run, self.course.LIKELY, 3600.0)


class Now:
    """The tree that this file stands in."""

    def __init__(self) -> None:
        names = "api.answers api.inputs.schemas model.requests estimates.solution physics.freeze"
        self.answers, self.schemas, self.requests, self.solution, self.freeze = (
            importlib.import_module(f"stillpipe.{name}") for name in names.split()
        )

    def warm(self) -> None:
        importlib.import_module("stillpipe.server.warm").warm()

    def answer(self, name: str, body: bytes, form: str) -> bytes:
        sheet = ";sheet=fitter" if form == "text/html" else ""
        found: bytes = self.answers.ANSWERS.answer(name, body, form + sheet).body
        return found

    def point(self, body: JSON) -> Any:
        return self.schemas.load(self.requests.PlugTimeRequest, body).request

    def closure(self, point: Any) -> float | None:
        cases = self.solution.Solution(point).cases
        case = cases.case(cases.likely)
        found: float | None = self.freeze.FreezeRun(case, needed_length=0.0).closure
        return found

    def held(self, point: Any) -> None:
        solution = self.solution.Solution(point, 3600.0)
        cases, lost = solution.cases, solution.likely_need / point.safety_factor
        run = self.freeze.FreezeRun(
            cases.case(cases.likely), needed_length=point.bore, needed_grip=solution.likely_need
        )
        if run.ready is not None:
            stopped = run.stop(run.fed_to(run.ready + 3600.0), lost)
            assert stopped.thaw is None or stopped.thaw > 0.0


def spent(work: Callable[[], object]) -> float:
    """Return the CPU time [s] of ``work``."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def estimate(tree: Tree, told: JSON) -> float:
    """Time an answer as JSON, from body to body [s]."""
    body = json.dumps(told["body"]).encode()
    return spent(lambda: tree.answer(told["name"], body, "application/json"))


def form(tree: Tree, told: JSON) -> float:
    """Time what another form of an answer takes beyond the estimate [s].

    The estimate was made before; both are taken again under names of their own.
    """

    def named(name: str) -> bytes:
        return json.dumps(told["body"] | {"id": name}).encode()

    tree.answer(told["name"], named("first"), "application/json")
    second, third = named("second"), named("third")
    plain = spent(lambda: tree.answer(told["name"], second, "application/json"))
    return spent(lambda: tree.answer(told["name"], third, told["form"])) - plain


def closure(tree: Tree, told: JSON) -> float:
    """Time the likely closure [s]."""
    point = tree.point(told["body"])
    return spent(lambda: tree.closure(point))


def held(tree: Tree, told: JSON) -> float:
    """Time the likely freeze, an hour's hold, survival and thaw [s]."""
    point = tree.point(told["body"])
    return spent(lambda: tree.held(point))


def library(tree: Tree, told: JSON) -> float:
    """Time the likely closure by FiPy on the cells of the production grid [s]."""
    warnings.simplefilter("ignore")
    library_2d, freeze = (
        importlib.import_module(name)
        for name in ("reference.library_2d", "stillpipe.physics.freeze")
    )
    point, grid = tree.point(told["body"]), freeze.PRODUCTION
    cases = importlib.import_module("stillpipe.estimates.cases").Cases(point)
    case = cases.case(cases.likely)
    mesh = library_2d.Mesh(grid.radial, 1, grid.axial, grid.stretch)
    horizon = 1.15 * (tree.closure(point) or 0.0)
    return spent(lambda: library_2d.closure(case, mesh, horizon, told["steps"]))


def register(tree: Tree, told: JSON) -> JSON:
    """Have two workers answer a register; return rows a second and the greatest memory [MiB]."""
    pa, pq = importlib.import_module("pyarrow"), importlib.import_module("pyarrow.parquet")
    plan, run = (importlib.import_module(f"stillpipe.register.{m}") for m in ("plan", "run"))
    client_of = importlib.import_module("dask.distributed").Client
    with (
        tempfile.TemporaryDirectory() as folder,
        run.workers_here(2) as cluster,
        client_of(cluster) as client,
    ):
        client.run(type(tree)().warm)
        file = Path(folder) / "register.parquet"
        pq.write_table(pa.Table.from_pylist(told["rows"]), file, row_group_size=100_000)
        watch = Watch(os.getpid())
        watch.start()
        begun = time.perf_counter()
        report = run.run(plan.plan(file, "plug-time", told["part"]), Path(folder) / "a", client)
        seconds = time.perf_counter() - begun
        peak = watch.end()
    assert (report.failed, report.complete) == (0, True)
    return {"rate": report.rows / seconds, "peak": peak}


TASKS: dict[str, Callable[[Tree, JSON], Any]] = {
    "estimate": estimate, "form": form, "closure": closure, "held": held, "library": library,
    "register": register,
}  # fmt: skip


def done(tree: Tree, told: JSON) -> Any:
    """Return what is found by a task.

    ``awake`` is a body for which the same is done just before and not counted, so that caches of
    the processor hold what they do under load.
    """
    task = TASKS[told["task"]]
    if "awake" in told:
        task(tree, told | {"body": told["awake"]})
    return task(tree, told)


def main() -> None:
    """Do what standard input says until it ends."""
    old = importlib.util.find_spec("stillpipe.web") is not None
    tree: Tree = Before() if old else Now()
    answers, sys.stdout = sys.stdout, sys.stderr
    tree.warm()
    gc.collect()
    gc.freeze()
    print("warm", file=answers, flush=True)
    for line in sys.stdin:
        told = json.loads(line)
        try:
            reply = {"found": done(tree, told)}
        except Exception as error:
            reply = {"failed": repr(error)}
        print(json.dumps(reply), file=answers, flush=True)


if __name__ == "__main__":
    main()
