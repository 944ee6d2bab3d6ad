"""A register on Dask: rows a second on one worker and on two, and a million rows, in one run.

    python tests/benchmarks/register_rate.py [ROWS [MANY]]

``ROWS`` plug-time rows over the whole pipe catalogue, no two alike, are estimated by one worker and
then by two, each a process here; the workers are warmed before. Then ``MANY`` rows of which many
are equal but for their name, by two, with the greatest sum of unique set sizes of the scheduler and
its workers. Everything is invented.
"""

import itertools
import os
import random
import sys
import tempfile
import time
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
from dask.distributed import Client

from stillpipe.estimates import warm
from stillpipe.register import plan, run
from stillpipe.tables import pipes

sys.path.insert(0, str(Path(__file__).parents[1]))
from benchmarks.batch_rate import Watch


def questions(chosen: list[pipes.Pipe], celsius: list[float], bar: list[float]) -> pa.Table:
    """Return a register of ``chosen`` pipes, each with its water temperature and pressure."""
    return pa.table(
        {
            "id": [str(i) for i in range(len(chosen))],
            "pipe.standard": [p.standard for p in chosen],
            "pipe.size": [p.size for p in chosen],
            "pipe.schedule": [p.schedule for p in chosen],
            "fluid.temperature [degC]": celsius,
            "ambient.temperature [degC]": [20.0] * len(chosen),
            "line_pressure [bar]": bar,
        }
    )


def pipes_of(count: int) -> pa.Table:
    """Return ``count`` different questions of plug-time."""
    chosen = list(itertools.islice(itertools.cycle(pipes.catalogue()), count))
    return questions(chosen, [10.0 + 15.0 * i / count for i in range(count)], [3.0] * count)


def standard_pipes_of(count: int) -> pa.Table:
    """Return ``count`` questions as an operator's register has them: few conditions, many pipes."""
    draw = random.Random(1)
    return questions(
        draw.choices(pipes.catalogue(), k=count),
        draw.choices((6.0, 12.0, 20.0, 35.0), k=count),
        draw.choices((3.0, 6.0), k=count),
    )


def measure(table: pa.Table, estimate: str, workers: int) -> tuple[float, float]:
    """Return rows a second and the greatest memory [MiB] of a register."""
    with (
        tempfile.TemporaryDirectory() as folder,
        run.workers_here(workers) as cluster,
        Client(cluster) as client,
    ):
        client.run(warm.warm)
        pq.write_table(table, f"{folder}/register.parquet", row_group_size=100_000)
        watch = Watch(os.getpid())  # the scheduler is a thread of this process
        watch.start()
        begun = time.perf_counter()
        planned = plan.plan(Path(f"{folder}/register.parquet"), estimate, 2000)
        report = run.run(planned, Path(folder) / "answers", client)
        seconds = time.perf_counter() - begun
        watch.ended = True
        assert (report.succeeded, report.failed, report.complete) == (len(table), 0, True)
    return len(table) / seconds, watch.peak / 2**20


def main(rows: int = 20_000, many: int = 1_000_000) -> None:
    """Run the benchmark and print it."""
    table = pipes_of(rows)
    one, _ = measure(table, "plug-time", 1)
    two, peak = measure(table, "plug-time", 2)
    print(f"{rows} rows: {one:.0f} rows/s on one worker, {two:.0f} on two, {two / one:.2f} x")
    print(f"peak of two workers: {peak:.0f} MiB")
    rate, peak = measure(standard_pipes_of(many), "plug-time", 2)
    print(f"{many} rows of few kinds: {many / rate:.0f} s, {rate:.0f} rows/s, peak {peak:.0f} MiB")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
