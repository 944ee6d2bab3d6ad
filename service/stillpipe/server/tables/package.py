"""A workbook's file: its bounds, held against what the file says before anything is unpacked.

XLSX is a zip of XML. Each of its parts is walked once, its elements counted and nothing kept,
before the reader that keeps them may see it.
"""

import io
import re
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import IO, Any
from xml.sax.handler import ContentHandler
from xml.sax.xmlreader import AttributesImpl

from defusedxml.sax import make_parser

from stillpipe.api import limits
from stillpipe.api.problems import RequestError

SLUG = "malformed-workbook"

_BLOCK = 65536
_END = b"PK\x05\x06"
"""Begins the last 22 bytes of a zip that has no comment."""
_END_64 = b"PK\x06\x07"
_ENTRY = 256
"""Bytes that a file takes in a zip's directory, at most on average."""
_COMPOUND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""Begins what is encrypted, and workbooks of the form before XLSX."""
_DEEPEST = 64
_ELEMENTS_PER_CELL = 3
_CELL = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_SPREADSHEET = "xl/workbook.xml"


@dataclass(frozen=True)
class Bounds:
    """How large a workbook may be."""

    unpacked: int = limits.WORKBOOK_BYTES
    parts: int = limits.WORKBOOK_PARTS
    cells: int = limits.WORKBOOK_CELLS
    rows: int = limits.BATCH_ITEMS + limits.BATCH_LINES + 1
    """The last row that may hold something."""


def malformed(detail: str) -> RequestError:
    """Return the error that a workbook cannot be read."""
    return RequestError(SLUG, detail)


@dataclass
class Extent:
    """How far what is written reaches in a part, and the cells whose formula has no value."""

    rows: int = 0
    columns: int = 0
    unvalued: set[tuple[int, int]] = field(default_factory=set)


class _Walk(ContentHandler):
    """Counts the elements of one part, and finds how far its cells reach."""

    def __init__(self, bounds: Bounds, elements: Callable[[], int]) -> None:
        super().__init__()
        self.extent = Extent()
        self._bounds, self._elements = bounds, elements
        self._depth = self._rows = self._cells = self._texts = self._length = 0
        self._row = self._column = 0
        self._measured = ""
        """The element whose characters are counted, a row or a text, empty outside of both."""
        self._inside = ""
        self._formula = self._valued = False

    def startElement(self, name: str, attrs: AttributesImpl) -> None:  # noqa: N802 - SAX's own
        local = name.rpartition(":")[2]
        self._depth += 1
        most = _ELEMENTS_PER_CELL * self._bounds.cells
        if self._elements() > most or self._depth > _DEEPEST:
            raise malformed(f"has more than {most:,} elements, or they are nested too deeply")
        if local == "row":
            self._begin_row(attrs.get("r"))
        elif local == "c":
            self._begin_cell(attrs.get("r"))
        elif local in ("v", "t", "f"):
            self._inside = local
            self._formula |= local == "f"
        elif local == "si":
            self._length, self._texts, self._measured = 0, self._texts + 1, "a text"
            if self._texts > self._bounds.cells:
                raise malformed(f"has more than {self._bounds.cells:,} texts")

    def endElement(self, name: str) -> None:  # noqa: N802 - SAX's own
        self._depth -= 1
        local = name.rpartition(":")[2]
        if local == "c":
            self._end_cell()
        elif local in ("v", "t", "f"):
            self._inside = ""
        elif local in ("row", "si"):
            self._measured = ""

    def characters(self, content: str) -> None:
        self._length += len(content)
        self._valued |= self._inside in ("v", "t")
        if self._length > limits.ROW_LENGTH and self._measured:
            raise malformed(f"{self._measured} has more than {limits.ROW_LENGTH} characters")

    def _begin_row(self, stated: str | None) -> None:
        row = int(stated) if stated and stated.isdecimal() and len(stated) < 8 else self._row + 1
        self._rows += 1
        if self._rows > self._bounds.rows:
            raise malformed(f"has more than {self._bounds.rows:,} rows")
        if row <= self._row:
            raise malformed(f"row {row} does not come after row {self._row}")
        self._row, self._column, self._length, self._measured = row, 0, 0, f"row {row}"

    def _begin_cell(self, stated: str | None) -> None:
        self._cells += 1
        if self._cells > self._bounds.cells:
            raise malformed(f"has more than {self._bounds.cells:,} cells")
        self._formula = self._valued = False
        self._column += 1
        if stated is not None:
            found = _CELL.fullmatch(stated)
            if not found:
                raise malformed(f"row {self._row} has a cell {stated[:20]!r}")
            self._column = 0
            for character in found[1]:
                self._column = self._column * 26 + ord(character) - 64

    def _end_cell(self) -> None:
        if self._formula and not self._valued:
            self.extent.unvalued.add((self._row, self._column))
        elif not self._valued:
            return
        if self._column > limits.BATCH_COLUMNS or self._row > self._bounds.rows:
            raise malformed(
                f"something stands in row {self._row:,}, column {self._column:,}: a table has at "
                f"most {limits.BATCH_COLUMNS} columns, and ends by row {self._bounds.rows:,}"
            )
        self.extent.rows = max(self.extent.rows, self._row)
        self.extent.columns = max(self.extent.columns, self._column)


class Package(zipfile.ZipFile):
    """A workbook's parts, each walked before it is first opened."""

    def __init__(self, file: io.FileIO, bounds: Bounds) -> None:
        """Open ``file`` and hold what it says against the ``bounds``.

        Raises
        ------
        RequestError
            where it is no workbook in XLSX, or larger than they allow
        """
        self.extents: dict[str, Extent] = {}
        self._bounds, self._count = bounds, 0
        _check_end(file, bounds)
        try:
            super().__init__(file)
        except (zipfile.BadZipFile, UnicodeDecodeError, NotImplementedError, ValueError) as error:
            raise malformed(f"is no zip that can be read: {error}") from None
        self._check_parts()

    def _check_parts(self) -> None:
        parts = self.infolist()
        names = {p.filename for p in parts}
        if "[Content_Types].xml" not in names:
            kind = "an OpenDocument spreadsheet" if "content.xml" in names else "no workbook"
            raise malformed(f"is {kind}: save it as XLSX")
        if "xl/workbook.bin" in names:
            raise malformed("is a binary workbook (XLSB): save it as XLSX")
        if len(names) != len(parts):
            raise malformed("has two parts of one name")
        if any(p.flag_bits & 1 for p in parts):
            raise malformed("is encrypted: save it without a password")
        unpacked = sum(p.file_size for p in parts)
        if unpacked > self._bounds.unpacked:
            raise malformed(
                f"unpacks to {unpacked:,} bytes, and may to {self._bounds.unpacked:,}: keep only "
                "the sheet with the table"
            )

    def open(self, name: Any, *given: Any, **named: Any) -> IO[bytes]:
        """Open a part for reading, after it was walked once."""
        key = name.filename if isinstance(name, zipfile.ZipInfo) else str(name)
        if key not in self.extents:
            self.extents[key] = self._walked(key)
        return super().open(name, *given, **named)

    def _walked(self, name: str) -> Extent:
        walk = _Walk(self._bounds, self._another)
        parser = make_parser()
        parser.forbid_dtd = True
        parser.setContentHandler(walk)
        with super().open(name) as part:
            while block := part.read(_BLOCK):
                parser.feed(block)
        parser.close()
        return walk.extent

    def _another(self) -> int:
        self._count += 1
        return self._count


def _check_end(file: io.FileIO, bounds: Bounds) -> None:
    """Refuse what is no zip, or has a directory so long that reading it would cost too much."""
    file.seek(0)
    begin = file.read(8)
    if begin.startswith(_COMPOUND):
        raise malformed(
            "is encrypted, or of the form before XLSX (XLS): save it as XLSX without a password"
        )
    size = file.seek(0, io.SEEK_END)
    file.seek(max(0, size - 42))
    tail = file.read(42)
    end = tail[-22:]
    if not begin.startswith(b"PK") or len(end) < 22 or not end.startswith(_END):
        raise malformed("is no workbook in XLSX, or cut off")
    directory = int.from_bytes(end[12:16], "little")
    parts = int.from_bytes(end[10:12], "little")
    if tail[:4] == _END_64 or directory > _ENTRY * bounds.parts or parts > bounds.parts:
        raise malformed(f"has more than {bounds.parts:,} parts")
