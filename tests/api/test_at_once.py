"""Estimates that one process computes at once, each for a request of its own."""

import threading
from typing import Any

import orjson
import pytest

from stillpipe.api import reading
from stillpipe.api.answers import Answers
from stillpipe.api.registry import ENDPOINTS

FROST = {"kind": "frost", "elapsed": {"value": 230, "unit": "s"}}
HELD = {
    "kind": "pressure-held", "elapsed": {"value": 420, "unit": "s"},
    "value": {"value": 3, "unit": "bar"},
}  # fmt: skip


def body(number: int, seen: bool) -> bytes:
    """A request of its own, with or without something seen."""
    request: dict[str, Any] = {
        "pipe": {"standard": "ASTM B88", "size": "1/2", "schedule": "L"},
        "fluid": {"type": "water", "temperature": {"value": 15 + number, "unit": "degC"}},
        "ambient": {"temperature": {"value": 20, "unit": "degC"}},
        "line_pressure": {"value": 3, "unit": "bar"}, "hold": {"value": 30, "unit": "min"},
    }  # fmt: skip
    return orjson.dumps(request | ({"observations": [HELD, FROST]} if seen else {}))


@pytest.mark.parametrize("names", [("co2-mass", "cylinder-count"), ("hold-time", "co2-mass")])
def test_none_waits_for_another_and_all_answers_are_as_alone(names: tuple[str, str]) -> None:
    """What was seen is asked for in another order than what was not: neither holds the other."""
    asked = [(names[n % 2], body(n, n % 3 > 0)) for n in range(8)]
    found: dict[int, bytes] = {}

    def ask(answers: Answers, n: int) -> None:
        found[n] = answers.answer(*asked[n], "application/json").body

    together, alone = (Answers(ENDPOINTS, reading.read) for _ in range(2))
    threads = [threading.Thread(target=ask, args=(together, n), daemon=True) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120.0)
    assert sorted(found) == list(range(8))
    for n, (name, asks) in enumerate(asked):
        assert found[n] == alone.answer(name, asks, "application/json").body
