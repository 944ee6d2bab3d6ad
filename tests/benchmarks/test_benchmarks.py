"""Every benchmark still runs, on as little as it takes; what it measures is not judged here."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent
BRIEF = {
    "batch_rate": ("b.main((8, 8, 16))", r"text/csv: +16 jobs: \d+ jobs/s"),
    "closure_time": ("b.REPEATS = 1; b.main(90)", r"closure .* ratio \d.*\nwhole .* ratio \d"),
    "register_rate": ("b.main(6, 12)", r"12 rows of few kinds: \d+ s, \d+ rows/s, peak \d+ MiB"),
    "request_rate": ("b.main(2, 10)", r"cold +\d+ requests/s, \d\.\d+ x bare"),
    "solve_time": (
        "b.COMPARED = b.COMPARED[:1]; b.LIBRARY_STEPS = 12; b.main(60)", r"FiPy .* ratio \d+"
    ),
}  # fmt: skip


def test_every_benchmark_is_run() -> None:
    found = {f.stem for f in FOLDER.glob("*.py") if "\ndef main(" in f.read_text()}
    assert found == set(BRIEF)


@pytest.mark.server
@pytest.mark.parametrize("name", BRIEF)
def test_a_benchmark_runs_and_prints_its_figures(name: str) -> None:
    call, printed = BRIEF[name]
    run = subprocess.run(
        [sys.executable, "-c", f"from benchmarks import {name} as b; {call}"],
        cwd=FOLDER.parent, capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr[-3000:]
    assert re.search(printed, run.stdout), run.stdout
