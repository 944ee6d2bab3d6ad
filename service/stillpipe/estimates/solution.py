"""One freeze point solved once: what every estimate asks.

Nothing is solved before it is asked for, and nothing twice. A freeze is fed once a scenario;
what happens when feeding stops branches from it.
"""

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property

from stillpipe.errors import Fault, TooCostlyError
from stillpipe.model.figures import Effort, Range, range_of
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.model.pipe import Orientation
from stillpipe.physics import constants, film, freeze, media, residual, solutions, work
from stillpipe.uncertainty.scenarios import FAST, LIKELY, SCENARIOS, SLOW, Scenario

H_EMPTY = 10.0
"""Conductance from the room through an empty jacket to the pipe [W/(m2 K)]: an assumption."""
PLUG_ICE_FRACTION = 0.75
"""Ice mass fraction that counts as a plug in a solution [-]: an assumption, range 0.6-0.95."""
FROST_DISTANCE = 0.010
"""Beside the jacket's edge, where the fitter looks for frost [m]; common practice, no source."""
LAYOUT_TIME = 3600.0
"""A freeze is laid out to be followed for this long [s] and the hold."""
ICE_CONDUCTIVITY = 2.68
"""Mean conductivity of ice from dry ice to 0 C [W/(m K)]; published fits give 2.58 to 2.81."""


SHORT_JACKET = "use a longer jacket: under so short a one so slow a freeze"
LONG_HOLD = "shorten it: so long a hold of so small a plug"
COLD_ROOM = "state a warmer room, or one below freezing: a thaw as slow as in this one"
MANY_EXCHANGES = "use a larger cylinder: so many exchanges"


@contextmanager
def blamed(path: tuple[str, ...], change: str) -> Iterator[None]:
    """Let work that is too costly name the member at ``path``, and what to ``change`` about it.

    Raises
    ------
    TooCostlyError
        naming that member
    """
    try:
        yield
    except TooCostlyError as error:
        detail = f"{change} takes more than {work.MOST:,} units of solver work"
        raise TooCostlyError(Fault(path, detail)) from error


@dataclass(frozen=True, kw_only=True)
class Held:
    """A plug after its hold: times [s] from the coolant's stop, lengths [m].

    ``survival_at_closure`` is that of a plug whose coolant stops right at closure. A time is None
    where the event does not come within a day.
    """

    survival_at_closure: float | None
    survival: float | None
    thaw: float | None
    plug_length: float


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
        self._runs: dict[Scenario, freeze.FreezeRun] = {}
        self._held: dict[Scenario, Held] = {}

    @cached_property
    def stays_slush(self) -> bool:
        """Whether the fluid never holds enough ice for a plug."""
        return self.most_ice < PLUG_ICE_FRACTION

    @property
    def most_ice(self) -> float:
        """Largest ice mass fraction that the fluid reaches [-]."""
        return solutions.most_ice(self.point.fluid.type, self.point.fluid.concentration)

    def run(self, scenario: Scenario = LIKELY) -> freeze.FreezeRun:
        """Return the freeze under ``scenario``, fed once."""
        if scenario not in self._runs:
            with blamed(("jacket", "length"), SHORT_JACKET):
                self._runs[scenario] = freeze.FreezeRun(
                    self.case(scenario),
                    needed_length=self.needed_length(scenario),
                    horizon=LAYOUT_TIME + self.hold,
                    work=self.work,
                )
            self._fed.append(self._runs[scenario])
        return self._runs[scenario]

    @property
    def effort(self) -> Effort:
        """What solving took so far."""
        return Effort(len(self._fed), self.work.taken)

    def case(self, scenario: Scenario = LIKELY) -> freeze.Case:
        """Return the freeze point as the solver takes it, the uncertain inputs scaled."""
        point = self.point
        material = point.material
        surface = min(constants.ZERO_C, point.ambient.temperature - 5.0)
        h_ambient = film.h_ambient(
            point.pipe.outside_diameter,
            surface,
            point.ambient.temperature,
            material.emissivity,
            point.insulation_thickness,
            point.insulation_conductivity,
        )
        return freeze.Case(
            bore=point.bore,
            outer_diameter=point.pipe.outside_diameter,
            wall_thickness=point.pipe.wall,
            jacket_length=point.jacket.length,
            wall_conductivity=material.conductivity,
            wall_heat_capacity=material.density * material.specific_heat,
            lining_resistance=point.lining_resistance,
            h_jacket=point.jacket.conductance * scenario.jacket,
            h_ambient=h_ambient * scenario.film,
            h_empty=H_EMPTY * scenario.film,
            start_temperature=point.fluid.temperature,
            ambient_temperature=point.ambient.temperature,
            medium=self._medium(scenario.convection),
            plug_ice_fraction=1.0 if self._is_water else PLUG_ICE_FRACTION,
        )

    @property
    def _is_water(self) -> bool:
        return self.point.fluid.type == "water" or self.point.fluid.concentration <= 0.0

    def _medium(self, convection: float) -> media.Medium:
        point = self.point
        vertical = point.orientation is Orientation.VERTICAL
        if self._is_water:
            return media.water(point.bore, point.jacket.length, vertical, convection)
        return solutions.medium(
            point.fluid.type, point.fluid.concentration, point.bore, point.jacket.length, vertical,
            convection, PLUG_ICE_FRACTION,
        )  # fmt: skip

    def needed_length(self, scenario: Scenario = LIKELY) -> float:
        """Bonded length that carries line pressure x safety factor [m], at least one bore.

        Shear balance 4 tau L / D = p SF.
        """
        point = self.point
        load = point.line_pressure * point.safety_factor * point.bore
        return max(load / (4.0 * point.adhesion * scenario.adhesion), point.bore)

    def yield_length(self, scenario: Scenario = LIKELY) -> float:
        """Bonded length below which line pressure pushes the plug out [m]."""
        point = self.point
        return point.line_pressure * point.bore / (4.0 * point.adhesion * scenario.adhesion)

    def holding_pressure(self, length: float, scenario: Scenario = LIKELY) -> float:
        """Pressure that ``length`` [m] of bonded plug carries [Pa], safety factor taken off."""
        point = self.point
        strength = point.adhesion * scenario.adhesion
        return 4.0 * strength * length / (point.bore * point.safety_factor)

    def range_over(self, figure: Callable[[freeze.FreezeRun], float | None]) -> Range | None:
        """Return the range of a figure [any unit] over the scenarios; a fast one may be missing."""
        fast, likely, slow = (figure(self.run(s)) for s in SCENARIOS)
        return range_of([likely, slow] if fast is None else [fast, likely, slow], likely)

    def range_at_ready(
        self, figure: Callable[[freeze.FreezeRun, freeze.Moment, Scenario], float]
    ) -> Range | None:
        """Return the range of a figure [any unit] over the scenarios that come to ready."""
        found = {
            s: figure(run, run.at_ready, s)
            for s in SCENARIOS
            if (run := self.run(s)).at_ready is not None
        }
        return range_of(list(found.values()), found[LIKELY]) if LIKELY in found else None

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
        return self.range_over(self.frost_time)

    def frost_time(self, run: freeze.FreezeRun) -> float | None:
        """Return when the pipe beside the jacket of a closed run falls below freezing [s]."""
        if run.closure is None:
            return None
        return run.history().time_bonded(self.point.jacket.length + 2.0 * FROST_DISTANCE)

    @cached_property
    def flow_limit(self) -> Range:
        """Greatest flow that still freezes shut [kg/s], from the steady balance."""
        return Range(*(self._flow_limit(s) for s in (SLOW, LIKELY, FAST)))

    def _flow_limit(self, scenario: Scenario) -> float:
        point, case = self.point, self.case(scenario)
        diameter = case.outer_diameter
        resistance = (
            math.log(diameter / (diameter - 2.0 * case.wall_thickness))
            / (2.0 * math.pi * case.wall_conductivity)
            + case.lining_resistance / (2.0 * math.pi)
            + 1.0 / (case.h_jacket * math.pi * diameter)
        )
        freezing = case.medium.freezing
        return residual.limit(
            case.jacket_length, point.fluid.temperature - freezing, case.bore,
            freezing - constants.DRY_ICE, ICE_CONDUCTIVITY, resistance, point.line_pressure,
        )  # fmt: skip

    def held(self, scenario: Scenario = LIKELY) -> Held | None:
        """Return the plug after its hold and what becomes of it; None where it is never ready."""
        run = self.run(scenario)
        if run.ready is None or run.closure is None:
            return None
        if scenario not in self._held:
            end = self.fed_on(scenario, run.ready + self.hold)
            closed = self.fed_on(scenario, run.closure)
            with blamed(("ambient", "temperature"), COLD_ROOM):
                early = run.stop(closed, 0.0)
                late = run.stop(end, self.yield_length(scenario))
                self._held[scenario] = Held(
                    survival_at_closure=early.survival,
                    survival=late.survival,
                    thaw=late.thaw,
                    plug_length=end.sound_length,
                )
        return self._held[scenario]

    def fed_on(self, scenario: Scenario, time: float) -> freeze.Moment:
        """Return the plug fed until ``time`` [s], beyond ready for the hold."""
        with blamed((self._member,), LONG_HOLD):
            return self.run(scenario).fed_to(time)

    def range_held(self, figure: Callable[[Held], float | None]) -> Range | None:
        """Return the range of a figure [any unit] of the plugs after their hold."""
        found = {s: figure(held) for s in SCENARIOS if (held := self.held(s)) is not None}
        return range_of(list(found.values()), found[LIKELY]) if LIKELY in found else None

    @cached_property
    def plug_length(self) -> Range | None:
        """Length of the plug after the hold [m]."""
        return self.range_held(lambda held: held.plug_length)

    def survival_at(self, time: float) -> float | None:
        """How long the likely plug fed until ``time`` [s] lasts unfed [s], None beyond a day."""
        run = self.run(LIKELY)
        with blamed(("cylinder",), MANY_EXCHANGES):
            return run.stop(run.fed_to(time), self.yield_length()).survival
