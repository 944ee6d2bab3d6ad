"""A JSON array on disk, split into its items at flat memory.

An item ends at a comma that stands in no string and in no bracket but the array's own. Blocks are
searched by numpy: 32 MiB of brackets must not be walked in Python.
"""

import json
from array import array
from codecs import BOM_UTF8
from collections.abc import Iterator

import numpy as np
from marshmallow import ValidationError

from stillpipe.api.problems import RequestError
from stillpipe.server.batch.spool import Store

BLOCK = 262144
BLANK = b" \t\r\n"
BEGINS_OTHER = b'{"-0123456789tfn'
"""What JSON values begin with that are no arrays."""


class _Scanner:
    """Where the commas of the outermost array are, block by block."""

    def __init__(self) -> None:
        self.depth, self.quoted, self.held = 0, False, b""
        self.end = -1
        """Where the array's last bracket is, -1 before it was seen."""

    def commas(self, block: bytes, at: int) -> list[int]:
        """Return the places of the commas in ``block``, which lies at ``at`` in the body."""
        data = self.held + block
        at -= len(self.held)
        # a backslash whose partner is in the next block waits for it
        escaped = (len(data) - len(data.rstrip(b"\\"))) % 2
        self.held = data[len(data) - escaped :]
        data = data[: len(data) - escaped]
        plain = np.frombuffer(data.replace(b"\\\\", b"__").replace(b'\\"', b"__"), np.uint8)
        quoted = np.logical_xor.accumulate(np.append(self.quoted, plain == ord('"')))[1:]
        self.quoted = bool(quoted[-1]) if len(quoted) else self.quoted
        folded = plain | 32  # [ and { become {, ] and } become }
        step = (folded == ord("{")).astype(np.int8) - (folded == ord("}"))
        step[quoted] = 0
        depth = self.depth + np.cumsum(step, dtype=np.int64)
        found = (plain == ord(",")) & (depth == 1) & ~quoted
        closed = np.flatnonzero(depth == 0)
        if len(closed):
            self.end = at + int(closed[0])
            found = found[: closed[0]]
        elif len(depth):
            self.depth = int(depth[-1])
        return [at + int(i) for i in np.flatnonzero(found)]


def _malformed(detail: str) -> RequestError:
    return RequestError("malformed-json", detail)


def _first(body: Store) -> int:
    """Return where the body's first byte that is not blank lies, after a byte order mark."""
    marked = len(BOM_UTF8) if body.read(0, len(BOM_UTF8)) == BOM_UTF8 else 0
    for at in range(marked, body.size, BLOCK):
        block = body.read(at, BLOCK)
        if rest := block.lstrip(BLANK):
            return at + len(block) - len(rest)
    raise _malformed("the body is empty")


def spans(body: Store, most: int) -> "array[int]":
    """Return begin and end of every item, one after the other: shape (2 items,).

    Raises
    ------
    ValidationError
        where it is no array, or one of no or more than ``most`` items
    RequestError
        where brackets or strings do not close, or something follows the array
    """
    first = _first(body)
    wrong = ValidationError(f"must be an array of 1 to {most} items")
    begins = body.read(first, 1)
    if begins != b"[":
        raise wrong if begins in BEGINS_OTHER else _malformed("not a JSON value")
    scanner, found, begin = _Scanner(), array("Q"), first + 1
    for at in range(first, body.size, BLOCK):
        for comma in scanner.commas(body.read(at, BLOCK), at):
            found.extend((begin, comma))
            begin = comma + 1
            if len(found) >= 2 * most:
                raise wrong
        if scanner.end >= 0:
            break
    else:
        raise _malformed("the array does not end")
    _check_end(body, scanner.end)
    found.extend((begin, scanner.end))
    if len(found) == 2 and _blank(body, begin, scanner.end):
        raise wrong
    return found


def _check_end(body: Store, end: int) -> None:
    if body.read(end, 1) != b"]":
        raise _malformed("the array's brackets do not match")
    if not _blank(body, end + 1, body.size):
        raise _malformed("something follows the array")


def _blank(body: Store, begin: int, end: int) -> bool:
    return all(
        not body.read(at, min(BLOCK, end - at)).strip(BLANK) for at in range(begin, end, BLOCK)
    )


def items(body: Store, most: int, longest: int) -> Iterator[bytes | None]:
    """Return an iterator over the items of the array in ``body``; None for one over ``longest``.

    The whole array is checked before the first item is given. What is JSON but no use (a member
    given twice, NaN, too deeply nested) is the item's own matter. Of an item over ``longest`` bytes
    only brackets and strings are looked at.

    Raises
    ------
    ValidationError, RequestError
        where the body is no array of items in JSON, as :func:`spans`
    """
    ends = spans(body, most)
    for index, item in enumerate(_each(body, ends, longest)):
        if item is not None:
            _check(item, index)
    return _each(body, ends, longest)


def _each(body: Store, ends: "array[int]", longest: int) -> Iterator[bytes | None]:
    for i in range(0, len(ends), 2):
        begin, end = ends[i], ends[i + 1]
        yield body.read(begin, end - begin).strip(BLANK) if end - begin <= longest else None


def _check(item: bytes, index: int) -> None:
    """Refuse the whole array where ``item`` is no JSON, so that its end cannot be trusted."""
    try:
        json.loads(item.decode("utf-8"))
    except UnicodeDecodeError:
        raise _malformed(f"item {index}: not UTF-8") from None
    except json.JSONDecodeError as error:
        raise _malformed(f"item {index}: {error.msg} at character {error.pos}") from None
    except (ValueError, RecursionError):
        return
