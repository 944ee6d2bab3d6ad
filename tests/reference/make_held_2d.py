"""Solves freeze, hold and thaw explicitly and writes ``held_2d.csv``, which runs are held to.

    PYTHONPATH=service:tests python tests/reference/make_held_2d.py [--jobs 2] [--resume] [case ...]

Explicit steps, a wall with cells across it and short axial cells as in ``explicit_2d``, on two
meshes from which a converged figure is extrapolated at second order; water and room at 20 C, 50 %
humidity, 3 bar. Rows are written as their pipes are done, some 17 minutes of one core for all;
``--resume`` solves only pipes that the table lacks, names of cases only those. How far the finer
mesh's figure is from the coarser one's [-] stands beside it. A figure is left out where it does not
come: no plug yet, or not ready within ``LONGEST_FEED``.
"""

import argparse
import csv
import sys
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import replace
from pathlib import Path

import numpy as np

from reference import explicit_2d
from reference.cases_held_2d import CASES, PRESSURE, Held
from reference.explicit_2d import CLOSED, LOST, READY, THAWED, TIME, Explicit, Mesh
from reference.problem_2d import Array

TABLE = Path(__file__).parent / "held_2d.csv"
HOLD = 3600.0
"""From ready to the coolant's stop [s]."""
SAFETY, ADHESION = 2.0, 0.28e6
"""Safety factor [-] and adhesion with full bond [Pa]."""
LONGEST_FEED, LONGEST = 14400.0, 172800.0
"""A pipe is fed this long [s], at least to the hold's end, and a stop followed this long."""
ABOUT = 0.07
"""Share of the time on both sides of it, over which the history is read there [-]."""
LATEST_FROST, EDGE = 7200.0, 2.5
"""Frost is waited for as long [s]; on metal on axial cells as many times as short [-]."""
FEW = 10
"""Rows of history too few for a parabola."""
MINUTES = (15, 30, 60, 120, 240)
"""After the first feed, when the plug's length is noted."""
SLENDER = 0.010
"""A bore narrower than this [m] has three quarters of the rings: its steps are short."""

FIGURES = (
    "closure", "frost", "ready", "ready_rated", *(f"plug_length_{m}" for m in MINUTES),
    "plug_length", "grip", "survival_at_closure", "survival_at_ready", "survival", "thaw", "heat",
    "heat_jacket",
)  # fmt: skip
"""Times [s], from the first feed or from the coolant's stop: ``ready`` at 3 bar, ``ready_rated`` at
the pipe's rating or 16 bar; survival at closure without pressure, else at 3 bar, and ``survival``
and ``thaw`` after the hold. Lengths [m]: ``plug_length`` and ``grip`` at the hold's end. Heat of
the whole pipe until then [J]: ``heat`` through its whole surface, ``heat_jacket`` under the
jacket."""

HEADERS = ("case", "figure", "coarse", "fine", "extrapolated", "apart")
Figures = dict[str, float | None]


def yield_grip(held: Held, pressure: float = PRESSURE) -> float:
    """Grip below which ``pressure`` [Pa] pushes the plug out [m]."""
    return pressure * held.pipe.inside_diameter / (4.0 * ADHESION)


def meshes(held: Held) -> tuple[Mesh, Mesh]:
    """Return the two meshes."""
    coarse, fine = explicit_2d.COARSE, explicit_2d.FINE
    if held.pipe.inside_diameter < SLENDER:
        coarse, fine = (Mesh(3 * m.bore // 4, m.wall, m.finer) for m in (coarse, fine))
    return coarse, fine


def _after(column: Explicit, stop: int, grip: float = 0.0) -> float | None:
    """Time from the coolant's stop to an event [s]."""
    begun = column.time
    event = column.to(stop, begun + LONGEST, grip, fed=False)
    return None if event is None else event - begun


def early(held: Held, mesh: Mesh) -> Figures:
    """Return what hangs on closure and ready, on a mesh with twice the rings.

    How long a fresh plug lasts is decided by the first film that melts at the wall, thinner than
    a ring.
    """
    column = Explicit(held.physics, replace(mesh, bore=2 * mesh.bore))
    found: Figures = {"closure": column.to(CLOSED, LONGEST_FEED)}
    if found["closure"] is not None:
        found["survival_at_closure"] = _after(column.copy(), LOST)
        bore, needed = held.pipe.inside_diameter, SAFETY * yield_grip(held)
        found["ready"] = column.to(READY, LONGEST_FEED, needed, bore)
    if found.get("ready") is not None:
        found["survival_at_ready"] = _after(column, LOST, yield_grip(held))
    return found


def late(held: Held, mesh: Mesh) -> Figures:
    """Return what comes of a hold, and the plug's length by the time."""
    column, bore = Explicit(held.physics, mesh), held.pipe.inside_diameter
    closure = column.to(CLOSED, LONGEST_FEED)
    ready = column.to(READY, LONGEST_FEED, SAFETY * yield_grip(held), bore)
    if closure is None or ready is None:
        return {}
    found: Figures = {}
    end, rated = ready + HOLD, SAFETY * yield_grip(held, held.rated)
    able = column.to(READY, end, rated, bore)
    column.to(TIME, end)
    found["grip"] = column.lengths[1]
    found["heat_jacket"], beside = column.heat
    found["heat"] = found["heat_jacket"] + beside
    stopped = column.copy()
    found["survival"] = _after(stopped, LOST, yield_grip(held))
    lasted = stopped.time - column.time
    rest = _after(stopped, THAWED)
    found["thaw"] = None if rest is None else lasted + rest
    if able is None:
        able = column.to(READY, LONGEST_FEED, rated, bore)
    column.to(TIME, (1.0 + ABOUT) * max(LONGEST_FEED, end))
    if able is not None:
        found["ready_rated"] = reached(column.history, closure, able, rated, bore)
    found["plug_length"] = length(column.history, closure, end)
    for m in MINUTES:
        if m * 60.0 > closure:
            found[f"plug_length_{m}"] = length(column.history, closure, m * 60.0)
    return found


def frost(held: Held, mesh: Mesh) -> float | None:
    """When there is frost beside the jacket [s], on a mesh with twice the rings and shorter cells.

    Along the pipe its temperature bends at the jacket's edge, across the bore at the wall.
    """
    metal = held.case.wall_conductivity > explicit_2d.INSULATING
    finer = EDGE * mesh.finer if metal else mesh.finer
    column = Explicit(held.physics, replace(mesh, bore=2 * mesh.bore, finer=finer))
    while column.frost is None and column.time < LATEST_FROST:
        column.to(TIME, column.time + 60.0)
    return column.frost


def solved(held: Held, mesh: Mesh) -> Figures:
    """Return every figure on one mesh, None where it does not come."""
    found = dict.fromkeys(FIGURES) | late(held, mesh) | early(held, mesh)
    return found | {"frost": frost(held, mesh)}


def _about(history: Array, closure: float, time: float, values: Array) -> tuple[Array, Array]:
    """Times about ``time`` [s], counted from it, and ``values`` of the history then."""
    near = np.abs(history[:, 0] - time) <= min(ABOUT * time, time - closure)
    return history[near, 0] - time, values[near]


def length(history: Array, closure: float, time: float) -> float:
    """Length of the plug at ``time`` [s] from a parabola through the history about it [m].

    As its end passes from one axial cell to the next the length goes forth in little steps.
    """
    at, near = _about(history, closure, time, history[:, 1])
    if len(at) < FEW:
        return float(np.interp(time, history[:, 0], history[:, 1]))
    return float(np.polynomial.Polynomial.fit(at, near, 2)(0.0))


def reached(history: Array, closure: float, time: float, grip: float, bore: float) -> float:
    """When a plug has the ``grip`` and the length of one ``bore`` [m], near ``time`` [s]."""
    value = np.minimum(history[:, 2] / grip, history[:, 3] / bore) - 1.0
    at, near = _about(history, closure, time, value)
    if len(at) < FEW:
        return time
    roots = (np.polynomial.Polynomial.fit(at, near, 2)).roots()
    real = roots.real[np.abs(roots.imag) < 1e-9]
    return time + float(real[np.argmin(np.abs(real))]) if len(real) else time


def rows(held: Held) -> list[dict[str, str]]:
    """Return the table's rows of a case."""
    begun = time.process_time()
    coarse, fine = (solved(held, mesh) for mesh in meshes(held))
    made = []
    for figure in FIGURES:
        a, b = coarse[figure], fine[figure]
        values = [""] * 4
        if a is not None and b is not None:
            best = b + (b - a) / explicit_2d.GAIN
            values = [*(f"{v:.6g}" for v in (a, b, best)), f"{b / a - 1.0:.5f}"]
        made.append(dict(zip(HEADERS, (held.name, figure, *values), strict=True)))
    print(f"{held.name}: {time.process_time() - begun:.0f} s", file=sys.stderr, flush=True)
    return made


def _kept() -> dict[str, list[dict[str, str]]]:
    """Rows that the table has, by case."""
    kept: dict[str, list[dict[str, str]]] = {}
    if TABLE.exists():
        with TABLE.open(newline="") as file:
            for row in csv.DictReader(file):
                kept.setdefault(row["case"], []).append(row)
    return {name: r for name, r in kept.items() if tuple(x["figure"] for x in r) == FIGURES}


def _write(kept: dict[str, list[dict[str, str]]]) -> None:
    """Write the table, cases in their order."""
    with TABLE.open("w", newline="") as file:
        writer = csv.DictWriter(file, HEADERS, lineterminator="\n")
        writer.writeheader()
        for held in CASES:
            writer.writerows(kept.get(held.name, []))


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--resume", action="store_true", help="keep pipes that are there")
    parser.add_argument("case", nargs="*", help="names of pipes, all by default")
    asked = parser.parse_args()
    kept = _kept() if asked.resume or asked.case else {}
    names = asked.case or [held.name for held in CASES]
    done_before = kept if asked.resume else {}
    todo = [held for held in CASES if held.name in names and held.name not in done_before]
    with ProcessPoolExecutor(asked.jobs) as pool:
        for done in as_completed([pool.submit(rows, held) for held in todo]):
            made = done.result()
            kept[made[0]["case"]] = made
            _write(kept)


if __name__ == "__main__":
    main()
