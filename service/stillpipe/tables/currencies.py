"""Smallest amounts of currencies (sources in SOURCES.md)."""

from collections.abc import Mapping
from decimal import Decimal
from functools import lru_cache

from stillpipe.tables import reading

MINOR_UNITS = 2
"""Decimals of a currency that the table does not list."""


@lru_cache(maxsize=1)
def listed() -> Mapping[str, int]:
    """Every currency that has not two decimals, with how many it has [-]."""
    return {row["code"]: int(row["minor_units"]) for row in reading.rows("currencies.csv")}


def smallest(code: str) -> Decimal:
    """Smallest amount of a currency by its ISO 4217 ``code`` [that currency].

    A hundredth where the table does not list it.
    """
    return Decimal(1).scaleb(-listed().get(code, MINOR_UNITS))
