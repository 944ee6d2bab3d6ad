"""A table that is one request: its rows are the entries of one of its lists."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field

from marshmallow import ValidationError

from stillpipe.api import limits, problems
from stillpipe.api.problems import RequestError
from stillpipe.errors import StillpipeError
from stillpipe.model.declare import members
from stillpipe.model.requests import Request
from stillpipe.server.batch.exchange import CSV
from stillpipe.server.batch.spool import Store
from stillpipe.server.tables import cells, package, table
from stillpipe.server.tables.cells import Row
from stillpipe.server.tables.table import Asked, Table


@dataclass
class Entries:
    """The rows of a table as the list ``member`` of a request."""

    table: Table
    member: str
    entries: list[Row] = field(default_factory=list)
    numbers: list[int] = field(default_factory=list)
    """The row that each entry was."""

    def json(self) -> bytes:
        """Return the request as JSON."""
        return cells.as_json({self.member: self.entries})

    def placed(self, error: Row) -> Row:
        """Return an ``error`` with the cell that it lies in, where it lies in one."""
        _, *path = error.get("pointer", "#").split("/")
        if path[:1] != [self.member] or len(path) < 2:
            return error
        return self.table.located(self.numbers[int(path[1])], error, path[2:])


def read(body: bytes, form: str, request: type[Request], member: str) -> Entries:
    """Return a ``request`` whose list ``member`` is the rows of ``body``, CSV or XLSX.

    Columns that are the caller's own are passed over.

    Raises
    ------
    RequestError
        where it cannot be read; it names every column and every cell that cannot be used
    StorageError
        where there is no room for it
    """
    slug = "malformed-csv" if form == CSV else package.SLUG
    asked = Asked(members(request)[member].groups, "", limits.BATCH_ITEMS, 0, slug)
    with closing(Store()) as store:
        store.append(body)
        rows = (table.read_csv if form == CSV else table.read_workbook)(store.file, asked)
    found, errors = Entries(rows, member), []
    with closing(rows):
        for number, row in rows.lines():
            item, faults = rows.parts(number, row)
            at = problems.pointer((member, len(found.entries)))
            errors += [{**f, "pointer": at + f["pointer"].removeprefix("#/request")}
                       if "pointer" in f else f for f in faults]  # fmt: skip
            found.entries.append(item["request"])
            found.numbers.append(number)
    if errors:
        raise RequestError(slug, f"{len(errors)} cell(s) cannot be used", errors)
    return found


@contextmanager
def placed(given: Entries | None) -> Iterator[None]:
    """Have what is wrong with a request that was ``given`` as a table name the cells.

    Raises
    ------
    RequestError
        in place of any error that names members of it
    """
    try:
        yield
    except (ValidationError, StillpipeError) as error:
        told = isinstance(error, ValidationError) or error.kind in problems.TYPES
        if given is None or not told:
            raise
        problem = problems.of(error)
        slug = problem["type"].rpartition("/")[2]
        errors = [given.placed(e) for e in problem.get("errors", [])]
        raise RequestError(slug, problem["detail"], errors) from error
