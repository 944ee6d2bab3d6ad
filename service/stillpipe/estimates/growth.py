"""What the ice looks like: its shape along the pipe, and how far the plug reaches.

Read from freezes that are solved already; nothing is solved for it.
"""

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from stillpipe.estimates import chances
from stillpipe.estimates.course import Of
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.solution import Solution
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import HIGH, LOW, MIDDLE

PLACES = 17
"""Places from the jacket's centre to the end of the ice at which its shape is told."""
CLOSING, GROWING = (0.25, 0.5, 0.75, 1.0), (0.5, 1.0)
"""Moments at which it is told: shares of the time from first ice to closure, and from there on."""
BARE = 0.999
"""Share of the bore that is liquid where there is as good as no ice [-]."""
IN_HOLD = 5
"""Moments of the hold at which the plug's length is told, both ends counted."""

Series = tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Moment:
    """The shape of the ice at one time."""

    time: Annotated[float, Figure("time", says="Since the first feed.")]
    liquid_radius: Annotated[
        Series, Figure("length", 3, says="Of the liquid left, at each of the positions.")
    ]


@dataclass(frozen=True, kw_only=True)
class Profile:
    """The likely shape of the ice along half the pipe; the other half is its mirror image."""

    position: Annotated[
        Series, Figure("length", says="From the jacket's centre; the last is where the ice ends.")
    ] = ()
    moments: Annotated[
        tuple[Moment, ...], Plain(says="From first ice to the planned ready, in order.")
    ] = ()


@dataclass(frozen=True, kw_only=True)
class Growth:
    """The length of sound plug while it is fed, series of equal length."""

    time: Annotated[Series, Figure("time", says="Since the first feed.")] = ()
    low: Annotated[Series, Figure("length", says="5th percentile; 0 until it is closed.")] = ()
    likely: Annotated[Series, Figure("length", says="Median.")] = ()
    high: Annotated[Series, Figure("length", says="95th percentile.")] = ()


NO_PROFILE, NO_GROWTH = Profile(), Growth()
"""Of what does not close, or is not expected to get ready."""


def profile(solution: Solution, until: float, pace: float = 1.0) -> Profile:
    """Return the shape of the ice in the likely freeze up to ``until`` [s] as solved.

    Its times are told at a ``pace`` [-] of those solved. Where water moved until closure, what it
    looked like until then is not kept, and it is told from closure on.
    """
    run = solution.fine
    if run.closure is None or until <= run.closure:
        return NO_PROFILE
    history = run.history(until, beyond=True)
    first = float(np.interp(1e-9, history.ice_volume / history.ice_volume[-1], history.time))
    closing = first + np.array(CLOSING) * (run.closure - first)
    if solution.point.fluid.flow > 0.0:
        closing = closing[-1:]
    times = np.append(closing, run.closure + np.array(GROWING) * (until - run.closure))
    at = np.linspace(0.0, _end(solution, times), PLACES)
    closed = 0.5 * run.at(times).plug_length
    shut = (at <= closed[:, None]) & (closed[:, None] > 0.0)
    share = np.where(shut, 0.0, run.open_share(times, at))
    share = np.minimum.accumulate(share, axis=0)
    radius = 0.5 * solution.point.bore * np.sqrt(share)
    return Profile(
        position=tuple(at.tolist()),
        moments=tuple(
            Moment(time=float(time) * pace, liquid_radius=tuple(along.tolist()))
            for time, along in zip(times, radius, strict=True)
        ),
    )


def _end(solution: Solution, times: Array) -> float:
    """Return how far the ice reaches from the jacket's centre [m] at any of ``times`` [s]."""
    point, run = solution.point, solution.fine
    longest = run.history(float(times[-1]), beyond=True).plug_length[-1] + point.jacket.length
    along = np.linspace(0.0, longest + 10.0 * point.pipe.outside_diameter, 200)
    bare = np.flatnonzero(run.open_share(times, along).min(axis=0) >= BARE)
    return float(along[bare[0] if len(bare) else -1])


def growth(solution: Solution) -> Growth:
    """Return how long the plug is from the 5th percentile of closure to the end of the hold.

    Of the draws that are closed by then, as the length after the hold is.
    """
    closure, planned = solution.closure, solution.planned_ready
    if closure is None or planned is None:
        return NO_GROWTH
    before = [closure.low, closure.likely, 0.5 * (closure.likely + planned)]
    times = np.unique(np.append(before, np.linspace(planned, solution.plan_end, IN_HOLD)))
    lengths = [solution.grown(Of.SOUND, float(time))[solution.holds] for time in times]
    ends = np.maximum.accumulate(chances.along(lengths, (LOW, MIDDLE, HIGH)), axis=1)
    low, likely, high = (tuple(each) for each in ends.tolist())
    return Growth(time=tuple(times.tolist()), low=low, likely=likely, high=high)
