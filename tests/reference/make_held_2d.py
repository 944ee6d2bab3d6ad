"""Solves freeze, hold and thaw explicitly and writes ``held_2d.csv``, which runs are held to.

    PYTHONPATH=service:tests python tests/reference/make_held_2d.py

Explicit steps and a wall with cells across it as in ``explicit_2d``, on two meshes from which a
converged figure is extrapolated at second order; nine pipes, water and room at 20 C, 3 bar. Takes
some ten minutes.
"""

import csv
from collections.abc import Iterator
from pathlib import Path

from reference import explicit_2d
from reference.cases_2d import Named, of
from stillpipe.physics import freeze
from stillpipe.tables import pipes

TABLE = Path(__file__).parent / "held_2d.csv"
FINE = explicit_2d.Mesh(18, 3, 15, 1.20 ** (2.0 / 3.0))
"""One and a half times as fine as ``explicit_2d.COARSE``."""
GAIN = 1.5**2 - 1.0
"""Differences of the two meshes over what the finer one misses, at second order [-]."""
HOLD = 3600.0
"""From ready to the coolant's stop [s]."""
PRESSURE, SAFETY, ADHESION = 3e5, 2.0, 0.28e6
"""Line pressure [Pa], safety factor [-] and adhesion [Pa]."""
LONGEST = 86400.0
FIGURES = ("closure", "ready", "survival_at_closure", "survival", "thaw", "heat", "plug_length")
"""Times [s], ``survival`` and ``thaw`` after the hold; ``heat`` through the surface of the whole
pipe until then [J]; ``plug_length`` then [m]."""

HEADS = ("case", "figure", "coarse", "fine", "extrapolated")


def cases() -> Iterator[Named]:
    """Yield the pipes."""
    for standard, size, schedule in (
        ("ASTM B88", "1/2", "L"), ("ASTM B88", "1", "L"), ("ASTM B88", "2", "L"),
        ("ASME B36.10M", "1/2", "40"), ("ASME B36.10M", "1", "40"), ("ASME B36.10M", "2", "40"),
        ("ASME B36.19M", "1/2", "10S"), ("ASTM F876", "3/4", "SDR 9"), ("ASTM D1785", "2", "40"),
    ):  # fmt: skip
        yield Named(f"{standard} {size} {schedule}", of(pipes.find(standard, size, schedule)))


def needed_length(case: freeze.Case) -> float:
    """Bonded length that carries the pressure with the safety factor, at least one bore [m]."""
    return max(SAFETY * yield_length(case), case.bore)


def yield_length(case: freeze.Case) -> float:
    """Bonded length below which the pressure pushes the plug out [m]."""
    return PRESSURE * case.bore / (4.0 * ADHESION)


def solved(case: freeze.Case, mesh: explicit_2d.Mesh) -> dict[str, float]:
    """Return every figure on one mesh."""
    column = explicit_2d.Explicit(case, mesh, 7200.0)
    closure, drawn = column.to(explicit_2d.CLOSED, LONGEST)
    early = column.copy()
    more, grown = column.to(explicit_2d.READY, LONGEST, 0.5 * needed_length(case))
    held = column.to(explicit_2d.TIME, HOLD)[1]
    length = column.sound_length
    late = column.copy()
    return {
        "closure": closure,
        "ready": closure + more,
        "survival_at_closure": early.to(explicit_2d.LOST, LONGEST, fed=False)[0],
        "survival": late.to(explicit_2d.LOST, LONGEST, 0.5 * yield_length(case), fed=False)[0],
        "thaw": column.to(explicit_2d.THAWED, LONGEST, fed=False)[0],
        "heat": 2.0 * (drawn + grown + held),
        "plug_length": length,
    }


def rows() -> Iterator[dict[str, str]]:
    """Yield the table's rows."""
    for named in cases():
        coarse = solved(named.case, explicit_2d.COARSE)
        fine = solved(named.case, FINE)
        for figure in FIGURES:
            best = fine[figure] + (fine[figure] - coarse[figure]) / GAIN
            values = (coarse[figure], fine[figure], best)
            yield dict(zip(HEADS, (named.name, figure, *(f"{v:.6g}" for v in values)), strict=True))


def main() -> None:
    """Write the table."""
    with TABLE.open("w", newline="") as file:
        writer = csv.DictWriter(file, HEADS, lineterminator="\n")
        writer.writeheader()
        for row in rows():
            writer.writerow(row)
            file.flush()


if __name__ == "__main__":
    main()
