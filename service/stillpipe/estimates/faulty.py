"""A freeze point with something wrong: what the solver is given for each cause, and its signs."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import feeding, moving
from stillpipe.estimates.sampled import Sampled
from stillpipe.lazy import cached_property
from stillpipe.model.observations import SurfaceTemperature, WeightDrawn
from stillpipe.physics import film, freeze, media, solutions
from stillpipe.physics.column import work
from stillpipe.physics.constants import DRY_ICE, ZERO_C
from stillpipe.physics.frosting import FrostRun
from stillpipe.tables import materials
from stillpipe.uncertainty.faults import Fault
from stillpipe.uncertainty.scenarios import Scenario

Array = NDArray[np.float64]

HOUR = 3600.0
WARMEST = media.WARMEST - 1.0
"""Warmest water that is tried [K]."""
LEAST_ABOVE = 0.5
"""A line is not taken to be colder than so much above its freezing point [K]."""
RICHEST = 0.55
"""Richest glycol that is tried [-]."""
SOFT = 0.5
"""Of the ice that a richer glycol can hold so much counts as a plug [-]: frost does not hang on
it."""
LATER, LONGER = 3.0, 1.5
"""Freezes are followed for so many times what has passed, and what a sound one takes [-]."""
WITH_FLOW = (("fluid", "flow"), "state a pipe nearer to common sizes: to weigh a flow as the cause")
LATE = (("elapsed",), "ask sooner: to weigh causes after so long")
OBSERVED = (("observations",), "leave out observations: to weigh causes by so many and so late")


@dataclass(frozen=True, kw_only=True)
class Faulty:
    """A freeze point with something wrong.

    ``case`` of it as the solver takes it; ``flow`` of water through it [kg/s]; ``frosted``
    temperature at which frost is seen [K], None where it is hidden; ``mass`` CO2 that is drawn over
    what the pipe takes [-], None where the cylinder gives as much as to a sound jacket.
    """

    case: freeze.Case
    flow: float = 0.0
    frosted: float | None = ZERO_C
    mass: float | None = 1.0


Change = Callable[[Sampled, Faulty, Scenario, float], Faulty]


def _flow(s: Sampled, f: Faulty, _x: Scenario, value: float) -> Faulty:
    return replace(f, flow=s.point.fluid.flow + value / HOUR)


def _jacket(_s: Sampled, f: Faulty, _x: Scenario, value: float) -> Faulty:
    return replace(f, case=replace(f.case, h_jacket=min(value, 1.0) * f.case.h_jacket), mass=None)


def _cylinder(_s: Sampled, f: Faulty, _x: Scenario, value: float) -> Faulty:
    share = min(value, 1.0)
    return replace(f, case=replace(f.case, h_jacket=share * f.case.h_jacket), mass=share)


def _warmer(_s: Sampled, f: Faulty, _x: Scenario, value: float) -> Faulty:
    warm = max(min(f.case.start_temperature + value, WARMEST), f.case.start_temperature)
    return replace(f, case=replace(f.case, start_temperature=warm))


def _colder(s: Sampled, f: Faulty, _x: Scenario, value: float) -> Faulty:
    case, least = f.case, s.point.fluid.freezing_point + LEAST_ABOVE
    cold = min(max(case.start_temperature - value, least), case.start_temperature)
    room = case.ambient_temperature - value
    return replace(f, case=replace(case, start_temperature=cold, ambient_temperature=room))


def _resized(_s: Sampled, f: Faulty, _x: Scenario, value: float) -> Faulty:
    c = f.case
    return replace(f, case=replace(
        c, bore=value * c.bore, outer_diameter=value * c.outer_diameter,
        wall_thickness=value * c.wall_thickness,
    ))  # fmt: skip


def _lined(_s: Sampled, f: Faulty, _x: Scenario, value: float) -> Faulty:
    c, scale = f.case, materials.find_layer("iron_oxide_scale", "lining", ("lining",))
    layer = min(value, 0.2 * c.bore)
    bore = c.bore - 2.0 * layer
    more = math.log(c.bore / bore) / scale.conductivity
    return replace(f, case=replace(c, bore=bore, lining_resistance=c.lining_resistance + more))


def _empty(_s: Sampled, f: Faulty, _x: Scenario, value: float) -> Faulty:
    return replace(f, case=replace(f.case, medium=media.partly(f.case.medium, min(value, 1.0))))


def _richer(s: Sampled, f: Faulty, x: Scenario, value: float) -> Faulty:
    fluid = s.point.fluid
    glycol = fluid.type.endswith("glycol")
    kind = fluid.type if glycol else "propylene_glycol"
    share = min(value + (fluid.concentration if glycol else 0.0), RICHEST)
    plug = round(SOFT * solutions.most_ice(kind, share), 3)
    medium = solutions.medium(kind, share, plug, x.ice_conductivity)
    return replace(f, case=replace(f.case, medium=medium, plug_ice_fraction=plug))


def _dry(s: Sampled, f: Faulty, x: Scenario, value: float) -> Faulty:
    humid = min(value, 1.0)
    drier = x.varied("relative_humidity", humid - s.point.relative_humidity)
    room = s.cases.room_film(drier) * x.room_film
    point = min(film.frost_point(f.case.ambient_temperature, humid), ZERO_C)
    return replace(f, case=replace(f.case, room_film=room), frosted=point)


def _hidden(_s: Sampled, f: Faulty, _x: Scenario, _value: float) -> Faulty:
    return replace(f, frosted=None)


CHANGES: dict[tuple[str, str], Change] = {
    ("flow", ""): _flow,
    ("jacket", ""): _jacket,
    ("cylinder-empty", ""): _cylinder,
    ("warm-water", ""): _warmer,
    ("lined-pipe", "larger"): _resized,
    ("lined-pipe", "lining"): _lined,
    ("pipe-empty", ""): _empty,
    ("wrong-fluid", ""): _richer,
    ("insulated", ""): _hidden,
    ("dry-air", ""): _dry,
    ("smaller-pipe", ""): _resized,
    ("colder", ""): _colder,
}
"""What each way of each cause changes, by a severity as the table of causes has it."""


def sound(s: Sampled, scenario: Scenario) -> Faulty:
    """Return the freeze point of ``s`` under ``scenario`` with nothing wrong."""
    return Faulty(case=s.cases.case(scenario))


def faulty(s: Sampled, scenario: Scenario, fault: Fault, value: float) -> Faulty:
    """Return the freeze point of ``s`` under ``scenario`` with a ``fault`` as severe as ``value``.

    ``value`` [as the table of causes has it].
    """
    return CHANGES[fault.cause, fault.way](s, sound(s, scenario), scenario, value)


class Signs:
    """What is seen of likely freezes with something wrong, over what is of the sound one.

    ``times`` and places of surface temperatures and weights are those of ``seen``; ``latest`` [s]
    when anything was seen.
    """

    def __init__(
        self, s: Sampled, seen: tuple[SurfaceTemperature | WeightDrawn, ...], latest: float
    ) -> None:
        """Solve nothing yet; what it takes is added to the work of ``s``."""
        self._s, self._seen = s, seen
        self._until = min(max((o.elapsed for o in seen), default=1.0), freeze.LATEST_FROST)
        self._latest = latest
        self._known: dict[tuple[str, str, float], Array] = {}

    @cached_property
    def _sound(self) -> FrostRun:
        """The likely freeze with nothing wrong."""
        return self._run(sound(self._s, self._s.cases.likely), freeze.LATEST_FROST)

    @cached_property
    def _longest(self) -> float:
        """How long freezes are followed [s]."""
        usual = LONGER * (self._sound.frost or freeze.LATEST_FROST)
        return min(max(LATER * self._latest, usual, self._until), freeze.LATEST_FROST)

    def _run(self, f: Faulty, longest: float) -> FrostRun:
        begun, s = None, self._s
        if f.flow > 0.0:
            point = replace(s.point, fluid=replace(s.point.fluid, flow=f.flow))
            with work.blamed(*WITH_FLOW):
                begun = moving.frozen(
                    point, f.case, s.cases.likely, s.work, fine=False, longest=longest
                ).begun
        with work.blamed(*(OBSERVED if self._seen else LATE)):
            run = FrostRun(
                f.case, at=ZERO_C if f.frosted is None else f.frosted, until=self._until,
                longest=longest, grid=freeze.PRODUCTION, work=s.work, begun=begun,
            )  # fmt: skip
        s.solves.append(run)
        return run

    def _usual(self, f: Faulty) -> float:
        """When frost comes to the sound freeze [s], with the stated flow where ``f`` flows."""
        found = self._sound.frost
        if f.flow > 0.0 and self._s.point.fluid.flow > 0.0:
            centre = self._s.ensemble.centre
            found = found if centre is None else centre.frost
        return found or 2.0 * freeze.LATEST_FROST

    def of(self, fault: Fault, value: float) -> Array:
        """Return the signs of ``fault`` as severe as ``value`` [as the table of causes has it].

        Logarithms of the time of frost, infinite where it does not come, then of what each of
        ``seen`` is about, over those of the sound freeze [-].
        """
        key = (fault.cause, fault.way, value)
        if key not in self._known:
            self._known[key] = self._solved(fault, value)
        return self._known[key]

    def _solved(self, fault: Fault, value: float) -> Array:
        f = faulty(self._s, self._s.cases.likely, fault, value)
        if f.frosted is None and not self._seen:
            return np.array([math.inf])
        run = self._run(f, self._longest)
        late = None if f.frosted is None else run.frost
        frost = math.inf if late is None else math.log(late / self._usual(f))
        return np.array([frost, *(self._ratio(f, run, o) for o in self._seen)])

    def _ratio(self, f: Faulty, run: FrostRun, o: SurfaceTemperature | WeightDrawn) -> float:
        if isinstance(o, SurfaceTemperature):
            time = min(o.elapsed, self._until)
            usual = self._sound.skin(o.distance, time)
            mine = self._beside(f, run, o.distance, time)
            return math.log(max(mine - DRY_ICE, 1.0) / max(usual - DRY_ICE, 1.0))
        if f.mass is None:
            return 0.0
        fed = feeding.feeding(self._s.point)
        more = fed.jacket_heat + fed.leak_power * o.elapsed
        mine, usual = (each.heat(o.elapsed) for each in (run, self._sound))
        return math.log(f.mass * (mine + more) / (usual + more))

    def _beside(self, f: Faulty, run: FrostRun, distance: float, time: float) -> float:
        """Temperature of the pipe's outside [K] at a ``distance`` [m] and a ``time`` [s].

        While water moves it is known where frost is looked for; further off it is taken to fall
        off as on the sound pipe.
        """
        if time >= run.begun:
            return run.skin(distance, time)
        far = f.case.start_temperature
        usual = far - self._sound.beside(time)
        share = (far - self._sound.skin(distance, time)) / usual if usual > 1.0 else 1.0
        return far - share * (far - run.beside(time))
