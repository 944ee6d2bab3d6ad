"""Units at the edge: closed enums, factors taken from pint once, when this module is imported.

pint never sees a caller's text. A conversion is ``value * factor + offset``; temperature and
temperature difference are two kinds.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import pint

from stillpipe.errors import Fault, SolverError

_registry: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None)


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: its SI unit, its accepted units, and the units of answers.

    ``accepted`` maps a unit's label to (factor, offset) into SI; ``si`` and ``us`` are the labels
    used in answers.
    """

    name: str
    base: str
    accepted: dict[str, tuple[float, float]]
    si: str
    us: str

    def to_si(self, value: float, unit: str) -> float:
        """Return ``value`` in ``unit`` as an SI float."""
        factor, offset = self.accepted[unit]
        return value * factor + offset

    def from_si(self, value: float, unit: str) -> float:
        """Return the SI float ``value`` in ``unit``."""
        factor, offset = self.accepted[unit]
        return (value - offset) / factor


_NAMES: dict[str, tuple[str, dict[str, str], str, str]] = {
    "length": (
        "meter",
        {"mm": "millimeter", "cm": "centimeter", "m": "meter", "in": "inch", "ft": "foot"},
        "mm",
        "in",
    ),
    "distance": ("meter", {"km": "kilometer", "mi": "mile"}, "km", "mi"),
    "temperature": (
        "kelvin",
        {"degC": "degree_Celsius", "degF": "degree_Fahrenheit", "K": "kelvin"},
        "degC",
        "degF",
    ),
    "temperature_difference": (
        "kelvin",
        {"K": "kelvin", "degC": "delta_degree_Celsius", "degF": "delta_degree_Fahrenheit"},
        "K",
        "degF",
    ),
    "pressure": (
        "pascal",
        {"Pa": "pascal", "kPa": "kilopascal", "MPa": "megapascal", "bar": "bar", "psi": "psi"},
        "kPa",
        "psi",
    ),
    "time": ("second", {"s": "second", "min": "minute", "h": "hour"}, "s", "s"),
    "conductance": (
        "watt / meter ** 2 / kelvin",
        {
            "W/(m2.K)": "watt / meter ** 2 / kelvin",
            "BTU/(h.ft2.degF)": "Btu / hour / foot ** 2 / delta_degree_Fahrenheit",
        },
        "W/(m2.K)",
        "BTU/(h.ft2.degF)",
    ),
    "mass_flow": (
        "kilogram / second",
        {
            "kg/s": "kilogram / second",
            "g/s": "gram / second",
            "kg/h": "kilogram / hour",
            "lb/h": "pound / hour",
        },
        "kg/h",
        "lb/h",
    ),
    "energy": (
        "joule",
        {"J": "joule", "kJ": "kilojoule", "MJ": "megajoule", "BTU": "Btu"},
        "kJ",
        "BTU",
    ),
    "fraction": (
        "dimensionless",
        {"kg/kg": "kilogram / kilogram", "g/kg": "gram / kilogram", "%": "percent"},
        "%",
        "%",
    ),
    "mass": ("kilogram", {"kg": "kilogram", "g": "gram", "lb": "pound"}, "kg", "lb"),
    "density": (
        "kilogram / meter ** 3",
        {
            "kg/m3": "kilogram / meter ** 3",
            "kg/L": "kilogram / liter",
            "lb/ft3": "pound / foot ** 3",
        },
        "kg/m3",
        "lb/ft3",
    ),
    "specific_energy": (
        "joule / kilogram",
        {"J/kg": "joule / kilogram", "kJ/kg": "kilojoule / kilogram", "BTU/lb": "Btu / pound"},
        "kJ/kg",
        "BTU/lb",
    ),
    "leak": (
        "watt / kelvin",
        {"W/K": "watt / kelvin", "BTU/(h.degF)": "Btu / hour / delta_degree_Fahrenheit"},
        "W/K",
        "BTU/(h.degF)",
    ),
    "volume": (
        "meter ** 3",
        {"m3": "meter ** 3", "L": "liter", "ft3": "foot ** 3", "gal": "gallon"},
        "m3",
        "ft3",
    ),
    "liquid_volume": (
        "meter ** 3",
        {"L": "liter", "m3": "meter ** 3", "gal": "gallon"},
        "L",
        "gal",
    ),
    "speed": (
        "meter / second",
        {"m/s": "meter / second", "ft/s": "foot / second"},
        "m/s",
        "ft/s",
    ),
    "volume_flow": (
        "meter ** 3 / second",
        {
            "L/s": "liter / second",
            "L/min": "liter / minute",
            "m3/h": "meter ** 3 / hour",
            "gal/min": "gallon / minute",
        },
        "L/min",
        "gal/min",
    ),
    "air_changes": ("1 / second", {"1/h": "1 / hour"}, "1/h", "1/h"),
    "mole_fraction": ("dimensionless", {"ppm": "ppm", "%": "percent"}, "ppm", "ppm"),
    "oxygen": ("dimensionless", {"%": "percent"}, "%", "%"),
    "factor": ("dimensionless", {"1": "dimensionless"}, "1", "1"),
}


def _affine(unit: str, base: str) -> tuple[float, float]:
    """Return (factor, offset) that take a number in ``unit`` to ``base``."""
    zero = _registry.Quantity(0.0, unit).to(base).magnitude
    hundred = _registry.Quantity(100.0, unit).to(base).magnitude
    return float(hundred - zero) / 100.0, float(zero)


KINDS: dict[str, Kind] = {
    name: Kind(name, base, {u: _affine(p, base) for u, p in accepted.items()}, si, us)
    for name, (base, accepted, si, us) in _NAMES.items()
}


NOT_FINITE = "a figure is not finite"


def rounded(value: float, digits: int = 4) -> float:
    """Return ``value`` to ``digits`` significant digits.

    Raises
    ------
    SolverError
        where it is not finite: no such figure leaves the service
    """
    if not math.isfinite(value):
        raise SolverError(Fault((), NOT_FINITE))
    return float(f"{value:.{digits}g}")


@dataclass(frozen=True)
class Display:
    """How answers show figures of a kind: in ``unit``, to ``digits`` significant digits.

    ``factor`` and ``offset`` take a number in that unit to SI.
    """

    unit: str
    digits: int
    factor: float
    offset: float

    def shown(self, value: float) -> float:
        """Return an SI ``value`` in the unit, rounded.

        Raises
        ------
        SolverError
            where it is not finite
        """
        return rounded((value - self.offset) / self.factor, self.digits)

    def quantity(self, value: float) -> dict[str, Any]:
        """Return an SI ``value`` with its unit; as :meth:`shown`."""
        return {"value": self.shown(value), "unit": self.unit}

    def series(self, values: Sequence[float]) -> dict[str, Any]:
        """Return SI ``values`` with their unit; as :meth:`shown`, value by value."""
        converted = tuple((value - self.offset) / self.factor for value in values)
        if not all(map(math.isfinite, converted)):
            raise SolverError(Fault((), NOT_FINITE))
        text = f"%.{self.digits}g " * len(converted) % converted
        return {"unit": self.unit, "values": [float(number) for number in text.split()]}


@cache
def display(kind: str, system: str, digits: int = 6) -> Display:
    """Return how answers in ``system``, ``si`` or ``us``, show figures of ``kind``."""
    chosen = KINDS[kind]
    unit = chosen.us if system == "us" else chosen.si
    return Display(unit, digits, *chosen.accepted[unit])
