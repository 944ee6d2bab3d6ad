"""Carbon dioxide in a room: well mixed, closed form for each stretch of constant release.

A volume V of air at a steady temperature, pressure held by what leaks out. Fresh air Q of outdoor
mole fraction x0 and pure CO2 gas G come in [m3/s at the room's state], the mixture Q + G goes out:
V dx/dt = G + Q x0 - (Q + G) x. A sealed room keeps its air and grows in pressure; its mole
fraction is then n_CO2 / (n_air + n_CO2).
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]

STILL = 1e-12
"""A room whose air is changed more slowly than this [1/s] is left as it is."""
OXYGEN = 0.2095
"""Mole fraction of oxygen in dry air."""
WINDOWS = 240
"""Windows tried before the first moment of the last stretch when the worst mean is sought."""


class Course(NamedTuple):
    """The mole fraction of a room against time, stretch by stretch.

    ``volume`` [m3]; ``fresh`` air [m3/s] of mole fraction ``outdoor`` [-]; of every stretch the
    ``release`` of gas [m3/s], ``duration`` and ``begin`` [s], the mole fraction ``x`` [-] it begins
    with and its ``integral`` [s] until then.
    """

    volume: float
    fresh: float
    outdoor: float
    release: Array
    duration: Array
    begin: Array
    x: Array
    integral: Array


class Check(NamedTuple):
    """A course held against a limit.

    ``worst`` [-] is the greatest mean over the limit's time; ``passed_at`` [s] and
    ``changes_needed`` [1/s] are infinite for never and for more than the most.
    """

    worst: float
    passed_at: float
    changes_needed: float


def sealed(gas: float, volume: float, x0: float) -> float:
    """Mole fraction [-] once ``gas`` [m3] of CO2 is in a sealed room of ``volume`` [m3]."""
    return (gas + volume * x0) / (volume + gas)


def oxygen(x: float, x0: float) -> float:
    """Mole fraction of oxygen [-] where CO2 displaces air: from ``x0`` outside to ``x``."""
    return OXYGEN * (1.0 - x) / (1.0 - x0)


@njit(nogil=True, cache=True, borrows=True)
def concentration_after(
    x: float, time: float, volume: float, fresh: float, release: float, x0: float
) -> float:
    """Mole fraction [-] after ``time`` [s], from ``x`` [-].

    ``volume`` [m3]; ``fresh`` air of mole fraction ``x0`` [-] and ``release`` of gas [m3/s].
    """
    out = fresh + release
    if out <= STILL * volume:
        return x
    steady = (release + fresh * x0) / out
    return steady + (x - steady) * math.exp(-out * time / volume)


@njit(nogil=True, cache=True, borrows=True)
def time_to_reach(
    limit: float, x: float, volume: float, fresh: float, release: float, x0: float
) -> float:
    """Time [s] until the mole fraction rises to ``limit`` [-], infinite where it never does."""
    if x >= limit:
        return 0.0
    out = fresh + release
    if out <= STILL * volume:
        return math.inf
    steady = (release + fresh * x0) / out
    if steady <= limit:
        return math.inf
    return volume / out * math.log((steady - x) / (steady - limit))


@njit(nogil=True, cache=True, borrows=True)
def integral(
    x: float, time: float, volume: float, fresh: float, release: float, x0: float
) -> float:
    """Integral of the mole fraction over ``time`` [s]."""
    out = fresh + release
    if out <= STILL * volume:
        return x * time
    steady = (release + fresh * x0) / out
    return steady * time + (x - steady) * volume / out * -math.expm1(-out * time / volume)


@njit(cache=True, nogil=True)
def course(volume: float, fresh: float, outdoor: float, release: Array, duration: Array) -> Course:
    """Follow a room from outdoor air through stretches of ``release`` [m3/s] and ``duration`` [s].

    ``volume`` [m3], ``fresh`` air [m3/s], ``outdoor`` mole fraction [-]; at least one stretch.
    """
    count = release.size
    begin, x, total = np.zeros(count), np.full(count, outdoor), np.zeros(count)
    for i in range(count - 1):
        now, span, gas = x[i], duration[i], release[i]
        begin[i + 1] = begin[i] + span
        x[i + 1] = concentration_after(now, span, volume, fresh, gas, outdoor)
        total[i + 1] = total[i] + integral(now, span, volume, fresh, gas, outdoor)
    return Course(volume, fresh, outdoor, release, duration, begin, x, total)


@njit(cache=True, nogil=True)
def concentrations(c: Course, times: Array) -> Array:
    """Mole fractions [-] of a course at ``times`` [s], shape as ``times``."""
    found = np.empty(times.size)
    for i in range(times.size):
        j = np.searchsorted(c.begin, times[i], side="right") - 1
        past = times[i] - c.begin[j]
        found[i] = concentration_after(c.x[j], past, c.volume, c.fresh, c.release[j], c.outdoor)
    return found


@njit(nogil=True, cache=True, borrows=True)
def time_over(c: Course, limit: float) -> float:
    """Time [s] when the mole fraction first reaches ``limit`` [-], infinite where it never does."""
    for i in range(c.x.size):
        found = time_to_reach(limit, c.x[i], c.volume, c.fresh, c.release[i], c.outdoor)
        if found <= c.duration[i]:
            begin: float = c.begin[i]
            return begin + found
    return math.inf


@njit(nogil=True, cache=True, borrows=True)
def mean(c: Course, begin: float, span: float) -> float:
    """Mean mole fraction [-] over ``span`` [s] from ``begin`` [s]."""
    found: float = _integral_until(c, begin + span) - _integral_until(c, max(begin, 0.0))
    return found / span


@njit(nogil=True, cache=True, borrows=True)
def _integral_until(c: Course, end: float) -> float:
    """Integral of the mole fraction [s] from 0 to ``end`` [s], or to the last stretch's end."""
    i = np.searchsorted(c.begin, end) - 1
    if i < 0:
        return 0.0
    part = min(end - c.begin[i], c.duration[i])
    before: float = c.integral[i]
    return before + integral(c.x[i], part, c.volume, c.fresh, c.release[i], c.outdoor)


@njit(nogil=True, cache=True, borrows=True)
def _window(c: Course, span: float, i: int) -> float:
    """Begin [s] of the ``i``-th window of ``span`` [s] that is tried: a grid, then every edge."""
    edges = c.begin.size
    if i <= WINDOWS:
        begin: float = c.begin[-1] * i / WINDOWS
    elif i <= WINDOWS + edges:
        begin = c.begin[i - WINDOWS - 1]
    else:
        begin = max(c.begin[i - WINDOWS - 1 - edges] - span, 0.0)
    return begin


@njit(nogil=True, cache=True, borrows=True)
def _refined(c: Course, span: float, begin: float) -> float:
    """Greatest mean [-] over ``span`` [s] near ``begin`` [s], by golden section."""
    step = max(c.begin[-1] / WINDOWS, 1e-9)
    low, high = max(begin - step, 0.0), begin + step
    for _ in range(60):
        a, b = low + 0.382 * (high - low), low + 0.618 * (high - low)
        if mean(c, a, span) < mean(c, b, span):
            low = a
        else:
            high = b
    return mean(c, 0.5 * (low + high), span)


@njit(nogil=True, cache=True, borrows=True)
def _peak(c: Course) -> float:
    """Greatest mole fraction [-]: at the edge of a stretch."""
    found = c.x[0]
    for i in range(1, c.x.size):
        found = max(found, c.x[i])
    return float(found)


@njit(nogil=True, cache=True, borrows=True)
def worst(c: Course, span: float) -> float:
    """Greatest mole fraction [-], or its greatest mean over ``span`` [s] where that is not 0.

    The mean's maximum has its window's ends at equal mole fractions or at the edge of a stretch; it
    is bracketed on a grid and refined by golden section.
    """
    if span <= 0.0:
        return _peak(c)
    best, most = 0.0, -math.inf
    for i in range(WINDOWS + 1 + 2 * c.begin.size):
        begin = _window(c, span, i)
        found = mean(c, begin, span)
        if found > most:
            best, most = begin, found
    return max(most, _refined(c, span, best))


@njit(nogil=True, cache=True, borrows=True)
def exceeds(c: Course, span: float, limit: float) -> bool:
    """Tell whether :func:`worst` is above ``limit`` [-], with no more windows than that takes."""
    if span <= 0.0:
        return _peak(c) > limit
    best, most = 0.0, -math.inf
    for i in range(WINDOWS + 1 + 2 * c.begin.size):
        begin = _window(c, span, i)
        found = mean(c, begin, span)
        if found > limit:
            return True
        if found > most:
            best, most = begin, found
    # moved by a step the mean changes by at most the step's share of the window
    if most + c.begin[-1] / WINDOWS / span * _peak(c) <= limit:
        return False
    return _refined(c, span, best) > limit


@njit(cache=True, nogil=True)
def changes_needed(c: Course, limit: float, span: float, most: float) -> float:
    """Return the changes of fresh air [1/s] that keep the worst of a course at ``limit`` [-].

    ``span`` [s] as for :func:`worst`. By bisection up to ``most`` [1/s]; infinite where not even
    that is enough.
    """
    if not exceeds(course(c.volume, 0.0, c.outdoor, c.release, c.duration), span, limit):
        return 0.0
    low, high = 0.0, most
    if exceeds(course(c.volume, c.volume * high, c.outdoor, c.release, c.duration), span, limit):
        return math.inf
    for _ in range(24):
        middle = 0.5 * (low + high)
        tried = course(c.volume, c.volume * middle, c.outdoor, c.release, c.duration)
        if exceeds(tried, span, limit):
            low = middle
        else:
            high = middle
    return high


def check(c: Course, limit: float, span: float, most: float) -> Check:
    """Hold a course against a ``limit`` [-] of the mean over ``span`` [s], 0 for the peak.

    ``most`` changes of fresh air are looked for [1/s].
    """
    greatest = worst(c, span)
    passed_at = time_over(c, limit) if greatest > limit else math.inf
    return Check(greatest, passed_at, changes_needed(c, limit, span, most))
