"""Solve times over the whole catalogue, and against a general library on the same grid, in one run.

    python tests/benchmarks/solve_time.py

Water at 20 C in a room at 20 C. Times are cold: each solve makes the tables of its medium, lays its
own grid and starts from the warm pipe; compiled code and interpreter are loaded before. Each pipe
is solved five times and its median counts. The accuracy that goes with the grid is checked by
``tests/reference/test_independent_2d.py``.
"""

import statistics
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path

from stillpipe.errors import OutOfValidityError
from stillpipe.estimates import course, hold_time, plug_time, warm
from stillpipe.estimates.job import Freeze
from stillpipe.physics import freeze
from stillpipe.tables import fluids, materials, pipes

sys.path.insert(0, str(Path(__file__).parents[1]))
from reference import explicit_2d, library_2d
from reference.explicit_2d import Mesh

REPEATS = 5
COMPARED = (("ASTM B88", "1/2", "L"), ("ASME B36.10M", "1/2", "40"), ("ASME B36.10M", "2", "40"))
LIBRARY_STEPS = 120
"""Equal steps of the general library to 1.15 x closure: its error stays about 1 %."""


def job(pipe: pipes.Pipe) -> Freeze:
    """Return the freeze of one pipe of the catalogue."""
    return Freeze(
        outside_diameter=pipe.outside_diameter, wall=pipe.wall,
        material=materials.find(pipe.material), fluid=fluids.find("water"), concentration=0.0,
        fluid_temperature=293.15, ambient_temperature=293.15, line_pressure=3e5,
        jacket_length=0.025 + pipe.outside_diameter,
    )  # fmt: skip


def closure(which: Freeze) -> float:
    """Solve the likely case to closure on the production grid; return the time of closure [s]."""
    time = freeze.closure_only(course.case(which), freeze.PRODUCTION)
    if time is None:
        raise ValueError("the case does not close")
    return time


def whole(which: Freeze) -> None:
    """Solve the likely case through closure, ready, an hour's hold, survival and thaw."""
    run = course.solve(which, course.LIKELY, horizon=7200.0)
    hold_time.follow(which, run, course.LIKELY, 3600.0)


def estimate(which: Freeze) -> None:
    """Answer plug-time: three courses, flow limit, drivers, history."""
    plug_time.plug_time(which)


def timed(work: Callable[[Freeze], object], jobs: list[Freeze], repeats: int) -> list[float]:
    """Return the median time of ``work`` on each job [ms]."""
    found = []
    for which in jobs:
        spent = []
        for _ in range(repeats):
            begun = time.perf_counter()
            work(which)
            spent.append(1e3 * (time.perf_counter() - begun))
        found.append(statistics.median(spent))
    return found


def report(name: str, times: list[float]) -> None:
    """Print the spread of times [ms]."""
    ranked = sorted(times)
    print(
        f"{name:34s} median {statistics.median(ranked):7.3f} ms, 95 % "
        f"{ranked[int(0.95 * (len(ranked) - 1))]:7.3f} ms, worst {ranked[-1]:7.3f} ms"
        f" ({len(ranked)} pipes)"
    )


def compare() -> None:
    """Print the ratio to FiPy on the same cells, and both errors against the converged answer."""
    warnings.simplefilter("ignore")
    mesh = Mesh(freeze.PRODUCTION.radial, 1, freeze.PRODUCTION.axial, freeze.PRODUCTION.stretch)
    for designation in COMPARED:
        which = job(pipes.find(*designation))
        ours = closure(which)
        best, _ = explicit_2d.converged(course.case(which), 1.4 * ours)
        mine = statistics.median(timed(closure, [which], 21))
        begun = time.perf_counter()
        theirs = library_2d.closure(course.case(which), mesh, 1.15 * ours, LIBRARY_STEPS)
        spent = 1e3 * (time.perf_counter() - begun)
        print(
            f"{' '.join(designation):34s} {mine:.3f} ms ({ours / best - 1:+.2%}), FiPy "
            f"{spent:.0f} ms ({theirs / best - 1:+.2%}), ratio {spent / mine:.0f}"
        )


def main(every: int = 1) -> None:
    """Run the benchmark on every ``every``-th pipe of the catalogue."""
    warm.warm()
    jobs = []
    for pipe in pipes.catalogue()[::every]:
        try:
            course.check(job(pipe))
        except OutOfValidityError:
            continue
        jobs.append(job(pipe))
    timed(closure, jobs, 1)
    report("closure, likely case", timed(closure, jobs, REPEATS))
    report("freeze, 60 min hold, thaw", timed(whole, jobs, 1))
    report("plug-time estimate with range", timed(estimate, jobs, 1))
    report(
        "hold-time estimate with range", timed(lambda j: hold_time.hold_time(j, 3600.0), jobs, 1)
    )
    compare()


if __name__ == "__main__":
    main()
