"""One freeze point solved once: what every estimate asks.

Nothing is solved before it is asked for, and nothing twice. A freeze is fed once a scenario;
what happens when feeding stops branches from it.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import moving
from stillpipe.model.figures import Effort, Range, range_of
from stillpipe.model.freeze_point import FreezePoint, Orientation
from stillpipe.physics import film, freeze, media, solutions
from stillpipe.physics.column import work
from stillpipe.physics.stream import run as stream
from stillpipe.uncertainty.scenarios import FAST, LIKELY, SCENARIOS, SLOW, Scenario

H_EMPTY = 10.0
"""Conductance from the room through an empty jacket to the pipe [W/(m2 K)]: an assumption."""
PLUG_ICE_FRACTION = 0.75
"""Ice mass fraction that counts as a plug in a solution [-]: an assumption, range 0.6-0.95."""
SOLUTION_BOND = 0.5
"""Strength of the bond of ice from sea water or glycol over that of pure ice [-]: an assumption."""
SHORTEST_HOLD = 1.0
"""Over which the power of a hold is taken at least [s]."""
COOL_ENOUGH = 298.15
"""A line warmer than this is left to cool first [K]: water near room temperature; common
practice, no source."""
WATER_HEAT = 4.18e6
"""Heat capacity of water [J/(m3 K)], about 20 degC; from memory."""

SHORT_JACKET = "use a longer jacket: under so short a one so slow a freeze"
LONG_HOLD = "shorten it: so long a hold of so small a plug"
COLD_ROOM = "state a warmer room, or one below freezing: a thaw as slow as in this one"
MANY_EXCHANGES = "use a larger cylinder: so many exchanges"


@dataclass(frozen=True, kw_only=True)
class Plug:
    """A plug of one scenario as it gets ready.

    ``ready`` [s] from the first feed, sound ``length`` and ``grip`` [m], ``heat`` drawn so far [J].
    """

    ready: float
    length: float
    grip: float
    heat: float


@dataclass(frozen=True, kw_only=True)
class Held:
    """A plug after its hold: times [s] from the coolant's stop, lengths [m].

    ``survival_at_closure`` is that of a plug whose coolant stops right at closure. A time is None
    where the event does not come within a day.
    """

    survival_at_closure: float | None
    survival: float | None
    thaw: float | None
    length: float
    grip: float


class Solution:
    """A freeze point, fed until ready and on for ``hold`` [s].

    What it takes is added to that of ``shares``, a solution asked for the same answer.
    """

    def __init__(
        self,
        point: FreezePoint,
        hold: float = 0.0,
        shares: "Solution | None" = None,
        *,
        member: str = "hold",
    ) -> None:
        """Solve nothing yet; ``member`` of the request says how long the hold is."""
        self.point, self.hold, self._member = point, hold, member
        self.work: work.Work = work.Work() if shares is None else shares.work
        self._fed: list[freeze.FreezeRun] = [] if shares is None else shares._fed
        self._cases: dict[Scenario, freeze.Case] = {}
        self._runs: dict[Scenario, freeze.FreezeRun] = {}
        self._streams: dict[Scenario, stream.Streamed] = {}

    @cached_property
    def stays_slush(self) -> bool:
        """Whether the fluid never holds enough ice for a plug."""
        return self.most_ice <= PLUG_ICE_FRACTION

    @property
    def most_ice(self) -> float:
        """Largest ice mass fraction that the fluid reaches [-]."""
        return solutions.most_ice(self.point.fluid.type, self.point.fluid.concentration)

    def run(self, scenario: Scenario = LIKELY) -> freeze.FreezeRun:
        """Return the freeze under ``scenario``, fed once."""
        run = self._runs.get(scenario)
        if run is None:
            begun = self._begun(scenario)
            blame = (("jacket", "length"), SHORT_JACKET)
            with work.blamed(*(blame if begun is None else moving.NEAR_LIMIT)):
                run = self._runs[scenario] = freeze.FreezeRun(
                    self.case(scenario),
                    needed_length=self.point.bore,
                    needed_grip=self.needed_grip(scenario),
                    work=self.work,
                    begun=begun,
                )
            self._fed.append(run)
        return run

    @property
    def effort(self) -> Effort:
        """What solving took so far."""
        return Effort(len(self._fed), self.work.taken)

    def case(self, scenario: Scenario = LIKELY) -> freeze.Case:
        """Return the freeze point as the solver takes it, the uncertain inputs scaled."""
        case = self._cases.get(scenario)
        if case is None:
            point, material = self.point, self.point.material
            case = self._cases[scenario] = freeze.Case(
                bore=self.point.bore,
                outer_diameter=point.pipe.outside_diameter,
                wall_thickness=point.pipe.wall,
                jacket_length=point.jacket.length,
                wall_conductivity=material.conductivity,
                wall_heat_capacity=material.heat_capacity,
                lining_resistance=point.lining_resistance,
                h_jacket=point.jacket.conductance * scenario.jacket,
                fill_time=point.jacket.fill_time * scenario.filling,
                room_film=self.room_film * scenario.film,
                h_empty=H_EMPTY * scenario.film,
                start_temperature=point.fluid.temperature,
                ambient_temperature=point.ambient.temperature,
                medium=self._medium,
                plug_ice_fraction=1.0 if self.is_water else PLUG_ICE_FRACTION,
                convection=scenario.convection,
                vertical=point.orientation is Orientation.VERTICAL,
            )
        return case

    @property
    def is_water(self) -> bool:
        """Whether plain water fills the bore: it freezes at one temperature."""
        fluid = self.point.fluid
        return fluid.type == "water" or fluid.concentration <= 0.0

    @cached_property
    def _medium(self) -> media.Medium:
        """What fills the bore."""
        if self.is_water:
            return media.WATER
        fluid = self.point.fluid
        return solutions.medium(fluid.type, fluid.concentration, PLUG_ICE_FRACTION)

    def needed_grip(self, scenario: Scenario = LIKELY) -> float:
        """Grip that carries line pressure x safety factor [m]."""
        return self.yield_grip(scenario) * self.point.safety_factor

    def yield_grip(self, scenario: Scenario = LIKELY) -> float:
        """Grip below which line pressure pushes the plug out [m].

        Shear balance 4 tau L / D = p, the shear as even along the plug as its bond: of a long plug
        the end under pressure carries more than its share, so this is the most that it holds.
        """
        return self.point.line_pressure * self.point.bore / (4.0 * self._strength(scenario))

    def holding_pressure(self, grip: float, scenario: Scenario = LIKELY) -> float:
        """Pressure that a plug of this ``grip`` [m] carries [Pa], safety factor taken off."""
        point = self.point
        return 4.0 * self._strength(scenario) * grip / (point.bore * point.safety_factor)

    def _strength(self, scenario: Scenario) -> float:
        """Shear strength of the bond, cold enough [Pa]."""
        pure = 1.0 if self.is_water else SOLUTION_BOND
        return self.point.adhesion * scenario.adhesion * pure

    def range_over(self, figure: Callable[[freeze.FreezeRun], float | None]) -> Range | None:
        """Return the range of a figure [any unit] over the scenarios; a fast one may be missing.

        None without more solving where a stream keeps the likely plug from closing.
        """
        if self.prevented:
            return None
        fast, likely, slow = (figure(self.run(s)) for s in SCENARIOS)
        return range_of([likely, slow] if fast is None else [fast, likely, slow], likely)

    @cached_property
    def closure(self) -> Range | None:
        """Until no liquid path is left [s]."""
        return self.range_over(lambda run: run.closure)

    @cached_property
    def ready(self) -> Range | None:
        """Until the plug carries the line pressure with the safety factor [s]."""
        return self.range_over(lambda run: run.ready)

    @cached_property
    def frost_by(self) -> Range | None:
        """Until the pipe beside the jacket falls below freezing [s]."""
        return self.range_over(lambda run: run.frost)

    @cached_property
    def flow_limit(self) -> Range:
        """Greatest flow that still freezes shut [kg/s], from the steady balance."""
        slow, likely, fast = (self._flow_limit(s) for s in (SLOW, LIKELY, FAST))
        return Range(min(slow, likely, fast), likely, max(slow, likely, fast))

    def _flow_limit(self, scenario: Scenario) -> float:
        return moving.greatest(self.point, self.case(scenario), scenario)

    def streamed(self, scenario: Scenario = LIKELY) -> stream.Streamed:
        """Return the freeze with the stated flow under ``scenario``, until it is shut or given up.

        Raises
        ------
        CancelledError, TooCostlyError, SolverError
            as for :func:`stream.freeze`
        """
        if scenario not in self._streams:
            self._streams[scenario] = moving.frozen(
                self.point, self.case(scenario), scenario, self.work
            )
        return self._streams[scenario]

    def _begun(self, scenario: Scenario) -> freeze.Begun | None:
        """Return what the freeze goes on from once a stream is shut; None in a still line."""
        return self.streamed(scenario).begun if self.point.fluid.flow > 0.0 else None

    @cached_property
    def prevented(self) -> bool:
        """Whether the stated flow keeps the likely plug from closing."""
        flows, likely = self.point.fluid.flow > 0.0, self.case()
        beyond = flows and moving.prevents(self.point, likely, LIKELY)
        return beyond or (flows and self.streamed().closure is None)

    @cached_property
    def plugs(self) -> dict[Scenario, Plug]:
        """The plugs of all scenarios that come to ready."""
        if self.stays_slush or self.prevented:
            return {}
        return {s: plug for s in SCENARIOS if (plug := self._plug(self.run(s))) is not None}

    def _plug(self, run: freeze.FreezeRun) -> Plug | None:
        if run.at_ready is None or run.ready is None:
            return None
        moment = run.at_ready
        return Plug(
            ready=run.ready, length=moment.sound_length, grip=moment.grip, heat=moment.heat_jacket
        )

    @cached_property
    def hold_powers(self) -> dict[Scenario, float]:
        """Heat drawn on average while the plugs are held [W]."""
        duration = max(self.hold, SHORTEST_HOLD)
        return {
            s: (self._fed_on(s, plug.ready + duration).heat_jacket - plug.heat) / duration
            for s, plug in self.plugs.items()
        }

    @cached_property
    def held(self) -> dict[Scenario, Held]:
        """What becomes of the plugs of all scenarios that come to ready."""
        return {s: self._after_hold(self.run(s), plug, s) for s, plug in self.plugs.items()}

    def _fed_on(self, scenario: Scenario, time: float) -> freeze.Moment:
        """Return the plug fed beyond ready, until ``time`` [s]."""
        with work.blamed((self._member,), LONG_HOLD):
            return self.run(scenario).fed_to(time)

    def _after_hold(self, run: freeze.FreezeRun, plug: Plug, scenario: Scenario) -> Held:
        weakest = self.yield_grip(scenario)
        end = self._fed_on(scenario, plug.ready + self.hold)
        with work.blamed(("ambient", "temperature"), COLD_ROOM):
            late = run.stop(end, weakest)
            early = None if run.at_closure is None else run.stop(run.at_closure, 0.0)
            return Held(
                survival_at_closure=None if early is None else early.survival,
                survival=late.survival,
                thaw=late.thaw,
                length=end.sound_length,
                grip=end.grip,
            )

    @cached_property
    def ready_length(self) -> Range | None:
        """Length of sound plug at ready [m]."""
        return _range({s: plug.length for s, plug in self.plugs.items()})

    @cached_property
    def ready_pressure(self) -> Range | None:
        """Pressure that the plug carries at ready [Pa], safety factor taken off."""
        return _range({s: self.holding_pressure(p.grip, s) for s, p in self.plugs.items()})

    @property
    def least_pressure(self) -> float:
        """Pressure that the least favourable plug carries where feeding was given up [Pa].

        Safety factor taken off.
        """
        return self.holding_pressure(self.run(SLOW).last.grip, SLOW)

    @cached_property
    def heat_removed(self) -> Range | None:
        """Heat drawn from the pipe until ready [J]."""
        return _range({s: plug.heat for s, plug in self.plugs.items()})

    @cached_property
    def coldest_wall(self) -> Range | None:
        """Temperature of the pipe under the jacket's centre at ready [K]."""
        return _range({s: float(self.run(s).history().wall_temperature[-1]) for s in self.plugs})

    @cached_property
    def survival_at_closure(self) -> Range | None:
        """How long the plug stays bonded where feeding stops at closure [s]."""
        return _range({s: held.survival_at_closure for s, held in self.held.items()})

    @cached_property
    def survival(self) -> Range | None:
        """How long the plug stays bonded where feeding stops after the hold [s]."""
        return _range({s: held.survival for s, held in self.held.items()})

    @cached_property
    def thaw(self) -> Range | None:
        """From the coolant's stop after the hold until no ice is left [s]."""
        return _range({s: held.thaw for s, held in self.held.items()})

    @cached_property
    def plug_length(self) -> Range | None:
        """Length of the plug after the hold [m]."""
        return _range({s: held.length for s, held in self.held.items()})

    @cached_property
    def held_pressure(self) -> Range | None:
        """Pressure that the plug carries after the hold [Pa], safety factor taken off."""
        return _range({s: self.holding_pressure(h.grip, s) for s, h in self.held.items()})

    @cached_property
    def cooling_time(self) -> float | None:
        """How long a warm line takes to cool in the room [s]; 0 where it is no warmer.

        Down to ``COOL_ENOUGH``, as a lump: the heat of water and wall over the film to the room,
        exponential in time; None where the room is too warm for it.
        """
        point = self.point
        warm, ambient = point.fluid.temperature, point.ambient.temperature
        if warm <= COOL_ENOUGH:
            return 0.0
        if ambient >= COOL_ENOUGH:
            return None
        material, diameter = self.point.material, point.pipe.outside_diameter
        inner = diameter - 2.0 * point.pipe.wall
        heat = WATER_HEAT * 0.25 * math.pi * point.bore**2
        heat += material.heat_capacity * 0.25 * math.pi * (diameter**2 - inner**2)
        conductance = film.at(self.room_film, 0.5 * (warm + COOL_ENOUGH))
        constant = heat / (conductance * math.pi * diameter)
        return constant * math.log((warm - ambient) / (COOL_ENOUGH - ambient))

    @cached_property
    def room_film(self) -> NDArray[np.float64]:
        """Conductance from the room by the pipe's surface [W/(m2 K)], likely; a table to read."""
        point = self.point
        return film.room_film(
            outer_diameter=point.pipe.outside_diameter,
            ambient=point.ambient.temperature,
            relative_humidity=point.relative_humidity,
            emissivity=self.point.material.emissivity,
            thickness=point.insulation_thickness,
            conductivity=point.insulation_conductivity,
            vertical=point.orientation is Orientation.VERTICAL,
        )

    def survivals(self, times: Sequence[float]) -> list[float | None]:
        """How long the likely plug lasts unfed [s] when fed until each of ``times`` [s].

        None beyond a day.
        """
        weakest, run = self.yield_grip(), self.run(LIKELY)
        with work.blamed(("cylinder",), MANY_EXCHANGES):
            return [run.stop(run.fed_to(time), weakest).survival for time in times]


def _range(figures: dict[Scenario, float | None] | dict[Scenario, float]) -> Range | None:
    """Return the range of a figure [any unit] by scenario; None without a likely one."""
    return range_of(list(figures.values()), figures.get(LIKELY))
