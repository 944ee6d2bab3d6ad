"""XLSX in: the rows of a workbook's first visible sheet, values as they were last computed.

Read by openpyxl, row by row, within bounds that :mod:`.package` has held the file against. Links to
other files, macros, pictures and charts are never opened.
"""

import io
import math
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from typing import Any

from openpyxl.packaging.relationship import Relationship
from openpyxl.reader.excel import ExcelReader
from openpyxl.styles.stylesheet import apply_stylesheet
from openpyxl.worksheet._read_only import ReadOnlyWorksheet

from stillpipe.api import limits
from stillpipe.api.problems import RequestError
from stillpipe.server.tables import cells
from stillpipe.server.tables.package import Bounds, Extent, Package, malformed

__all__ = ["Bounds", "lines"]

Line = tuple[int, list[Any]]

_LONG = 2**63
_UNVALUED = (
    "holds a formula whose value was never computed: open and save the workbook in a spreadsheet "
    "program, or write the value"
)


class _Reader(ExcelReader):  # type: ignore[misc]
    """Opens what is needed of a workbook: its list of sheets, shared texts and formats."""

    def __init__(self, package: Package) -> None:
        self.archive = package
        self.valid_files = package.namelist()
        self.read_only, self.data_only = True, True
        self.keep_vba = self.keep_links = self.rich_text = False
        self.shared_strings: list[str] = []

    def sheets(self) -> list[tuple[str, str]]:
        """Return the name of every visible sheet, and the part that it lies in."""
        self.read_manifest()
        self.read_strings()
        self.read_workbook()
        apply_stylesheet(self.archive, self.wb)
        return [
            (sheet.name, relation.target)
            for sheet, relation in self.parser.find_sheets()
            if sheet.state == "visible" and _is_sheet(relation)
        ]


def _is_sheet(relation: Relationship) -> bool:
    return str(relation.Type).endswith("/worksheet")


@contextmanager
def _guarded() -> Iterator[None]:
    """Make a refusal of whatever the reader raises for a file that is not as it should be."""
    try:
        yield
    except RequestError:
        raise
    except Exception as error:
        raise malformed(f"cannot be read: {type(error).__name__}") from error


def lines(file: io.FileIO, bounds: Bounds, taken: dict[str, str]) -> Generator[Line, None, None]:
    """Yield every row that is not blank of the first visible sheet, with its number from 1.

    What is to be said of the reading is added to ``taken``: how many sheets are passed over.

    Raises
    ------
    RequestError
        where it is no workbook in XLSX, or out of ``bounds``
    """
    with _guarded(), Package(file, bounds) as package:
        reader = _Reader(package)
        sheets = reader.sheets()
        if not sheets:
            raise malformed("has no visible sheet")
        if len(sheets) > 1:
            taken["sheets-not-read"] = str(len(sheets) - 1)
        name, part = sheets[0]
        with package.open(part):
            extent = package.extents[part]
        sheet = ReadOnlyWorksheet(reader.wb, name, part, reader.shared_strings)
        if not extent.rows:
            return
        rows = sheet.iter_rows(
            max_row=extent.rows, max_col=extent.columns, values_only=True, min_row=1, min_col=1
        )
        for number, row in enumerate(rows, 1):
            found = [_kept(value, number, i, extent) for i, value in enumerate(row, 1)]
            _check_length(number, found)
            if not all(cells.blank(cell) for cell in found):
                yield number, found


def _kept(value: Any, row: int, column: int, extent: Extent) -> Any:
    """Return a cell as it is kept: text, a number, true or false, a date, or why there is none."""
    if (row, column) in extent.unvalued:
        return {cells.FAULT: _UNVALUED}
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode()
    if isinstance(value, int) and abs(value) >= _LONG:
        value = float(value)
    if isinstance(value, float) and not math.isfinite(value):
        return {cells.FAULT: "holds no finite number"}
    return cells.kept(value)


def _check_length(number: int, row: list[Any]) -> None:
    if sum(len(c) for c in row if isinstance(c, str)) > limits.ROW_LENGTH:
        raise malformed(f"row {number} has more than {limits.ROW_LENGTH} characters")
