"""Estimates that one process computes at once, each for a request of its own."""

import threading
from typing import Any

import orjson

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
        "fluid": {"type": "water", "temperature": {"value": 10 + 0.5 * number, "unit": "degC"}},
        "ambient": {"temperature": {"value": 20, "unit": "degC"}},
        "line_pressure": {"value": 3, "unit": "bar"}, "hold": {"value": 30, "unit": "min"},
    }  # fmt: skip
    return orjson.dumps(request | ({"observations": [HELD, FROST]} if seen else {}))


def test_none_waits_for_another_and_all_answers_are_as_alone() -> None:
    """What was seen is worked out from another end than what was not: neither holds the other.

    With a lock for all objects it hung in one run of three; ``tests/test_lazy.py`` hangs always.
    """
    together, alone = (Answers(ENDPOINTS, reading.read) for _ in range(2))
    asked = [
        [("cylinder-count" if k % 2 else "co2-mass", body(5 * k + n, (k + n) % 3 > 0))
         for n in range(4)]
        for k in range(8)
    ]  # fmt: skip
    found: dict[int, list[bytes]] = {}

    def ask(k: int) -> None:
        found[k] = [together.answer(*told, "application/json").body for told in asked[k]]

    threads = [threading.Thread(target=ask, args=(k,), daemon=True) for k in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120.0)
    assert sorted(found) == list(range(8)), "some wait for ever"
    for k in (0, 1):
        assert found[k] == [alone.answer(*told, "application/json").body for told in asked[k]]
