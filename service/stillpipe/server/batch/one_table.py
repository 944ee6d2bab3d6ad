"""A table that is one request: its rows are the entries of one of its lists."""

import io
import json

from stillpipe.api.problems import RequestError
from stillpipe.model.declare import members
from stillpipe.model.requests import Request
from stillpipe.server.batch import tabular


def as_request(body: bytes, request: type[Request], member: str) -> bytes:
    """Return the JSON of a ``request`` whose list ``member`` is the rows of a CSV ``body``.

    Raises
    ------
    RequestError
        where it is not CSV in UTF-8, has an unknown column, no rows, or one of another length
    """
    text = io.TextIOWrapper(io.BytesIO(body), encoding="utf-8-sig", newline="")
    rows = tabular.rows_of(text)
    head = next(rows, None)
    if not head:
        raise RequestError("malformed-csv", "must have a head and rows")
    columns = tabular.columns_of(head, members(request)[member].groups, naming="")
    entries = []
    for number, row in enumerate(rows, 2):
        if len(row) != len(head):
            detail = f"row {number} has {len(row)} cells, the head {len(head)}"
            raise RequestError("malformed-csv", detail)
        cells = [cell or None for cell in row]
        entries.append(tabular.item_of(head, columns, cells, tabular.put)["request"])
    return json.dumps({member: entries}).encode()
