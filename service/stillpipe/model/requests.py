"""What each estimate is asked: one frozen dataclass for each endpoint, members as in the body."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated, Any, Self

from stillpipe.errors import Fault, OutOfValidityError, StillpipeError
from stillpipe.model.calibration import Calibration
from stillpipe.model.cylinder import Cylinder, Stock
from stillpipe.model.declare import Choice, Count, Flag, Group, Many, Number, Quantity, Text
from stillpipe.model.freeze_point import (
    SPECIFIC_HEAT,
    FreezePoint,
    JacketLoss,
    gathered,
    jacket_stated,
    stated_twice,
)
from stillpipe.model.site import Place, Release, Room
from stillpipe.physics import constants
from stillpipe.physics.film import radiation

HOURS = 3600.0
ROOM = 293.15
"""Temperature at which the jacket's radiation is taken [K]."""
MOST_POINTS = 30
"""Most freeze points of a job."""
LONGEST_LIST = 50
"""Most entries of a list in a request."""
JACKET_CONVECTION = 5.0 - radiation(ROOM, ROOM, 0.5)
"""Conductance of still air on the jacket's outside [W/(m2 K)]; with radiation at an emissivity of
0.5 it makes 5.0: an assumption."""


CAPTURE = 0.6
"""Share of the cooling that reaches pipe and jacket, likely [-]."""


class UnitSystem(StrEnum):
    """Which units an answer has."""

    SI = "si"
    US = "us"


@dataclass(frozen=True, kw_only=True)
class Request:
    """What every request may say."""

    id: Annotated[
        str | None, Text(128, says="The caller's own name for it, given back.", limit="id")
    ] = None
    units: Annotated[UnitSystem, Choice(UnitSystem, says="Which units the answer has.")] = (
        UnitSystem.SI
    )

    def completed(self) -> Self:
        """Return the request with every member worked out."""
        return self

    @classmethod
    def faults(cls, _groups: Mapping[str, Any]) -> list[StillpipeError]:
        """Return what is wrong with members that can be read, by name; nothing of itself."""
        return []

    def given(self, stated: frozenset[str]) -> frozenset[str]:
        """Return the dotted names of inputs the caller gave; ``stated`` are those in the body."""
        return stated


@dataclass(frozen=True, kw_only=True)
class FreezeRequest(FreezePoint, Request):
    """What every request about a freeze point may say."""

    calibration: Annotated[
        Calibration | None,
        Group(says="What past freezes say about this set of jackets, in place of the table."),
    ] = None


@dataclass(frozen=True, kw_only=True)
class ReadyBy:
    """A time of the caller's for which the chance of a ready plug is asked."""

    ready_by: Annotated[
        float | None,
        Quantity("time", 1.0, 8 * HOURS, says="By which the plug is wanted; the chance is told."),
    ] = None


@dataclass(frozen=True, kw_only=True)
class PlugTimeRequest(ReadyBy, FreezeRequest):
    """Body of POST /v1/plug-time."""


@dataclass(frozen=True, kw_only=True)
class Holding:
    """How long a plug is fed beyond ready."""

    hold: Annotated[
        float, Quantity("time", 0.0, 8 * HOURS, says="How long it is fed beyond ready.")
    ] = HOURS


@dataclass(frozen=True, kw_only=True)
class HoldTimeRequest(Holding, FreezeRequest):
    """Body of POST /v1/hold-time."""


@dataclass(frozen=True, kw_only=True)
class Fed(FreezePoint):
    """How a freeze point is fed with CO2."""

    capture_efficiency: Annotated[
        float, Number(0.2, 1.0, says="Share of the cooling that reaches pipe and jacket.")
    ] = CAPTURE
    jacket_loss: Annotated[JacketLoss, Group(says="What the jacket itself takes up.")] = (
        JacketLoss()
    )

    def completed(self) -> Self:
        """Return the request with every member worked out, those of the jacket too."""
        whole = super().completed()
        diameter = whole.pipe.outside_diameter
        mass, leak = whole.jacket_loss.mass, whole.jacket_loss.leak
        if mass is None:
            mass = 0.1 + 5.0 * diameter
        if leak is None:
            wide = diameter + 0.1
            film = JACKET_CONVECTION + radiation(ROOM, ROOM, whole.jacket.emissivity)
            leak = film * math.pi * wide * (whole.jacket.length + 0.5 * wide)
        return replace(whole, jacket_loss=JacketLoss(mass=mass, leak=leak))

    @classmethod
    def faults(cls, groups: Mapping[str, Any]) -> list[StillpipeError]:
        """Return what the catalogues do not know or the model does not cover."""
        found = super().faults(groups)
        if groups.get("calibration") is not None:
            found += map(stated_twice, cls.capture_stated(groups))
        return found

    @staticmethod
    def capture_stated(groups: Mapping[str, Any]) -> list[tuple[str, ...]]:
        """Return where capture is stated otherwise than by default; nothing where it is not."""
        stated = groups.get("capture_efficiency", CAPTURE) != CAPTURE
        return [("capture_efficiency",)] if stated else []

    @property
    def jacket_heat(self) -> float:
        """Heat to cool the jacket to dry ice [J]."""
        return self.jacket_loss.mass * SPECIFIC_HEAT * self._temperature_drop

    @property
    def leak_power(self) -> float:
        """Heat that leaks into the jacket from the room [W]."""
        return self.jacket_loss.leak * self._temperature_drop

    @property
    def _temperature_drop(self) -> float:
        return max(self.ambient.temperature - constants.DRY_ICE, 0.0)


@dataclass(frozen=True, kw_only=True)
class Feeding(Fed, FreezeRequest):
    """How freeze points are fed with CO2."""

    points: Annotated[int, Count(1, MOST_POINTS, says="How many freeze points, all alike.")] = 1

    @property
    def hold_duration(self) -> float:
        """How long the plugs are fed beyond ready [s]."""
        raise NotImplementedError


@dataclass(frozen=True, kw_only=True)
class Co2MassRequest(Holding, Feeding):
    """Body of POST /v1/co2-mass."""

    @property
    def hold_duration(self) -> float:
        """How long the plugs are fed beyond ready [s]."""
        return self.hold


@dataclass(frozen=True, kw_only=True)
class FromCylinders(Feeding):
    """How the cylinders are used."""

    cylinder: Annotated[Cylinder, Group(says="The cylinder in use.")] = Cylinder()
    jackets_per_cylinder: Annotated[int, Count(1, 20, says="Jackets fed by one cylinder.")] = 1
    exchange_duration: Annotated[
        float,
        Quantity(
            "time", 0.0, HOURS,
            says="How long an exchange leaves the jacket unfed; common practice says within 7 min.",
        ),
    ] = 120.0  # fmt: skip
    reserve: Annotated[
        float, Number(0.0, 0.9, says="Share of the usable liquid kept back: an assumption.")
    ] = 0.1

    def completed(self) -> Self:
        """Return the request with every member worked out, those of the cylinder too."""
        whole = super().completed()
        return replace(whole, cylinder=whole.cylinder.completed())


@dataclass(frozen=True, kw_only=True)
class Stocked(FromCylinders):
    """The cylinders in use, and those at hand."""

    stock: Annotated[
        tuple[Stock, ...], Many(LONGEST_LIST, says="Cylinders at hand, for the best mix of them.")
    ] = ()


@dataclass(frozen=True, kw_only=True)
class CylinderCountRequest(Holding, Stocked):
    """Body of POST /v1/cylinder-count."""

    @property
    def hold_duration(self) -> float:
        """How long the plugs are fed beyond ready [s]."""
        return self.hold


@dataclass(frozen=True, kw_only=True)
class SpacingRequest(Holding, FreezeRequest):
    """Body of POST /v1/spacing-validation."""

    places: Annotated[tuple[Place, ...], Many(LONGEST_LIST, says="What lies along the pipe.")]


@dataclass(frozen=True, kw_only=True)
class FrostCheckRequest(FreezeRequest):
    """Body of POST /v1/frost-check."""

    elapsed: Annotated[float, Quantity("time", 0.0, 8 * HOURS, says="Since the first feed.")]
    frost_seen: Annotated[bool, Flag(says="Whether there is frost beside the jacket.")]


@dataclass(frozen=True, kw_only=True)
class VentilationRequest(Request):
    """Body of POST /v1/ventilation."""

    room: Annotated[Room, Group(says="The room.")]
    release: Annotated[
        tuple[Release, ...], Many(LONGEST_LIST, says="What is let out, one after another.")
    ]

    def completed(self) -> Self:
        """Return the request with every member worked out."""
        return replace(self, room=self.room.completed())


@dataclass(frozen=True, kw_only=True)
class Record(Fed):
    """A past freeze with a set of jackets, and what was seen of it."""

    id: Annotated[
        str | None, Text(128, says="The caller's own name for it, given back.", limit="id")
    ] = None

    @classmethod
    def faults(cls, groups: Mapping[str, Any]) -> list[StillpipeError]:
        """Return what the catalogues do not know, or a record must not state."""
        found = super().faults(groups)
        paths = [*jacket_stated(groups), *cls.capture_stated(groups)]
        detail = "leave it out: it is what the records tell"
        return [*found, *(OutOfValidityError(Fault(path, detail)) for path in paths)]


@dataclass(frozen=True, kw_only=True)
class CalibrationRequest(Request):
    """Body of POST /v1/calibration."""

    records: Annotated[
        tuple[Record, ...],
        Many(LONGEST_LIST, says="Past freezes with one set of jackets, each with what was seen."),
    ]

    def completed(self) -> Self:
        """Return the request with every record worked out.

        Raises
        ------
        UnknownEntryError, OutOfValidityError
            naming every member of every record that cannot be used
        """
        found, errors = [], []
        for index, record in enumerate(self.records):
            try:
                found.append(record.completed())
            except StillpipeError as error:
                errors.append(error.within("records", index))
        if errors:
            raise gathered(errors)
        return replace(self, records=tuple(found))
