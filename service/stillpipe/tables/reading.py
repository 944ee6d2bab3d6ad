"""Read the CSV files of this folder; the unit of every number stands in its column head."""

import csv
from collections.abc import Mapping
from importlib.resources import files

Row = Mapping[str, str]

INCH = 0.0254
"""One inch [m], exact by definition."""
PSI = 0.45359237 * 9.80665 / INCH**2
"""One pound-force per square inch [Pa], exact by definition."""

# unit in the column head -> (scale, offset) so that SI = value * scale + offset
UNITS: Mapping[str, tuple[float, float]] = {
    "mm": (1e-3, 0.0),
    "in": (INCH, 0.0),
    "psi": (PSI, 0.0),
    "MPa": (1e6, 0.0),
    "GPa": (1e9, 0.0),
    "C": (1.0, 273.15),
    "kg": (1.0, 0.0),
    "L": (1e-3, 0.0),
    "kg_per_L": (1e3, 0.0),
    "g_per_kg": (1e-3, 0.0),
    "W_per_m_K": (1.0, 0.0),
    "kg_per_m3": (1.0, 0.0),
    "J_per_kg_K": (1.0, 0.0),
    "ppm": (1e-6, 0.0),
    "min": (60.0, 0.0),
}


def rows(name: str) -> tuple[Row, ...]:
    """Rows of one CSV file of this folder, as text, in file order."""
    text = (files(__package__) / name).read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def optional(row: Row, quantity: str) -> float | None:
    """Read a quantity of one row [SI unit of its column]; None where the cell is blank.

    Raises
    ------
    KeyError
        if no column, or more than one, holds that quantity in a known unit
    """
    headers = [header for header in (f"{quantity}_{unit}" for unit in UNITS) if header in row]
    if len(headers) != 1:
        raise KeyError(quantity)
    cell = row[headers[0]]
    if not cell:
        return None
    scale, offset = UNITS[headers[0].removeprefix(f"{quantity}_")]
    return float(cell) * scale + offset


def required(row: Row, quantity: str) -> float:
    """Read a quantity of one row [SI unit of its column].

    Raises
    ------
    KeyError
        if no column, or more than one, holds that quantity in a known unit
    ValueError
        if the cell is blank
    """
    value = optional(row, quantity)
    if value is None:
        raise ValueError(quantity)
    return value
