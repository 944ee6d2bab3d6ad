"""How probable each cause is once something is seen, by hand: on a few draws laid down."""

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from estimates.jobs import ZERO_C, known
from estimates.test_stated_causes import asked, chances, fault
from stillpipe.estimates import causes, course
from stillpipe.estimates.causes import Weighed
from stillpipe.model.observations import (
    FlowStopped,
    Frost,
    NoFrost,
    Observation,
    Seen,
    SurfaceTemperature,
    WeightDrawn,
)
from stillpipe.physics.constants import DRY_ICE
from stillpipe.uncertainty.faults import Fault
from stillpipe.uncertainty.table import Z95

Array = NDArray[np.float64]

FROST = Frost(kind=Seen.FROST, elapsed=200.0, standard_uncertainty=20.0)
NONE_YET = NoFrost(kind=Seen.NO_FROST, elapsed=250.0, standard_uncertainty=20.0)
COLD = SurfaceTemperature(
    kind=Seen.SURFACE_TEMPERATURE, elapsed=100.0, distance=0.05, value=280.0,
    standard_uncertainty=2.0,
)  # fmt: skip
DRAWN = WeightDrawn(kind=Seen.WEIGHT_DRAWN, elapsed=240.0, value=0.3, standard_uncertainty=0.1)


class Signs:
    """What is seen of faults, laid down: each figure's logarithm goes with the fault's severity."""

    def __init__(self, sampled: Any, read: tuple[Observation, ...], latest: float) -> None:
        self.sampled, self.read, self.latest = sampled, read, latest
        self.asked: list[tuple[str, float]] = []

    def of(self, fault: Fault, value: float) -> Array:
        self.asked.append((fault.cause, value))
        if fault.severity is None:
            return np.array([np.inf, 0.1, 0.2][: 1 + len(self.read)])
        log = math.log(value / fault.severity.likely)
        return np.array([log, -log, -2.0 * log][: 1 + len(self.read)])


def sampled(frosts: list[float], z: list[float] | None = None, *, closed: bool = True) -> Any:
    """Draws of a sound freeze with frost at these times as solved, in half of that in fact [s].

    ``z`` are the deviates of what a cylinder gives.
    """
    drawn = {"usable": np.zeros(len(frosts)) if z is None else np.array(z)}
    logs = np.log(np.array(frosts))[:, None] + np.array([[0.0, 9.0]])

    class Sample:
        of = staticmethod(drawn.__getitem__)

        def __len__(self) -> int:
            return len(frosts)

    return SimpleNamespace(
        fine=SimpleNamespace(closure=300.0 if closed else None), sample=Sample(),
        model=np.full(len(frosts), 0.5), logs=lambda read: logs if read is course.frost else None,
    )  # fmt: skip


VALUES = {"surface-temperature": DRY_ICE + 80.0, "weight-drawn": 0.4}
"""What is read of a sound freeze in its first draw [K, kg]; the second has a tenth more of it."""


@pytest.fixture(autouse=True)
def _laid(monkeypatch: pytest.MonkeyPatch) -> None:
    def values(o: Any, s: Any) -> Array:
        zero = DRY_ICE if o.kind is Seen.SURFACE_TEMPERATURE else 0.0
        return np.asarray(zero + (VALUES[o.kind] - zero) * np.array([1.0, 1.1])[: len(s.sample)])

    monkeypatch.setattr(causes, "Signs", Signs)
    monkeypatch.setattr(causes.seen, "values", values)


def likelihood(weighed: Weighed, *of: str) -> float:
    """How likely what is seen is under a fault."""
    return math.exp(weighed._likelihood(fault(*of)))


SOUND = ("nothing-wrong",)


def doubted(of: Any) -> Any:
    """A likelihood with a slip in ten thousand."""
    return 0.9999 * of + 1e-4


def test_signs_are_those_of_what_was_read_up_to_the_latest() -> None:
    """Frost itself is not read, and what holds is not asked for; of no plug nothing is read."""
    held = FlowStopped(kind=Seen.FLOW_STOPPED, elapsed=900.0)
    found = sampled([300.0])
    request = asked(observations=(FROST, COLD, held, NONE_YET, DRAWN))
    signs: Any = Weighed(request, found)._signs
    assert (signs.sampled, signs.read, signs.latest) == (found, (COLD, DRAWN), 900.0)
    later: Any = Weighed(replace(request, elapsed=1000.0), found)._signs
    assert later.latest == 1000.0
    open_still: Any = Weighed(request, sampled([300.0], closed=False))._signs
    assert open_still.read == ()


@pytest.mark.parametrize("seen", [False, True])
def test_frost_by_now_is_as_likely_as_the_draws_in_which_it_is_there(*, seen: bool) -> None:
    """At 180, 200 and 230 s, watched for at 200 s: normal in logarithms, a twentieth wide."""
    weighed = Weighed(asked(frost_seen=seen), sampled([360.0, 400.0, 460.0]))
    late = np.log(np.array([180.0, 200.0, 230.0]) / 200.0) / 0.05
    expected = float(np.mean(norm.cdf(-late if seen else late)))
    assert likelihood(weighed, *SOUND) == pytest.approx(expected)


def test_frost_later_than_it_is_followed_is_none_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """At two hours it is one, a minute later not. Nor does insulation ever let it be seen."""
    weighed = Weighed(asked(elapsed=7200.0), sampled([14400.0]))
    assert likelihood(weighed, *SOUND) == pytest.approx(0.5)
    monkeypatch.setattr(causes.freeze, "LATEST_FROST", float(weighed._usual[0]))
    assert likelihood(weighed, *SOUND) == pytest.approx(0.5), "the last moment of all"
    for times, of in ((14520.0, SOUND), (14400.0, ("insulated",))):
        for seen, expected in ((False, 1.0), (True, 0.0)):
            weighed = Weighed(asked(elapsed=28800.0, frost_seen=seen), sampled([times]))
            assert likelihood(weighed, *of) == expected


def test_before_a_second_has_passed_it_counts_as_one() -> None:
    """At 2 s: the same after half a second, and at once."""
    frosts, cold = [4.0], asked(elapsed=0.0, frost_seen=True)
    after = [likelihood(Weighed(replace(cold, elapsed=t), sampled(frosts)), *SOUND)
             for t in (0.0, 0.5, 1.0)]  # fmt: skip
    assert after == pytest.approx([float(norm.cdf(-math.log(2.0) / 0.05))] * 3)


def test_what_was_seen_of_frost_before_is_weighed_with_a_slip_in_ten_thousand() -> None:
    """At 200 and 250 s in two draws; first seen at 200 s, or none yet at 250 s, each to 20 s."""
    now = norm.cdf(np.log(np.array([200.0, 250.0]) / 200.0) / 0.05)
    frosts = sampled([400.0, 500.0])
    first = doubted(np.exp([0.0, -0.5 * 2.5**2]))
    found = likelihood(Weighed(asked(observations=(FROST,)), frosts), *SOUND)
    assert found == pytest.approx(float(np.mean(now * first)))
    none = doubted(norm.cdf(np.array([-2.5, 0.0])))
    found = likelihood(Weighed(asked(observations=(NONE_YET,)), frosts), *SOUND)
    assert found == pytest.approx(float(np.mean(now * none)))
    both = asked(observations=(FROST, NONE_YET))
    found = likelihood(Weighed(both, frosts), *SOUND)
    assert found == pytest.approx(float(np.mean(now * first * none)))


def test_what_was_read_is_held_against_each_draw() -> None:
    """280 K where 80 and 88 K over dry ice are to be, to 2 K; 0.3 kg where 0.4 and 0.44, to 0.1."""
    late = asked(elapsed=1.0, observations=(COLD, DRAWN))
    cold = norm.pdf((DRY_ICE + np.array([80.0, 88.0]) - 280.0) / 2.0) / norm.pdf(0.0)
    mass = norm.pdf(np.array([1.0, 1.4])) / norm.pdf(0.0)
    expected = float(np.mean(doubted(cold) * doubted(mass)))
    found = likelihood(Weighed(late, sampled([400.0, 500.0])), *SOUND)
    assert found == pytest.approx(expected)


def test_a_fault_moves_what_was_read_over_dry_ice_and_over_nothing() -> None:
    """Insulation moves the first by a tenth of its logarithm, the second by a fifth."""
    late = asked(elapsed=1.0, observations=(COLD, DRAWN))
    cold = (DRY_ICE + 80.0 * math.exp(0.1) - 280.0) / 2.0
    mass = (0.4 * math.exp(0.2) - 0.3) / 0.1
    expected = doubted(math.exp(-0.5 * cold**2)) * doubted(math.exp(-0.5 * mass**2))
    found = likelihood(Weighed(late, sampled([400.0])), "insulated")
    assert found == pytest.approx(expected)


def test_a_severity_is_drawn_and_lies_straight_between_those_solved() -> None:
    """Logarithms go with deviates, up to 1.3 of them, of a flow up to 1.6; level beyond."""
    z = [-3.0, -1.5, -0.4, 0.0, 1.0, 1.5, 3.0]
    weighed = Weighed(asked(observations=(COLD,)), sampled([300.0] * 7, z))
    for cause, most, count in (("jacket", 1.3, 3), ("flow", 1.6, 5)):
        row = known(fault(cause).severity)
        width = math.log(row.high / row.low) / (2.0 * Z95)
        moved = weighed._moved(fault(cause))
        expected = width * np.clip(z, -most, most)
        assert moved[:, 0] == pytest.approx(expected)
        assert moved[:, 1] == pytest.approx(-expected)
        asked_of: Any = weighed._signs
        solved = [math.log(v / row.likely) / width for c, v in asked_of.asked if c == cause]
        assert solved == pytest.approx(np.linspace(-most, most, count))


def test_what_is_not_solved_moves_nothing_and_what_has_no_severity_all_draws_alike() -> None:
    weighed = Weighed(asked(observations=(COLD, DRAWN)), sampled([300.0] * 4))
    assert weighed._moved(fault("nothing-wrong")).tolist() == [[0.0, 0.0, 0.0]] * 4
    assert weighed._moved(fault("insulated")).tolist() == [[math.inf, 0.1, 0.2]] * 4
    signs: Any = weighed._signs
    assert signs.asked == [("insulated", 0.0)]


def test_before_anything_is_seen_causes_are_as_in_the_table() -> None:
    weighed = Weighed(asked(elapsed=0.0), sampled([300.0]))
    assert weighed.ranked == causes.by_table(asked())
    signs: Any = weighed._signs
    assert signs.asked == []


def weighing(monkeypatch: pytest.MonkeyPatch, flow: float, others: float) -> None:
    """Logarithms of how likely what is seen is under a flow and under anything else."""
    monkeypatch.setattr(
        Weighed, "_likelihood", lambda _, f: flow if f.cause == "flow" else others
    )  # fmt: skip


@pytest.mark.parametrize(
    "given", [{"elapsed": 1.0}, {"elapsed": 0.0, "frost_seen": True},
              {"elapsed": 0.0, "observations": (FROST,)}],
)  # fmt: skip
def test_what_is_seen_makes_a_cause_likelier_by_how_likely_it_makes_that(
    monkeypatch: pytest.MonkeyPatch, given: dict[str, Any]
) -> None:
    """exp(-2) times 0.14 of a flow against exp(-5) times 0.86 of the others: 76.6 %."""
    weighing(monkeypatch, -2.0, -5.0)
    found = Weighed(asked(**given), sampled([300.0])).ranked
    assert found[0].code == "flow"
    assert found[0].probability == pytest.approx(0.7658, abs=1e-4)
    assert sum(p.probability for p in found) == pytest.approx(1.0)


@pytest.mark.parametrize(("best", "gap"), [(-19.0, 3.0), (-20.0, 3.0), (-40.0, 1.5), (-60.0, 1.0)])
def test_what_no_cause_makes_likely_tells_less_of_them(
    monkeypatch: pytest.MonkeyPatch, best: float, gap: float
) -> None:
    """Beyond exp(-20) it is scaled to that: a gap of 3 counts as half at -40, as a third at -60."""
    weighing(monkeypatch, best, best - 3.0)
    found = chances(Weighed(asked(), sampled([300.0])).ranked)
    odds = 0.14 / 0.86 * math.exp(gap)
    assert found["flow"] == pytest.approx(odds / (1.0 + odds))


def test_frost_that_comes_under_no_cause_speaks_of_three_by_the_table(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    weighing(monkeypatch, -math.inf, -math.inf)
    found = chances(Weighed(asked(frost_seen=True), sampled([300.0])).ranked)
    assert found == pytest.approx({"pipe-empty": 0.6, "smaller-pipe": 0.2, "colder": 0.2})


def warming(monkeypatch: pytest.MonkeyPatch, weighed: Weighed, delays: list[float]) -> list[float]:
    """Warm water that brings frost so much later [log] at each severity; return those [K]."""
    row = known(fault("warm-water").severity)
    values = [float(row.at(z)) for z in (-1.3, 0.0, 1.3)]
    by_value = dict(zip(values, delays, strict=True))
    monkeypatch.setattr(
        weighed._signs, "of", lambda f, v: np.array([by_value[v], 7.0 if f.way else 8.0])
    )
    return values


def test_how_warm_water_is_that_brings_frost_so_much_later(monkeypatch: pytest.MonkeyPatch) -> None:
    """Straight between what is tried, which begins with none; the second of the three is 12 K."""
    weighed = Weighed(asked(), sampled([300.0]))
    little, some, much = warming(monkeypatch, weighed, [0.1, 0.3, math.log(2.0)])
    assert some == pytest.approx(12.0)
    line = ZERO_C + 20.0
    assert weighed.warmth(1.0) == line
    assert weighed.warmth(math.exp(0.05)) == pytest.approx(line + 0.5 * little)
    assert weighed.warmth(math.exp(0.3)) == pytest.approx(line + some)
    assert weighed.warmth(math.exp(0.2)) == pytest.approx(line + 0.5 * (little + some))
    assert weighed.warmth(2.0) == pytest.approx(line + much)
    assert weighed.warmth(2.001) is None
    assert weighed.warmth(0.99) is None


def test_between_severities_it_is_straight_and_level_beyond() -> None:
    nodes, solved = np.array([-1.0, 0.0, 2.0]), np.array([[0.0, 5.0], [1.0, 4.0], [3.0, 8.0]])
    found = causes._between(nodes, solved, np.array([-9.0, -0.5, 0.0, 1.0, 9.0]))
    assert found.tolist() == [[0.0, 5.0], [0.5, 4.5], [1.0, 4.0], [2.0, 6.0], [3.0, 8.0]]


def test_frost_that_never_comes_at_a_severity_does_not_half_of_the_way_to_the_next() -> None:
    """At 1 it never does: not beyond 0.5. Up to there it goes on as between the two below."""
    nodes = np.array([-1.0, 0.0, 1.0])
    solved = np.array([[1.0, 5.0], [2.0, 4.0], [np.inf, 6.0]])
    found = causes._between(nodes, solved, np.array([-0.5, 0.4, 0.5, 0.6, 2.0]))
    assert found[:, 0].tolist() == [1.5, 2.0, 2.0, math.inf, math.inf]
    assert found[:, 1] == pytest.approx([4.5, 4.8, 5.0, 5.2, 6.0])
    assert np.isinf(solved[2, 0])


def test_frost_that_comes_at_no_severity_never_comes() -> None:
    solved = np.array([[np.inf, 5.0], [np.inf, 7.0]])
    found = causes._between(np.array([0.0, 1.0]), solved, np.array([-1.0, 0.5, 2.0]))
    assert found.tolist() == [[math.inf, 5.0], [math.inf, 6.0], [math.inf, 7.0]]


def test_a_slip_makes_nothing_impossible() -> None:
    found = causes._doubted(np.array([0.0, math.log(0.5), -math.inf]))
    assert np.exp(found) == pytest.approx([1.0, 0.9999 * 0.5 + 1e-4, 1e-4])
