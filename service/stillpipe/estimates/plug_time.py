"""Plug time: closure, ready and frost-by times of one freeze point, and what they rest on."""

from collections.abc import Callable

import numpy as np

from stillpipe.estimates import cautions, course
from stillpipe.estimates.job import Driver, Freeze, Note, Range
from stillpipe.estimates.outcomes import History, PlugTime
from stillpipe.physics import freeze, residual, solutions

FROST_DISTANCE = 0.010
"""Beside the jacket's edge, where the fitter looks for frost [m]; common practice, no source."""
LIQUID_ENDS = 299.96
"""Two-phase CO2 ends in a 68 % full cylinder [K] (26.81 C); CoolProp, Span and Wagner 1996."""
CRITICAL = 304.1282
"""Critical temperature of CO2 [K]; Span and Wagner 1996."""

Figure = Callable[[freeze.Moment, course.Choice], float]


def plug_time(job: Freeze) -> PlugTime:
    """Estimate closure, ready and frost-by times of ``job``.

    Raises
    ------
    OutOfValidityError
        naming every input outside what the model covers
    """
    course.check(job)
    stops = obstacles(job)
    slush = [n for n in stops if n.code == "slush"]
    if slush:
        return _refused(job, tuple(stops))
    runs = list(course.all_three(job))
    fast, likely, slow = runs
    flow = flow_limit(job)
    reasons = (*stops, *judge(job, flow, runs))
    ready = span(fast.ready, likely.ready, slow.ready)
    return PlugTime(
        verdict=verdict(reasons),
        reasons=reasons,
        closure=span(fast.closure, likely.closure, slow.closure),
        ready=ready,
        frost_by=span(*(frost_by(r) for r in runs)),
        plug_length=_at_ready(runs, lambda m, _: m.sound_length),
        holding_pressure=_at_ready(runs, lambda m, c: holding(job, m.sound_length, c)),
        residual_flow_limit=flow,
        heat_removed=_at_ready(runs, lambda m, _: m.heat_jacket),
        drivers=drivers(job),
        history=history(job, likely),
        cautions=cautions.of_freeze(job),
    )


def holding(job: Freeze, length: float, choice: course.Choice = course.LIKELY) -> float:
    """Pressure [Pa] that ``length`` [m] of bonded plug carries, safety factor taken off."""
    return 4.0 * job.adhesion * choice.adhesion * length / (job.bore * job.safety_factor)


def obstacles(job: Freeze) -> list[Note]:
    """Reasons known before solving: the cylinder's temperature and slush."""
    found = []
    if job.cylinder_temperature >= CRITICAL:
        found.append(
            Note(
                "no-liquid-co2",
                "Above 31.0 degC a cylinder holds no liquid CO2; cool the cylinder first.",
                "stop",
            )
        )
    elif job.cylinder_temperature > LIQUID_ENDS:
        found.append(
            Note(
                "cylinder-near-critical",
                "Above 26.8 degC a cylinder filled to 68 % "
                "holds liquid only in part of its use; cool the cylinder.",
                "warn",
            )
        )
    most = solutions.most_ice(job.fluid.key, job.concentration)
    if job.fluid.key != "water" and most < course.PLUG_SOLID:
        found.append(
            Note(
                "slush",
                f"At most {100 * most:.0f} % of this fluid turns to ice; a plug "
                f"needs {100 * course.PLUG_SOLID:.0f} %. It stays slush.",
                "stop",
            )
        )
    return found


def judge(job: Freeze, flow: Range, runs: list[freeze.FreezeRun]) -> list[Note]:
    """Reasons found by solving: flow, closure and readiness in the three courses."""
    _, likely, slow = runs
    found = _of_flow(job, flow)
    if likely.closure is None:
        found.append(
            Note("never-closes", "The bore does not freeze shut within four hours.", "stop")
        )
    elif likely.ready is None:
        found.append(
            Note(
                "never-ready",
                "The plug does not grow long enough to carry the line "
                "pressure with the safety factor; lower the pressure or use a longer "
                "jacket.",
                "stop",
            )
        )
    elif slow.ready is None:
        found.append(
            Note(
                "may-not-be-ready",
                "With the least favourable inputs the plug does not "
                "carry the line pressure; lower the pressure or prove the plug before "
                "cutting.",
                "warn",
            )
        )
    return found


def _of_flow(job: Freeze, flow: Range) -> list[Note]:
    """Reasons that lie in the flow, held against its limits [kg/s]."""
    if job.flow > flow.likely:
        text = "The flow carries in more heat than the jacket can take out; stop the flow."
        return [Note("flowing", text, "stop")]
    if job.flow > flow.low:
        text = "The flow is near the most that can be frozen; stop it if you can."
        return [Note("flow-near-limit", text, "warn")]
    return []


def verdict(reasons: tuple[Note, ...]) -> str:
    """``no-go`` where a reason stops the job, ``conditional`` where one warns, else ``go``."""
    levels = {n.severity for n in reasons}
    if "stop" in levels:
        return "no-go"
    return "conditional" if "warn" in levels else "go"


def flow_limit(job: Freeze) -> Range:
    """Greatest flow that still freezes shut [kg/s], from the steady balance."""
    values = []
    for choice in (course.SLOW, course.LIKELY, course.FAST):
        laid = course.case(job, choice)
        area = np.pi * job.outside_diameter
        outer = (
            np.log(job.outside_diameter / (job.outside_diameter - 2.0 * job.wall))
            / (2.0 * np.pi * laid.wall_conductivity)
            + laid.lining_resistance / (2.0 * np.pi)
            + 1.0 / (laid.h_jacket * area)
        )
        values.append(
            residual.limit(
                job.jacket_length,
                job.fluid_temperature - laid.medium.freezing,
                job.bore,
                laid.medium.freezing - freeze.DRY_ICE,
                2.68,
                float(outer),
                job.line_pressure,
            )
        )
    return Range(*values)


def frost_by(run: freeze.FreezeRun) -> float | None:
    """Time [s] when the pipe beside the jacket falls below 0 C, None where it never does."""
    if run.closure is None:
        return None
    return run.history().time_bonded(run.case.jacket_length + 2.0 * FROST_DISTANCE)


def drivers(job: Freeze) -> tuple[Driver, ...]:
    """Closure times with one uncertain input changed at a time, on a coarse grid."""
    likely = course.case(job)
    plan = (
        ("jacket_conductance", "jacket", "W/(m2.K)", course.CONDUCTANCE_BAND, likely.h_jacket),
        ("convection", "convection", "1", course.CONVECTION_BAND, 1.0),
        ("room_film", "film", "W/(m2.K)", course.FILM_BAND, likely.h_ambient),
    )
    found = []
    for name, member, unit, band, value in plan:
        low, high = (course.closure_only(job, course.varied(member, factor)) for factor in band)
        found.append(Driver(name, unit, band[0] * value, band[1] * value, low, high))
    return tuple(found)


def history(job: Freeze, run: freeze.FreezeRun) -> History:
    """Return the series of a course, both halves of the plug counted."""
    rows = run.history()
    extent = np.minimum(rows.plug_length, rows.bonded_length)
    series = (
        rows.time,
        rows.plug_length,
        rows.bonded_length,
        4.0 * job.adhesion * extent / (job.bore * job.safety_factor),
        rows.heat_jacket,
        0.5 * job.bore * np.sqrt(np.clip(rows.liquid_fraction, 0.0, 1.0)),
    )
    return History(*(tuple(float(v) for v in s) for s in series))


def span(fast: float | None, likely: float | None, slow: float | None) -> Range | None:
    """Range of a time in the three courses [s], None where there is no likely one.

    Ordered by value: in a cold room a film that slows the freeze cools a warm line sooner. Open
    above where the slow course never comes to it.
    """
    return ordered([likely, slow] if fast is None else [fast, likely, slow], likely)


def ordered(values: list[float | None] | list[float], likely: float | None) -> Range | None:
    """Range of ``values`` about ``likely`` [unit kept]; open above where one never comes."""
    if likely is None:
        return None
    known = [v for v in values if v is not None]
    return Range(min(known), likely, max(known) if len(known) == len(values) else None)


def _at_ready(runs: list[freeze.FreezeRun], figure: Figure) -> Range | None:
    """Range of ``figure`` over the courses that came to ready, ordered by value."""
    if runs[1].ready is None:
        return None
    pairs = zip(runs, course.CHOICES, strict=True)
    found = {c: figure(r.at_ready, c) for r, c in pairs if r.at_ready is not None}
    return ordered(list(found.values()), found[course.LIKELY])


def _refused(job: Freeze, reasons: tuple[Note, ...]) -> PlugTime:
    empty = History((), (), (), (), (), ())
    return PlugTime(
        verdict(reasons),
        reasons,
        None,
        None,
        None,
        None,
        None,
        None,
        None,
        (),
        empty,
        cautions.of_freeze(job),
    )
