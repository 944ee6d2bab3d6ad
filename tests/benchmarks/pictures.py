"""Measures every picture beyond its estimate: the least CPU time of many, after a few.

    PYTHONPATH=service python tests/benchmarks/pictures.py [TIMES]

The estimate is made before, of the description's example. The goal is 60 ms.
"""

import json
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import orjson

from stillpipe.api.answers import ANSWERS
from stillpipe.api.registry import ENDPOINTS, PICTURES
from stillpipe.api.selection import Selection

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
GOAL = 60.0
"""Longest that a picture may take [ms]."""


def least(draw: Callable[[], bytes], times: int) -> float:
    """Return the least CPU time [ms] of ``draw``, after it was warmed up."""
    found = []
    for _ in range(times + 3):
        begun = time.process_time()
        draw()
        found.append(1e3 * (time.process_time() - begun))
    return min(found[3:])


def main() -> None:
    """Print a line for each picture."""
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    for name, pictures in PICTURES.items():
        body = json.loads((EXAMPLES / f"{name}-request.json").read_text())
        whole = Selection(include=ENDPOINTS[name].on_request)
        reply = orjson.loads(ANSWERS.answer(name, orjson.dumps(body), asked=whole).body)
        for which, form in pictures.items():
            spent = least(partial(form, reply), times)
            print(f"{name} {which}: {spent:.1f} ms, goal {GOAL:.0f}")


if __name__ == "__main__":
    main()
