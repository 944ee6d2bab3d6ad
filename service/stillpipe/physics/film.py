"""The room's air at the pipe: convection, radiation, dew and frost, through insulation.

Heat reaches a surface colder than the room by natural convection, by radiation, and with the
vapour that settles on it below the dew or frost point. :func:`room_film` tabulates all three by the
temperature of the pipe's outer surface.

Left out: the layer of frost, which grows in hours and then insulates (without it more heat comes
in: a plug is lost sooner and a freeze takes longer, never the reverse); fog in the cold air at the
surface; the buoyancy of moist air (heat at 95 % humidity about 2 % more); water that evaporates
again from a pipe that was wet.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.compiling import njit
from stillpipe.physics.constants import ATMOSPHERE, GRAVITY, STEFAN_BOLTZMANN, ZERO_C

TABLE_T0 = 190.0
"""Coldest surface of a table of the room's film [K]; dry ice keeps the pipe above it."""
TABLE_INV = 1.0
"""Entries of a table for each kelvin [1/K]."""
TABLE_N = 144
"""Entries of a table, up to 333 K."""

PRESSURE_AT_ZERO_C = 611.2
"""Of saturated vapour [Pa]; Sonntag 1990 (from memory)."""
SMALLEST_DIFFERENCE = 0.5
"""Between surface and room, at which convection is taken at least [K]: the air of a room is never
quite still, an assumption."""
HEIGHT = 0.3
"""Of the cold part of a vertical pipe, along which its air flows down [m]: an assumption."""
PRANDTL = 0.71
"""Of air [-]; 0.70 to 0.73 from 60 to -70 degC."""
LEWIS = 0.86
"""Thermal diffusivity of air over diffusivity of vapour in it [-]: 1.87e-5 over 2.18e-5 m2/s at
0 degC, nearly the same at -80 to 50 degC; Massman, Atmos. Environ. 32 (1998) 1111 (from memory)."""
AIR_CP = 1006.0
"""Of dry air [J/(kg K)], 0 degC."""
VAPOUR_CP = 1860.0
"""Of water vapour [J/(kg K)], 0 degC."""
MASS_RATIO = 0.62195
"""Molar mass of water over that of dry air [-]."""
EVAPORATION = 2.5009e6
"""Heat of evaporation of water at 0 degC [J/kg]; IAPWS-95 (from memory)."""
EVAPORATION_SLOPE = 2370.0
"""By which it falls for each kelvin [J/(kg K)], 0 to 50 degC."""
SUBLIMATION = 2.836e6
"""Heat of sublimation of ice [J/kg], within 0.2 % from -90 to 0 degC; IAPWS-06 (from memory)."""
WET_EMISSIVITY = 0.95
"""Of water and of frost [-]: 0.95 to 0.98 in tables for infrared thermometers (from memory)."""
WETTING = 1.0
"""Below the dew or frost point, over which a surface comes to that emissivity [K]: an assumption,
by which no figure jumps."""
COVER_EMISSIVITY = 0.9
"""Of the outside of dry insulation [-]: foam, plastic or cloth (from memory). Bright metal takes
in less heat."""

_HORIZONTAL_SHAPE: float = 0.387 / (1.0 + (0.559 / PRANDTL) ** (9.0 / 16.0)) ** (8.0 / 27.0)
_VERTICAL_SHAPE: float = 0.387 / (1.0 + (0.492 / PRANDTL) ** (9.0 / 16.0)) ** (8.0 / 27.0)
_CURVED_FACTOR: float = 0.0571322 + 0.20305 * PRANDTL**-0.43
_CURVED_POWER: float = (
    0.9165 - 0.043 * PRANDTL**0.5 + 0.01333 * math.log(PRANDTL) + 0.0004809 / PRANDTL
)
_LEWIS_RELATION: float = LEWIS ** (2.0 / 3.0)


@njit(cache=True, nogil=True)
def _grashof(length: float, surface: float, ambient: float) -> tuple[float, float]:
    """Return Grashof number [-] over ``length`` [m], conductivity of the air [W/(m K)].

    Air at the film temperature: k = 0.0241 (T/273)^0.9, nu = 1.33e-5 (T/273)^1.76 (fits, within
    2 % of reference data from -70 to 60 degC).
    """
    mean = 0.5 * (surface + ambient)
    k = 0.0241 * math.pow(mean / ZERO_C, 0.9)
    nu = 1.33e-5 * math.pow(mean / ZERO_C, 1.76)
    difference = max(abs(ambient - surface), SMALLEST_DIFFERENCE)
    return GRAVITY / mean * difference * length**3 / (nu * nu), k


@njit(cache=True, nogil=True)
def natural_convection(diameter: float, surface: float, ambient: float) -> float:
    """Heat transfer coefficient of still air on a horizontal cylinder [W/(m2 K)].

    ``diameter`` [m], temperatures [K]. Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975)
    1049, all Rayleigh numbers.
    """
    grashof, k = _grashof(diameter, surface, ambient)
    root = 0.60 + _HORIZONTAL_SHAPE * math.pow(grashof * PRANDTL, 1.0 / 6.0)
    return root * root * k / diameter


@njit(cache=True, nogil=True)
def vertical_convection(diameter: float, surface: float, ambient: float) -> float:
    """Heat transfer coefficient of still air on a vertical cylinder [W/(m2 K)].

    ``diameter`` [m], temperatures [K]; mean over ``HEIGHT``. Vertical plate, Churchill and Chu,
    Int. J. Heat Mass Transfer 18 (1975) 1323, all Rayleigh numbers, times the factor of a slender
    cylinder, Popiel, Heat Transfer Eng. 29 (2008) 521 (its 0.043, from memory, is printed as 0.0043
    in places: 5 % more for a pipe of 3 mm, 1 % for one of 16 mm).
    """
    grashof, k = _grashof(HEIGHT, surface, ambient)
    root = 0.825 + _VERTICAL_SHAPE * math.pow(grashof * PRANDTL, 1.0 / 6.0)
    slender = math.sqrt(32.0) * math.pow(grashof, -0.25) * HEIGHT / diameter
    curved = 1.0 + _CURVED_FACTOR * math.pow(slender, _CURVED_POWER)
    return root * root * curved * k / HEIGHT


@njit(cache=True, nogil=True)
def radiation(surface: float, ambient: float, emissivity: float) -> float:
    """Linearised heat transfer coefficient of radiation [W/(m2 K)], temperatures [K]."""
    squares = surface * surface + ambient * ambient
    return emissivity * STEFAN_BOLTZMANN * squares * (surface + ambient)


@njit(cache=True, nogil=True)
def saturation_pressure(T: float) -> float:
    """Pressure of saturated vapour [Pa] over water above 0 C, over ice below, ``T`` [K].

    Magnus form with Sonntag's constants, Z. Meteorol. 70 (1990) 340 (from memory).
    """
    t = T - ZERO_C
    if t >= 0.0:
        return PRESSURE_AT_ZERO_C * math.exp(17.62 * t / (243.12 + t))
    return PRESSURE_AT_ZERO_C * math.exp(22.46 * t / (272.62 + t))


@njit(cache=True, nogil=True)
def frost_point(T: float, relative_humidity: float) -> float:
    """Temperature [K] below which water settles out of air at ``T`` [K].

    ``relative_humidity`` [-] of that air. The dew point where it is above 0 C, else the frost
    point.
    """
    pressure = saturation_pressure(T) * max(relative_humidity, 1e-6)
    x = math.log(pressure / PRESSURE_AT_ZERO_C)
    if x >= 0.0:
        return ZERO_C + 243.12 * x / (17.62 - x)
    return ZERO_C + 272.62 * x / (22.46 - x)


@njit(cache=True, nogil=True)
def humidity_ratio(pressure: float) -> float:
    """Vapour of this partial ``pressure`` [Pa] in air at 1 atm [kg for each kg of dry air]."""
    return MASS_RATIO * pressure / (ATMOSPHERE - pressure)


@njit(cache=True, nogil=True)
def latent(surface: float, convection: float, vapour: float) -> float:
    """Heat that dew or frost brings to the ``surface`` [K], for each area [W/m2]; never below 0.

    ``convection`` is the coefficient of heat [W/(m2 K)], ``vapour`` the room's humidity ratio
    [kg/kg]. Heat and mass transfer are alike: h_m = h / (cp Le^(2/3)), with moist air's cp, on the
    difference of the humidity ratio (Lewis relation; ASHRAE Fundamentals, Mass transfer). Dew
    above 0 C, frost below.
    """
    excess = vapour - humidity_ratio(saturation_pressure(surface))
    if excess <= 0.0:
        return 0.0
    celsius = surface - ZERO_C
    heat = SUBLIMATION if celsius < 0.0 else EVAPORATION - EVAPORATION_SLOPE * celsius
    return convection / ((AIR_CP + VAPOUR_CP * vapour) * _LEWIS_RELATION) * excess * heat


class Surface(NamedTuple):
    """What takes in heat and from where: all but its temperature.

    ``ambient`` [K]; ``vapour``, the room's humidity ratio [kg/kg]; ``dew``, its dew or frost point
    [K]; outer ``diameter`` [m]; ``emissivity`` while dry [-]; whether it is ``vertical``.
    """

    ambient: float
    vapour: float
    dew: float
    diameter: float
    emissivity: float
    vertical: bool


@njit(cache=True, nogil=True)
def heat_flux(T: float, around: Surface) -> float:
    """Heat from the room to a surface of ``T`` [K], for each area [W/m2]; below 0 where warmer."""
    ambient, diameter = around.ambient, around.diameter
    if around.vertical:
        film = vertical_convection(diameter, T, ambient)
    else:
        film = natural_convection(diameter, T, ambient)
    wet = min(max((around.dew - T) / WETTING, 0.0), 1.0)
    settling = latent(T, film, around.vapour) if wet > 0.0 else 0.0
    emissivity = around.emissivity + wet * (WET_EMISSIVITY - around.emissivity)
    return (film + radiation(T, ambient, emissivity)) * (ambient - T) + settling


@njit(cache=True, nogil=True)
def balance(T: float, pipe: float, conductance: float, around: Surface) -> float:
    """Heat through insulation less what its surface of ``T`` [K] takes in [W/m2]; rises with T.

    ``conductance`` of the insulation between it and a ``pipe`` [K], on its outside [W/(m2 K)].
    """
    return conductance * (T - pipe) - heat_flux(T, around)


@njit(cache=True, nogil=True)
def covered(pipe: float, conductance: float, around: Surface, low: float, high: float) -> float:
    """Temperature of the outside of insulation [K], at which as much comes in as goes through.

    Arguments as for :func:`balance`; it lies between ``low`` and ``high`` [K], or else between pipe
    and room. Regula falsi (Illinois), halved each third time, to 10 uK: where frost on it just
    melts, at 0 C, the balance has a step.
    """
    at_low, at_high = (
        balance(low, pipe, conductance, around),
        balance(high, pipe, conductance, around),
    )
    if at_low > 0.0 or at_high < 0.0:
        low, high = min(pipe, around.ambient), max(pipe, around.ambient)
        at_low = balance(low, pipe, conductance, around)
        at_high = balance(high, pipe, conductance, around)
    for turn in range(1, 91):
        if high - low < 1e-5 or at_high <= at_low:
            break
        middle = 0.5 * (low + high)
        if turn % 3:
            middle = low - at_low * (high - low) / (at_high - at_low)
        there = balance(middle, pipe, conductance, around)
        if abs(there) < 1e-5 * conductance:
            low = high = middle
        elif there < 0.0:
            low, at_low, at_high = middle, there, 0.5 * at_high
        else:
            high, at_high, at_low = middle, there, 0.5 * at_low
    return 0.5 * (low + high)


@njit(cache=True, nogil=True)
def _tabulate(diameter: float, conductance: float, around: Surface) -> NDArray[np.float64]:
    """Return the table; ``conductance`` of the insulation [W/(m2 K)], 0 for a bare pipe."""
    table, ambient = np.empty(TABLE_N), around.ambient
    last = outside = TABLE_T0
    for i in range(TABLE_N):
        below = ambient - (TABLE_T0 + i / TABLE_INV)
        if abs(below) < SMALLEST_DIFFERENCE:
            below = SMALLEST_DIFFERENCE if below >= 0.0 else -SMALLEST_DIFFERENCE
        pipe = ambient - below
        if conductance > 0.0:
            # the outside warms by less than the pipe does
            most = outside + pipe - last if i else max(pipe, ambient)
            outside, last = covered(pipe, conductance, around, outside, most), pipe
            flux = conductance * (outside - pipe)
        else:
            flux = heat_flux(pipe, around)
        table[i] = flux * around.diameter / diameter / below
    return table


def room_film(
    *,
    outer_diameter: float,
    ambient: float,
    relative_humidity: float,
    emissivity: float,
    thickness: float = 0.0,
    conductivity: float = 1.0,
    vertical: bool = False,
) -> NDArray[np.float64]:
    """Conductance from the room to the pipe by the pipe's outer surface [W/(m2 K)], read-only.

    On the bare outside; entry i at ``TABLE_T0 + i / TABLE_INV``, read straight between entries:
    heat for each area = :func:`at` times (``ambient`` - surface), warmer surfaces too.
    ``outer_diameter`` [m], ``ambient`` [K], ``relative_humidity`` and ``emissivity`` of the dry
    pipe [-]; ``thickness`` [m] and ``conductivity`` [W/(m K)] of insulation, whose outside is
    taken to keep vapour out: dew and frost come on it; thickness 0 for none.
    """
    insulated = thickness > 0.0
    outside = outer_diameter + 2.0 * thickness
    around = Surface(
        ambient=float(ambient),
        vapour=humidity_ratio(relative_humidity * saturation_pressure(ambient)),
        dew=frost_point(ambient, relative_humidity),
        diameter=float(outside),
        emissivity=COVER_EMISSIVITY if insulated else float(emissivity),
        vertical=vertical,
    )
    through = 0.0
    if insulated:
        through = 2.0 * conductivity / (outside * math.log(outside / outer_diameter))
    table = _tabulate(float(outer_diameter), through, around)
    table.setflags(write=False)
    return table


def temperatures() -> NDArray[np.float64]:
    """Surface temperatures [K] of a table of :func:`room_film`."""
    return np.asarray(TABLE_T0 + np.arange(TABLE_N) / TABLE_INV)


def at(table: NDArray[np.float64], surface: float) -> float:
    """Conductance [W/(m2 K)] of a table of :func:`room_film` at a ``surface`` [K]."""
    place = min(max((surface - TABLE_T0) * TABLE_INV, 0.0), TABLE_N - 1.001)
    i = int(place)
    return float(table[i] + (place - i) * (table[i + 1] - table[i]))
