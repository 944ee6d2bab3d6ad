"""Freeze points whose percentiles are held against direct solutions of the same draws."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estimates.jobs import request_of, solution_of, water
from stillpipe.estimates import feeding
from stillpipe.estimates.course import Of
from stillpipe.estimates.solution import Solution
from stillpipe.model.requests import Co2MassRequest
from stillpipe.physics import freeze
from stillpipe.physics.column.work import Work
from stillpipe.physics.fading import LONGEST_THAW
from stillpipe.tables import pipes

Array = NDArray[np.float64]

DRAWS = 4000
"""Of the draws so many are solved directly, the first."""
HOLD = 2700.0
"""Hold [s]."""
FIGURES = ("closure", "ready", "length", "survival", "thaw", "co2")


@dataclass(frozen=True)
class PercentileCase:
    """Water, or glycol, of 20 C in a room of 20 C and half of full humidity, or another.

    Pipe, line pressure [bar], fluid and concentration [-], ``line`` and ``room`` [C], ``humidity``
    [-].
    """

    pipe: tuple[str, str, str]
    bar: float
    fluid: str = "water"
    concentration: float = 0.0
    line: float = 20.0
    room: float = 20.0
    humidity: float = 0.5

    @property
    def name(self) -> str:
        """How the table calls it."""
        found = pipes.find(*self.pipe).id
        told = f"{found} {self.bar:g} bar {self.fluid} {self.concentration:g}"
        if (self.line, self.room, self.humidity) != (20.0, 20.0, 0.5):
            told += f" line {self.line:g} room {self.room:g} C {100.0 * self.humidity:g} %"
        return told

    def request(self) -> Co2MassRequest:
        """The freeze point with its hold."""
        water_ = water(self.line)
        fluid = water_ if self.fluid == "water" else solution_of(self.fluid, self.concentration)
        return request_of(
            Co2MassRequest, pipes.find(*self.pipe), self.line, self.room, self.bar, fluid=fluid,
            hold=HOLD, relative_humidity=self.humidity,
        )  # fmt: skip


CASES = (
    PercentileCase(("ASTM B88", "1/2", "L"), 1.0),
    PercentileCase(("ASTM B88", "1", "L"), 16.0),
    PercentileCase(("ASTM B88", "2", "L"), 1.0),
    PercentileCase(("EN 1057", "8", "0.8"), 16.0),
    PercentileCase(("ASTM B43", "1", "regular"), 1.0),
    PercentileCase(("ASME B36.10M", "1/2", "40"), 1.0),
    PercentileCase(("ASME B36.10M", "2", "40"), 16.0),
    PercentileCase(("ASME B36.19M", "1", "10S"), 16.0),
    PercentileCase(("AWWA C106", "3", "Class 150"), 1.0),
    PercentileCase(("AWWA C151", "3", "PC 350"), 16.0),
    PercentileCase(("ASTM D1785", "1", "40"), 1.0),
    PercentileCase(("ASTM F441", "3/4", "80"), 1.0),
    PercentileCase(("ASTM F876", "3/4", "SDR 9"), 1.0),
    PercentileCase(("ASTM B88", "1", "L"), 1.0, "propylene_glycol", 0.10),
    PercentileCase(("ASME B36.10M", "1", "40"), 16.0, "ethylene_glycol", 0.08),
)
HALF, TWO, STEEL = ("ASTM B88", "1/2", "L"), ("ASTM B88", "2", "L"), ("ASME B36.10M", "1", "40")
ROOMS = (
    PercentileCase(HALF, 3.0, room=-0.5),
    PercentileCase(STEEL, 6.0, room=0.5),
    PercentileCase(HALF, 3.0, room=3.0),
    PercentileCase(HALF, 3.0, room=35.0, humidity=0.9),
    PercentileCase(HALF, 10.0, line=35.0),
    PercentileCase(TWO, 3.0, room=8.0),
    PercentileCase(TWO, 3.0, room=30.0, humidity=0.2),
    PercentileCase(STEEL, 3.0, room=2.5, humidity=0.9),
    PercentileCase(STEEL, 6.0, room=5.0),
    PercentileCase(STEEL, 6.0, room=38.0, humidity=0.8),
    PercentileCase(STEEL, 10.0, line=6.0),
    PercentileCase(("ASME B36.10M", "3", "40"), 3.0, humidity=0.8),
    PercentileCase(("ASME B36.19M", "1", "10S"), 6.0, room=12.0, humidity=0.9),
    PercentileCase(("ASTM D1785", "1", "40"), 3.0, room=10.0),
)
"""Cold, hot, dry and damp rooms, cold and warm lines."""
SOLUTIONS = (
    PercentileCase(HALF, 3.0, "propylene_glycol", 0.05),
    PercentileCase(("ASME B36.10M", "2", "40"), 6.0, "ethylene_glycol", 0.05),
    PercentileCase(TWO, 3.0, "propylene_glycol", 0.08),
    PercentileCase(("ASTM D1785", "1", "40"), 3.0, "ethylene_glycol", 0.06),
)
"""Weaker glycols, looked at beside the two others when the line of the ice fraction was laid."""


def planned(solution: Solution) -> tuple[float, float]:
    """Round planned times of ready and the hold's end [s], which the table keeps."""
    ready = float(np.round(solution.planned_ready or 0.0, -1))
    return ready, ready + HOLD


def surfaced(case: PercentileCase, ready: float, end: float) -> dict[str, Array]:
    """Return the figures of the draws by the surface, at the planned times [s]."""
    request = case.request()
    solution = Solution(request, HOLD)
    drawn = _co2(request, solution, ready, solution.drawn(ready), solution.drawn(end))
    held, melted = solution.closures < end, solution.melted(end)
    found = {
        "closure": solution.closures,
        "ready": solution.readies,
        "length": solution.grown(Of.SOUND, end),
        "survival": solution.lasting(end),
        "thaw": np.where(melted > LONGEST_THAW, np.inf, melted * solution.model),
        "co2": drawn,
    }
    late = ("length", "survival", "thaw", "co2")
    return {
        k: np.where(held, v, np.nan)[:DRAWS] if k in late else v[:DRAWS] for k, v in found.items()
    }


def _co2(
    request: Co2MassRequest, solution: Solution, ready: float, first: Array, last: Array
) -> Array:
    """CO2 of the draws [kg] from the heat drawn until ready and until the end [J]."""
    per_heat = feeding.per_heat(request, solution)[: len(first)]
    leak = request.leak_power * (ready + HOLD)
    return np.asarray((last + request.jacket_heat + leak) * per_heat)


def solved(case: PercentileCase, ready: float, end: float, draws: range) -> dict[str, Array]:
    """Return the figures of ``draws`` by a freeze each on the fine grid, at the planned times."""
    request = case.request()
    solution = Solution(request, HOLD)
    rows = [_one(solution, i, end) for i in draws]
    found = dict(zip(("closure", "ready", "length", "survival", "thaw", "heat"),
                     np.array(rows).T, strict=True))  # fmt: skip
    heat = np.full(draws.stop, np.nan)
    heat[draws.start :] = found.pop("heat")
    found["co2"] = _co2(request, solution, ready, heat, heat)[draws.start :]
    return found


def _one(solution: Solution, i: int, end: float) -> list[float]:
    """One draw: closure, ready, length, survival, thaw, heat; infinite where that never comes."""
    never = [np.inf, np.inf, np.nan, np.nan, np.nan, np.nan]
    ensemble, model = solution.ensemble, float(solution.model[i])
    if not ensemble.possible(solution.sample)[i]:
        return never
    z = ensemble.deviates(solution.sample)[i]
    scenario = solution.cases.scenario(dict(zip(solution.cases.names, z.tolist(), strict=True)))
    lost = float(solution.lost(solution.strength[[i]])[0])
    run = freeze.FreezeRun(
        solution.cases.case(scenario), needed_length=solution.point.bore,
        needed_grip=lost * solution.point.safety_factor, work=Work(10**12),
    )  # fmt: skip
    if run.closure is None:
        return never
    ready = np.inf if run.ready is None else run.ready * model
    if run.closure * model >= end:
        return [run.closure * model, ready, np.nan, np.nan, np.nan, np.nan]
    moment = run.fed_to(end / model)
    stop = run.stop(moment, lost)
    survival, thaw = (
        np.inf if t is None else t * model for t in (stop.survival, run.fading(moment).thaw)
    )
    return [run.closure * model, ready, moment.sound_length, survival, thaw, moment.heat_jacket]


def percentile(values: Array, p: float) -> float:
    """Return the percentile of those that are told [as the figure]."""
    known = np.sort(values[~np.isnan(values)])
    return float(known[min(max(int(np.ceil(p * len(known))) - 1, 0), len(known) - 1)])
