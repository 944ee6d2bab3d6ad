"""Where things lie on a page: rows of labels on no other, pipes drawn to scale with breaks."""

import math
import unicodedata
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

from stillpipe.api.forms import canvas

PLAIN, CAPITAL, BROAD, FULL = 0.067, 0.088, 0.118, 0.13
"""Widths of letters of small words [in], on the large side; full ones are as wide as high."""
ACROSS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
"""How many times as large a pipe may be drawn across as along."""
SEEN = 0.9
"""Length of the longest plug on a page [in], at least."""
BARE = (math.inf, 4.0, 2.0, 1.0)
"""Bare pipe that is shown, over the longest stretch [-]: as much as there is room for."""
GAP = 0.66
"""A break is drawn so long [in]."""
SLACK = 0.06
"""Between two labels in a row [in]."""

Span = tuple[float, float]


def wide(text: str) -> float:
    """Return how wide small words are [in], on the large side."""
    return sum(map(_letter, text))


@lru_cache(maxsize=1024)
def _letter(letter: str) -> float:
    if unicodedata.east_asian_width(letter) in "WF":
        return FULL
    if letter in "mwMW@%" or unicodedata.category(letter)[0] not in "LNPSZ":
        return BROAD
    return CAPITAL if letter.isupper() else PLAIN


def wrapped(text: str, width: float) -> list[str]:
    """Return small words in lines of at most ``width`` [in]; none is broken."""
    lines: list[str] = []
    for word in text.split():
        if lines and wide(f"{lines[-1]} {word}") <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


class Piece(NamedTuple):
    """A stretch of pipe drawn to scale: from ``begin`` to ``end``, from ``left`` on [in].

    ``row`` of the page on which it lies.
    """

    begin: float
    end: float
    left: float
    row: int


class Scale(NamedTuple):
    """A run of pipe on rows of a page, long bare stretches left out.

    ``per_length`` [in] is drawn a unit of length.
    """

    pieces: tuple[Piece, ...]
    per_length: float

    def piece(self, at: float) -> Piece:
        """Return the stretch in which a place lies, or the next before it."""
        found = self.pieces[0]
        for piece in self.pieces:
            if piece.begin <= at + 1e-9:
                found = piece
        return found

    def x(self, at: float, piece: Piece | None = None) -> float:
        """Return where a place lies from the left [in]."""
        piece = piece or self.piece(at)
        return piece.left + (at - piece.begin) * self.per_length

    @property
    def rows(self) -> int:
        """How many rows there are."""
        return self.pieces[-1].row + 1

    def of_row(self, row: int) -> list[Piece]:
        """Return the stretches on a row, from left to right."""
        return [piece for piece in self.pieces if piece.row == row]


def rows(spans: Sequence[Span]) -> list[int]:
    """Return a row for each of ``spans``, from left to right [in], so that none lies on another."""
    ends: list[float] = []
    found = [0] * len(spans)
    for n in sorted(range(len(spans)), key=lambda n: spans[n]):
        left, right = spans[n]
        row = next((k for k, end in enumerate(ends) if end + SLACK <= left), len(ends))
        if row == len(ends):
            ends.append(right)
        ends[row], found[n] = right, row
    return found


def merged(stretches: Sequence[Span]) -> list[Span]:
    """Return ``stretches`` in order, those that touch as one."""
    found: list[Span] = []
    for begin, end in sorted(stretches):
        if found and begin <= found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((begin, end))
    return found


def broken(stretches: Sequence[Span], left: float, width: float) -> Scale:
    """Return a scale that shows ``stretches`` within a ``width`` [in], ``left`` of it free.

    Bare pipe is shown as well as far as the longest stretch can still be seen; longer is left out.
    Where not all of it can be seen on one row even then it goes on in the next.
    """
    shown = merged(stretches)
    longest = max(end - begin for begin, end in shown)
    for times in BARE:
        joined = _joined(shown, times * longest)
        total = sum(end - begin for begin, end in joined)
        whole = (width - GAP * (len(joined) - 1)) / total
        if whole * longest >= SEEN:
            return _laid(joined, left, width, whole)
    per_length = min(SEEN, width) / longest
    widest = width / per_length
    return _laid(
        [s for each in joined for s in _cut(each, shown, widest)], left, width, per_length
    )  # fmt: skip


def _joined(shown: Sequence[Span], gap: float) -> list[Span]:
    """Return stretches joined where no more than ``gap`` lies between them."""
    found = [shown[0]]
    for begin, end in shown[1:]:
        if begin - found[-1][1] <= gap:
            found[-1] = (found[-1][0], end)
        else:
            found.append((begin, end))
    return found


def smaller(scale: Scale, per_length: float) -> Scale:
    """Return a scale that draws all of it smaller, in the middle of the page."""
    times, last = per_length / scale.per_length, scale.pieces[-1]
    right = last.left + (last.end - last.begin) * scale.per_length
    middle = 0.5 * canvas.WIDTH
    left = middle - 0.5 * times * (right - scale.pieces[0].left)
    pieces = [p._replace(left=left + times * (p.left - scale.pieces[0].left)) for p in scale.pieces]
    return Scale(tuple(pieces), per_length)


def _cut(whole: Span, shown: Sequence[Span], widest: float) -> list[Span]:
    """Return a stretch cut, at bare pipe, into ones of at most ``widest``."""
    inside = [s for s in shown if whole[0] <= s[0] and s[1] <= whole[1]]
    found = [inside[0]]
    for begin, end in inside[1:]:
        if end - found[-1][0] <= widest:
            found[-1] = (found[-1][0], end)
        else:
            found.append((begin, end))
    return found


def _laid(stretches: Sequence[Span], left: float, width: float, per_length: float) -> Scale:
    """Lay stretches side by side, and below where a row is full."""
    found: list[Piece] = []
    at, row = left, 0
    for begin, end in stretches:
        wide = (end - begin) * per_length
        if found and at + wide > left + width + 1e-6:
            at, row = left, row + 1
        found.append(Piece(begin, end, at, row))
        at += wide + GAP
    return Scale(tuple(found), per_length)


def across(diameter: float, per_length: float, least: float) -> float:
    """Return how many times as large a pipe is drawn across as along, so that it can be seen.

    ``diameter`` at ``per_length`` [in] of scale is to come to ``least`` [in].
    """
    drawn = diameter * per_length
    return next((times for times in ACROSS if drawn * times >= least), ACROSS[-1])


def bar(per_length: float, widest: float) -> float:
    """Return a round length that is at most ``widest`` [in] at ``per_length`` [in] of scale."""
    longest = widest / per_length
    power = 10.0 ** math.floor(math.log10(longest))
    return next(power * step for step in (5.0, 2.0, 1.0) if power * step <= longest * (1 + 1e-9))


def shortened(text: str, longest: int) -> str:
    """Return ``text``, cut where it has more than ``longest`` characters."""
    return text if len(text) <= longest else text[: longest - 1] + "…"
