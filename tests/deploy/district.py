"""An invented district: Harbour Lane Baths and its neighbours, and the jobs that come from there.

A job is drawn from its number alone, so that the same one can be asked again at any time.
"""

from random import Random
from typing import Any, NamedTuple

SEED = "harbour-lane"


class Pipework(NamedTuple):
    """Pipes of a room that are frozen now and then."""

    site: str
    room: str
    standard: str
    size: str
    schedule: str
    pressure: float
    """[bar]"""
    volume: float
    """Of the room [m3]."""


PIPEWORK = (
    Pipework("harbour-lane-baths", "plant-room", "ASTM B88", "1/2", "L", 3.0, 60),
    Pipework("harbour-lane-baths", "filter-room", "ASME B36.10M", "2", "40", 3.0, 140),
    Pipework("harbour-lane-baths", "pool-return", "ASTM B88", "1-1/4", "L", 2.0, 90),
    Pipework("rope-walk-laundry", "boiler-house", "ASME B36.10M", "1", "40", 4.0, 110),
    Pipework("rope-walk-laundry", "wash-floor", "ASTM B88", "3/4", "L", 3.5, 400),
    Pipework("tern-street-library", "cellar", "EN 1057", "15", "1.0", 2.5, 35),
    Pipework("tern-street-library", "riser", "EN 10255", "1/2", "medium", 2.5, 12),
    Pipework("lock-gate-flats", "meter-cupboard", "ASTM B88", "1/2", "K", 5.0, 6),
    Pipework("lock-gate-flats", "tank-room", "ASTM B88", "1", "L", 1.5, 45),
    Pipework("old-custom-house", "kitchen", "EN 1057", "22", "0.9", 3.0, 70),
)
RATES = {"currency": "EUR", "labour_per_hour": "62.00", "co2_per_kg": "3.40", "exchange": "25.00",
         "call_out": "40.00"}  # fmt: skip


def quantity(value: float, unit: str) -> dict[str, Any]:
    """``value`` as it is sent."""
    return {"value": value, "unit": unit}


def freeze(number: int) -> dict[str, Any]:
    """The freeze of job ``number``, as it is asked at /v1/plug-time."""
    return _freeze(Random(f"{SEED}/{number}"), number)


def _freeze(chance: Random, number: int) -> dict[str, Any]:
    line = chance.choice(PIPEWORK)
    return {
        "id": f"{line.site}/{line.room}/{number}",
        "pipe": {"standard": line.standard, "size": line.size, "schedule": line.schedule},
        "fluid": {
            "type": "water", "temperature": quantity(round(chance.uniform(8, 24), 1), "degC")
        },
        "ambient": {"temperature": quantity(round(chance.uniform(14, 28), 1), "degC")},
        "line_pressure": quantity(round(line.pressure * chance.uniform(0.7, 1.3), 2), "bar"),
    }  # fmt: skip


def job(number: int, change: int = 0) -> dict[str, Any]:
    """Job ``number``, as it is asked at /v1/job-estimate; what a ``change`` alters, and no more."""
    chance = Random(f"{SEED}/{number}")
    tree = _freeze(chance, number)
    volume = next(x.volume for x in PIPEWORK if tree["id"].startswith(f"{x.site}/{x.room}/"))
    tree |= {
        "points": chance.choice((1, 1, 2, 2, 2, 3)),
        "repair": quantity(chance.choice((20, 30, 45, 60, 90)), "min"),
        "cylinder": {"id": chance.choice(("co2-9.1kg", "co2-22.7kg"))},
        "room": {
            "volume": quantity(volume, "m3"),
            "air_changes": quantity(chance.choice((0.5, 1, 2, 4)), "1/h"),
        },
    }
    if chance.random() < 0.7:
        tree["rates"] = RATES
    if change:
        again = Random(f"{SEED}/{number}/{change}")
        warm = quantity(round(again.uniform(8, 24), 1), "degC")
        tree |= {"fluid": tree["fluid"] | {"temperature": warm}}
        tree["repair"] = quantity(again.choice((15, 40, 75, 120)), "min")
    return tree
