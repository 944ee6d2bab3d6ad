"""CSV as spreadsheets write it: its encoding, its separator, and its rows one at a time.

A closed list of encodings is told apart strictly and not guessed: a byte order mark says which;
what is valid UTF-8 is UTF-8; all else is windows-1252, in which every other table of a Western
spreadsheet is. The separator is the one by which the head has the most known columns.
"""

import codecs
import csv
import io
import re
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from stillpipe.api import limits
from stillpipe.api.problems import RequestError
from stillpipe.server.tables.heads import CSV

BLOCK = 65536
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
"""What may separate cells, and how an answer's header calls it; a bar only where it is told."""

_TOLD = re.compile(r'"?sep=(.)"?[\r\n]*', re.IGNORECASE | re.DOTALL)
"""The line by which spreadsheets tell the separator, before the head."""
_MARKS = {
    codecs.BOM_UTF8: "utf-8-sig", codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16",
}  # fmt: skip
_NAMES = {"utf-8-sig": "utf-8"}
_NOT_SO = {
    "utf-8-sig": "not UTF-8, although its first bytes say so",
    "utf-16": "not UTF-16, although its first bytes say so",
    "cp1252": "neither UTF-8 nor windows-1252",
}

Line = tuple[int, list[str]]
"""A row's number, as a spreadsheet counts it from 1, and its cells."""


def malformed(detail: str) -> RequestError:
    """Return the error that a table cannot be read."""
    return RequestError(CSV, detail)


@dataclass(frozen=True)
class Form:
    """How a table is written."""

    encoding: str = "utf-8"
    separator: str = ","
    told: bool = False
    """Whether its first line tells the separator."""
    comma: bool = False
    """Whether its numbers have a decimal comma."""

    @property
    def marked(self) -> bool:
        """Whether a spreadsheet wants a mark to read it as UTF-8."""
        return self.encoding != "utf-8"

    @property
    def taken(self) -> dict[str, str]:
        """What the answer's header says about it."""
        encoding = "windows-1252" if self.encoding == "cp1252" else self.encoding
        return {
            "encoding": _NAMES.get(encoding, encoding),
            "separator": SEPARATORS[self.separator],
        }


@contextmanager
def opened(file: io.FileIO, encoding: str) -> Iterator[io.TextIOWrapper]:
    """Give ``file`` from its begin as text, ends of lines as they are; it stays open."""
    file.seek(0)
    reader = io.BufferedReader(file, BLOCK)
    text = io.TextIOWrapper(reader, encoding=encoding, newline="")
    try:
        yield text
    finally:
        if not file.closed:
            # else it would be closed with them
            text.detach()
            reader.detach()


def encoding_of(file: io.FileIO) -> str:
    """Return the encoding of ``file``: utf-8, utf-8-sig, utf-16 or cp1252.

    Raises
    ------
    RequestError
        where it is UTF-16 without a mark, or no text
    """
    file.seek(0)
    begin = file.read(4)
    for mark, encoding in _MARKS.items():
        if begin.startswith(mark):
            return encoding
    if b"\0" in begin:
        raise malformed("is no text in UTF-8; UTF-16 needs its byte order mark")
    decoder = codecs.getincrementaldecoder("utf-8")()
    file.seek(0)
    try:
        while block := file.read(BLOCK):
            decoder.decode(block)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def form_of(file: io.FileIO, recognised: Callable[[list[str]], int]) -> Form:
    """Return how the table in ``file`` is written.

    ``recognised`` says how many cells of a head are known; the separator that has the most wins,
    then the one that makes the most cells.

    Raises
    ------
    RequestError
        where it is no text, or tells a separator that is not taken
    """
    encoding = encoding_of(file)
    try:
        with opened(file, encoding) as text:
            told = _TOLD.fullmatch(text.readline(16))
    except UnicodeError:
        raise malformed(_NOT_SO.get(encoding, "not UTF-8")) from None
    if told:
        if told[1] not in SEPARATORS:
            raise malformed(f"tells the separator {told[1]!r}: use a comma, a semicolon or a tab")
        return Form(encoding, told[1], told=True)
    forms = [Form(encoding, s) for s in SEPARATORS if s != "|"]
    return max(forms, key=lambda form: _fitness(file, form, recognised))


def _fitness(
    file: io.FileIO, form: Form, recognised: Callable[[list[str]], int]
) -> tuple[int, int]:
    """Return how many columns of a head in ``form`` are known, and how many there are."""
    rows = lines(file, form)
    try:
        _, head = next(rows, (0, []))
    except RequestError:
        return 0, 0
    finally:
        rows.close()
    cells = [cell.strip() for cell in head]
    return recognised(cells), len(cells)


class _Lines:
    """The lines of a table, as long as the row that they make is not too long."""

    def __init__(self, text: io.TextIOWrapper) -> None:
        self._text, self.row, self.length = text, 1, 0

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        line = self._text.readline(limits.ROW_LENGTH + 1)
        if not line:
            raise StopIteration
        self.length += len(line)
        if self.length > limits.ROW_LENGTH:
            raise malformed(f"row {self.row} has more than {limits.ROW_LENGTH} characters")
        return line


def lines(file: io.FileIO, form: Form) -> Generator[Line, None, None]:
    """Yield every row that is not blank with its number, one at a time.

    Raises
    ------
    RequestError
        where it is not CSV in that encoding, or has a row that is too long or too many blank ones
    """
    with opened(file, form.encoding) as text:
        if form.told:
            text.readline()
        source, blank = _Lines(text), 0
        try:
            for row in csv.reader(source, strict=True, delimiter=form.separator):
                number, source.row, source.length = source.row, source.row + 1, 0
                if any(cell and not cell.isspace() for cell in row):
                    yield number, row
                    continue
                blank += 1
                if blank > limits.BATCH_LINES:
                    raise malformed(f"over {limits.BATCH_LINES} blank rows")
        except UnicodeError:
            raise malformed(_NOT_SO.get(form.encoding, "not UTF-8")) from None
        except csv.Error as error:
            raise malformed(f"row {source.row}: {error}") from None
