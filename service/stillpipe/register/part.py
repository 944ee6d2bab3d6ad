"""One part of a register: rows read, estimated as items of a batch, written whole or not at all."""

import os
from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any
from uuid import uuid4

import orjson
import pyarrow as pa
import pyarrow.parquet as pq

from stillpipe.api import limits
from stillpipe.api.inputs.columns import Column
from stillpipe.register import source as sources
from stillpipe.register.plan import Slice
from stillpipe.server.batch import batch
from stillpipe.server.tables import answer as answers
from stillpipe.server.tables import cells, heads
from stillpipe.server.tables.cells import Row, shown
from stillpipe.server.tables.heads import Heading, Special
from stillpipe.server.tables.table import FAULT

FIXED = {"index": pa.int64(), "status": pa.int16()}
"""Columns of whole numbers; every other number is a float."""
CACHED = 8192
"""Answers kept by each worker: a register has many equal pipes."""


def answer(part: Slice, estimate: str | None, folder: Path) -> None:
    """Estimate ``part`` and write its answer into ``folder``."""
    with pq.ParquetFile(folder / part.file) as opened:
        table = opened.read_row_group(part.group).slice(part.offset, part.rows)
        kept = opened.schema_arrow.metadata or {}
    if sources.KEPT in kept:
        asked, own = stored(table, estimate, orjson.loads(kept[sources.KEPT]))
    else:
        asked, own = items(table, estimate), owned(table, estimate)
    rows = [row_of(part.first + i, name, item) for i, (name, item) in enumerate(asked)]
    write(table_of(rows, own), folder / part.name)


Named = tuple[str | None, bytes]
"""The name of an item where that is sound, and the item without it."""


def stored(
    table: pa.Table, estimate: str | None, heads_of: list[str]
) -> tuple[Iterator[Named], list[Row]]:
    """Return the items that a table was turned into, and its own cells."""
    own = [
        {n: shown(c) for n, c in zip(heads_of, orjson.loads(cells), strict=True)}
        for cells in table[sources.OWN].to_pylist()
    ]
    return (_named(raw, estimate) for raw in table[sources.ITEM].to_pylist()), own


def _named(raw: bytes, estimate: str | None) -> Named:
    """Return an item that was stored; a row that cannot be one stays as it is."""
    if raw.startswith(FAULT):
        stated, named, *fault = orjson.loads(raw.removeprefix(FAULT))
        return None, FAULT + orjson.dumps([estimate or stated, named, *fault])
    return _split(orjson.loads(raw), estimate)


def owned(table: pa.Table, estimate: str | None) -> list[Row]:
    """Return the cells of the columns of ``table`` that are the caller's own, row by row."""
    kinds = headings(table, estimate)
    own = [n for n, k in zip(table.column_names, kinds, strict=True) if k is Special.OWN]
    return table.select(own).to_pylist() if own else [{}] * len(table)


def headings(table: pa.Table, estimate: str | None) -> list[Heading]:
    """Return what every column of ``table`` is."""
    head = table.column_names
    return heads.read([*head, *(["estimate"] if estimate else [])])[: len(head)]


@lru_cache(maxsize=CACHED)
def _answered(item: bytes) -> Row:
    return answers.flat({"index": 0} | batch.answer(item, answers.LEFT_OUT).reply)


def row_of(index: int, name: str | None, item: bytes) -> dict[str, Any]:
    """Return the answer to ``item`` as the row ``index`` of the register, which is called ``name``.

    What differs in nothing but its name is estimated once.
    """
    row = _answered(item) | {"index": index}
    return row if name is None else row | {"id": name}


def items(table: pa.Table, estimate: str | None) -> Iterator[Named]:
    """Yield the rows of ``table`` as items of a batch, without their names where these are sound.

    An empty cell leaves its member out.
    """
    kinds = headings(table, estimate)
    for row in table.to_pylist():
        yield _split(_item(kinds, row.values()), estimate)


def _split(item: Row, estimate: str | None) -> Named:
    """Return the name of an item, and the item without it."""
    if estimate:
        item["estimate"] = estimate
    name = item["request"].get("id")
    if isinstance(name, str) and len(name) <= limits.ID_CHARACTERS:
        del item["request"]["id"]
    else:
        name = None
    return name, _encoded(item)


def _item(headings: list[Heading], row: Iterable[Any]) -> Row:
    """Return the item that cells make which have types; None leaves its member out."""
    request: Row = {}
    item: Row = {"request": request}
    for heading, cell in zip(headings, row, strict=True):
        if heading is Special.ESTIMATE and cell is not None:
            item["estimate"] = cell
        elif isinstance(heading, Column) and cell is not None:
            cells.put_typed(heading, cell, request)
    return item


def _encoded(item: dict[str, Any]) -> bytes:
    """Return ``item`` as JSON; what has no such form becomes text, which the schema refuses."""
    return batch.bounded(orjson.dumps(item, default=str))


def table_of(rows: list[Row], own: list[Row]) -> pa.Table:
    """Return ``rows`` as a table: text, flags, and numbers as floats but for the fixed columns.

    The caller's ``own`` cells stand before the figures, as text, their heads marked.
    """
    made = {
        name: _array(name, [row.get(name) for row in rows])
        for name in dict.fromkeys(name for row in rows for name in row)
    }
    marked = {
        name if name.startswith(heads.MARK) else heads.MARK + name: _texts(name, own)
        for name in dict.fromkeys(name for row in own for name in row)
    }
    fixed = {name: made.pop(name) for name in answers.FIXED}
    return pa.table(fixed | marked | made)


def _texts(name: str, rows: list[Row]) -> pa.Array:
    cells = (row.get(name) for row in rows)
    return pa.array([None if c is None else str(c) for c in cells], pa.string())


def _array(name: str, values: list[Any]) -> pa.Array:
    known = {type(v) for v in values if v is not None}
    if name in FIXED:
        return pa.array(values, FIXED[name])
    if known and known <= {int, float}:
        return pa.array(values, pa.float64())
    return pa.array(values, pa.bool_() if known == {bool} else pa.string())


def write(table: pa.Table, file: Path) -> None:
    """Write ``table`` as ``file``, so that a file of that name is always whole."""
    begun = file.with_name(f".{file.name}.{uuid4().hex}")
    try:
        pq.write_table(table, begun, compression="zstd")
        os.replace(begun, file)
    finally:
        begun.unlink(missing_ok=True)


def widen(file: Path, schema: pa.Schema) -> None:
    """Give the answer ``file`` all columns of ``schema``, in its order; new ones are empty."""
    table = pq.read_table(file, partitioning=None)
    arrays = [
        table[f.name] if f.name in table.column_names else pa.nulls(len(table), f.type)
        for f in schema
    ]
    write(pa.table(arrays, schema=schema), file)
