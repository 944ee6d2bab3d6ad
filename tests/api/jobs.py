"""Replies of job-estimate: a real one, and what is assembled from it."""

import copy
import json
from functools import cache
from typing import Any

from api.examples import example
from stillpipe.api.answers import ANSWERS

JSON = dict[str, Any]

COPPER = {"standard": "ASTM B88", "size": "1-1/2", "schedule": "L", "material": "copper_c12200"}
STEEL = {"standard": "ASME B36.10M", "size": "2", "schedule": "40", "material": "carbon_steel"}
POINTS = (
    ("boiler flow", "cellar", 0.0, 1, "A", COPPER),
    ("boiler return", "cellar", 2600.0, 1, "A", COPPER),
    ("riser", None, None, 2, "B", STEEL),
)
"""Name, run, place [mm], group, manifold and pipe of invented freeze points."""
START = "2026-11-30T08:00:00+01:00"


@cache
def _made(changes: str) -> bytes:
    body = example("job-estimate-request") | json.loads(changes)
    body = {name: value for name, value in body.items() if value is not None}
    return ANSWERS.answer("job-estimate", json.dumps(body).encode()).body


def job(**changes: Any) -> JSON:
    """The reply to the example with members of the request changed; those None are left out."""
    made: JSON = json.loads(_made(json.dumps(changes)))
    return made


def exchanged() -> JSON:
    """A pipe by its measures at a single point, held so long that cylinders are exchanged."""
    measures = {"outside_diameter": {"value": 61, "unit": "mm"}, "wall": {"value": 2, "unit": "mm"}}
    return job(
        pipe=measures | {"material": "carbon_steel"},
        insulation={"material": "mineral_wool", "thickness": {"value": 20, "unit": "mm"}},
        points=1, places=None, room=None, rates=None, drain_down=None, id=None,
        repair={"value": 3, "unit": "h"}, cylinder={"id": "co2-6.3kg"},
    )  # fmt: skip


def several(count: int = 3, clock: bool = True) -> JSON:
    """The example's reply as that of ``count`` freeze points that differ.

    Members of the list are those of such a job; figures are those of the example, longer by a
    fifth from point to point.
    """
    reply = job()
    named = [(f"point {i + 1}", *POINTS[i % 3][1:]) for i in range(count)]
    named[:3] = POINTS
    reply["freeze_points"] = [_point(reply, i, *known) for i, known in enumerate(named)]
    inputs = reply["inputs"]
    inputs["freeze_points"] = [
        {"pipe": inputs["pipe"] | {k: {"value": v, "default": False} for k, v in pipe.items()},
         "jacket": inputs["jacket"]}
        for *_, pipe in named
    ]  # fmt: skip
    if clock:
        inputs["start"] = {"value": START, "default": False}
    points = list(enumerate(reply["freeze_points"]))
    events = [e for i, p in points for e in _events(reply, p, i)]
    reply["timeline"] = sorted(events, key=lambda e: float(e["at"]["value"]))
    inputs["places"] = [p for p in inputs["places"] if p["kind"]["value"] != "freeze-point"]
    for place in inputs["places"]:
        place["run"] = {"value": "cellar", "default": False}
    for found in (*reply["spacing"]["rules"], *reply["spacing"]["trapped_water"]):
        found["run"] = "cellar"
    reply["cylinders"]["manifolds"] = [
        {"name": m, "points": [n[0] for n in named if n[4] == m], "planned_count": 2}
        for m in ("A", "B")
    ]
    return reply


def _point(reply: JSON, index: int, *known: Any) -> JSON:
    name, run, at, group, manifold, _ = known
    factor = 1.2 ** min(index, 6)
    ranges = {
        k: {e: v if e == "unit" else v * factor for e, v in reply[k].items()}
        for k in ("closure", "ready", "plug_length", "survival", "thaw", "planned_thaw")
    }
    return ranges | {
        "name": name, "run": run, "at": None if at is None else {"value": at, "unit": "mm"},
        "group": group, "manifold": manifold, "pipe": "astm-b88/1-2/L", "verdict": "go",
        "chance": 0.95, "feed_at": {"value": 1800.0 + 3600.0 * (group - 1), "unit": "s"},
        "planned_ready": {"value": ranges["ready"]["high"], "unit": "s"},
        "residual_flow_limit": {"low": 3.47, "likely": 6.1, "high": 9.2, "unit": "kg/h"},
        "co2": reply["co2"]["total"],
    }  # fmt: skip


def _events(reply: JSON, point: JSON, index: int) -> list[JSON]:
    """The moments of a point; arriving is told once, for all."""
    found = copy.deepcopy(reply["timeline"])
    for event in found:
        every = event["code"] == "arrive"
        later = 0.0 if every else 3600.0 * (point["group"] - 1) + 60.0 * index
        for member in ("at", "earliest", "latest"):
            event[member]["value"] += later
        event["points"] = [] if every else [point["name"]]
        event["group"] = None if every else point["group"]
    return [e for e in found if index == 0 or e["points"]]
