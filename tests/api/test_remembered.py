"""What is remembered has a size that no request changes, and the latest stays."""

import json
import tracemalloc

import pytest

from api.examples import example
from stillpipe.api import answers, limits
from stillpipe.api.remembered import ENTRY, Remembered

VALUE = bytes(1000)


def key(number: int) -> tuple[str, bytes, str]:
    return ("plug-time", b"%04d" % number, "application/json")


COST = len(key(0)[1]) + len(key(0)[2]) + len(VALUE) + ENTRY


@pytest.fixture
def three() -> Remembered:
    """Room for three answers."""
    return Remembered(3 * COST)


def test_the_one_not_asked_for_the_longest_is_dropped(three: Remembered) -> None:
    for number in range(3):
        three.keep(key(number), VALUE)
    assert three.get(key(0)) == VALUE
    three.keep(key(3), VALUE)
    assert [number for number in range(4) if three.get(key(number))] == [0, 2, 3]
    assert (len(three), three.size) == (3, 3 * COST)


def test_kept_again_it_is_counted_once(three: Remembered) -> None:
    three.keep(key(0), VALUE)
    three.keep(key(0), VALUE[:500])
    assert (len(three), three.size) == (1, COST - 500)
    assert three.get(key(0)) == VALUE[:500]


def test_what_has_no_room_is_not_kept(three: Remembered) -> None:
    three.keep(key(0), bytes(3 * COST))
    assert (len(three), three.size) == (0, 0)


def test_cleared_it_is_empty(three: Remembered) -> None:
    three.keep(key(0), VALUE)
    three.clear()
    assert (three.get(key(0)), len(three), three.size) == (None, 0, 0)


@pytest.mark.parametrize(("asked", "answered"), [(10, 5), (limits.BODY_BYTES, 5), (4_300, 630_000)])
def test_memory_of_answers_is_bounded_whatever_is_asked(asked: int, answered: int) -> None:
    """By the allocator's own count: shortest, longest body, and a job of fifty places."""
    kept = Remembered(answers.MEMORY)
    tracemalloc.start()
    try:
        for number in range(2 * answers.MEMORY // (asked + answered + ENTRY)):
            key = ("plug-time", b"%0*d" % (asked, number), "application/json")
            kept.keep(key, b"%0*d" % (answered, number))
        taken, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert answers.MEMORY - asked - answered - ENTRY < kept.size <= answers.MEMORY
    assert taken < 1.1 * answers.MEMORY


def test_bodies_that_differ_in_blanks_alone_do_not_fill_the_memory() -> None:
    made = answers.Answers(answers.ENDPOINTS, json.loads)
    body = json.dumps(example("ventilation-request")).encode()
    made.remembered = Remembered(100_000)
    for number in range(20):
        made.answer("ventilation", body + b" " * (50_000 + number))
    assert len(made.remembered) == 1
