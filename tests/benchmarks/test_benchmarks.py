"""The benchmark still runs, on as little as it takes; what it measures is not judged here."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from benchmarks import against

COMMAND = Path(__file__).with_name("against.py")

RATIO = r"\d+\.\d\d \(-?\d+\.\d\d to \d+\.\d\d\)"
PRINTED = {
    "closure": r"closure, likely, cold", "held": r"freeze, 60 min hold, thaw, likely, cold",
    "plug-time": r"plug-time, body to body, cold", "job": r"whole job, body to body, cold",
    "room": r"room air, body to body", "pictures": r"sheet of a job, beyond the estimate",
    "library": r"closure by FiPy on the cells of this tree", "start": r"start to ready, warm cache",
    "repeated": r"repeated request, this tree over a bare endpoint",
    "batch": r"batch of plug-time lines over HTTP, all cores",
    "memory": r"memory, 16 over 8 jobs, text/csv, this tree",
    "register": r"register, rows no two alike, two workers",
    "register-alike": r"register, 16 rows of few kinds, two workers",
}  # fmt: skip


def test_every_row_is_run() -> None:
    assert set(PRINTED) == set(against.ROWS)


@pytest.fixture(scope="module")
def yardstick(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Version 0.2.0, checked out once: compiling it takes most of the time."""
    return against.check_out(against.YARDSTICK, tmp_path_factory.mktemp("0.2.0"))


ALL = os.environ.get("STILLPIPE_TEST_BENCHMARKS") == "all"
"""Whether rows that serve or run registers are run too, which takes minutes."""
SLOW = pytest.mark.skipif(not ALL, reason="takes minutes: bash deploy/long.sh times")


@pytest.mark.server
@pytest.mark.parametrize(
    "rows",
    [
        "closure,held,plug-time,job,room,pictures,library",
        pytest.param("start,repeated,batch,memory", marks=SLOW),
        pytest.param("register,register-alike", marks=SLOW),
    ],
)
def test_rows_print_their_ratios(rows: str, yardstick: Path) -> None:
    run = subprocess.run(
        [sys.executable, COMMAND, "--quick", "--tree", yardstick, "--rows", rows],
        capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr[-3000:]
    for name in rows.split(","):
        pattern = rf"\| {re.escape(PRINTED[name])} \| {RATIO} \| \d+ \|"
        assert re.search(pattern, run.stdout), run.stdout
