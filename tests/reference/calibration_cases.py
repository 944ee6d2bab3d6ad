"""Invented sets of jackets, each with twenty freezes solved directly, and what was read of them."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from estimates.jobs import request_of
from stillpipe.estimates import feeding
from stillpipe.estimates.sampled import Sampled
from stillpipe.model.calibration import NAMES
from stillpipe.model.observations import (
    AnyObservation,
    Frost,
    Seen,
    SurfaceTemperature,
    WeightDrawn,
)
from stillpipe.model.requests import Record
from stillpipe.physics import freeze
from stillpipe.physics.column.work import Work
from stillpipe.physics.constants import DRY_ICE
from stillpipe.tables import pipes
from stillpipe.uncertainty import common, draws
from stillpipe.uncertainty.draws import Sample

Array = NDArray[np.float64]

TABLE = Path(__file__).with_name("calibration.csv")
HEAD = ["trial", *NAMES, "frost_s", "skin_K", "drawn_kg"]
TRIALS, RECORDS = 200, 20
SEED = 20261127
DISTANCE, SKIN_OFF, WEIGHT_OFF = 0.03, 1.5, 0.05
"""Where the surface is measured beside the jacket [m]; standard uncertainties [K], [kg]."""


@dataclass(frozen=True)
class Kind:
    """A pipe of these sets: when it is looked at [s], and how well frost's time is known [s]."""

    pipe: tuple[str, str, str]
    time: float
    frost_off: float

    @property
    def record(self) -> Record:
        """A freeze of it, nothing seen yet."""
        return request_of(Record, pipes.find(*self.pipe), 20.0, 20.0, 3.0)


KINDS = (
    Kind(("ASTM B88", "1/2", "L"), 240.0, 17.0),
    Kind(("ASME B36.10M", "1", "40"), 600.0, 25.0),
    Kind(("ASTM B88", "1-1/4", "L"), 900.0, 24.0),
    Kind(("ASME B36.19M", "1", "10S"), 600.0, 37.0),
)
"""Five freezes of each make a set; half have their surface measured, half their cylinder weighed.
The uncertainties of frost are a tenth of its likely time."""


@dataclass(frozen=True)
class Trial:
    """A set's own deviates [-] of ``NAMES``, and its records."""

    own: Array
    records: tuple[Record, ...]


def drawn(rng: np.random.Generator) -> tuple[Array, Array]:
    """Return a set's own deviates, and those of all inputs in its freezes [-]."""
    share = float(rng.choice(common.SHARES))
    own = np.sqrt(1.0 - share) * rng.standard_normal(len(NAMES))
    z = rng.standard_normal((RECORDS, len(draws.NAMES)))
    for k, name in enumerate(NAMES):
        column = draws.NAMES.index(name)
        z[:, column] = own[k] + np.sqrt(share) * z[:, column]
    return own, z


def solved(z: Array, kind: Kind, freezes: Sampled) -> tuple[float, float, float]:
    """Return frost [s], surface [K] and mass drawn [kg] of one freeze at deviates ``z`` [-].

    On the fine grid.
    """
    found = freezes.among(Sample(z[None, :]))
    names = freezes.cases.names
    scenario = freezes.cases.scenario(
        dict(zip(names, z[[draws.NAMES.index(n) for n in names]].tolist(), strict=True))
    )
    run = freeze.FreezeRun(freezes.cases.case(scenario), needed_length=0.0, work=Work(10**12))
    model = float(found.model[0])
    at = kind.time / model
    time, hot = run.skin(DISTANCE, at)
    history = run.history(at, beyond=True)
    heat = float(np.interp(at, history.time, history.heat_jacket))
    record = kind.record
    heat += record.jacket_heat + record.leak_power * kind.time
    each = float(feeding.per_heat(record, found)[0])
    return (run.frost or np.inf) * model, float(np.interp(at, time, hot)), heat * each


def made() -> Iterator[list[str]]:
    """Yield the rows of the table, each a freeze and what was read of it, noise and all."""
    rng = np.random.default_rng(SEED)
    freezes = [Sampled(kind.record) for kind in KINDS]
    for trial in range(TRIALS):
        own, z = drawn(rng)
        noise = rng.standard_normal((RECORDS, 3))
        for i in range(RECORDS):
            kind = KINDS[i % len(KINDS)]
            true = solved(z[i], kind, freezes[i % len(KINDS)])
            read = np.array(true) + noise[i] * (kind.frost_off, SKIN_OFF, WEIGHT_OFF)
            yield [str(trial), *(f"{m:.5f}" for m in own), *(f"{r:.6g}" for r in read)]


def _seen(i: int, kind: Kind, read: list[float]) -> tuple[AnyObservation, ...]:
    """What is told of the freeze ``i`` of a set: frost, and one of the others."""
    frost, skin, mass = read
    first = Frost(
        kind=Seen.FROST, elapsed=max(frost, 1.0), standard_uncertainty=kind.frost_off
    )  # fmt: skip
    if i // len(KINDS) % 2 == 0:
        return first, SurfaceTemperature(
            kind=Seen.SURFACE_TEMPERATURE, elapsed=kind.time, distance=DISTANCE,
            value=max(skin, DRY_ICE), standard_uncertainty=SKIN_OFF,
        )  # fmt: skip
    return first, WeightDrawn(
        kind=Seen.WEIGHT_DRAWN, elapsed=kind.time, value=max(mass, 0.01),
        standard_uncertainty=WEIGHT_OFF,
    )  # fmt: skip


def trials(most: int = TRIALS) -> list[Trial]:
    """Return the trials of the table, the first ``most`` of them."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    blank = [kind.record for kind in KINDS]
    found = []
    for trial in range(min(most, TRIALS)):
        mine = rows[trial * RECORDS : (trial + 1) * RECORDS]
        records = []
        for i, row in enumerate(mine):
            kind = KINDS[i % len(KINDS)]
            read = [float(row[name]) for name in HEAD[-3:]]
            records.append(replace(blank[i % len(KINDS)], observations=_seen(i, kind, read)))
        own = np.array([float(mine[0][name]) for name in NAMES])
        found.append(Trial(own, tuple(records)))
    return found
