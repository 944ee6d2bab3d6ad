"""Pressure in a closed stretch of pipe in which water freezes.

Freezing a mass fraction of the trapped water makes it want the volume of ice; the rest is squeezed
and the pipe widens until both fit: f (v_ice / v_water - 1) = p (1 / K + c), with K the water's bulk
modulus and c the pipe's relative widening per pressure.
"""

WATER_BULK_MODULUS = 1.965e9
"""Of water at 0 C and 1 atm [Pa]; IAPWS-95."""
ICE_TO_WATER = 916.72 / 999.84
"""Density of ice over that of water at 0 C [-]; IAPWS R10-06 and IAPWS-95."""
EXPANSION = 1.0 / ICE_TO_WATER - 1.0
"""Relative growth of volume on freezing at 0 C [-]; IAPWS-95 and IAPWS R10-06."""


def widening(outer_diameter: float, wall: float, modulus: float, poisson: float) -> float:
    """Relative growth of the bore's volume per pressure [1/Pa] of a thick, closed pipe.

    ``outer_diameter`` and ``wall`` [m], Young's ``modulus`` [Pa], ``poisson`` ratio [-]. Lame's
    solution for a thick cylinder, held lengthwise by its supports: 2 u_r / r.
    """
    ro, ri = 0.5 * outer_diameter, 0.5 * outer_diameter - wall
    ratio = (ro * ro + ri * ri) / (ro * ro - ri * ri)
    return 2.0 / modulus * (ratio + poisson)


def rise(frozen: float, compliance: float) -> float:
    """Pressure [Pa] once a mass fraction ``frozen`` [-] of the trapped water is ice.

    ``compliance`` [1/Pa] of the pipe by :func:`widening`; 0 for a rigid one. All of it frozen makes
    178 MPa in a rigid pipe, inside the 208.6 MPa up to which ice Ih forms (IAPWS R14-08).
    """
    return frozen * EXPANSION / (1.0 / WATER_BULK_MODULUS + compliance)


def burst(outer_diameter: float, wall: float, stress: float) -> float:
    """Pressure [Pa] at which the hoop stress is ``stress`` [Pa]; Barlow, 2 S t / D."""
    return 2.0 * stress * wall / outer_diameter
