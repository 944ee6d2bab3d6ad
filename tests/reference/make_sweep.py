"""Solves drawn jobs on a fine grid and writes ``sweep.csv``, which the production grid is held to.

    PYTHONPATH=service:tests python tests/reference/make_sweep.py

Every pipe of the catalogue, and 79 drawn jobs for each of two seeds: pipe, temperatures, jacket,
direction and insulation. Takes some ten minutes.
"""

import csv
import random
from collections.abc import Iterator
from pathlib import Path

from reference import closing
from reference.cases_2d import Named, of
from stillpipe.physics import freeze
from stillpipe.physics.column.work import Work
from stillpipe.tables import pipes

TABLE = Path(__file__).parent / "sweep.csv"
FINE = freeze.Grid(axial=12, radial=32, eta=0.006, stretch=1.16, tolerance=0.1)
SEEDS = (1, 2)
DRAWN = 79


def drawn(seed: int) -> Iterator[Named]:
    """Draw ``DRAWN`` jobs."""
    draw, catalogue = random.Random(seed), pipes.catalogue()
    for n in range(DRAWN):
        pipe = draw.choice(catalogue)
        case = of(
            pipe, draw.uniform(1.0, 35.0), room=draw.uniform(2.0, 38.0),
            jacket=(0.025 + pipe.outside_diameter) * draw.uniform(0.6, 2.5),
            conductance=draw.uniform(110.0, 250.0), vertical=draw.random() < 0.5,
            insulation=draw.choice([0.0, 0.0, 0.013, 0.025]),
        )  # fmt: skip
        yield Named(f"seed {seed} no {n}", case)


def plain() -> Iterator[Named]:
    """Every pipe of the catalogue, water and room at 20 C."""
    for pipe in pipes.catalogue():
        yield Named(f"{pipe.standard} {pipe.size} {pipe.schedule}", of(pipe))


def swept() -> list[Named]:
    """Every case of the table."""
    return [*plain(), *(named for seed in SEEDS for named in drawn(seed))]


def errors(cases: list[Named], fine: dict[str, float | None]) -> dict[str, float]:
    """Relative error of the production grid's closure [-], of cases that close."""
    found = {}
    for named in cases:
        reference, closure = fine[named.name], closing.closure_only(named.case, freeze.PRODUCTION)
        if reference is not None:
            found[named.name] = 1.0 if closure is None else closure / reference - 1.0
    return found


def main() -> None:
    """Write the table."""
    with TABLE.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("case", "closure_s"))
        for named in swept():
            time = closing.closure_only(named.case, FINE, Work(10**12))
            writer.writerow((named.name, "" if time is None else f"{time:.3f}"))


if __name__ == "__main__":
    main()
