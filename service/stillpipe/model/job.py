"""What a whole job is asked: its freeze points, on one pipe or on several, and what goes with them.

What is common to all freeze points is said once; what an entry of ``freeze_points`` states of its
own stands in its place, a whole group at a time.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Annotated, Any, Self

from stillpipe.errors import Fault, OutOfValidityError, StillpipeError
from stillpipe.model import declare
from stillpipe.model.declare import (
    COMPUTED,
    Choice,
    Count,
    Group,
    Instant,
    Many,
    Quantity,
    Text,
    members,
)
from stillpipe.model.fluid import Fluid
from stillpipe.model.freeze_point import (
    Ambient,
    Insulation,
    Jacket,
    JacketLoss,
    Lining,
    Orientation,
    gathered,
)
from stillpipe.model.money import DrainDown, Rates
from stillpipe.model.observations import AnyObservation
from stillpipe.model.pipe import Pipe
from stillpipe.model.requests import HOURS, LONGEST_LIST, MOST_POINTS, Fed, ReadyBy, Stocked
from stillpipe.model.site import Place, PlaceKind, Room
from stillpipe.physics.constants import ZERO_C

COOL_ENOUGH = ZERO_C + 25.0
"""A line warmer than this is left to cool first [K]: water near room temperature; common
practice, no source."""
LAST_DAY = timedelta(days=60)
"""A job has moments so long after its start at the most."""

_own = members(Fed)


class CoolingMethod(StrEnum):
    """How a warm line is cooled."""

    SOONER = "sooner"
    ROOM = "room"
    FLUSH = "flush"


@dataclass(frozen=True, kw_only=True)
class LineFluid(Fluid):
    """What fills the line, which may be hot on arrival."""

    temperature: Annotated[
        float,
        Quantity(
            "temperature", ZERO_C - 20.0, ZERO_C + 95.0, limit="line_temperature",
            says="Of the line on arrival; one that is too warm is cooled before it is fed.",
        ),
    ]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Cooling:
    """How a line that is too warm is cooled before it is fed."""

    method: Annotated[
        CoolingMethod,
        Choice(
            CoolingMethod, limit="cooling_method",
            says="Left to the room, flushed with cold water, or the sooner of both.",
        ),
    ] = CoolingMethod.SOONER  # fmt: skip
    to: Annotated[
        float,
        Quantity(
            "temperature", ZERO_C + 1.0, ZERO_C + 40.0, limit="cooled_temperature",
            says="A line warmer than this is cooled to it; 25 degC is common practice, no source.",
        ),
    ] = COOL_ENOUGH  # fmt: skip
    water: Annotated[
        float,
        Quantity(
            "temperature", ZERO_C + 1.0, ZERO_C + 40.0, limit="flushing_water",
            says="Temperature of the water that it is flushed with: an assumption.",
        ),
    ] = ZERO_C + 15.0  # fmt: skip
    time_constant: Annotated[
        float,
        Quantity(
            "time", 60.0, 8 * HOURS, limit="flushing_time_constant",
            says="In which flushing brings the line to 37 % of its excess over that water, the "
            "hose's fitting included; half to twice as long is taken for possible: an assumption.",
        ),
    ] = HOURS  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class JobPoint:
    """A freeze point of a job: its place, and what it has otherwise than the others."""

    name: Annotated[str, Text(says="What it is called on site; no two alike.")]
    run: Annotated[
        str | None, Text(says="The run of pipe on which it lies.", limit="run")
    ] = None  # fmt: skip
    at: Annotated[
        float | None, Quantity("length", 0.0, 200.0, says="Where on that run.", limit="position")
    ] = None
    manifold: Annotated[
        str | None,
        Text(says="Points of the same manifold hang on the same cylinders.", limit="manifold"),
    ] = None
    pipe: Annotated[Pipe | None, _own["pipe"].declaration] = None
    lining: Annotated[Lining | None, _own["lining"].declaration] = None
    insulation: Annotated[Insulation | None, _own["insulation"].declaration] = None
    fluid: Annotated[LineFluid | None, _own["fluid"].declaration] = None
    ambient: Annotated[Ambient | None, _own["ambient"].declaration] = None
    relative_humidity: Annotated[float | None, _own["relative_humidity"].declaration] = None
    line_pressure: Annotated[float | None, _own["line_pressure"].declaration] = None
    orientation: Annotated[Orientation | None, _own["orientation"].declaration] = None
    jacket: Annotated[Jacket | None, _own["jacket"].declaration] = None
    jacket_loss: Annotated[JacketLoss | None, _own["jacket_loss"].declaration] = None
    adhesion: Annotated[float | None, _own["adhesion"].declaration] = None
    safety_factor: Annotated[float | None, _own["safety_factor"].declaration] = None
    observations: Annotated[tuple[AnyObservation, ...], _own["observations"].declaration] = ()

    @property
    def own(self) -> dict[str, Any]:
        """What it states of its own, by member."""
        return {n: value for n, value in declare.stated(self).items() if n not in PLACING}

    @property
    def section(self) -> object:
        """What it shares with the points that are frozen together with it; alone if unplaced."""
        return self.name if self.run is None and self.at is None else ("run", self.run)


PLACING = ("name", "run", "at", "manifold")
"""Members of a job's freeze point that say where it is, and not what."""
OWN = tuple(f.name for f in fields(JobPoint) if f.name not in PLACING)
"""Members that may be stated for all freeze points or for one."""


@dataclass(frozen=True, kw_only=True)
class Job(ReadyBy, Stocked):
    """One job, as a caller states it and worked out."""

    fluid: Annotated[LineFluid, _own["fluid"].declaration]
    points: Annotated[
        int,
        Count(
            1, MOST_POINTS, says="How many freeze points, all alike; by default as many as places "
            "has, or one.",
        ),
    ] = COMPUTED  # fmt: skip
    freeze_points: Annotated[
        tuple[JobPoint, ...],
        Many(MOST_POINTS, says="Freeze points that are not all alike, in place of their number."),
    ] = ()
    jackets: Annotated[
        int, Count(1, MOST_POINTS, says="Jackets at hand; by default one for every freeze point.")
    ] = COMPUTED
    crew: Annotated[int, Count(1, 20, says="Persons on site; nobody works alone.")] = 2
    points_each: Annotated[
        int,
        Count(
            1, MOST_POINTS, says="Freeze points that one person can feed and watch: an assumption."
        ),
    ] = 4
    move: Annotated[
        float,
        Quantity(
            "time", 0.0, 8 * HOURS,
            says="To move jackets and cylinders to the next group of freeze points: an assumption.",
        ),
    ] = 900.0  # fmt: skip
    start: Annotated[
        datetime | None, Instant(says="Of the job: arrival; then moments are told by the clock.")
    ] = None
    cooling: Annotated[
        Cooling, Group(says="How a line that is too warm is cooled before it is fed.")
    ] = Cooling()
    setup: Annotated[
        float, Quantity("time", 0.0, 8 * HOURS, says="From arrival to the first feed.")
    ] = 1800.0
    repair: Annotated[
        float,
        Quantity(
            "time", 0.0, 8 * HOURS,
            says="Work on the open pipe; the plugs are held for it, of each group.",
        ),
    ] = 2700.0  # fmt: skip
    supply_length: Annotated[
        float,
        Quantity(
            "length", 0.0, 1000.0,
            says="Pipe, and fittings as their equivalent length, from where the pressure is kept "
            "up to the cut: it holds back what comes if a plug lets go; 1 m is an assumption.",
        ),
    ] = 1.0  # fmt: skip
    places: Annotated[tuple[Place, ...], Many(LONGEST_LIST, says="What lies along the pipe.")] = ()
    room: Annotated[Room | None, Group(says="The room the CO2 is let into.")] = None
    rates: Annotated[Rates | None, Group(says="The caller's own rates, for a quote.")] = None
    drain_down: Annotated[DrainDown | None, Group(says="The alternative of draining the line.")] = (
        None
    )
    arrival: float | None = None
    """Temperature of a freeze point's line on arrival [K] where it is fed at another one."""
    each: "tuple[PlacedPoint, ...]" = ()
    """Every freeze point, worked out; only of the whole job."""

    def completed(self) -> Self:
        """Return the request with every member worked out, and each freeze point."""
        errors: list[StillpipeError] = [OutOfValidityError(f) for f in self._misplaced()]
        whole = self
        try:
            whole = super().completed()
        except StillpipeError as error:
            errors.append(error)
        each, own = self._each(sound=not errors)
        if errors or own:
            raise gathered([*errors, *own])
        room = None if whole.room is None else whole.room.completed(whole.ambient.temperature)
        shown = tuple(map(_as_used, self.freeze_points, each))
        return replace(
            whole, points=len(each), freeze_points=shown, jackets=self.jackets or len(each),
            room=room, each=tuple(each),
        )  # fmt: skip

    def _misplaced(self) -> Iterator[Fault]:
        """Yield what is wrong with how the freeze points are named, counted and placed."""
        placed = [i for i, p in enumerate(self.places) if p.kind is PlaceKind.FREEZE_POINT]
        if self.freeze_points:
            if self.points is not None:
                yield Fault(("points",), "leave it out: freeze_points says how many there are")
            detail = "leave it out: freeze_points says where freeze points are"
            yield from (Fault(("places", i), detail) for i in placed)
            if self.observations:
                detail = "state what was seen of the freeze point itself, in freeze_points"
                yield Fault(("observations",), detail)
        elif placed and self.points is not None and self.points != len(placed):
            yield Fault(("points",), f"places has {len(placed)} freeze point(s)")
        named = [(("freeze_points", i), p.name) for i, p in enumerate(self.freeze_points)]
        named += [(("places", i), self.places[i].name) for i in placed]
        count = Counter(name for _, name in named)
        for path, name in named:
            if count[name] > 1:
                yield Fault((*path, "name"), "is another freeze point's name too")
        if self.start is not None and not _is_far_from_the_end(self.start):
            yield Fault(("start",), "is too near the end of the calendar")

    @property
    def _alike(self) -> list[JobPoint]:
        """The freeze points where all are alike: those among the places, or so many."""
        placed = [p for p in self.places if p.kind is PlaceKind.FREEZE_POINT]
        if placed:
            return [JobPoint(name=p.name, run=p.run, at=p.at) for p in placed]
        return [JobPoint(name=str(n + 1)) for n in range(self.points or 1)]

    def _each(self, *, sound: bool) -> "tuple[list[PlacedPoint], list[StillpipeError]]":
        """Return every freeze point, worked out, and what of its own cannot be used.

        Where the job itself is not ``sound`` nothing is said of what its points take over.
        """
        found: list[PlacedPoint] = []
        errors: list[StillpipeError] = []
        known: dict[tuple[Any, ...], Job] = {}
        for i, point in enumerate(self.freeze_points or self._alike):
            own = point.own
            key = tuple(own.items())
            try:
                if key not in known:
                    known[key] = self._alone(own)
            except StillpipeError as error:
                faults = [f for f in error.faults if f.path[0] in own or sound]
                if faults and self.freeze_points:
                    errors.append(type(error)(*faults).within("freeze_points", i))
                continue
            found.append(PlacedPoint(point=point, request=known[key]))
        return found, errors

    def _alone(self, own: Mapping[str, Any]) -> "Job":
        """Return the request of one freeze point, which states ``own`` members, worked out.

        Its fluid is at the temperature at which it is fed.
        """
        raw = replace(self, **own, freeze_points=(), places=(), points=1, room=None, each=())
        warm, to = raw.fluid.temperature, self.cooling.to
        if warm > to:
            raw = replace(raw, fluid=replace(raw.fluid, temperature=to), arrival=warm)
        return super(Job, raw).completed()

    @property
    def hold_duration(self) -> float:
        """How long the plugs are fed beyond ready [s]."""
        return self.repair

    def given(self, stated: frozenset[str]) -> frozenset[str]:
        """Return which inputs are stated, where the names that are ``stated`` stand in the body.

        What a freeze point does not state of its own is as the job states it.
        """
        found = set(stated)
        for i in range(len(self.freeze_points)):
            at = f"freeze_points.{i}."
            for member in ("pipe", "jacket"):
                if at + member not in stated:
                    inner = (n for n in stated if n.split(".")[0] == member)
                    found.update(at + name for name in inner)
        return frozenset(found)


@dataclass(frozen=True, kw_only=True)
class PlacedPoint:
    """A freeze point of a job: where it is, and its own request, worked out."""

    point: JobPoint
    request: Job

    @property
    def name(self) -> str:
        """What it is called on site."""
        return self.point.name


def _as_used(point: JobPoint, placed: PlacedPoint) -> JobPoint:
    """Return a freeze point of the caller's with the groups it states worked out.

    With its pipe and jacket in any case, and its line as on arrival.
    """
    used = placed.request
    groups: dict[str, Any] = {"pipe": used.pipe, "jacket": used.jacket}
    if point.fluid is not None:
        groups["fluid"] = replace(used.fluid, temperature=point.fluid.temperature)
    if point.jacket_loss is not None:
        groups["jacket_loss"] = used.jacket_loss
    return replace(point, **groups)


def _is_far_from_the_end(start: datetime) -> bool:
    """Tell whether the calendar goes on for the longest job after ``start``."""
    try:
        start + LAST_DAY
    except OverflowError:
        return False
    return True
