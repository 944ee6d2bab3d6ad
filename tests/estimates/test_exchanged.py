"""Cylinders of a manifold and their exchanges, by hand: of plugs that last as laid down."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from estimates.by_hand import DRAWS, Frozen, rising
from estimates.jobs import request_of
from stillpipe.estimates import manifold
from stillpipe.estimates.co2_mass import Consumption
from stillpipe.estimates.manifold import (
    EARLY,
    NOT_SURVIVED,
    SURVIVED,
    ExchangedPoint,
    Hung,
    Manifold,
    Supplied,
)
from stillpipe.model.figures import Range
from stillpipe.model.requests import CylinderCountRequest

Array = NDArray[np.float64]

READY = 100.0
ONE = Range(1.0, 1.0, 1.0)
"""What a cylinder gives in every draw [kg]."""


class Drawn:
    """A hundred draws of which each cylinder gives what is likely."""

    def __len__(self) -> int:
        return DRAWS

    def shares(self, name: str) -> Array:
        assert name == "usable"
        return np.full(DRAWS, 0.5)


@dataclass(eq=False)
class Lasting(Frozen):
    """A freeze whose plugs last ``lasts`` [s] unfed, whenever feeding stops."""

    lasts: Array = field(default_factory=lambda: np.full(DRAWS, 1e4))
    asked: list[list[float]] = field(default_factory=list)

    @property
    def sample(self) -> Any:
        return Drawn()

    def at_least(self, values: Array) -> float | None:
        """The 5th percentile."""
        found = float(np.sort(values)[len(values) // 20 - 1])
        return found if np.isfinite(found) else None

    def is_sure(self, chance: float) -> bool:
        """Whether it is 95 %."""
        return chance >= 0.95

    def lasting_at(self, times: list[float]) -> list[Array]:
        """How long plugs last from these times on [s]."""
        self.asked.append(times)
        return [self.lasts] * len(times)


def hung(total: Array, *, rate: float = 1e-3, **changes: Any) -> Hung:
    """One point that is ready after 100 s and draws so much in all [kg], none of it before."""
    solution: Any = Lasting(planned_ready=READY, hold=1e6, **changes)
    drawn = Consumption(
        ready=READY, hold_duration=1e6, freeze=np.zeros(DRAWS), hold=total,
        rate=np.full(DRAWS, rate),
    )  # fmt: skip
    return Hung(names=("a",), solution=solution, drawn=drawn)


def supplied(*points: Hung, duration: float = 120.0, each: Range = ONE) -> Supplied:
    request = request_of(CylinderCountRequest, reserve=0.0, exchange_duration=duration)
    return manifold.supplied(request, Manifold(name="M", hung=points), each)


def test_what_cylinders_hold_to_the_last_gram_is_enough() -> None:
    """Two of a kilogram for two; each gives what is likely of its range."""
    for each in (ONE, Range(0.5, 0.75, 1.5)):
        found = supplied(hung(np.full(DRAWS, 2.0)), each=each)
        assert found.count.tolist() == [2.0] * DRAWS
        assert found.take == 2
        assert (found.enough.dtype, found.enough.all(), len(found.exchanges)) == (bool, True, 1)


@pytest.mark.parametrize(("total", "take"), [(200.0, 200), (201.0, None)])
def test_two_hundred_cylinders_of_a_manifold_are_planned_and_no_more(
    total: float, take: int | None
) -> None:
    found = supplied(hung(np.full(DRAWS, total)))
    assert (found.take, len(found.exchanges)) == (take, (take or 1) - 1)


def test_where_none_are_planned_none_are_enough_in_any_draw() -> None:
    """Though one would do in ninety of a hundred."""
    found = supplied(hung(np.where(np.arange(DRAWS) < 90, 0.5, 300.0)))
    assert found.count.tolist() == [1.0] * 90 + [300.0] * 10
    assert (found.take, found.exchanges) == (None, ())
    assert (found.enough.dtype, found.enough.any()) == (bool, False)


def test_an_exchange_as_the_plug_gets_ready_is_judged() -> None:
    """The first kilogram is drawn until then, the next 1,000 s later."""
    point = hung(np.full(DRAWS, 2.0))
    freeze = Consumption(
        ready=READY, hold_duration=1e6, freeze=np.full(DRAWS, 1.0), hold=np.full(DRAWS, 1.5),
        rate=np.full(DRAWS, 1e-3),
    )  # fmt: skip
    found = supplied(Hung(names=("a",), solution=point.solution, drawn=freeze))
    assert [s.at for s in found.exchanges] == pytest.approx([READY, 1100.0])
    asked: Any = point.solution
    assert [len(times) for times in asked.asked] == [2]
    assert [s.verdict for s in found.exchanges] == [SURVIVED, SURVIVED]


def test_a_plug_that_lasts_as_long_as_the_exchange_does_not_outlive_it() -> None:
    """Half of the draws last 120 s to the second, half of them a second longer."""
    lasts = np.where(np.arange(DRAWS) < 50, 120.0, 121.0)
    found = supplied(hung(np.full(DRAWS, 2.0), lasts=lasts))
    (swap,) = found.exchanges
    assert (swap.survival, swap.margin, swap.chance) == (120.0, 0.0, 0.5)
    assert swap.verdict == NOT_SURVIVED
    assert found.survived.tolist() == [False] * 50 + [True] * 50
    assert swap.advice.startswith("The plug may last no more than 120 s unfed, the exchange takes")


@pytest.mark.parametrize(
    ("fifth", "verdict"), [(240.0, EARLY), (240.1, SURVIVED), (120.1, EARLY), (120.0, NOT_SURVIVED)]
)  # fmt: skip
def test_a_plug_must_last_twice_as_long_to_be_good(fifth: float, verdict: str) -> None:
    """At the chance that decides: the 5th draw decides, the first four last no time."""
    lasts = np.concatenate((np.zeros(5), np.full(DRAWS - 5, fifth)))
    (swap,) = supplied(hung(np.full(DRAWS, 2.0), lasts=lasts)).exchanges
    assert swap.verdict == verdict


def test_an_exchange_is_told_of_the_point_that_bears_it_worst_of_those_that_ever_let_go() -> None:
    """One never does."""
    for_ever = hung(np.full(DRAWS, 1.0), lasts=np.full(DRAWS, np.inf))
    short = hung(np.full(DRAWS, 1.0), lasts=rising(0.0, 100.0))
    (swap,) = supplied(for_ever, short).exchanges
    assert [p.survival for p in swap.points] == [None, 500.0]
    assert (swap.survival, swap.margin, swap.chance) == (500.0, 380.0, 0.99)


def test_a_plug_that_lasts_no_time_is_told_so() -> None:
    (swap,) = supplied(hung(np.full(DRAWS, 2.0), lasts=np.zeros(DRAWS))).exchanges
    assert (swap.survival, swap.margin) == (0.0, -120.0)
    assert swap.advice.startswith("The plug may last no more than 0 s unfed")


def test_a_point_that_is_not_ready_is_told_by_name_alone() -> None:
    """Its cylinder is empty before, in the likely and in any draw."""
    point = hung(np.full(DRAWS, 2.0))
    early = Consumption(
        ready=READY, hold_duration=1e6, freeze=np.full(DRAWS, 2.0), hold=np.zeros(DRAWS),
        rate=np.full(DRAWS, 1e-3),
    )  # fmt: skip
    (swap,) = supplied(Hung(names=("a", "b"), solution=point.solution, drawn=early),
                       each=Range(2.0, 2.0, 2.0)).exchanges  # fmt: skip
    assert swap.at == pytest.approx(0.5 * READY)
    assert swap.points == tuple(ExchangedPoint(name=n, verdict=EARLY) for n in ("a", "b"))
    assert (swap.survival, swap.margin, swap.chance) == (None, None, None)
    assert swap.advice.startswith("Cylinder 1 ends before the plug is ready")
