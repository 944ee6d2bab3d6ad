"""Solves cases of ``cases_2d`` with FiPy on two meshes and writes ``library_2d.csv``.

    PYTHONPATH=service:tests python tests/reference/make_library_2d.py

Takes about a quarter of an hour. Cases that the table has already are not solved again: remove it
to begin anew. Steps grow with the square of the cells, so that the errors in time and in space both
fall at second order, and Richardson extrapolation serves for both.
"""

import csv
import warnings
from pathlib import Path

from reference import closing, library_2d
from reference.cases_2d import CASES, Named
from reference.library_2d import Mesh
from stillpipe.physics import freeze

MESHES = ((Mesh(8, 2, 7, 1.25), 200), (Mesh(12, 2, 10, 1.20), 450))
CHOSEN = [CASES[i] for i in (1, 8, 12, 18, 5, 20, 23, 25, 24)]
"""Copper, steel, stainless steel and plastics, a pipe that stands, an insulated one."""
TABLE = Path(__file__).parent / "library_2d.csv"


def horizon(named: Named) -> float:
    """Return how far to solve [s]: a third beyond what the production grid says."""
    closure = closing.closure_only(named.case, freeze.PRODUCTION)
    assert closure is not None
    return round(1.3 * closure, 0)


def row(named: Named) -> dict[str, str]:
    """Solve one case on both meshes."""
    case, end = named.case, horizon(named)
    coarse, fine = (library_2d.closure(case, mesh, end, steps) for mesh, steps in MESHES)
    ratio = (MESHES[1][0].bore / MESHES[0][0].bore) ** 2
    best = fine + (fine - coarse) / (ratio - 1.0)
    return {
        "case": named.name, "horizon_s": f"{end:.0f}", "coarse_s": f"{coarse:.2f}",
        "fine_s": f"{fine:.2f}", "extrapolated_s": f"{best:.2f}",
    }  # fmt: skip


def main() -> None:
    """Write the table."""
    warnings.simplefilter("ignore")
    kept: set[str] = set()
    if TABLE.exists():
        with TABLE.open(newline="") as file:
            kept = {row["case"] for row in csv.DictReader(file)}
    with TABLE.open("a", newline="") as file:
        heads = ("case", "horizon_s", "coarse_s", "fine_s", "extrapolated_s")
        writer = csv.DictWriter(file, heads, lineterminator="\n")
        if not kept:
            writer.writeheader()
        for named in CHOSEN:
            if named.name not in kept:
                writer.writerow(row(named))
                file.flush()


if __name__ == "__main__":
    main()
