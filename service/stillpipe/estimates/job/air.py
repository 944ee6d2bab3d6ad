"""The air of the room into which all freeze points of a job let their CO2."""

import itertools

from stillpipe.estimates import assess, ventilation
from stillpipe.estimates.co2_mass import Consumption
from stillpipe.estimates.job.plan import Kind, Plan
from stillpipe.estimates.ventilation import AirFigures
from stillpipe.model.figures import Answer, Reason
from stillpipe.model.site import Release

SHORTEST = 1.0
"""Shortest stretch of constant release [s]."""


def air(plan: Plan, drawn: dict[Kind, Consumption]) -> Answer[AirFigures] | None:
    """Estimate the room's air from the first feed on.

    On what each freeze point lets out in its freeze and in its hold at the chance that decides,
    each for itself: the sum is on the safe side. None without a room or a plug.
    """
    room = plan.request.room
    if room is None or not drawn:
        return None
    return ventilation.air(room, tuple(_releases(plan, drawn)))


def _releases(plan: Plan, drawn: dict[Kind, Consumption]) -> list[Release]:
    """Return what all freeze points let out together, one stretch after another."""
    stretches: list[tuple[float, float, float]] = []
    begin = plan.groups[0].feed
    for kind, needs in drawn.items():
        group, solution, count = plan.group_of(kind), kind.solution, len(kind.names)
        fed, ready = group.feed - begin, group.feed - begin + needs.ready
        freeze, rate = (solution.at_most(x) or 0.0 for x in (needs.freeze, needs.rate))
        stretches.append((fed, ready, count * freeze / needs.ready))
        end = max(group.stop - begin, ready + SHORTEST)
        stretches.append((ready, end, count * rate))
    ends = sorted({t for start, end, _ in stretches for t in (start, end)})
    found = []
    for start, end in itertools.pairwise(ends):
        rate = sum(r for s, e, r in stretches if s <= start and end <= e)
        found.append(Release(rate=rate, duration=end - start))
    return found


def reasons(plan: Plan, found: Answer[AirFigures] | None) -> tuple[Reason, ...]:
    """Return the reasons found with the air, or that nobody has judged it."""
    if plan.request.room is None:
        text = "No room was stated, so its air was not judged."
        action = "State the room, or work outdoors."
        return (assess.warn("air-not-judged", text, figure="inputs.room", action=action),)
    return () if found is None else tuple(r.within("air") for r in found.reasons)
