"""Figures in the words of a reason: SI units, as many digits as a person reads."""

from stillpipe.physics.constants import ZERO_C

BAR = 1e5
"""[Pa]"""
HOUR = 3600.0
CLOSE = 600.0
"""Shorter times are told in seconds where they are held against each other [s]."""


def time(seconds: float) -> str:
    """Return a time [s] in words: seconds up to two minutes, minutes up to two hours."""
    if seconds < 120.0:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    if minutes < 120:
        return f"{minutes} min"
    rest = f" {minutes % 60} min" if minutes % 60 else ""
    return f"{minutes // 60} h{rest}"


def apart(*times: float) -> list[str]:
    """Return times [s] in words that can be held against each other.

    Minutes only where all are long, and no two alike that differ: 140 s are no 2 min beside an
    exchange of 120 s.
    """
    found = [time(t) for t in times] if min(times) >= CLOSE else []
    for digits in range(3):
        if len(set(found)) == len(set(times)):
            break
        found = [f"{t:.{digits}f} s" for t in times]
    return found


def bar(pressure: float) -> str:
    """Return a ``pressure`` [Pa] in words."""
    return f"{pressure / BAR:.2f} bar"


def celsius(temperature: float) -> str:
    """Return a ``temperature`` [K] in words."""
    return f"{temperature - ZERO_C:.1f} degC"


def metres(length: float) -> str:
    """Return a ``length`` [m] in words."""
    return f"{length:.2f} m"


def hourly(flow: float) -> str:
    """Return a mass ``flow`` [kg/s] in words."""
    return f"{HOUR * flow:.3g} kg/h"


def share(fraction: float) -> str:
    """Return a mole ``fraction`` [-] in words: per cent from 1 % up, else parts per million."""
    return f"{100.0 * fraction:.1f} %" if fraction >= 0.01 else f"{1e6 * fraction:.0f} ppm"


def kilograms(mass: float) -> str:
    """Return a ``mass`` [kg] in words."""
    return f"{mass:.1f} kg"
