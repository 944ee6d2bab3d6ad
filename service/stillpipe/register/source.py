"""What a register is read from: Parquet files as they are; CSV and XLSX, turned into one first.

A table as a spreadsheet writes it is read by the rules of a batch, once, and kept beside the
answers as Parquet that has an item in each row, so that its parts are read as quickly as any.
"""

import hashlib
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import orjson
import pyarrow as pa
import pyarrow.parquet as pq

from stillpipe.api.problems import RequestError
from stillpipe.server.tables import table
from stillpipe.server.tables.package import SLUG, Bounds
from stillpipe.server.tables.table import Asked, Table

TABLES = (".csv", ".txt", ".tsv", ".xlsx")
"""How the name of a table ends that is no Parquet."""
ITEM, OWN = "item", "own"
"""Columns of the Parquet that a table is turned into."""
KEPT = b"stillpipe.heads"
"""In the metadata of that Parquet: the heads of the caller's own columns, as JSON."""
BOUNDS = Bounds(unpacked=2**33, cells=100_000_000, rows=1_048_576)
"""A workbook of one's own may be as large as a spreadsheet can make it."""
MOST = 100_000_000
"""Most rows of a table."""


def is_table(file: Path) -> bool:
    """Return whether ``file`` is a table as spreadsheets write it."""
    return file.suffix.lower() in TABLES


def opened(file: Path, named: bool) -> Table:
    """Return the table in ``file``, checked; ``named`` where a column names the estimate.

    Raises
    ------
    RequestError
        where it cannot be read, naming every column that cannot be used
    """
    book = file.suffix.lower() == ".xlsx"
    slug = SLUG if book else "malformed-csv"
    asked = Asked(naming="estimate" if named else "", most=MOST, slug=slug)
    with file.open("rb", buffering=0) as raw:
        return table.read_workbook(raw, asked, BOUNDS) if book else table.read_csv(raw, asked)


def convert(file: Path, named: bool, into: Path, group: int) -> None:
    """Write the table in ``file`` as Parquet ``into``, ``group`` rows in each row group.

    Raises
    ------
    RequestError
        where it cannot be read
    """
    begun = into.with_name(f".{into.name}")
    with closing(opened(file, named)) as rows:
        schema = pa.schema(
            [(ITEM, pa.binary()), (OWN, pa.binary())], {KEPT: orjson.dumps(rows.own)}
        )
        with pq.ParquetWriter(begun, schema, compression="zstd") as writer:
            for batch in _groups(rows, group):
                writer.write_table(pa.Table.from_pylist(batch, schema=schema))
    begun.replace(into)


def _groups(rows: Table, group: int) -> Iterator[list[dict[str, Any]]]:
    found: list[dict[str, Any]] = []
    for item in rows.items():
        _, own = rows.waiting.popleft()
        found.append({ITEM: item, OWN: orjson.dumps(own)})
        if len(found) == group:
            yield found
            found = []
    if found:
        yield found


def faults(file: Path, named: bool) -> tuple[int, list[str]]:
    """Return how many rows the table in ``file`` has, and what is wrong with it."""
    try:
        with closing(opened(file, named)) as rows:
            return rows.rows, []
    except RequestError as error:
        return 0, [f"column {e['parameter']}: {e['detail']}" for e in error.errors] or [
            error.detail
        ]


def digest(file: Path) -> str:
    """Return the SHA-256 of ``file``."""
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
