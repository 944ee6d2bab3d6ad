"""Closure and whole freezes against version 0.2.0 in one run, pipe by pipe, in CPU time.

    python tests/benchmarks/closure_time.py

Version 0.2.0 is unpacked beside the tree by ``git archive``. Both versions run in a process of
their own and take turns: each pipe of the catalogue is solved by one, then by the other. Times are
cold: tables of the medium and grid included, compiled code loaded before. Water at 20 C in a room
at 20 C.
"""

import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

ROOT = Path(__file__).parents[2]
YARDSTICK = "b42ce88"
"""The commit of version 0.2.0."""
REPEATS = 5

SERVE = """
import sys, time
closure, whole, count = prepare()
closure(0), whole(0)
print(count, flush=True)
for line in sys.stdin:
    kind, index = line.split()
    solve, best = {"closure": closure, "whole": whole}[kind], 1e9
    for _ in range(%d):
        begun = time.process_time()
        found = solve(int(index))
        best = min(best, time.process_time() - begun)
    print(best, found, flush=True)
"""

OLD = """
def prepare():
    from stillpipe.estimates import course, hold_time
    from stillpipe.estimates.job import Freeze
    from stillpipe.physics import column, freeze, media
    from stillpipe.tables import fluids, materials, pipes

    jobs = [
        Freeze(p.outside_diameter, p.wall, materials.find(p.material), fluids.find("water"), 0.0,
               293.15, 293.15, 3e5, 0.025 + p.outside_diameter)
        for p in pipes.catalogue()
    ]

    def closure(i):
        media.water.cache_clear()
        laid = freeze.Column(course.case(jobs[i]), course.PRODUCTION, 3600.0)
        return laid.advance(laid.start(), course.LONGEST_FREEZE, column.CLOSED).clock[5]

    def whole(i):
        media.water.cache_clear()
        run = course.solve(jobs[i], course.LIKELY, horizon=7200.0)
        return hold_time.follow(jobs[i], run, course.LIKELY, 3600.0).thaw if run.ready else 0.0

    return closure, whole, len(jobs)
"""

NEW = """
def prepare():
    from reference.cases_2d import of
    from stillpipe.physics import freeze
    from stillpipe.tables import pipes

    found = pipes.catalogue()

    def closure(i):
        return freeze.closure_only(of(found[i]), freeze.PRODUCTION)

    def whole(i):
        case = of(found[i])
        need = max(3e5 * 2.0 * case.bore / (4.0 * 0.28e6), case.bore)
        run = freeze.FreezeRun(case, needed_length=need, horizon=7200.0)
        if run.ready is None:
            return 0.0
        return run.stop(run.fed_to(run.ready + 3600.0), 0.25 * 3e5 * case.bore / 0.28e6).thaw

    return closure, whole, len(found)
"""


@contextmanager
def version(tree: Path, prepare: str) -> Iterator[tuple["subprocess.Popen[str]", int]]:
    """Start a version in a process of its own; yield it and how many pipes it knows."""
    path = f"{tree / 'service'}:{ROOT / 'tests'}"
    process = subprocess.Popen(
        [sys.executable, "-c", prepare + SERVE % REPEATS],
        env={"PYTHONPATH": path, "PATH": "/usr/bin:/bin"}, text=True,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip
    try:
        yield process, int(_stream(process.stdout).readline())
    finally:
        _stream(process.stdin).close()
        process.wait()


def _stream(stream: IO[str] | None) -> IO[str]:
    if stream is None:
        raise OSError("the process has no pipe")
    return stream


def ask(process: "subprocess.Popen[str]", kind: str, index: int) -> float:
    """Return the CPU time [ms] of one solve."""
    print(kind, index, file=_stream(process.stdin), flush=True)
    return 1e3 * float(_stream(process.stdout).readline().split()[0])


def main(every: int = 1) -> None:
    """Run the benchmark on every ``every``-th pipe of the catalogue."""
    with tempfile.TemporaryDirectory() as folder:
        archive = subprocess.run(
            ["git", "archive", YARDSTICK, "service"], cwd=ROOT, check=True, capture_output=True
        )
        subprocess.run(["tar", "-x", "-C", folder], input=archive.stdout, check=True)
        with version(Path(folder), OLD) as (old, count), version(ROOT, NEW) as (new, _):
            for kind in ("closure", "whole"):
                pairs = [(ask(old, kind, i), ask(new, kind, i)) for i in range(0, count, every)]
                before, after = (statistics.median(side) for side in zip(*pairs, strict=True))
                ratio = statistics.median(a / b for a, b in pairs)
                print(f"{kind:8s} 0.2.0 {before:.3f} ms, now {after:.3f} ms, ratio {ratio:.2f}")


if __name__ == "__main__":
    main()
