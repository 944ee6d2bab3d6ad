"""What moves the closure time: the share of each uncertain input in its variance."""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from stillpipe.estimates import course, feeding
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Amount
from stillpipe.physics import film, freeze
from stillpipe.physics.constants import ZERO_C
from stillpipe.uncertainty import draws, surface
from stillpipe.uncertainty.table import Z95


@dataclass(frozen=True, kw_only=True)
class Driver:
    """How much one uncertain input moves the closure time."""

    name: Annotated[str, Plain(says="Which input; model is the model itself.")]
    share: Annotated[float, Chance(says="Of the variance of the closure time's logarithm.")]
    low: Annotated[Amount, Plain(says="Its 5th percentile.")]
    high: Annotated[Amount, Plain(says="Its 95th percentile.")]
    closure_at_low: Annotated[
        float | None, Figure("time", says="Closure with that, all else likely.")
    ]
    closure_at_high: Annotated[
        float | None, Figure("time", says="Closure with that, all else likely.")
    ]


def of_closure(solution: Solution) -> tuple[Driver, ...]:
    """Return what moves the closure time, what moves it most first."""
    fitted = solution.before.ensemble.surface(course.closing, course.closing)
    model = solution.cases.input("model")
    sigma = math.log(float(model.at(1.0)))
    shares, beside = surface.shares(fitted, 0, {"model": sigma})
    found = []
    for i, name in enumerate(solution.cases.names):
        z = np.zeros((2, len(solution.cases.names)))
        z[:, i] = (-Z95, Z95)
        low, high = (_time(x) for x in fitted.at(z)[:, 0])
        ends = [amount(solution, name, each) for each in (-Z95, Z95)]
        found.append(
            Driver(
                name=name,
                share=float(shares[i]),
                low=ends[0],
                high=ends[1],
                closure_at_low=low,
                closure_at_high=high,
            )
        )
    likely = math.exp(float(fitted.centre[0]))
    found.append(
        Driver(
            name="model",
            share=beside["model"],
            low=Amount(model.low, "factor"),
            high=Amount(model.high, "factor"),
            closure_at_low=likely * model.low,
            closure_at_high=likely * model.high,
        )
    )
    return tuple(sorted(found, key=lambda d: -d.share))


def _time(logarithm: float) -> float | None:
    """Return a closure [s] from its logarithm; None where it does not come."""
    time = math.exp(logarithm)
    return time if time <= freeze.LONGEST_FREEZE else None


def amount(solution: Solution, name: str, z: float) -> Amount:
    """Return the value of an input at the deviate ``z`` [-] with its kind of quantity."""
    point = solution.point
    if name in draws.AFTER:
        return _after(solution, name, z)
    scenario = solution.cases.scenario({name: z})
    case = solution.cases.case(scenario)
    kinds = {
        "jacket_conductance": ("conductance", case.h_jacket),
        "jacket_filling": ("time", case.fill_time),
        "room_film": ("conductance", film.at(case.room_film, ZERO_C)),
        "relative_humidity": (
            "factor", min(max(point.relative_humidity + scenario.relative_humidity, 0.0), 1.0),
        ),
        "wall_thickness": ("length", case.wall_thickness),
        "fluid_temperature": ("temperature", case.start_temperature),
        "ambient_temperature": ("temperature", case.ambient_temperature),
    }  # fmt: skip
    if name in kinds:
        kind, value = kinds[name]
        return Amount(value, kind)
    value = getattr(scenario, name)
    return Amount(float(value), "factor")


def _after(solution: Solution, name: str, z: float) -> Amount:
    """Return the value of an input that acts on a solved freeze, at the deviate ``z`` [-]."""
    value = solution.cases.input(name).value(z)
    if name == "adhesion":
        return Amount(value * solution.likely_strength, "pressure")
    if name == "capture":
        return Amount(
            min(value * feeding.feeding(solution.point).capture_efficiency, 1.0), "factor"
        )
    if name == "cylinder_temperature":
        return Amount(value + solution.point.cylinder.temperature, "temperature")
    return Amount(value, "factor")
