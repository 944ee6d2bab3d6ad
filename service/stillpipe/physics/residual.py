"""The greatest flow through the bore that a jacket can still freeze shut.

Steady balance of a laminar channel of radius s in the ice: the water gives the ice
pi Nu k T per length (Hausen's mean Nusselt number, which depends on the flow over the length
only), the ice passes 2 pi k dT / (ln(ri/s) + outer resistances) to the dry ice. The channel is
shut when the line pressure can no longer drive the flow through what is left (Hagen-Poiseuille).
"""

import math

from stillpipe.physics.compiling import njit

VISCOSITY = 1.79e-3
"""Of water at 0 C [Pa s]; IAPWS."""
DENSITY = 999.8
"""Of water near 0 C [kg/m3]; IAPWS-95."""
CP = 4195.0
"""Mean of water, 0-40 C [J/(kg K)]; IAPWS-95."""
CONDUCTIVITY = 0.57
"""Of water at 8 C, the film's mean [W/(m K)]; IAPWS."""
DROPS_PER_CUBIC_METRE = 20.0e6
"""Drops of 1/20 mL; common practice, no source."""
DRIPS_PER_MINUTE = 60.0 * DROPS_PER_CUBIC_METRE / DENSITY
"""Drips a minute for each kg/s of flow [s/(kg min)]."""


@njit(cache=True, nogil=True)
def nusselt(flow: float, length: float) -> float:
    """Mean laminar Nusselt number [-] of ``flow`` [kg/s] over ``length`` [m]; Hausen 1943."""
    graetz = 4.0 * flow * CP / (math.pi * CONDUCTIVITY * length)
    return 3.66 + 0.0668 * graetz / (1.0 + 0.04 * math.pow(graetz, 2.0 / 3.0))


@njit(cache=True, nogil=True)
def channel(
    flow: float,
    length: float,
    superheat: float,
    bore: float,
    undercooling: float,
    ice_k: float,
    outer_resistance: float,
) -> float:
    """Steady radius of the open channel [m].

    ``superheat`` of the water above and ``undercooling`` of the jacket below the freezing point
    [K]; ``ice_k`` conductivity of the ice [W/(m K)]; ``outer_resistance`` times length from the
    bore to the dry ice [m K/W].
    """
    ntu = math.pi * nusselt(flow, length) * CONDUCTIVITY * length / (flow * CP)
    given = flow * CP * superheat * -math.expm1(-ntu) / length
    logarithm = 2.0 * math.pi * ice_k * (undercooling / given - outer_resistance)
    return 0.5 * bore * math.exp(-max(min(logarithm, 600.0), 0.0))


@njit(cache=True, nogil=True)
def limit(
    length: float,
    superheat: float,
    bore: float,
    undercooling: float,
    ice_k: float,
    outer_resistance: float,
    head: float,
) -> float:
    """Greatest flow that still closes [kg/s], by bisection; arguments as for :func:`channel`.

    ``head`` [Pa] is the pressure that drives the flow once the channel is nearly shut.
    """
    superheat, head = max(superheat, 0.1), max(head, 1e3)
    low, high = 1e-9, 10.0
    for _ in range(80):
        flow = math.sqrt(low * high)
        radius = channel(flow, length, superheat, bore, undercooling, ice_k, outer_resistance)
        drop = 8.0 * VISCOSITY * flow * length / (math.pi * DENSITY * max(radius, 1e-30) ** 4)
        if drop >= head and radius < 0.5 * bore:
            low = flow
        else:
            high = flow
    return low
