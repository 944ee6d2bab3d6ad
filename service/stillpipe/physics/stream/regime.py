"""Nusselt numbers and pressure drop of a flow in a round channel, by its regime.

Laminar with its thermal entry, transition, turbulent; every figure is continuous from one to the
next. The channel narrows slowly along its way, so that each place is taken as a part of an even
one: the laminar Nusselt number depends on pi k x / (4 m cp) alone, whatever the radius.
"""

import math
from typing import NamedTuple

import numpy as np

from stillpipe.physics.column.mesh import FAST
from stillpipe.physics.compiling import njit
from stillpipe.physics.stream.liquid import Liquid, at

DECAY = 5.783
"""Nusselt number of a still core, over its diameter, that conducts and no more [-]: the square of
the first zero of the Bessel function J0, 2.4048, at which a long cylinder cools in the end."""
LAMINAR, TURBULENT = 2300.0, 4000.0
"""Reynolds numbers between which the flow is in transition [-]; Gnielinski 2013."""
LONG = 6e-3
"""From this thermal entry on the Nusselt number of laminar flow is below ``DECAY`` [-]."""


class Here(NamedTuple):
    """A stream at one place of its way, whatever the radius of its channel there.

    ``reynolds`` its Reynolds number times that radius [m]; ``prandtl`` number [-]; ``place``
    distance from where it is cooled [m]; ``k`` conductivity times pi [W/(m K)]; ``circulates`` the
    circulation of a core of radius 1 m over its conduction [-]; ``laminar`` Nusselt number of
    laminar flow, 0 where it is below that of a still core [-].
    """

    reynolds: float
    prandtl: float
    place: float
    k: float
    circulates: float
    laminar: float


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def laminar(entry: float) -> float:
    """Local Nusselt number [-] of developed laminar flow at ``entry`` = x / (d Re Pr) [-].

    Constant wall temperature; VDI Heat Atlas, G1 (from memory): from 1.077 entry^(-1/3) near the
    beginning (Leveque) to 3.66.
    """
    start = max(1.077 / np.cbrt(max(entry, 1e-9)) - 0.7, 0.0)
    return float(np.cbrt(49.371 + start * start * start))


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def turbulent(reynolds: float, prandtl: float, shape: float) -> float:
    """Local Nusselt number [-] of turbulent flow, ``shape`` = d / x of the thermal entry [-].

    Gnielinski, Int. Chem. Eng. 16 (1976) 359, with the friction factor of a smooth pipe by
    Filonenko; the entry by VDI Heat Atlas, G1, d / x at most 1.
    """
    root = 1.0 / (0.79 * math.log(reynolds) - 1.64)
    friction, heat, wide = root * root / 8.0, np.cbrt(prandtl), np.cbrt(min(shape, 1.0))
    across = 1.0 + 12.7 / math.sqrt(8.0) * root * (heat * heat - 1.0)
    entry = 1.0 + wide * wide / 3.0
    return float(friction * (reynolds - 1000.0) * prandtl / across * entry)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
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


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def here(flow: float, place: float, T: float, q: Liquid) -> Here:
    """Return a stream of ``flow`` [kg/s] at ``place`` [m], ``T`` its mixing temperature [K]."""
    film = 0.5 * (T + q.freezing)
    viscosity, k = at(film, 0, q), at(film, 1, q)
    reynolds = 2.0 * flow / (math.pi * viscosity)
    prandtl = viscosity * q.cp / k
    entry = place / max(2.0 * reynolds * prandtl, 1e-12)
    nusselt = laminar(entry) if entry < LONG else 0.0
    return Here(reynolds, prandtl, place, math.pi * k, at(T, 2, q), nusselt)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def circulation(radius: float, x: Here, grows: float) -> float:
    """Conduction that circulation makes of that of a core of ``radius`` [m], over it [-].

    Below 1 there is none; ``grows`` as in :class:`Liquid`.
    """
    return x.circulates * math.pow(radius, grows)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def through(radius: float, x: Here, grows: float, strength: float) -> float:
    """Heat from liquid to wall or ice for each metre and kelvin [W/(m K)].

    ``radius`` of the channel [m]; ``grows`` and ``strength`` as in :class:`Liquid`. At least that
    of the still core: conduction times what circulation adds to it, by its own size.
    """
    wide = max(radius, 1e-9)
    reynolds, nusselt = x.reynolds / wide, x.laminar
    if reynolds > LAMINAR:
        nusselt = moving(reynolds, x.prandtl, x.place / (2.0 * wide))
    adds = strength * max(circulation(radius, x, grows) - 1.0, 0.0)
    return x.k * max(DECAY * (1.0 + adds), nusselt)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def alike(low: float, high: float, x: Here, grows: float) -> bool:
    """Tell whether channels of areas from ``low`` to ``high`` [m2] conduct the same per length.

    They do as far as they are laminar and too narrow for circulation.
    """
    narrow, wide = math.sqrt(low / math.pi), math.sqrt(high / math.pi)
    laminar = x.reynolds <= LAMINAR * max(narrow, 1e-9)
    return laminar and circulation(wide, x, grows) <= 1.0


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def conductance(flow: float, place: float, radius: float, T: float, q: Liquid) -> float:
    """Heat from liquid to wall or ice for each metre and kelvin [W/(m K)].

    ``flow`` [kg/s]; ``place`` distance from where the stream is cooled, ``radius`` of the channel
    [m]; ``T`` mixing temperature [K].
    """
    return through(radius, here(flow, place, T, q), q.grows, q.strength)


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def friction(reynolds: float) -> float:
    """Darcy's friction factor [-] of a smooth pipe; Churchill, Chem. Eng. 84 (1977) 91."""
    if reynolds < 1000.0:  # where Churchill's form is 64 / Re to 1e-7
        return 64.0 / max(reynolds, 1e-12)
    a = (2.457 * 0.9 * math.log(reynolds / 7.0)) ** 16
    both = a + (37530.0 / reynolds) ** 16
    return float(
        8.0 * math.pow((8.0 / reynolds) ** 12 + 1.0 / (both * math.sqrt(both)), 1.0 / 12.0)
    )


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def gradient(flow: float, radius: float, T: float, q: Liquid) -> float:
    """Pressure drop by friction for each metre [Pa/m]; arguments as for :func:`conductance`."""
    viscosity = at(0.5 * (T + q.freezing), 0, q)
    reynolds = 2.0 * flow / (math.pi * radius * viscosity)
    speed = flow / (q.density * math.pi * radius * radius)
    return friction(reynolds) * q.density * speed * speed / (4.0 * radius)
