"""What may be wrong with a freeze: how likely each fault is, and how severe it usually is."""

from dataclasses import dataclass
from functools import lru_cache

from stillpipe.tables import reading
from stillpipe.uncertainty.table import Distribution, UncertainInput

FILE = "frost_causes.csv"


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One way in which a cause comes about.

    ``cause`` its code, ``way`` among several of the same cause, else empty; ``prior`` how likely it
    is before anything is seen [-]; ``severity`` how it is distributed [as the source says], None
    where there is no more or less of it.
    """

    cause: str
    way: str
    prior: float
    severity: UncertainInput | None
    source: str


@lru_cache(maxsize=1)
def catalogue() -> tuple[Fault, ...]:
    """Return every row of the table; the priors add up to 1."""
    return tuple(_read(row) for row in reading.rows(FILE))


def _read(row: reading.Row) -> Fault:
    severity = None
    if row["distribution"]:
        severity = UncertainInput(
            name=row["cause"], of=row["way"], distribution=Distribution(row["distribution"]),
            low=float(row["p05"]), likely=float(row["p50"]), high=float(row["p95"]),
            source=row["source"],
        )  # fmt: skip
    return Fault(
        cause=row["cause"], way=row["way"], prior=float(row["prior"]), severity=severity,
        source=row["source"],
    )  # fmt: skip
