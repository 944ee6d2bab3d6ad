"""Reasons that lie in a freeze itself: cylinder, slush, pipe, room, flow, closure, readiness."""

import math
from functools import partial

from scipy.special import ndtri

from stillpipe.estimates import seen, words
from stillpipe.estimates.cases import ALMOST
from stillpipe.estimates.course import Of
from stillpipe.estimates.solution import Solution
from stillpipe.model.calibration import REACH, Calibration
from stillpipe.model.figures import Amount, Reason, Severity
from stillpipe.physics import co2, freeze, solutions

LITTLE = 0.05
"""Of a plug that may not close it is not said that it may not be ready, unless that is less likely
by more than this [-]."""
LIQUID_ENDS = 299.96
"""Two-phase CO2 ends in a 68 % full cylinder [K] (26.81 C); CoolProp, Span and Wagner 1996."""
LONGEST = words.time(freeze.LONGEST_FREEZE)
"""How long a freeze is followed, in words."""

stop = partial(Reason, severity=Severity.STOP)
warn = partial(Reason, severity=Severity.WARN)


def blockers(solution: Solution) -> tuple[Reason, ...]:
    """Return the reasons known before solving: the cylinder's temperature and slush."""
    temperature = solution.point.cylinder.temperature
    if temperature <= LIQUID_ENDS:
        return tuple(_of_ice(solution))
    code, limit, reason = "cylinder-near-critical", LIQUID_ENDS, warn
    text = (
        f"The cylinder is at {words.celsius(temperature)}: above 26.8 degC one filled to 68 % "
        "holds liquid only in part of its use."
    )
    if temperature >= co2.CRITICAL:
        code, limit, reason = "no-liquid-co2", co2.CRITICAL, stop
        text = (
            f"The cylinder is at {words.celsius(temperature)}: above 31.0 degC it holds no liquid "
            "CO2."
        )
    found = reason(
        code, text, figure="inputs.cylinder.temperature",
        value=Amount(temperature, "temperature"), limit=Amount(limit, "temperature"),
        action="Cool the cylinder below 26.8 degC before the first feed, and keep it in the shade.",
    )  # fmt: skip
    return (found, *_of_ice(solution))


def _of_ice(solution: Solution) -> list[Reason]:
    """Return how likely the fluid holds as much ice as a plug needs."""
    chance, most = solution.freezing_chance, solution.cases.most_ice
    if solution.is_sure(chance):
        return []
    need = solution.cases.input("ice_fraction")
    wanted = float(need.at(float(ndtri(solution.point.decision_probability)))) + ALMOST
    strongest = solutions.strongest(wanted)
    text = (
        f"At most {100 * most:.0f} % of this fluid turns to ice; a plug needs from "
        f"{100 * need.low:.0f} to {100 * need.high:.0f} % (5th to 95th percentile)."
    )
    if chance <= 0.0:
        text, code, reason = f"{text} It stays slush.", "slush", stop
    else:
        text = f"{text} The chance that it freezes to a plug is {percent(chance)} at most."
        code, reason = ("slush", stop) if chance < 0.5 else ("may-stay-slush", warn)
    action = (
        f"Fill the stretch with a solution of {100.0 * strongest:.0f} % or weaker, or prove the "
        "plug by venting the section before cutting."
    )
    return [
        reason(
            code, text, figure="inputs.fluid.concentration", chance=chance,
            value=Amount(solution.point.fluid.concentration, "fraction"),
            limit=Amount(strongest, "fraction"),
            action=DO_NOT_FREEZE if reason is stop else action,
        )
    ]  # fmt: skip


DO_NOT_FREEZE = "Do not freeze this line: drain it, or fill the stretch with a weaker solution."


def percent(chance: float) -> str:
    """Return a ``chance`` [-] in words, rounded down."""
    return f"{math.floor(100.0 * chance + 1e-9):.0f} %"


def of_line(solution: Solution) -> tuple[Reason, ...]:
    """Return the reasons that lie in the pipe, its pressure and its room, known before solving."""
    point = solution.point
    found = []
    if point.line_pressure > point.pressure_rating:
        found.append(_over_rating(solution))
    if point.material.condition:
        found.append(
            warn(
                "pipe-material", point.material.condition, figure="inputs.pipe.material",
                action="Have the agreement in writing before the first feed, or drain the line.",
            )
        )  # fmt: skip
    known = point.calibration
    if known is not None and not known.reaches(point.pipe.outside_diameter):
        found.append(_outside(known, point.pipe.outside_diameter))
    room, freezing = point.ambient.temperature, point.fluid.freezing_point
    if room <= freezing:
        text = (
            f"The room, {words.celsius(room)}, is no warmer than the fluid's freezing point, "
            f"{words.celsius(freezing)}: the line freezes by itself, far beyond the plug, and can "
            "burst."
        )
        found.append(
            warn(
                "room-below-freezing", text, figure="inputs.ambient.temperature",
                value=Amount(room, "temperature"), limit=Amount(freezing, "temperature"),
                action="Warm the room first, and keep it warm until the plug has thawed.",
            )
        )  # fmt: skip
    return tuple(found)


def _outside(known: Calibration, wide: float) -> Reason:
    """Say that a calibration is ``known`` of pipes far from one of that outside diameter [m]."""
    least, most = known.least_diameter, known.greatest_diameter
    text = (
        f"The calibration was made on pipes of {1e3 * least:.0f} to {1e3 * most:.0f} mm outside "
        f"diameter; this one of {1e3 * wide:.0f} mm is far from them, and so may its jacket be."
    )
    return warn(
        "outside-calibration", text, figure="inputs.pipe.outside_diameter",
        value=Amount(wide, "length"),
        limit=Amount(most * REACH if wide > most else least / REACH, "length"),
        action="Leave the calibration out, or use one made on pipes of this size.",
    )  # fmt: skip


def _over_rating(solution: Solution) -> Reason:
    """Say that the line pressure is above what the pipe is good for."""
    pressure, rating = solution.point.line_pressure, solution.point.pressure_rating
    source = (
        "its allowable stress gives" if solution.point.pipe.rating is None else "it is rated for"
    )
    text = f"The line pressure, {words.bar(pressure)}, is above what {source}, {words.bar(rating)}."
    return stop(
        "over-rating", text, figure="inputs.line_pressure", value=Amount(pressure, "pressure"),
        limit=Amount(rating, "pressure"),
        action="Lower the line pressure below the pipe's rating, or check which pipe it is.",
    )  # fmt: skip


def is_stopped(reasons: tuple[Reason, ...]) -> bool:
    """Tell whether any of ``reasons`` stops the job."""
    return any(r.severity is Severity.STOP for r in reasons)


def reasons(solution: Solution) -> tuple[Reason, ...]:
    """Return all reasons of a freeze, those found by solving too."""
    known = (*blockers(solution), *of_line(solution))
    if solution.stays_slush:
        return (*known, *_of_seen(solution))
    return (*known, *_of_seen(solution), *_of_closing(solution), *_of_ready(solution))


def _of_closing(solution: Solution) -> list[Reason]:
    """Return how likely the bore freezes shut."""
    chance = solution.closing_chance
    if solution.is_sure(chance):
        return []
    if solution.point.fluid.flow > 0.0:
        return [_of_flow(solution, chance)]
    if not solution.cases.is_water and chance < 0.5:
        return _of_slush(solution)
    if not solution.cases.is_water and not solution.is_sure(solution.freezing_chance):
        return []  # that its ice may not be enough is said
    closure = None if chance < 0.5 else solution.closure
    code, reason, text = "never-closes", stop, f"The bore does not freeze shut within {LONGEST}"
    if chance >= 0.5:
        code, reason, text = "may-not-close", warn, f"The bore may not freeze shut within {LONGEST}"
    return [
        reason(
            code, f"{text}: the chance is {percent(chance)}.", figure="closure",
            value=None if closure is None else Amount(closure.likely, "time"),
            limit=Amount(freeze.LONGEST_FREEZE, "time"), chance=chance,
            action="Let the line cool first, use a longer jacket, or freeze where the pipe is "
            "narrower.",
        )
    ]  # fmt: skip


def _of_flow(solution: Solution, chance: float) -> Reason:
    """Say how a flow keeps the bore from freezing shut, and what flow would not."""
    flow = solution.point.fluid.flow
    limit = solution.at_least(solution.flow_limits) or 0.0
    if chance < 0.5:
        code, reason, does = "flowing", stop, "carries in more heat than the jacket can take out"
    else:
        code, reason, does = "flow-near-limit", warn, "is near the most that can be frozen"
    text = (
        f"The flow, {words.hourly(flow)}, {does}: the chance that it freezes shut is "
        f"{percent(chance)}. At the chance that decides up to {words.hourly(limit)} can be frozen."
    )
    if limit >= flow:
        text = (
            f"Against the flow, {words.hourly(flow)}, the bore freezes shut within {LONGEST} with "
            f"a chance of {percent(chance)} only."
        )
    return reason(
        code, text, figure="inputs.fluid.flow", value=Amount(flow, "mass_flow"),
        limit=Amount(limit, "mass_flow"), chance=chance,
        action="Stop the flow: close the valves on both sides, and prove that the line is still.",
    )  # fmt: skip


def _of_slush(solution: Solution) -> list[Reason]:
    """Return that a solution does not close, where its ice could do."""
    chance = solution.closing_chance
    if solution.freezing_chance < 0.5:
        return []
    text = (
        f"Within {LONGEST} the bore does not come to the ice that a plug needs, but with a chance "
        f"of {percent(chance)}: it stays slush."
    )
    return [
        stop(
            "slush", text, figure="closure", limit=Amount(freeze.LONGEST_FREEZE, "time"),
            chance=chance, action=DO_NOT_FREEZE,
        )
    ]  # fmt: skip


def _of_ready(solution: Solution) -> list[Reason]:
    """Return how likely the plug carries the line pressure."""
    chance, closing = solution.ready_chance, solution.closing_chance
    if closing < 0.5 or solution.is_sure(chance):
        return []
    if not solution.is_sure(closing) and 0.5 <= chance > closing - LITTLE:
        return []  # what keeps it from closing is said
    point = solution.point
    name, value, limit = _short_of(solution)
    short = f"carries {words.bar(value.value)} with that factor"
    if name == "plug_length":
        short = (
            f"is {1e3 * value.value:.0f} mm long, and needs one bore, {1e3 * limit.value:.0f} mm"
        )
    text = (
        f"The chance that the plug carries the line pressure, {words.bar(point.line_pressure)}, "
        f"with a safety factor of {point.safety_factor:g} within {LONGEST} is {percent(chance)}: "
        f"at the chance that decides it then {short}."
    )
    code, reason = ("never-ready", stop) if chance < 0.5 else ("may-not-be-ready", warn)
    action = "Lower the line pressure, or use a longer jacket"
    return [
        reason(
            code, text, figure=name, value=value, limit=limit, chance=chance,
            action=f"{action}." if reason is stop else f"{action}; prove the plug before cutting.",
        )
    ]  # fmt: skip


def _short_of(solution: Solution) -> tuple[str, Amount, Amount]:
    """Return what a plug is short of when no longer followed: figure, what it has, what it needs.

    At the chance that decides: the pressure that it carries, or where that is enough its length.
    """
    point = solution.point
    carried = solution.carries(solution.grown_at_last(Of.GRIP), solution.strength)
    pressure = solution.at_least(carried) or 0.0
    if pressure < point.line_pressure:
        limit = Amount(point.line_pressure, "pressure")
        return "holding_pressure", Amount(pressure, "pressure"), limit
    length = solution.at_least(solution.grown_at_last(Of.SOUND)) or 0.0
    return "plug_length", Amount(length, "length"), Amount(point.bore, "length")


def _of_seen(solution: Solution) -> list[Reason]:
    """Return what the observations mean for the job."""
    known = solution.evidence
    if known is None:
        if not solution.point.observations:
            return []
        text = "No plug is to be expected, so what was seen tells nothing about one."
        action = "Look at the other reasons first, and send the observations again."
        return [warn("observations-not-used", text, figure="inputs.observations", action=action)]
    if known.least >= seen.UNLIKELY:
        return []
    index = min(range(len(known.foretold)), key=lambda i: known.foretold[i].probability)
    worst, least = known.foretold[index].observation, max(known.least, 1e-4)
    text = (
        "What is seen does not fit a still, full line of this pipe: least of all what was seen "
        f"{worst.elapsed:.0f} s after the first feed ({worst.kind}), as likely as {least:.2g} or "
        "less."
    )
    reason, limit = warn, seen.UNLIKELY
    if not known.used:
        text = f"{text} The figures are those from before anything was seen."
        reason, limit = stop, seen.ABSURD
    return [
        reason(
            "observations-do-not-fit", text, figure=f"learned.observations.{index}.probability",
            value=Amount(known.least, "factor"), limit=Amount(limit, "factor"),
            chance=known.least, at=worst.elapsed,
            action="Do not cut before the cause is found: a flow, warm water, a badly fed jacket, "
            "an empty or another pipe, a wrong reading.",
        )
    ]  # fmt: skip
