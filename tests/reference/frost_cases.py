"""Invented freezes with something wrong, each solved directly: what is seen of them, and asked.

A cause by its prior, how severe it is, every uncertain input and the model's discrepancy at random;
one freeze on the fine grid, and none of the service's ratios, severities between nodes or surfaces.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from estimates.jobs import request_of
from stillpipe.estimates import faulty, feeding, moving
from stillpipe.estimates.cases import Cases
from stillpipe.estimates.faulty import Faulty
from stillpipe.estimates.sampled import Sampled
from stillpipe.model.observations import (
    AnyObservation,
    Frost,
    Seen,
    SurfaceTemperature,
    WeightDrawn,
)
from stillpipe.model.requests import Co2MassRequest, FrostCheckRequest
from stillpipe.physics import freeze
from stillpipe.physics.column.work import Work
from stillpipe.physics.constants import ZERO_C
from stillpipe.tables import pipes
from stillpipe.uncertainty import faults
from stillpipe.uncertainty.draws import NAMES
from stillpipe.uncertainty.scenarios import Scenario

Array = NDArray[np.float64]
PLACES = {"near_C": 0.010, "beside_C": 0.050, "far_C": 0.300}
"""Where the pipe's temperature is taken, from the jacket's edge [m]."""
THERMOMETER, SCALES, WATCH = 1.5, 0.2, 0.05
"""Standard uncertainties of what is read: [K], [kg], of the time [-]."""


@dataclass(frozen=True)
class Line:
    """A line that is asked about: pipe, water [C], room [C]."""

    pipe: tuple[str, str, str]
    water: float = 20.0
    room: float = 20.0

    @property
    def name(self) -> str:
        """The catalogue's name of its pipe."""
        return pipes.find(*self.pipe).id

    def request(
        self,
        elapsed: float = 0.0,
        seen: bool = False,
        observations: tuple[AnyObservation, ...] = (),
    ) -> FrostCheckRequest:
        """What is asked ``elapsed`` [s] after the first feed."""
        return request_of(
            FrostCheckRequest, pipes.find(*self.pipe), self.water, self.room, elapsed=elapsed,
            frost_seen=seen, observations=observations,
        )  # fmt: skip


LINES = (
    Line(("ASTM B88", "1/2", "L")),
    Line(("ASTM B88", "1", "L"), 15.0, 22.0),
    Line(("EN 1057", "22", "1.0"), 25.0, 22.0),
    Line(("ASME B36.10M", "2", "40")),
    Line(("ASME B36.10M", "3/4", "40"), 12.0, 18.0),
    Line(("ASME B36.19M", "1", "10S")),
    Line(("AWWA C151", "3", "PC 350"), 12.0, 15.0),
    Line(("ASTM F876", "3/4", "SDR 9"), 15.0, 20.0),
)


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """Something wrong, or nothing: its row of the table, how severe, the inputs' deviates [-]."""

    fault: faults.Fault
    severity: float
    z: dict[str, float]


def drawn(chance: np.random.Generator) -> Drawn:
    """A cause by its prior, with all that is uncertain."""
    rows = faults.catalogue()
    prior = np.array([f.prior for f in rows])
    fault = rows[chance.choice(len(rows), p=prior / prior.sum())]
    z = dict(zip(NAMES, chance.standard_normal(len(NAMES)).tolist(), strict=True))
    severe = chance.standard_normal()
    value = 0.0 if fault.severity is None else float(fault.severity.at(severe))
    return Drawn(fault=fault, severity=value, z=z)


class Truth:
    """One freeze on the fine grid, and what can be read of it."""

    def __init__(self, line: Line, what: Drawn) -> None:
        self._sampled = Sampled(line.request())
        self.point, self.z = self._sampled.point, what.z
        self.cases: Cases = self._sampled.cases
        names = self.cases.names
        self.scenario: Scenario = self.cases.scenario({n: what.z[n] for n in names})
        self.model = float(self.cases.input("model").at(what.z["model"]))
        self.faulty = self._faulty(what)

    def _faulty(self, what: Drawn) -> Faulty:
        if what.fault.cause == "nothing-wrong":
            return faulty.sound(self._sampled, self.scenario)
        return faulty.faulty(self._sampled, self.scenario, what.fault, what.severity)

    def _run(self, f: Faulty) -> freeze.FreezeRun:
        return freeze.FreezeRun(f.case, needed_length=0.0, work=Work(10**12))

    def _moving(self, longest: float) -> "freeze.FreezeRun | moving.stream.Streamed":
        """The freeze with water moving: still once it has closed."""
        fluid = replace(self.point.fluid, flow=self.faulty.flow)
        found = moving.frozen(
            replace(self.point, fluid=fluid), self.faulty.case, self.scenario, Work(10**12),
            fine=True, longest=longest,
        )  # fmt: skip
        if found.closure is None:
            return found
        return freeze.FreezeRun(
            self.faulty.case, needed_length=0.0, work=Work(10**12), begun=found.begun
        )

    def frost(self) -> float:
        """When frost is seen [s]; infinite where it never is."""
        f = self.faulty
        if f.frosted is None:
            return np.inf
        run = self._moving(freeze.LATEST_FROST) if f.flow else self._run(f)
        if isinstance(run, freeze.FreezeRun):
            found = run.history(freeze.LATEST_FROST).frosted(f.frosted)
        else:
            cold = np.flatnonzero(run.rows[:, moving.stream.still.FROST] <= f.frosted)
            found = float(run.rows[cold[0], moving.stream.still.TIME]) if len(cold) else None
        return np.inf if found is None else found * self.model

    def read(self, time: float) -> tuple[float, Array]:
        """CO2 drawn by ``time`` [kg] and temperatures at ``PLACES`` [C]."""
        f, at = self.faulty, time / self.model
        run = self._moving(at) if f.flow else self._run(f)
        half = 0.5 * f.case.jacket_length
        if isinstance(run, freeze.FreezeRun):
            hot = np.array([float(np.interp(at, *run.skin(d, at))) for d in PLACES.values()])
            heat = run.fed_to(at).heat_jacket
        else:
            places = np.array([-(half + d) for d in PLACES.values()])
            hot = np.interp(places, run.z, run.wall)
            heat = run.heat_jacket * at / run.ended
        if f.mass is None:
            heat = self._run(faulty.sound(self._sampled, self.scenario)).fed_to(at).heat_jacket
        return self._mass(heat, time) * (1.0 if f.mass is None else f.mass), hot - ZERO_C

    def _mass(self, heat: float, time: float) -> float:
        """CO2 drawn for ``heat`` [J] by ``time`` [s] [kg]."""
        fed = feeding.feeding(self.point)
        assert isinstance(fed, Co2MassRequest)
        share = float(self.cases.input("capture").at(self.z["capture"])) * fed.capture_efficiency
        off = float(self.cases.input("cylinder_temperature").at(self.z["cylinder_temperature"]))
        cylinder = replace(fed.cylinder, temperature=fed.cylinder.temperature + off)
        cooling = cylinder.cooling
        assert cooling is not None
        whole = heat + fed.jacket_heat + fed.leak_power * time
        return whole / (cooling * min(max(share, 0.05), 1.0))


def asked(line: Line, row: dict[str, str], *, further: bool) -> FrostCheckRequest:
    """What a fitter asks of a stored case: frost or none, and ``further`` what was measured."""
    elapsed, seen = float(row["asked_s"]), row["seen"] == "yes"
    if not further:
        return line.request(elapsed, seen)
    found: list[AnyObservation] = [
        WeightDrawn(
            kind=Seen.WEIGHT_DRAWN, elapsed=elapsed, value=max(float(row["drawn_kg"]), 0.01),
            standard_uncertainty=SCALES,
        )
    ]  # fmt: skip
    found += [
        SurfaceTemperature(
            kind=Seen.SURFACE_TEMPERATURE, elapsed=elapsed, distance=distance,
            value=ZERO_C + float(row[name]), standard_uncertainty=THERMOMETER,
        )
        for name, distance in PLACES.items()
    ]  # fmt: skip
    if seen:
        watched = float(row["watched_s"])
        uncertain = max(WATCH * watched, 1.0)
        found.append(Frost(kind=Seen.FROST, elapsed=watched, standard_uncertainty=uncertain))
    return line.request(elapsed, seen, tuple(found))
