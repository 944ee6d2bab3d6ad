"""An array is split on disk just as a JSON parser would, and never at the price of memory."""

import json
import tracemalloc
from contextlib import closing, suppress
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from marshmallow import ValidationError

from stillpipe.api.problems import RequestError
from stillpipe.server.batch import json_array
from stillpipe.server.batch.spool import Store

REFUSED = (RequestError, ValidationError)
TEXTS = st.text(alphabet='ab"\\/[]{},: \n\té€𝄞', max_size=8)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-99, 99) | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=12,
)


def stored(body: bytes) -> Store:
    store = Store()
    store.append(body)
    return store


def split(body: bytes, longest: int = 65536, most: int = 10_000) -> list[bytes | None]:
    with closing(stored(body)) as store:
        return list(json_array.items(store, most, longest))


@settings(max_examples=300, deadline=None)
@given(
    tree=st.lists(VALUES, min_size=1, max_size=6),
    ascii_only=st.booleans(),
    indent=st.sampled_from([None, 0, 2]),
    block=st.integers(1, 9),
)
def test_items_are_those_of_a_parser(
    tree: list[Any], ascii_only: bool, indent: int | None, block: int
) -> None:
    """Whatever the texts hold and wherever the blocks are cut."""
    body = b" " + json.dumps(tree, ensure_ascii=ascii_only, indent=indent).encode() + b"\r\n"
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(json_array, "BLOCK", block)
        items = split(body)
    assert [json.loads(item) for item in items if item is not None] == tree


@settings(max_examples=600, deadline=None)
@given(
    tree=st.lists(VALUES, min_size=1, max_size=4),
    at=st.integers(0, 200),
    put=st.sampled_from(["", '"', "\\", "[", "]", "{", "}", ",", ":", "0", "]]", "[,"]),
    dropped=st.integers(0, 2),
    block=st.integers(1, 9),
)
def test_what_a_parser_refuses_is_refused_as_a_whole(
    tree: list[Any], at: int, put: str, dropped: int, block: int
) -> None:
    """A body that is damaged somewhere is refused, or is a sound array of just those items."""
    text = json.dumps(tree)
    at %= len(text)
    text = text[:at] + put + text[at + dropped :]
    try:
        sound = json.loads(text)
    except ValueError:
        sound = None
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(json_array, "BLOCK", block)
        try:
            items = split(text.encode())
        except REFUSED:
            items = []
    if isinstance(sound, list) and sound:
        assert [json.loads(item) for item in items if item is not None] == sound
    else:
        assert items == []


@pytest.mark.parametrize(
    "body",
    [b"", b"  ", b"{}", b"5", b"x", b"[]", b"[ ]", b"[1,]", b"[,1]", b"[1", b"[1]2", b"[1}", b"]",
     b'["a]', b"[1]]", b"[[1]", b"[{]}]", b'["\xff"]', b"[1 2]", b"[\\]"],
)  # fmt: skip
def test_what_is_no_array_of_items_is_refused(body: bytes) -> None:
    with pytest.raises(REFUSED):
        split(body)


def test_an_array_has_so_many_items_and_no_more() -> None:
    assert len(split(b"[1,2,3]", most=3)) == 3
    with pytest.raises(ValidationError, match="1 to 3 items"):
        split(b"[1,2,3,4]", most=3)


def test_an_item_that_is_too_long_does_not_cost_the_others() -> None:
    assert split(b'[1,"' + b"a" * 20 + b'",3]', longest=10) == [b"1", None, b"3"]


def test_what_is_wrong_within_an_item_is_the_items_own_matter() -> None:
    """A member given twice, NaN and too deep nesting leave no doubt where the item ends."""
    deep = b"[" * 5000 + b"]" * 5000
    body = b'[{"a":1,"a":2},NaN,' + deep + b",1]"
    assert split(body) == [b'{"a":1,"a":2}', b"NaN", deep, b"1"]


@pytest.mark.parametrize(
    "body",
    [b"[" + b"[]," * 11_000_000 + b"1]", b"[[" + b"[]," * 11_000_000 + b"1]]",
     b"[" * 33_000_000, b'["' + b"\\\\" * 16_000_000 + b'"]'],
    ids=["items", "one-item", "nesting", "backslashes"],
)  # fmt: skip
def test_memory_stays_flat_whatever_the_array_holds(body: bytes) -> None:
    with closing(stored(body)) as store:
        tracemalloc.start()
        with suppress(*REFUSED):
            assert list(json_array.items(store, 10_000, 65536)) == [None]
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert peak < 16 * 2**20
