"""Room air against version 0.2.0 in one run: times of random rooms, and whether answers are equal.

    python tests/benchmarks/room_air.py

The yardstick is taken from the project's history into a temporary folder. Both are run in turns, in
processes of their own, on the same rooms of a fixed seed; a room is answered once, interpreter and
compiled code loaded before.
"""

import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
YARDSTICK = "b42ce88"
"""The commit of version 0.2.0."""
SEGMENTS = (1, 2, 3, 5, 8)
MOST_SEGMENTS = 50
TURNS = 3


def measure(rooms: int) -> None:
    """Answer ``rooms`` random rooms and three of 50 segments; print times [ms] and answers."""
    from stillpipe.estimates import ventilation  # noqa: PLC0415 - of the tree that is measured
    from stillpipe.web import site  # noqa: PLC0415

    chance = random.Random(20260117)

    def drawn(count: int) -> tuple[ventilation.Room, tuple[ventilation.Segment, ...]]:
        place = ventilation.Room(
            10 ** chance.uniform(0.5, 4.0),
            chance.choice([0.0, 10 ** chance.uniform(-5.0, -2.0)]),
            chance.uniform(255.0, 320.0),
            chance.choice([0.0, 420e-6, 1e-3]),
            chance.choice(["OSHA", "NIOSH", "EH40"]),
        )
        return place, tuple(
            ventilation.Segment(
                chance.choice([0.0, 10 ** chance.uniform(-6.0, -1.5)]),
                10 ** chance.uniform(0.5, 4.5),
            )
            for _ in range(count)
        )

    cases = [drawn(chance.choice(SEGMENTS)) for _ in range(rooms)]
    cases += [drawn(MOST_SEGMENTS) for _ in range(3)]
    ventilation.ventilation(*cases[0])
    times, answers = [], []
    for place, segments in cases:
        begun = time.perf_counter()
        outcome = ventilation.ventilation(place, segments)
        times.append(1e3 * (time.perf_counter() - begun))
        answers.append([outcome.verdict, site.air(outcome, "si"), site.air(outcome, "us")])
    json.dump({"ms": times, "answers": answers}, sys.stdout)


def run(tree: Path, rooms: int) -> dict[str, list[float]]:
    """Measure the ``tree`` in a process of its own."""
    done = subprocess.run(
        [sys.executable, str(Path(__file__)), "measure", str(rooms)],
        env={**os.environ, "PYTHONPATH": str(tree / "service")},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    found: dict[str, list[float]] = json.loads(done.stdout)
    return found


def main(rooms: int = 200, turns: int = TURNS) -> None:
    """Run the benchmark on ``rooms`` random rooms, both versions in ``turns``."""
    with tempfile.TemporaryDirectory() as folder:
        packed = Path(folder, "yardstick.tar")
        subprocess.run(["git", "archive", "-o", packed, YARDSTICK, "service"], cwd=ROOT, check=True)
        subprocess.run(["tar", "-xf", packed, "-C", folder], check=True)
        pairs = [(run(Path(folder), rooms), run(ROOT, rooms)) for _ in range(turns)]
    equal = sum(a == b for a, b in zip(pairs[0][0]["answers"], pairs[0][1]["answers"], strict=True))
    print(f"{equal} of {rooms + 3} answers are equal to those of the yardstick")
    for name, part in (("random rooms", slice(0, rooms)), ("50 segments", slice(rooms, None))):
        old, new = (
            statistics.median(statistics.median(pair[i]["ms"][part]) for pair in pairs)
            for i in (0, 1)
        )
        print(f"{name:14s} {old:9.3f} ms -> {new:7.3f} ms, ratio {old / new:.1f}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["measure"]:
        measure(int(sys.argv[2]))
    else:
        main()
