"""Changes of a job that may take away a reason against it: found without solving where it can be.

Each finder is asked for one reason. What hangs on the freeze is found on what is solved already,
the surfaces over the uncertain inputs; only for another jacket or colder water others are solved.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from stillpipe.estimates.job.judged import Judged
from stillpipe.estimates.job.plan import Kind
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.declare import COMPUTED, Count, Quantity, members
from stillpipe.model.figures import Amount
from stillpipe.model.job import Job
from stillpipe.model.site import Place, PlaceKind, Room
from stillpipe.physics.constants import ZERO_C
from stillpipe.tables import cylinders
from stillpipe.uncertainty import draws

LONGEST_JACKET = 0.5
"""Longest jacket that is looked for [m]."""
JACKET_STEP = 0.005
"""To which a jacket's length is rounded up [m]."""
LEAST_PRESSURE = 1e3
"""To which a pressure is rounded down [Pa]."""
COLDEST = ZERO_C + 6.0
"""Coldest water that is looked for [K]."""
BELOW = 5.0
"""By so much colder than the line the flushing water is [K]."""
STEPS = 4
"""How often a repair is halved."""
CLOSING = ("closes", "close")
"""Ends of codes of reasons that are about the closure."""
LEAST_CHANCE = 1e-4
"""Chances are told apart no nearer to 0 and 1 than so [-]."""
HALVINGS = 12
"""How often a change is halved that needs no other freezes."""
SAFE_CYLINDER = ZERO_C + 26.5
"""Cylinders of the usual filling hold liquid to the end of their use below this [K]."""
LEAST_REPAIR = 60.0
"""Shortest repair that is looked for, and to whose multiples one is rounded down [s]."""
SHARES = (1.0, 0.97, 0.94, 0.9, 0.85)
"""Of what is found on known freezes, until it is confirmed by others [-]."""

Apply = Callable[[Job], Job]


@dataclass(frozen=True, kw_only=True, eq=False)
class Change:
    """A change of one input: its dotted ``name``, what it is and what it would be, how it is made.

    ``points`` are the freeze points concerned, none for the whole job.
    """

    name: str
    was: Amount | str | None
    to: Amount | str
    apply: Apply
    points: tuple[str, ...] = ()


def stated(job: Job) -> Job:
    """Return a worked-out job as its caller might have stated it."""
    counted = not job.freeze_points and not _placed(job)
    return replace(job, points=job.points if counted else COMPUTED, each=())


def _placed(job: Job) -> bool:
    return any(p.kind is PlaceKind.FREEZE_POINT for p in job.places)


def _at(judged: Judged, kind: Kind, **members: object) -> Apply:
    """Return what changes ``members`` of the freeze points of a kind, of all where that is one."""
    if not judged.plan.request.freeze_points:
        return lambda job: replace(job, **members)  # type: ignore[arg-type]

    def apply(job: Job) -> Job:
        points = tuple(
            replace(p, **members) if p.name in kind.names else p  # type: ignore[arg-type]
            for p in job.freeze_points
        )
        return replace(job, freeze_points=points)

    return apply


def _names(judged: Judged, kind: Kind) -> tuple[str, ...]:
    return () if judged.plan.is_one else kind.names


def _most(owner: type, member: str) -> float:
    """Return the greatest value that a caller may state of a ``member``, a number [SI]."""
    return float(cast(Quantity | Count, members(owner)[member].declaration).high)


def cylinder_temperature(judged: Judged, _kind: Kind | None) -> Iterator[Change]:
    """Yield the cylinder cooled until it holds liquid to the end."""
    cylinder = judged.plan.request.cylinder
    if cylinder.temperature > SAFE_CYLINDER:
        yield Change(
            name="cylinder.temperature", was=Amount(cylinder.temperature, "temperature"),
            to=Amount(SAFE_CYLINDER, "temperature"),
            apply=lambda job: replace(
                job, cylinder=replace(job.cylinder, temperature=SAFE_CYLINDER)
            ),
        )  # fmt: skip


def _pressure(judged: Judged, kind: Kind, to: float) -> Change:
    """Return the line pressure of a kind of freeze point lowered ``to`` so much [Pa]."""
    low = math.floor(to / LEAST_PRESSURE) * LEAST_PRESSURE
    fluid = kind.request.fluid
    was = kind.request.line_pressure
    fluid = replace(
        fluid, temperature=kind.request.arrival or fluid.temperature,
        head=min(fluid.head, low) if fluid.head == was else fluid.head,
    )  # fmt: skip
    line = {"fluid": fluid} if fluid.flow > 0.0 else {}
    return Change(
        name="line_pressure", was=Amount(was, "pressure"), to=Amount(low, "pressure"),
        apply=_at(judged, kind, line_pressure=low, **line), points=_names(judged, kind),
    )  # fmt: skip


def rated_pressure(judged: Judged, kind: Kind | None) -> Iterator[Change]:
    """Yield the line pressure lowered to what the pipe is rated for."""
    if kind is not None:
        yield _pressure(judged, kind, kind.request.pressure_rating)


def held_pressure(judged: Judged, kind: Kind | None) -> Iterator[Change]:
    """Yield the greatest line pressure that the plug carries, found on the same freezes."""
    if kind is None or kind.solution.hopeless:
        return
    solution, low, high = kind.solution, 0.0, kind.request.line_pressure

    def is_ready(pressure: float) -> bool:
        return solution.is_sure(solution.under(pressure).ready_chance)

    if not is_ready(LEAST_PRESSURE):
        return
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if is_ready(middle) else (low, middle)
    yield from (_pressure(judged, kind, share * low) for share in SHARES if low > LEAST_PRESSURE)


def _deviate(judged: Judged, code: str, kind: Kind, apply: Apply | None = None) -> float:
    """Return how sure a freeze point closes, or is ready, where it is changed, as a deviate [-].

    Of what the reason ``code`` is about; a freeze point that is changed is solved anew.
    """
    solution = kind.solution
    if apply is not None:
        changed = apply(stated(judged.plan.request)).completed()
        plan = type(judged.plan)(changed, judged.plan.pool, judged.plan)
        solution = plan.solution_of(kind.names[0])
    chance = solution.closing_chance if code.endswith(CLOSING) else solution.ready_chance
    return float(draws.deviate(np.clip(chance, LEAST_CHANCE, 1.0 - LEAST_CHANCE)))


def _between(
    judged: Judged, code: str, kind: Kind, ends: tuple[float, ...], made: Callable[[float], Apply]
) -> list[float]:
    """Return where between the first of ``ends``, as it is, and the others a reason may be gone.

    The most likely place first. The deviate of a chance is taken as straight between the two
    ends that are solved: it rises ever less, so that the place found is on the safe side.
    """
    wanted = float(draws.deviate(np.asarray(judged.plan.request.decision_probability)))
    begun, before = ends[0], _deviate(judged, code, kind)
    for end in ends[1:]:
        after = _deviate(judged, code, kind, made(end))
        if after >= wanted:
            share = (wanted - before) / max(after - before, 1e-9)
            found = begun + share * (end - begun)
            return [found, 0.5 * (found + end), end]
        begun, before = end, after
    return []


def jacket_length(judged: Judged, kind: Kind | None, code: str) -> Iterator[Change]:
    """Yield longer jackets, the shortest first, with freezes of their own."""
    if kind is None or kind.request.jacket.length >= LONGEST_JACKET:
        return
    jacket = kind.request.jacket

    def made(length: float) -> Apply:
        return _at(judged, kind, jacket=replace(jacket, length=length))

    twice = min(2.0 * jacket.length, LONGEST_JACKET)
    ends = (jacket.length, *dict.fromkeys((twice, LONGEST_JACKET)))
    for found in _between(judged, code, kind, ends, made):
        length = min(math.ceil(found / JACKET_STEP) * JACKET_STEP, LONGEST_JACKET)
        yield Change(
            name="jacket.length", was=Amount(jacket.length, "length"),
            to=Amount(length, "length"), apply=made(length), points=_names(judged, kind),
        )  # fmt: skip


def colder_water(judged: Judged, kind: Kind | None, code: str) -> Iterator[Change]:
    """Yield lines that are fed colder than now, the warmest first, with freezes of their own."""
    request = judged.plan.request
    if kind is None or kind.request.fluid.temperature <= COLDEST:
        return
    warm = kind.request.fluid.temperature

    def made(temperature: float) -> Apply:
        cooling = replace(request.cooling, to=temperature, water=temperature - BELOW)
        return lambda job: replace(job, cooling=cooling)

    for found in _between(judged, code, kind, (warm, COLDEST), made):
        cold = max(ZERO_C + math.floor(2.0 * (found - ZERO_C)) / 2.0, COLDEST)
        yield Change(
            name="cooling.to", was=Amount(warm, "temperature"), to=Amount(cold, "temperature"),
            apply=made(cold), points=_names(judged, kind),
        )  # fmt: skip


def less_flow(judged: Judged, kind: Kind | None) -> Iterator[Change]:
    """Yield the greatest flow that freezes shut at the chance that decides."""
    if kind is None or kind.solution.stays_slush:
        return
    fluid, limit = kind.request.fluid, kind.solution.at_least(kind.solution.flow_limits) or 0.0
    for share in SHARES:
        scale = 10.0 ** (math.floor(math.log10(share * limit)) - 1) if limit > 0.0 else 1.0
        flow = math.floor(share * limit / scale) * scale
        less = replace(fluid, flow=flow, temperature=kind.request.arrival or fluid.temperature)
        yield Change(
            name="fluid.flow", was=Amount(fluid.flow, "mass_flow"), to=Amount(flow, "mass_flow"),
            apply=_at(judged, kind, fluid=less), points=_names(judged, kind),
        )  # fmt: skip


def warmer_room(judged: Judged, kind: Kind | None) -> Iterator[Change]:
    """Yield the room warmed above the fluid's freezing point."""
    if kind is not None:
        ambient = kind.request.ambient
        warm = math.ceil(kind.request.fluid.freezing_point - ZERO_C + 0.1) + ZERO_C
        yield Change(
            name="ambient.temperature", was=Amount(ambient.temperature, "temperature"),
            to=Amount(warm, "temperature"), points=_names(judged, kind),
            apply=_at(judged, kind, ambient=replace(ambient, temperature=warm)),
        )  # fmt: skip


def more_air(judged: Judged, _kind: Kind | None) -> Iterator[Change]:
    """Yield the air changes that keep every limit, if they can be stated."""
    room, air = judged.plan.request.room, judged.air
    needed = None if air is None else air.figures.air_changes_needed
    if room is not None and needed is not None:
        hourly = math.ceil(needed * 3600.0 * 10.0 + 1e-6) / 10.0 / 3600.0
        if hourly > _most(Room, "air_changes"):
            return
        yield Change(
            name="room.air_changes", was=Amount(room.air_changes, "air_changes"),
            to=Amount(hourly, "air_changes"),
            apply=lambda job: replace(job, room=replace(room, air_changes=hourly)),
        )  # fmt: skip


def larger_cylinder(judged: Judged, _kind: Kind | None) -> Iterator[Change]:
    """Yield every larger cylinder of the catalogue, the least first."""
    used = judged.plan.request.cylinder
    rows = [c for c in cylinders.catalogue() if c.net_mass > used.net_mass and c.dip_tube]
    for row in sorted(rows, key=lambda c: c.net_mass):
        other = Cylinder(id=row.id, temperature=used.temperature)
        yield Change(
            name="cylinder.id",
            was=used.id,
            to=row.id,
            apply=lambda job, other=other: replace(job, cylinder=other),  # type: ignore[misc]
        )


def quick_exchange(judged: Judged, _kind: Kind | None) -> Iterator[Change]:
    """Yield an exchange so quick that every plug outlives it twice: two on a manifold."""
    lasts = [
        s.survival for s in judged.needed.figures.exchanges if s.survival is not None
    ]  # fmt: skip
    duration = math.floor(0.49 * min(lasts, default=0.0))
    if 0.0 < duration < judged.plan.request.exchange_duration:
        yield Change(
            name="exchange_duration",
            was=Amount(judged.plan.request.exchange_duration, "time"),
            to=Amount(float(duration), "time"),
            apply=lambda job: replace(job, exchange_duration=float(duration)),
        )


def dip_tube(judged: Judged, _kind: Kind | None) -> Iterator[Change]:
    """Yield the same cylinder with a dip tube."""
    used = judged.plan.request.cylinder
    row = next((c for c in cylinders.catalogue() if c.id == used.id), None)
    if row is None or row.dip_tube:
        yield Change(
            name="cylinder.dip_tube",
            was="false",
            to="true",
            apply=lambda job: replace(job, cylinder=replace(job.cylinder, dip_tube=True)),
        )


def shorter_repair(judged: Judged, code: str) -> Iterator[Change]:
    """Yield the longest repair without the reason ``code``, found on the same freezes."""
    was = judged.plan.request.repair

    def apply(repair: float) -> Apply:
        return lambda job: replace(job, repair=repair)

    if was <= LEAST_REPAIR or not _judged_without(judged, code, apply(LEAST_REPAIR)):
        return
    low, high = LEAST_REPAIR, was
    for _ in range(STEPS):
        middle = 0.5 * (low + high)
        well = _judged_without(judged, code, apply(middle))
        low, high = (middle, high) if well else (low, middle)
    low = LEAST_REPAIR * math.floor(low / LEAST_REPAIR)
    yield Change(
        name="repair", was=Amount(was, "time"), to=Amount(low, "time"), apply=apply(low),
    )  # fmt: skip


def _judged_without(judged: Judged, code: str, apply: Apply) -> bool:
    """Tell whether the changed job has no reason ``code``; freezes that are known stay so."""
    return code not in judged.again(apply(stated(judged.plan.request)).completed()).codes


def more_hands(judged: Judged, _kind: Kind | None) -> Iterator[Change]:
    """Yield crew and jackets for all freeze points of the largest run, two persons at least.

    No crew larger than can be stated.
    """
    request, needed = judged.plan.request, judged.plan.too_many
    crew = max(math.ceil(needed / request.points_each), 2)
    jackets = max(request.jackets, needed)
    if crew > _most(Job, "crew"):
        return
    if crew > request.crew:
        yield Change(
            name="crew",
            was=str(request.crew),
            to=str(crew),
            apply=lambda job: replace(job, crew=crew, jackets=jackets),
        )
    elif jackets > request.jackets:
        yield Change(
            name="jackets",
            was=str(request.jackets),
            to=str(jackets),
            apply=lambda job: replace(job, jackets=jackets),
        )


def vents(judged: Judged, _kind: Kind | None) -> Iterator[Change]:
    """Yield a vent between every two freeze points that have none between them."""
    run = judged.run
    if run is None:
        return
    at = {(p.point.run, p.name): p.point.at or 0.0 for p in judged.plan.request.each}
    found = tuple(
        Place(
            name="vent to be opened", kind=PlaceKind.VENT, run=w.run,
            at=0.5 * sum(at[w.run, name] for name in w.between),
        )
        for w in run.trapped_water
        if not w.vented
    )  # fmt: skip
    if found:
        yield Change(
            name="places",
            was=None,
            to=f"{len(found)} vent(s) between freeze points",
            apply=lambda job: replace(job, places=(*job.places, *found)),
        )


def colder_flushing(judged: Judged, _kind: Kind | None) -> Iterator[Change]:
    """Yield water cold enough to flush the line with."""
    cooling = judged.plan.request.cooling
    water = cooling.to - BELOW
    if cooling.water > water >= ZERO_C + 1.0:
        yield Change(
            name="cooling.water", was=Amount(cooling.water, "temperature"),
            to=Amount(water, "temperature"),
            apply=lambda job: replace(
                job, cooling=replace(cooling, water=water, method=type(cooling.method).SOONER)
            ),
        )  # fmt: skip
