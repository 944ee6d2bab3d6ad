"""Calibrations of invented sets of jackets, of which every freeze was solved directly.

The sets, the scatter between their freezes and all other inputs are drawn as the service takes them
to be distributed, each freeze is solved on the fine grid, and what was read has noise. All 200 sets
by ``bash deploy/long.sh calibration``, here the first of them.
"""

import os
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from reference import calibration_cases
from reference.calibration_cases import KINDS, TRIALS, Trial
from stillpipe.estimates.past import Freezes, Set
from stillpipe.model.calibration import NAMES
from stillpipe.model.observations import AnyObservation, Seen
from stillpipe.model.requests import Record

Array = NDArray[np.float64]

FEW = 50
COUNT = int(os.environ.get("STILLPIPE_TEST_TRIALS", FEW))
COVERS = (0.86, 0.94) if COUNT == TRIALS else (0.80, 0.98)
"""Share of the sets whose own value lies in its 90 % interval; of few sets that itself is known to
no better than 4 %."""
HALF = 0.5
"""Most of the table's spread that is left of the conductance [-]."""


class Kept(Freezes):
    """Freezes whose figures are kept: every set here is looked at in the same way."""

    def __init__(self, point: Record) -> None:
        super().__init__(point)
        self._kept: dict[tuple[Seen, int], Array] = {}

    def scattered(self, o: AnyObservation, block: int) -> Array:
        key = (o.kind, block)
        if key not in self._kept:
            self._kept[key] = super().scattered(o, block)
        return self._kept[key]

    def values(self, o: AnyObservation) -> Array:
        key = (o.kind, -1)
        if key not in self._kept:
            self._kept[key] = super().values(o)
        return self._kept[key]


@dataclass(frozen=True)
class Calibrated:
    """A set's own deviates, and what its records say: percentiles, deviations, chances [-]."""

    own: Array
    told: Array
    deviation: float
    chances: Array


def calibrated(trial: Trial, known: dict[Record, Freezes]) -> Calibrated:
    """Return what the records of a set say."""
    jackets = Set(trial.records, known)
    told = np.array([jackets.common.own(i, (0.05, 0.5, 0.95)) for i in range(len(NAMES))])
    chances = np.array(list(jackets.chances.values()))
    return Calibrated(trial.own, told, jackets.common.deviation(0), chances)


@pytest.fixture(scope="module")
def found() -> list[Calibrated]:
    """Every set and what its records say."""
    known: dict[Record, Freezes] = {kind.record: Kept(kind.record) for kind in KINDS}
    return [calibrated(trial, known) for trial in calibration_cases.trials(COUNT)]


@pytest.mark.parametrize("name", NAMES)
def test_the_sets_own_value_lies_in_its_interval_as_often_as_stated(
    found: list[Calibrated], name: str
) -> None:
    i = NAMES.index(name)
    share = np.mean([each.told[i, 0] <= each.own[i] <= each.told[i, 2] for each in found])
    assert COVERS[0] <= share <= COVERS[1]


def test_conductance_is_known_to_half_of_the_tables_spread(found: list[Calibrated]) -> None:
    assert max(each.deviation for each in found) <= HALF


def test_what_is_told_follows_the_truth(found: list[Calibrated]) -> None:
    own = np.array([each.own for each in found])
    off = np.array([each.told[:, 1] for each in found]) - own
    for i, most in enumerate((0.4, 0.92, 0.4)):
        assert np.sqrt(np.mean(off[:, i] ** 2)) < most * np.std(own[:, i])
        assert abs(np.mean(off[:, i])) < 3.0 * np.std(off[:, i]) / np.sqrt(len(off))


def test_records_seldom_look_as_if_they_did_not_fit(found: list[Calibrated]) -> None:
    chances = np.concatenate([each.chances for each in found])
    assert np.mean(chances < 0.02) < 0.04
    assert np.mean(chances < 0.5) > 0.35
