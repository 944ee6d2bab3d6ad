"""A freeze point as the solver takes it, under one set of values of the uncertain inputs."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stillpipe.lazy import cached_property
from stillpipe.model import calibration
from stillpipe.model.declare import members
from stillpipe.model.freeze_point import FreezePoint, Jacket, Orientation
from stillpipe.model.requests import Fed
from stillpipe.physics import film, freeze, media, solutions
from stillpipe.uncertainty import draws, table
from stillpipe.uncertainty.scenarios import Scenario

H_EMPTY = 10.0
"""Conductance from the room through an empty jacket to the pipe [W/(m2 K)]: an assumption."""
NEAREST = 0.4
"""Most that a reading may be off, as a standard deviation over what it is above freezing [-]: a
fluid is not frozen when feeding begins."""
ALMOST = 0.01
"""By so much less ice than a fluid can reach is what it may be asked for [-]."""

_STATED = {
    "jacket_conductance": (Jacket, "conductance"),
    "jacket_filling": (Jacket, "fill_time"),
    "relative_humidity": (FreezePoint, "relative_humidity"),
    "adhesion": (FreezePoint, "adhesion"),
    "capture": (Fed, "capture_efficiency"),
}
"""Uncertain inputs that a caller may state."""


class Cases:
    """The cases of a freeze point."""

    def __init__(self, point: FreezePoint) -> None:
        """Work nothing out yet."""
        self.point = point
        self._made: dict[Scenario, freeze.Case] = {}
        self._inputs: dict[str, table.UncertainInput] = {}
        self._films: dict[tuple[float, float], NDArray[np.float64]] = {}

    @cached_property
    def is_water(self) -> bool:
        """Whether plain water fills the bore: it freezes at one temperature."""
        fluid = self.point.fluid
        return fluid.type == "water" or fluid.concentration <= 0.0

    def input(self, name: str) -> table.UncertainInput:
        """Return how the uncertain input called ``name`` is distributed at this point."""
        if name not in self._inputs:
            self._inputs[name] = self._input(name)
        return self._inputs[name]

    def _input(self, name: str) -> table.UncertainInput:
        """Return what :meth:`input` keeps."""
        pipe, known = self.point.pipe, self.point.calibration
        if known is not None and name in calibration.NAMES:
            factor: calibration.Factor = getattr(known, name)
            return replace(
                table.find(name), distribution=table.Distribution.LOGNORMAL, low=factor.p05,
                likely=factor.p50, high=factor.p95, source="the request's calibration",
            )  # fmt: skip
        of = {"wall_conductivity": pipe.material, "wall_thickness": pipe.standard}.get(name) or ""
        stated = False
        if name in _STATED:
            group, member = _STATED[name]
            owner = self.point.jacket if group is Jacket else self.point
            default = members(group)[member].default
            stated = getattr(owner, member, default) != default
        return table.find(name, of, stated=stated)

    @cached_property
    def most_ice(self) -> float:
        """Largest ice mass fraction that the fluid reaches [-]."""
        return solutions.most_ice(self.point.fluid.type, self.point.fluid.concentration)

    @cached_property
    def freezing_chance(self) -> float:
        """Chance that the fluid can hold the ice that a plug needs [-]."""
        if self.is_water:
            return 1.0
        low, high = map(self.input("ice_fraction").value, (-9.0, 9.0))
        return min(max((self.most_ice - ALMOST - low) / (high - low), 0.0), 1.0)

    def scenario(self, z: dict[str, float]) -> Scenario:
        """Return the values at the standard normal deviates ``z`` of inputs [-], 0 unless given."""
        values = {name: self.input(name).value(each) for name, each in z.items()}
        if "fluid_temperature" in z:
            fluid = self.point.fluid
            above = max(fluid.temperature - fluid.freezing_point, 1e-3)
            off = abs(self.input("fluid_temperature").value(1.0)) / above
            values["fluid_temperature"] = math.exp(min(off, NEAREST) * z["fluid_temperature"])
        if "ice_fraction" in z:
            low, high = map(self.input("ice_fraction").value, (-9.0, 9.0))
            share = float(table.probability(z["ice_fraction"]))
            values["ice_fraction"] = low + share * self.freezing_chance * (high - low)
        return Scenario(**values)

    @cached_property
    def likely(self) -> Scenario:
        """The likely values: those at deviates of 0."""
        return self.scenario(dict.fromkeys(self.names, 0.0))

    @property
    def names(self) -> tuple[str, ...]:
        """The uncertain inputs on which a freeze here depends."""
        return draws.SOLVED[:-1] if self.is_water else draws.SOLVED

    def case(self, scenario: Scenario) -> freeze.Case:
        """Return the freeze point as the solver takes it under ``scenario``."""
        case = self._made.get(scenario)
        if case is None:
            case = self._made[scenario] = self._case(scenario)
        return case

    def _case(self, s: Scenario) -> freeze.Case:
        point, material = self.point, self.point.material
        wall = point.pipe.wall * s.wall_thickness
        fluid = point.fluid
        above = fluid.temperature - fluid.freezing_point
        return freeze.Case(
            bore=point.bore - 2.0 * (wall - point.pipe.wall),
            outer_diameter=point.pipe.outside_diameter,
            wall_thickness=wall,
            jacket_length=point.jacket.length,
            wall_conductivity=material.conductivity * s.wall_conductivity,
            wall_heat_capacity=material.heat_capacity,
            lining_resistance=point.lining_resistance,
            h_jacket=point.jacket.conductance * s.jacket_conductance,
            fill_time=point.jacket.fill_time * s.jacket_filling,
            room_film=self.room_film(s) * s.room_film,
            h_empty=H_EMPTY * s.room_film,
            start_temperature=fluid.freezing_point + above * s.fluid_temperature,
            ambient_temperature=point.ambient.temperature + s.ambient_temperature,
            medium=self._medium(s),
            plug_ice_fraction=1.0 if s.ice_fraction is None else s.ice_fraction,
            convection=s.convection,
            vertical=point.orientation is Orientation.VERTICAL,
        )

    def _medium(self, s: Scenario) -> media.Medium:
        """Return what fills the bore."""
        if s.ice_fraction is None:
            return media.water(s.ice_conductivity)
        fluid = self.point.fluid
        return solutions.medium(fluid.type, fluid.concentration, s.ice_fraction, s.ice_conductivity)

    def room_film(self, s: Scenario) -> NDArray[np.float64]:
        """Return the conductance from the room by the pipe's surface [W/(m2 K)], to be read.

        Scenarios of the same room share it.
        """
        room = (s.ambient_temperature, s.relative_humidity)
        if room not in self._films:
            self._films[room] = self._room_film(*room)
        return self._films[room]

    def _room_film(self, warmer: float, damper: float) -> NDArray[np.float64]:
        """Return it of a room so much ``warmer`` [K] and ``damper`` [-] than is stated."""
        point = self.point
        humid = point.relative_humidity + damper
        return film.room_film(
            outer_diameter=point.pipe.outside_diameter,
            ambient=point.ambient.temperature + warmer,
            relative_humidity=min(max(humid, 0.0), 1.0),
            emissivity=point.material.emissivity,
            thickness=point.insulation_thickness,
            conductivity=point.insulation_conductivity,
            vertical=point.orientation is Orientation.VERTICAL,
        )
