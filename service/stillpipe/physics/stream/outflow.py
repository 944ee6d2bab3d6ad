"""What comes out of an open pipe at line pressure once an ice plug has let go.

The pressure is kept up where the supply begins, and nothing is lost but at its entrance, by
friction on the way and with the jet, p = rho v2 / 2 (1 + K + f L / D): an upper bound for a smooth
full bore, since rough walls, fittings left out and a supply that cannot keep up all take from it.
"""

import math

from stillpipe.physics import media, solutions
from stillpipe.physics.stream import liquid, regime

ENTRANCE = 0.5
"""Loss of a sharp-edged entrance over the velocity head [-]; Crane TP-410, from memory, and the
library fluids."""
STIFF_WATER, STIFF_SOLUTION = 2.33e9, 3.1e9
"""Greatest bulk modulus of water up to 40 degC (IAPWS-95), and of sea water and glycol as they are
accepted (from memory) [Pa]: the stiffer a fluid, the harder it strikes."""
HALVINGS = 60
"""After which the bracket of a speed is narrower than rounding."""


def fluid(key: str, concentration: float, temperature: float) -> tuple[float, float]:
    """Density [kg/m3] and viscosity [Pa s] of fluid ``key`` at ``concentration`` [kg/kg].

    ``temperature`` [K].
    """
    pure = key == "water" or concentration <= 0.0
    density = media.WATER_DENSITY if pure else solutions.liquid(key, concentration)[0]
    thicker = liquid.viscosity_ratio(key, concentration)
    return density, thicker * float(media.water_viscosity(temperature))


def lost(speed: float, bore: float, length: float, density: float, viscosity: float) -> float:
    """Pressure [Pa] that a jet of ``speed`` [m/s] takes from where the supply begins.

    ``length`` [m] of the supply, fittings as their equivalent length, and its ``bore`` [m];
    ``density`` [kg/m3] and ``viscosity`` [Pa s] of the liquid.
    """
    factor = regime.friction(density * speed * bore / viscosity) if speed > 0.0 else 0.0
    heads = 1.0 + ENTRANCE + factor * length / bore
    return 0.5 * density * speed * speed * heads


def speed(pressure: float, bore: float, length: float, density: float, viscosity: float) -> float:
    """Speed [m/s] at which a gauge ``pressure`` [Pa] drives liquid out; the rest as :func:`lost`.

    An ice plug that has come off goes before it no faster. By bisection, for the loss rises with
    the speed throughout.
    """
    low, high = 0.0, math.sqrt(2.0 * max(pressure, 0.0) / (density * (1.0 + ENTRANCE)))
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        if lost(middle, bore, length, density, viscosity) < pressure:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def surge(stopped: float, key: str, density: float, compliance: float) -> float:
    """Rise of pressure [Pa] at the most where fluid ``key``, ``stopped`` [m/s], stands at once.

    As by a valve slammed: Joukowsky's rho c v, with the pipe's ``compliance`` [1/Pa] in the speed
    of sound (Korteweg), c = 1 / sqrt(rho (1 / K + compliance)); from memory. ``density`` [kg/m3].
    """
    modulus = STIFF_WATER if key == "water" else STIFF_SOLUTION
    return stopped * math.sqrt(density / (1.0 / modulus + compliance))
