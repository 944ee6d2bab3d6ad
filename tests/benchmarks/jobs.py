"""Requests that no process has seen: pipes of the catalogue, each a little off its size."""

import copy
import json
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from stillpipe.tables import pipes

EXAMPLES = Path(__file__).resolve().parents[2] / "openapi" / "examples"
WIDEST = 0.1195
"""Outside diameter of the widest pipe [m], below that of the widest which may be stated."""

JSON = dict[str, Any]
Maker = Callable[[random.Random], JSON]


def example(name: str) -> JSON:
    """Return the request of the description's example ``name``."""
    body: JSON = json.loads((EXAMPLES / f"{name}-request.json").read_text())
    return body


def pipe(draw: random.Random) -> JSON:
    """Return a pipe of the catalogue, up to 0.01 mm wider: its tables and its grid are its own."""
    known = draw.choice([p for p in pipes.catalogue() if p.outside_diameter < WIDEST])
    wide = known.outside_diameter * 1e3 + draw.uniform(0.0, 0.01)
    return {
        "outside_diameter": {"value": wide, "unit": "mm"},
        "wall": {"value": known.wall * 1e3, "unit": "mm"},
        "material": known.material,
    }


def plug_time(draw: random.Random) -> JSON:
    """Return a plug-time request: water and room 20 degC, 3 bar."""
    body = example("plug-time")
    kept = ("pipe", "fluid", "ambient", "line_pressure")
    return {name: body[name] for name in kept} | {"pipe": pipe(draw)}


def job(draw: random.Random) -> JSON:
    """Return a whole job: two points, repair of 45 min, room, rates, drain-down, places."""
    return example("job-estimate") | {"pipe": pipe(draw)}


def ventilation(draw: random.Random) -> JSON:
    """Return a room of its own size with two releases."""
    body = copy.deepcopy(example("ventilation"))
    body["room"]["volume"]["value"] = draw.uniform(50.0, 70.0)
    return body


def register(count: int, seed: int) -> Iterator[JSON]:
    """Yield ``count`` rows of a register of plug-time jobs, no two alike."""
    draw = random.Random(seed)
    known = pipes.catalogue()
    for i in range(count):
        chosen = known[i % len(known)]
        yield {
            "id": str(i),
            "pipe.standard": chosen.standard,
            "pipe.size": chosen.size,
            "pipe.schedule": chosen.schedule,
            "fluid.temperature [degC]": draw.uniform(10.0, 25.0),
            "ambient.temperature [degC]": 20.0,
            "line_pressure [bar]": 3.0,
        }


def alike(count: int, seed: int) -> Iterator[JSON]:
    """Yield ``count`` rows as an operator's register has them: few conditions, many pipes."""
    draw = random.Random(seed)
    known = pipes.catalogue()
    for row in register(count, seed):
        chosen = draw.choice(known)
        named = {
            "pipe.standard": chosen.standard,
            "pipe.size": chosen.size,
            "pipe.schedule": chosen.schedule,
        }
        celsius, bar = draw.choice((6.0, 12.0, 20.0, 35.0)), draw.choice((3.0, 6.0))
        conditions = {"fluid.temperature [degC]": celsius, "line_pressure [bar]": bar}
        yield row | named | conditions
