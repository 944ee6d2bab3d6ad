"""The parts of a register, and the file that says what an output folder is the answer to."""

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from stillpipe import __version__
from stillpipe.api.problems import RequestError
from stillpipe.api.registry import ENDPOINTS
from stillpipe.server.tables import heads

STATE = "_register.json"
"""Says what a folder is the answer to; readers of Parquet pass over names that begin so."""


class RegisterError(ValueError):
    """The register or the folder cannot be used; nothing was estimated."""


@dataclass(frozen=True)
class Slice:
    """Rows of one row group of one file: the ``number``-th part, first row ``first`` of all."""

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

    @property
    def rows(self) -> int:
        """How many rows the register has."""
        return sum(p.rows for p in self.parts)


def files_of(source: Path) -> list[Path]:
    """Return the Parquet files of ``source``, itself or those in it, in order of their names.

    Raises
    ------
    RegisterError
        where there are none
    """
    if source.is_file():
        return [source]
    found = sorted(p for p in source.glob("*.parquet") if p.name[0] not in "._")
    if not found:
        raise RegisterError(f"{source} is no Parquet file, and holds none")
    return found


def plan(source: Path, estimate: str | None, rows: int) -> Plan:
    """Cut the register at ``source`` into parts of at most ``rows`` rows.

    Raises
    ------
    RegisterError
        naming every file and column that cannot be used
    """
    if rows < 1:
        raise RegisterError("a part has at least one row")
    if estimate is not None and estimate not in ENDPOINTS:
        raise RegisterError("the estimate must be one of " + ", ".join(ENDPOINTS))
    parts: list[Slice] = []
    inputs, faults = [], []
    for file in files_of(source):
        try:
            opened = pq.ParquetFile(file)
        except (pa.ArrowInvalid, OSError) as error:
            faults.append(f"{file.name}: {error}")
            continue
        with opened:
            faults += [f"{file.name}: {f}" for f in _faults(opened.schema_arrow.names, estimate)]
            _cut(opened, str(file.absolute()), rows, parts)
            inputs.append({"name": file.name, "sha256": _digest(file)})
    if not parts and not faults:
        faults = [f"{source} has no rows"]
    if faults:
        raise RegisterError("\n".join(faults))
    state = {"version": __version__, "estimate": estimate, "rows": rows, "inputs": inputs}
    return Plan(estimate, tuple(parts), state)


def _faults(head: list[str], estimate: str | None) -> list[str]:
    """Return what is wrong with the columns ``head`` of a file."""
    if estimate is not None and "estimate" in head:
        return ["has a column estimate, so that none may be named beside it"]
    try:
        heads.read([*head, *(["estimate"] if estimate else [])])
    except RequestError as error:
        return [f"column {e['parameter']}: {e['detail']}" for e in error.errors]
    return []


def _cut(opened: pq.ParquetFile, file: str, rows: int, parts: list[Slice]) -> None:
    first = parts[-1].first + parts[-1].rows if parts else 0
    for group in range(opened.num_row_groups):
        length = opened.metadata.row_group(group).num_rows
        for offset in range(0, length, rows):
            taken = min(rows, length - offset)
            parts.append(Slice(len(parts), file, group, offset, taken, first))
            first += taken


def _digest(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


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


def done(folder: Path, part: Slice) -> bool:
    """Return whether the answer to ``part`` lies in ``folder``, whole."""
    try:
        rows: int = pq.read_metadata(folder / part.name).num_rows
    except (FileNotFoundError, pa.ArrowInvalid):
        return False
    return rows == part.rows
