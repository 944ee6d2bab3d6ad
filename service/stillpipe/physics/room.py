"""Carbon dioxide in a room: well mixed, closed form for each stretch of constant release.

A volume V of air at a steady temperature, pressure held by what leaks out. Fresh air Q of outdoor
mole fraction x0 and pure CO2 gas G come in [m3/s at the room's state], the mixture Q + G goes out:
V dx/dt = G + Q x0 - (Q + G) x. A sealed room keeps its air and grows in pressure; its mole
fraction is then n_CO2 / (n_air + n_CO2).
"""

import math

from stillpipe.physics import co2

STILL = 1e-12
"""A room whose air is changed more slowly than this [1/s] is left as it is."""
OXYGEN = 0.2095
"""Mole fraction of oxygen in dry air."""


def gas_volume(mass: float, T: float) -> float:
    """Volume [m3] of ``mass`` [kg] of CO2 gas at ``T`` [K] and 1 atm; Span and Wagner."""
    return mass / co2.gas_density(T)


def later(x: float, time: float, volume: float, fresh: float, release: float, x0: float) -> float:
    """Mole fraction [-] after ``time`` [s], from ``x`` [-].

    ``volume`` [m3]; ``fresh`` air of mole fraction ``x0`` [-] and ``release`` of gas [m3/s].
    """
    out = fresh + release
    if out <= STILL * volume:
        return x
    steady = (release + fresh * x0) / out
    return steady + (x - steady) * math.exp(-out * time / volume)


def reaches(
    limit: float, x: float, volume: float, fresh: float, release: float, x0: float
) -> float | None:
    """Time [s] until the mole fraction rises to ``limit`` [-], None where it never does."""
    if x >= limit:
        return 0.0
    out = fresh + release
    if out <= STILL * volume:
        return None
    steady = (release + fresh * x0) / out
    if steady <= limit:
        return None
    return volume / out * math.log((steady - x) / (steady - limit))


def dose(x: float, time: float, volume: float, fresh: float, release: float, x0: float) -> float:
    """Integral of the mole fraction over ``time`` [s]."""
    out = fresh + release
    if out <= STILL * volume:
        return x * time
    steady = (release + fresh * x0) / out
    return steady * time + (x - steady) * volume / out * -math.expm1(-out * time / volume)


def sealed(gas: float, volume: float, x0: float) -> float:
    """Mole fraction [-] once ``gas`` [m3] of CO2 is in a sealed room of ``volume`` [m3]."""
    return (gas + volume * x0) / (volume + gas)


def oxygen(x: float, x0: float) -> float:
    """Mole fraction of oxygen [-] where CO2 displaces air: from ``x0`` outside to ``x``."""
    return OXYGEN * (1.0 - x) / (1.0 - x0)
