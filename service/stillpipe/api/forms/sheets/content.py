"""What a sheet is made of: words and figures in their order, which pages only lay out."""

import math
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

LARGEST, SMALLEST = 10.0, 5.6
"""Letters in which a browser prints a sheet [pt]."""
USUAL_LEAD = 3.0
"""Lines that a lead takes as a rule, which are not counted."""
LINES, LETTERS = 108, 8.4
"""So many lines of letters of that size [pt] fill two pages, what page breaks waste left out."""
CHARACTERS = 130
"""Of a line across the page, in those letters."""


class Tone(StrEnum):
    """How much something weighs."""

    PLAIN = "plain"
    SMALL = "small"
    WARN = "warn"
    STOP = "stop"


class Mark(StrEnum):
    """What a sheet's verdict looks like."""

    GO = "go"
    CONDITIONAL = "conditional"
    NO_GO = "no-go"


@dataclass(frozen=True)
class Text:
    """A paragraph."""

    text: str
    tone: Tone = Tone.PLAIN
    kind: str = field(default="text", init=False)


@dataclass(frozen=True)
class Item:
    """An entry of a list."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True)
class Items:
    """A list; ``numbered`` where its order counts, in two ``columns`` where it is long."""

    items: tuple[Item, ...]
    numbered: bool = False
    columns: int = 1
    kind: str = field(default="items", init=False)


@dataclass(frozen=True)
class Rows:
    """Labels and what is said of each."""

    rows: tuple[tuple[str, str], ...]
    kind: str = field(default="rows", init=False)


@dataclass(frozen=True)
class Table:
    """A table; None stands for a cell to write into.

    ``wide`` are the columns that take what room there is, ``right`` those of figures; the last row
    is ``total`` where it sums up. On a ``phone`` each row is a card, or a moment in two lines.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str | None, ...], ...]
    wide: tuple[int, ...] = ()
    right: tuple[int, ...] = ()
    total: bool = False
    phone: Literal["", "cards", "clock"] = ""
    kind: str = field(default="table", init=False)


@dataclass(frozen=True)
class Picture:
    """A picture as SVG."""

    svg: str
    kind: str = field(default="picture", init=False)


@dataclass(frozen=True)
class Blanks:
    """Lines to write on, each with its label; ``columns`` beside each other on paper."""

    labels: tuple[str, ...]
    columns: int = 2
    kind: str = field(default="blanks", init=False)


Block = Text | Items | Rows | Table | Picture | Blanks


@dataclass(frozen=True)
class Section:
    """Blocks under a title; ``paper`` where it is there to be written into."""

    title: str
    blocks: tuple[Block, ...]
    paper: bool = False


@dataclass(frozen=True)
class Figure:
    """A figure that is seen first, with what it means and a note."""

    label: str
    value: str
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A whole sheet; ``name`` is the caller's own text.

    Each of ``bands`` has the sections that stand beside each other on paper, one or two.
    """

    title: str
    name: str
    mark: Mark
    verdict: str
    lead: tuple[Block, ...]
    figures: tuple[Figure, ...]
    bands: tuple[tuple[Section, ...], ...]
    foot: tuple[str, ...]

    @property
    def letters(self) -> float:
        """Size of the letters in which a browser prints it on two pages [pt]."""
        lines = sum(max(_lines(s, len(band)) for s in band) for band in self.bands)
        lines += max(sum(_of_block(b, CHARACTERS) for b in self.lead) - USUAL_LEAD, 0.0)
        return round(min(max(LETTERS * math.sqrt(LINES / lines), SMALLEST), LARGEST), 1)


def _lines(section: Section, beside: int) -> float:
    """Return how many lines a section takes where ``beside`` stand beside each other, about."""
    return 2.0 + sum(_of_block(block, CHARACTERS / beside) for block in section.blocks)


def _of_block(block: Block, across: float) -> float:
    """Return how many lines of ``across`` characters a block takes, about."""
    if isinstance(block, Table):
        written = 2.0 if any(None in row for row in block.rows) else 1.3
        return written * (1 + len(block.rows))
    if isinstance(block, Rows):
        return 1.3 * len(block.rows)
    if isinstance(block, Items):
        each = (math.ceil(len(i.text) * block.columns / across) for i in block.items)
        return 1.1 * sum(each) / block.columns
    if isinstance(block, Blanks):
        return 2.6 * math.ceil(len(block.labels) / block.columns)
    return 20.0 if isinstance(block, Picture) else math.ceil(len(block.text) / across)
