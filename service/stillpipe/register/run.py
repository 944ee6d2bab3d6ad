"""All parts of a register on Dask: what is done is not done again, and what failed is told."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple
from uuid import uuid4

import pyarrow as pa
import pyarrow.parquet as pq
from dask.distributed import Client, LocalCluster, as_completed

from stillpipe import __version__
from stillpipe.register import part as parts
from stillpipe.register.plan import Plan, RegisterError, Slice, claim, convert, done

Told = Callable[[str], None]


@dataclass
class Report:
    """What became of a register: rows by outcome, parts that could not be done."""

    rows: int
    succeeded: int = 0
    failed: int = 0
    kept: int = 0
    """Parts that an earlier run had done."""
    lost: dict[int, str] = field(default_factory=dict)
    """Parts that came to no end, by number, with the reason; a further run tries them again."""

    @property
    def complete(self) -> bool:
        """Whether every row has its answer."""
        return not self.lost


@dataclass
class Progress:
    """How far a register is: rows done of all, and how fast those of this run were."""

    total: int
    kept: int = 0
    """Rows that an earlier run had done."""
    done: int = 0
    """Rows that this run has done."""
    begun: float = field(default_factory=time.monotonic)

    def __str__(self) -> str:
        rate = self.done / max(time.monotonic() - self.begun, 1e-6)
        left = self.total - self.kept - self.done
        return (
            f"{self.kept + self.done} of {self.total} rows, {rate:.3g} rows/s, "
            f"{duration(left / rate)} left"
        )


def duration(seconds: float) -> str:
    """Return ``seconds`` [s] as people say it: 45 s, 12 min, 3.5 h."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


class Work(NamedTuple):
    """Who does the work, what is noted of it, and who is told."""

    client: Client
    report: Report
    tell: Told


def run(planned: Plan, folder: Path, client: Client, tell: Told = lambda _: None) -> Report:
    """Have ``client`` answer what is missing of ``planned`` in ``folder``, which all workers see.

    Raises
    ------
    RegisterError
        where the folder holds something else, or a worker another version
    """
    _same_version(client)
    claim(folder, planned)
    folder = folder.absolute()
    convert(folder, planned)
    missing = [p for p in planned.parts if not done(folder, p)]
    report = Report(planned.rows, kept=len(planned.parts) - len(missing))
    _answer(planned, missing, folder, Work(client, report, tell))
    if report.complete:
        _finish(planned, folder, client)
        _count(planned, folder, report)
    return report


def workers_here(count: int | None) -> LocalCluster:
    """Return ``count`` worker processes of this machine, one for each core where None."""
    return LocalCluster(
        n_workers=count, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0"
    )


def _same_version(client: Client) -> None:
    held = client.run(_version)
    other = {worker: version for worker, version in held.items() if version != __version__}
    if other or not held:
        raise RegisterError(
            f"every worker must have version {__version__}: {other or 'none there'}"
        )


def _version() -> str:
    return __version__


def _answer(planned: Plan, missing: list[Slice], folder: Path, work: Work) -> None:
    """Answer the ``missing`` parts, whichever is done first, and note those that came to no end."""
    progress = Progress(planned.rows, planned.rows - sum(p.rows for p in missing))
    flying = {
        work.client.submit(
            parts.answer, p, planned.estimate, folder, key=f"{uuid4()}", pure=False
        ): p
        for p in missing
    }
    for number, future in enumerate(as_completed(flying), 1):
        ended = flying[future]
        if future.status == "finished":
            progress.done += ended.rows
            work.tell(f"{number} of {len(missing)} parts, {progress}")
        else:
            reason = str(future.exception()) or str(future.status)
            work.report.lost[ended.number] = reason
            work.tell(f"part {ended.number} came to no end: {reason}")
        future.release()


def _finish(planned: Plan, folder: Path, client: Client) -> None:
    """Give every part the same columns, so that the folder reads as one table."""
    schemas = {p: pq.read_schema(folder / p.name).remove_metadata() for p in planned.parts}
    common = pa.unify_schemas(list(schemas.values()))
    narrow = [folder / p.name for p, schema in schemas.items() if schema != common]
    client.gather(client.map(parts.widen, narrow, schema=common, pure=False))
    for left in folder.glob(".part-*"):
        left.unlink()


def _count(planned: Plan, folder: Path, report: Report) -> None:
    for p in planned.parts:
        status = pq.read_table(folder / p.name, columns=["status"], partitioning=None)["status"]
        good = sum(s == 200 for s in status.to_pylist())
        report.succeeded += good
        report.failed += p.rows - good
