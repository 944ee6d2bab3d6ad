"""The greatest flow through the bore that a jacket can still freeze shut.

Steady balance of a laminar channel of radius s in the ice: the water gives the ice
pi Nu k T per length (Hausen's mean Nusselt number, which depends on the flow over the length
only), the ice passes 2 pi k dT / (ln(ri/s) + outer resistances) to the dry ice. The channel is
shut when the line pressure can no longer drive the flow through what is left (Hagen-Poiseuille).
"""

import math

VISCOSITY = 1.79e-3
"""Of water at 0 C [Pa s]; IAPWS."""
DENSITY = 999.8
CP = 4195.0
CONDUCTIVITY = 0.57
"""Of water at 8 C, the film's mean [W/(m K)]; IAPWS."""
DROPS_PER_CUBIC_METRE = 20.0e6
"""Drops of 1/20 mL; common practice, no source."""


def nusselt(flow: float, length: float) -> float:
    """Mean laminar Nusselt number [-] of ``flow`` [kg/s] over ``length`` [m]; Hausen 1943."""
    graetz = 4.0 * flow * CP / (math.pi * CONDUCTIVITY * length)
    return 3.66 + 0.0668 * graetz / (1.0 + 0.04 * math.pow(graetz, 2.0 / 3.0))


def channel(
    flow: float, length: float, warm: float, bore: float, cold: float, ice_k: float, outer: float
) -> float:
    """Steady radius of the open channel [m].

    ``warm`` water above and ``cold`` jacket below the freezing point [K]; ``outer`` resistance
    times length from the bore to the dry ice [m K/W].
    """
    ntu = math.pi * nusselt(flow, length) * CONDUCTIVITY * length / (flow * CP)
    given = flow * CP * warm * -math.expm1(-ntu) / length
    logarithm = 2.0 * math.pi * ice_k * (cold / given - outer)
    return 0.5 * bore * math.exp(-max(min(logarithm, 600.0), 0.0))


def limit(
    length: float, warm: float, bore: float, cold: float, ice_k: float, outer: float, head: float
) -> float:
    """Greatest flow that still closes [kg/s], by bisection; arguments as for :func:`channel`.

    ``head`` [Pa] is the pressure that drives the flow once the channel is nearly shut.
    """
    warm, head = max(warm, 0.1), max(head, 1e3)
    low, high = 1e-9, 10.0
    for _ in range(80):
        flow = math.sqrt(low * high)
        radius = channel(flow, length, warm, bore, cold, ice_k, outer)
        drop = 8.0 * VISCOSITY * flow * length / (math.pi * DENSITY * max(radius, 1e-30) ** 4)
        if drop >= head and radius < 0.5 * bore:
            low = flow
        else:
            high = flow
    return low
