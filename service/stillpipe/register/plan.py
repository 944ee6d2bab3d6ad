"""The parts of a register, and the file that says what an output folder is the answer to."""

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from stillpipe import __version__
from stillpipe.api.problems import RequestError
from stillpipe.api.registry import ENDPOINTS
from stillpipe.register import source as sources
from stillpipe.server.tables import heads

STATE = "_register.json"
"""Says what a folder is the answer to; readers of Parquet pass over names that begin so."""
MOST, LEAST = 2000, 10
"""Most and least rows of a part where nobody says how many."""
PARTS = 8
"""Parts for each worker, at least: none is idle for long, and what is done is seen."""


class RegisterError(ValueError):
    """The register or the folder cannot be used; nothing was estimated."""


@dataclass(frozen=True)
class Slice:
    """Rows of one row group of one file: the ``number``-th part, first row ``first`` of all.

    A file that is named without a folder lies beside the answers.
    """

    number: int
    file: str
    group: int
    offset: int
    rows: int
    first: int

    @property
    def name(self) -> str:
        """The name of its answer."""
        return f"part-{self.number:06d}.parquet"


@dataclass(frozen=True)
class Plan:
    """All parts of a register, and the ``estimate`` that is asked for where no column says."""

    estimate: str | None
    parts: tuple[Slice, ...]
    state: dict[str, Any]
    tables: tuple[tuple[Path, str], ...] = ()
    """What is no Parquet yet, and the file beside the answers that it becomes."""

    @property
    def rows(self) -> int:
        """How many rows the register has."""
        return sum(p.rows for p in self.parts)


def files_of(source: Path) -> list[Path]:
    """Return the files of ``source``, itself or those in it, in order of their names.

    In a folder Parquet files and tables (CSV, XLSX) count.

    Raises
    ------
    RegisterError
        where there are none
    """
    if source.is_file():
        return [source]
    found = sorted(
        p
        for p in source.glob("*")
        if p.name[0] not in "._~" and (p.suffix == ".parquet" or sources.is_table(p))
    )
    if not found:
        raise RegisterError(f"{source} is no Parquet, CSV or XLSX, and holds none")
    return found


def rows_of_parts(total: int, workers: int) -> int:
    """Return how many rows a part of a register of ``total`` rows has, for so many workers."""
    return min(MOST, max(LEAST, math.ceil(total / (PARTS * max(1, workers)))))


def kept_rows(folder: Path) -> int | None:
    """Return how many rows a part has in the run that ``folder`` answers, None where it is new."""
    try:
        held: int = json.loads((folder / STATE).read_text(encoding="utf-8"))["rows"]
    except FileNotFoundError:
        return None
    return held


def plan(source: Path, estimate: str | None, rows: int | None, workers: int = 1) -> Plan:
    """Cut the register at ``source`` into parts of at most ``rows`` rows.

    Where nobody says how many rows, so many that all ``workers`` have parts enough.

    Raises
    ------
    RegisterError
        naming every file and column that cannot be used
    """
    if rows is not None and rows < 1:
        raise RegisterError("a part has at least one row")
    if estimate is not None and estimate not in ENDPOINTS:
        raise RegisterError("the estimate must be one of " + ", ".join(ENDPOINTS))
    files = [_read(file, estimate) for file in files_of(source)]
    faults = [f"{f.path.name}: {fault}" for f in files for fault in f.faults]
    total = sum(sum(f.groups) for f in files)
    if not total and not faults:
        faults = [f"{source} has no rows"]
    if faults:
        raise RegisterError("\n".join(faults))
    length = rows or rows_of_parts(total, workers)
    inputs = [{"name": f.path.name, "sha256": sources.digest(f.path)} for f in files]
    state = {"version": __version__, "estimate": estimate, "rows": length, "inputs": inputs}
    parts: list[Slice] = []
    tables = []
    for number, file in enumerate(files):
        if sources.is_table(file.path):
            name = f"_table-{number:04d}.parquet"
            tables.append((file.path.absolute(), name))
            full, rest = divmod(file.groups[0], length)
            _cut([length] * full + [rest] * (rest > 0), name, length, parts)
        else:
            _cut(file.groups, str(file.path.absolute()), length, parts)
    return Plan(estimate, tuple(parts), state, tuple(tables))


@dataclass(frozen=True)
class _File:
    """A file of a register: how long its row groups are, and what is wrong with it."""

    path: Path
    groups: list[int]
    faults: list[str]


def _read(file: Path, estimate: str | None) -> _File:
    if sources.is_table(file):
        rows, faults = sources.faults(file, estimate is None)
        return _File(file, [rows], faults)
    try:
        opened = pq.ParquetFile(file)
    except (pa.ArrowInvalid, OSError) as error:
        return _File(file, [0], [str(error)])
    with opened:
        count = opened.num_row_groups
        groups = [opened.metadata.row_group(group).num_rows for group in range(count)]
        return _File(file, groups, _faults(opened.schema_arrow.names, estimate))


def _faults(head: list[str], estimate: str | None) -> list[str]:
    """Return what is wrong with the columns ``head`` of a file."""
    if estimate is not None and "estimate" in head:
        return ["has a column estimate, so that none may be named beside it"]
    try:
        heads.read([*head, *(["estimate"] if estimate else [])])
    except RequestError as error:
        return [f"column {e['parameter']}: {e['detail']}" for e in error.errors]
    return []


def _cut(groups: list[int], file: str, rows: int, parts: list[Slice]) -> None:
    first = parts[-1].first + parts[-1].rows if parts else 0
    for group, length in enumerate(groups):
        for offset in range(0, length, rows):
            taken = min(rows, length - offset)
            parts.append(Slice(len(parts), file, group, offset, taken, first))
            first += taken


def claim(folder: Path, planned: Plan) -> None:
    """Make ``folder`` the answer to ``planned``, or find that it already is.

    Raises
    ------
    RegisterError
        where it holds something else, naming what differs
    """
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / STATE
    if file.exists():
        held = json.loads(file.read_text(encoding="utf-8"))
        differ = [k for k in planned.state if held.get(k) != planned.state[k]]
        if differ:
            raise RegisterError(
                f"{folder} is the answer to another run: {', '.join(differ)} differ; "
                "choose another folder"
            )
        return
    if any(folder.iterdir()):
        raise RegisterError(f"{folder} is not empty, and no run of a register")
    whole = file.with_suffix(".new")
    whole.write_text(json.dumps(planned.state, indent=1) + "\n", encoding="utf-8")
    whole.replace(file)


def convert(folder: Path, planned: Plan) -> None:
    """Turn every table of ``planned`` that is no Parquet yet into one, in ``folder``.

    Raises
    ------
    RegisterError
        where a table is not what it was when it was planned
    """
    for table, name in planned.tables:
        if not (folder / name).exists():
            try:
                sources.convert(
                    table, planned.estimate is None, folder / name, planned.state["rows"]
                )
            except RequestError as error:
                raise RegisterError(f"{table.name}: {error}") from error


def done(folder: Path, part: Slice) -> bool:
    """Return whether the answer to ``part`` lies in ``folder``, whole."""
    try:
        rows: int = pq.read_metadata(folder / part.name).num_rows
    except (FileNotFoundError, pa.ArrowInvalid):
        return False
    return rows == part.rows
