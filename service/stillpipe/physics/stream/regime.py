"""Nusselt numbers and pressure drop of a flow in a round channel, by its regime.

Laminar with its thermal entry, transition, turbulent; every figure is continuous from one to the
next. The channel narrows slowly along its way, so that each place is taken as a part of an even
one: the laminar Nusselt number depends on pi k x / (4 m cp) alone, whatever the radius.
"""

import math

from stillpipe.physics.compiling import njit
from stillpipe.physics.stream.liquid import Liquid, at

DECAY = 5.783
"""Nusselt number of a still core, over its diameter, that conducts and no more [-]: the square of
the first zero of the Bessel function J0, 2.4048, at which a long cylinder cools in the end."""
LAMINAR, TURBULENT = 2300.0, 4000.0
"""Reynolds numbers between which the flow is in transition [-]; Gnielinski 2013."""


@njit(nogil=True, cache=True, error_model="numpy")
def laminar(entry: float) -> float:
    """Local Nusselt number [-] of developed laminar flow at ``entry`` = x / (d Re Pr) [-].

    Constant wall temperature; VDI Heat Atlas, G1 (from memory): from 1.077 entry^(-1/3) near the
    beginning (Leveque) to 3.66.
    """
    start = 1.077 * math.pow(max(entry, 1e-9), -1.0 / 3.0) - 0.7
    return math.pow(49.371 + max(start, 0.0) ** 3, 1.0 / 3.0)


@njit(nogil=True, cache=True, error_model="numpy")
def turbulent(reynolds: float, prandtl: float, shape: float) -> float:
    """Local Nusselt number [-] of turbulent flow, ``shape`` = d / x of the thermal entry [-].

    Gnielinski, Int. Chem. Eng. 16 (1976) 359, with the friction factor of a smooth pipe by
    Filonenko; the entry by VDI Heat Atlas, G1, d / x at most 1.
    """
    friction = math.pow(0.79 * math.log(reynolds) - 1.64, -2.0) / 8.0
    across = 1.0 + 12.7 * math.sqrt(friction) * (math.pow(prandtl, 2.0 / 3.0) - 1.0)
    entry = 1.0 + math.pow(min(shape, 1.0), 2.0 / 3.0) / 3.0
    return friction * (reynolds - 1000.0) * prandtl / across * entry


@njit(nogil=True, cache=True, error_model="numpy")
def moving(reynolds: float, prandtl: float, place: float) -> float:
    """Local Nusselt number [-] of a flow at ``place`` = x / d from where it is cooled [-].

    Between laminar and turbulent straight in the Reynolds number; Gnielinski, Int. J. Heat Mass
    Transfer 63 (2013) 134.
    """
    if reynolds <= LAMINAR:
        return laminar(place / max(reynolds * prandtl, 1e-12))
    if reynolds >= TURBULENT:
        return turbulent(reynolds, prandtl, 1.0 / place)
    part = (reynolds - LAMINAR) / (TURBULENT - LAMINAR)
    low = laminar(place / (LAMINAR * prandtl))
    return (1.0 - part) * low + part * turbulent(TURBULENT, prandtl, 1.0 / place)


@njit(nogil=True, cache=True, error_model="numpy")
def circulation(radius: float, T: float, q: Liquid) -> float:
    """Conduction that circulation makes of that of a core of ``radius`` [m], over it [-].

    ``T`` its mean temperature [K]; below 1 there is none.
    """
    return at(T, 2, q) * math.pow(radius, q.grows)


@njit(nogil=True, cache=True, error_model="numpy")
def still(radius: float, T: float, q: Liquid) -> float:
    """Nusselt number [-] of a still core of ``radius`` [m] whose mean temperature is ``T`` [K].

    Conduction times what circulation adds to it, by its own size.
    """
    return DECAY * (1.0 + q.strength * max(circulation(radius, T, q) - 1.0, 0.0))


@njit(nogil=True, cache=True, error_model="numpy")
def conductance(flow: float, place: float, radius: float, T: float, q: Liquid) -> float:
    """Heat from liquid to wall or ice for each metre and kelvin [W/(m K)].

    ``flow`` [kg/s]; ``place`` distance from where the stream is cooled, ``radius`` of the channel
    [m]; ``T`` mixing temperature [K]. At least that of the still core.
    """
    film = 0.5 * (T + q.freezing)
    viscosity, k = at(film, 0, q), at(film, 1, q)
    reynolds = 2.0 * flow / (math.pi * max(radius, 1e-9) * viscosity)
    forced = moving(reynolds, viscosity * q.cp / k, place / (2.0 * max(radius, 1e-9)))
    return math.pi * k * max(still(radius, T, q), forced)


@njit(nogil=True, cache=True, error_model="numpy")
def friction(reynolds: float) -> float:
    """Darcy's friction factor [-] of a smooth pipe; Churchill, Chem. Eng. 84 (1977) 91."""
    if reynolds < 1000.0:  # where Churchill's form is 64 / Re to 1e-7
        return 64.0 / max(reynolds, 1e-12)
    a = math.pow(2.457 * math.log(math.pow(reynolds / 7.0, 0.9)), 16.0)
    b = math.pow(37530.0 / reynolds, 16.0)
    laminar_part = math.pow(8.0 / reynolds, 12.0)
    return 8.0 * math.pow(laminar_part + math.pow(a + b, -1.5), 1.0 / 12.0)


@njit(nogil=True, cache=True, error_model="numpy")
def gradient(flow: float, radius: float, T: float, q: Liquid) -> float:
    """Pressure drop by friction for each metre [Pa/m]; arguments as for :func:`conductance`."""
    viscosity = at(0.5 * (T + q.freezing), 0, q)
    reynolds = 2.0 * flow / (math.pi * radius * viscosity)
    speed = flow / (q.density * math.pi * radius * radius)
    return friction(reynolds) * q.density * speed * speed / (4.0 * radius)


@njit(nogil=True, cache=True, error_model="numpy")
def kinetic(flow: float, radius: float, q: Liquid) -> float:
    """Velocity head [Pa] of ``flow`` [kg/s] in a channel of ``radius`` [m]."""
    speed = flow / (q.density * math.pi * radius * radius)
    return 0.5 * q.density * speed * speed
