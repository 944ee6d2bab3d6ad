"""What a reply tells of what was learned: from now on, before and after, and what is not used."""

import itertools
from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from estimates.jobs import (
    HALF_INCH,
    TWO_INCH,
    ZERO_C,
    high,
    known,
    likely,
    point_of,
    solution_of,
    water,
)
from stillpipe.estimates.learned import LearnedFigures, LearnedInput
from stillpipe.estimates.plug_time import PlugTimeFigures, plug_time
from stillpipe.model import observations
from stillpipe.model.figures import Answer, Range, Severity, Verdict
from stillpipe.model.observations import AnyObservation, Seen
from stillpipe.tables import pipes

NOISE = 0.01
"""By which percentiles move where other draws carry them, though nothing was learned [-]."""
BAR = 1e5


def frost(elapsed: float, **more: float) -> AnyObservation:
    return observations.Frost(kind=Seen.FROST, elapsed=elapsed, **more)


def no_frost(elapsed: float) -> AnyObservation:
    return observations.NoFrost(kind=Seen.NO_FROST, elapsed=elapsed)


def stopped(elapsed: float) -> AnyObservation:
    return observations.FlowStopped(kind=Seen.FLOW_STOPPED, elapsed=elapsed)


def held(elapsed: float, pressure: float) -> AnyObservation:
    return observations.PressureHeld(kind=Seen.PRESSURE_HELD, elapsed=elapsed, value=pressure)


def drawn(elapsed: float, mass: float) -> AnyObservation:
    return observations.WeightDrawn(kind=Seen.WEIGHT_DRAWN, elapsed=elapsed, value=mass)


def cold(elapsed: float, celsius: float) -> AnyObservation:
    return observations.SurfaceTemperature(
        kind=Seen.SURFACE_TEMPERATURE, elapsed=elapsed, value=ZERO_C + celsius
    )


def asked(
    *seen: AnyObservation, pipe: pipes.Pipe = HALF_INCH, **changes: Any
) -> Answer[PlugTimeFigures]:
    return plug_time(point_of(pipe, observations=seen, **changes))


def learned(*seen: AnyObservation, **changes: Any) -> LearnedFigures:
    found = asked(*seen, **changes).learned
    assert isinstance(found, LearnedFigures)
    return found


def named(found: LearnedFigures, name: str) -> LearnedInput:
    return next(each for each in found.inputs if each.name == name)


VISITS: dict[str, tuple[AnyObservation, ...]] = {
    "no frost": (no_frost(150.0),),
    "frost": (frost(230.0),),
    "temperature": (cold(200.0, -2.0),),
    "weight": (drawn(240.0, 0.3),),
    "flow": (stopped(330.0),),
    "pressure": (held(420.0, 3.0 * BAR),),
    "all, as they were told": (stopped(420.0), frost(230.0), no_frost(150.0), drawn(240.0, 0.3)),
}
"""Half-inch copper, closed after 297 s (193 to 462) and frost after 182 s (105 to 323)."""


@pytest.mark.parametrize("name", VISITS)
def test_now_is_the_latest_observation_and_what_is_left_is_never_negative(name: str) -> None:
    """In whichever order they are told."""
    answer = asked(*VISITS[name])
    found, figures = answer.learned, answer.figures
    assert found.used
    assert found.now == max(o.elapsed for o in VISITS[name])
    for left, whole in (
        (found.closure_from_now, figures.closure), (found.ready_from_now, figures.ready)
    ):  # fmt: skip
        for end in ("low", "likely", "high"):
            expected = max(getattr(known(whole), end) - found.now, 0.0)
            assert getattr(known(left), end) == pytest.approx(expected, abs=1e-9)
    planned = known(figures.planned_ready)
    assert found.planned_ready_from_now == pytest.approx(max(planned - found.now, 0.0), abs=1e-9)


@pytest.mark.parametrize("name", VISITS)
def test_what_was_before_is_what_is_told_without_observations(name: str) -> None:
    found, plain = learned(*VISITS[name]), asked()
    assert plain.learned is None
    assert found.before.closure == plain.figures.closure
    assert found.before.ready == plain.figures.ready
    told = {each.name: each.before for each in found.inputs}
    for driver in plain.figures.drivers:
        for end, other in (
            (driver.low, told[driver.name].p05),
            (driver.high, told[driver.name].p95),
        ):
            assert known(other).kind == end.kind
            assert known(other).value == pytest.approx(end.value, rel=1e-4)
    assert set(told) - {d.name for d in plain.figures.drivers} <= {
        "adhesion",
        "capture",
        "cylinder_temperature",
    }


@pytest.mark.parametrize("name", VISITS)
def test_no_input_is_narrowed_by_less_than_nothing_or_more_than_all(name: str) -> None:
    found = learned(*VISITS[name])
    assert all(0.0 <= each.narrowed < 1.0 for each in found.inputs)
    for each in found.inputs:
        for told in (each.before, each.after):
            values = [known(getattr(told, f.name)).value for f in fields(told)]
            assert values == sorted(values)
    assert 100.0 < found.effective_sample_size <= 8192.0


def test_the_order_in_which_they_are_told_moves_no_figure() -> None:
    seen = VISITS["all, as they were told"]
    one, other = asked(*seen), asked(*seen[::-1])
    for name in ("closure", "ready", "plug_length", "heat_removed"):
        for end in ("low", "likely", "high"):
            a, b = (getattr(known(getattr(x.figures, name)), end) for x in (one, other))
            assert a == pytest.approx(b, rel=1e-3)
    assert one.learned.inputs != asked(*seen[:1]).learned.inputs


def test_the_narrower_a_frost_is_told_the_more_is_learned_of_the_conductance() -> None:
    found = [
        named(learned(frost(230.0, standard_uncertainty=u)), "jacket_conductance").narrowed
        for u in (5.0, 20.0, 120.0)
    ]
    assert found == sorted(found, reverse=True)
    assert found[0] > 0.4
    assert found[-1] < 0.25


@pytest.mark.parametrize("pipe", [HALF_INCH, TWO_INCH], ids=lambda p: p.id)
def test_a_later_frost_lowers_the_conductance_and_lengthens_closure(pipe: pipes.Pipe) -> None:
    foretold = known(asked(pipe=pipe).figures.frost_by)
    conductances, closures = [], []
    for time in (0.8 * foretold.likely, foretold.likely, 1.3 * foretold.likely):
        answer = asked(frost(time), pipe=pipe)
        after = named(answer.learned, "jacket_conductance").after
        conductances.append(known(after.p50).value)
        closures.append(likely(answer.figures.closure))
    assert conductances == sorted(conductances, reverse=True)
    assert closures == sorted(closures)
    plain = asked(pipe=pipe).figures.closure
    before = known(named(answer.learned, "jacket_conductance").before.p50).value
    assert conductances[-1] < 0.95 * before < 0.95 * conductances[0]
    assert closures[0] < 0.95 * likely(plain)
    assert closures[-1] > 1.05 * likely(plain)


def test_frost_seen_narrows_closure() -> None:
    plain, seen = (known(asked(*o).figures.closure) for o in ((), VISITS["frost"]))
    width = np.log(high(seen) / seen.low) / np.log(high(plain) / plain.low)
    assert width < 0.6


def test_no_frost_yet_never_shortens_closure() -> None:
    """Nor does the same later; so early that there is never any it teaches nothing."""
    plain = known(asked().figures.closure)
    found = [known(asked(no_frost(t)).figures.closure) for t in (20.0, 100.0, 180.0, 260.0, 340.0)]
    for end in ("low", "likely", "high"):
        ends = [getattr(each, end) for each in (plain, *found)]
        for one, other in itertools.pairwise(ends):
            assert other >= one * (1.0 - NOISE)
    assert found[0].likely == pytest.approx(plain.likely, rel=NOISE)
    assert found[-1].likely > 1.3 * plain.likely


@pytest.mark.parametrize("time", [180.0, 220.0, 300.0, 400.0, 600.0])
def test_a_flow_proven_stopped_puts_closure_before_it(time: float) -> None:
    answer = asked(stopped(time))
    assert answer.learned.used
    assert likely(answer.figures.closure) < time + 10.0
    assert likely(answer.figures.closure) <= likely(asked().figures.closure) * (1.0 + NOISE)


@pytest.mark.parametrize("bar", [1.0, 40.0])
@pytest.mark.parametrize("time", [330.0, 420.0, 900.0])
def test_a_plug_that_held_a_pressure_has_no_weaker_bond(time: float, bar: float) -> None:
    adhesion = named(learned(held(time, bar * BAR)), "adhesion")
    for end in ("p05", "p50", "p95"):
        before, after = (known(getattr(x, end)).value for x in (adhesion.before, adhesion.after))
        assert after >= before * (1.0 - 2.0 * NOISE)


def test_a_weak_bond_is_ruled_out_by_a_high_pressure() -> None:
    """Two inches of steel, just closed: 20 bar it would not hold at the 5th percentile."""
    adhesion = named(learned(held(1500.0, 20.0 * BAR), pipe=TWO_INCH), "adhesion")
    assert known(adhesion.after.p05).value > 1.1 * known(adhesion.before.p05).value


@pytest.mark.parametrize(
    "absurd", [no_frost(1200.0), frost(3600.0), cold(200.0, 60.0), drawn(240.0, 20.0)],
    ids=lambda o: o.kind,
)  # fmt: skip
def test_what_cannot_be_explained_moves_no_figure_and_stops_the_job(
    absurd: AnyObservation,
) -> None:
    """Nor does what is seen beside it, and would fit."""
    plain = asked()
    for seen in ((absurd,), (frost(230.0), absurd)):
        answer = asked(*seen)
        assert answer.figures == plain.figures
        found = answer.learned
        assert not found.used
        left = (found.closure_from_now, found.ready_from_now, found.planned_ready_from_now)
        assert left == (None, None, None)
        assert [each.fits for each in answer.learned.observations][-1] is False
        assert answer.learned.before.closure == plain.figures.closure
        (reason,) = answer.reasons
        assert (reason.code, reason.severity) == ("observations-do-not-fit", Severity.STOP)
        assert answer.verdict is Verdict.NO_GO


def test_what_hardly_fits_is_used_and_said() -> None:
    answer = asked(frost(460.0))
    (reason,) = answer.reasons
    assert (reason.code, reason.severity) == ("observations-do-not-fit", Severity.WARN)
    assert "460 s" in reason.text
    assert answer.learned.used
    assert likely(answer.figures.closure) > high(asked().figures.closure)


@pytest.mark.parametrize("flow", [0.02, 0.5])
def test_of_a_plug_that_is_not_to_be_expected_nothing_is_learned(flow: float) -> None:
    answer = asked(frost(230.0), fluid=water(flow=flow))
    assert answer.learned is None
    codes = {reason.code: reason.severity for reason in answer.reasons}
    assert codes["observations-not-used"] is Severity.WARN
    assert codes["flowing"] is Severity.STOP


def test_a_flow_that_stopped_proves_that_glycol_froze() -> None:
    """What is said of its ice is what is known then, as the chance of closing is."""
    glycol = solution_of("propylene_glycol", 0.10)
    before, after = asked(fluid=glycol), asked(stopped(900.0), fluid=glycol)
    assert [r.code for r in before.reasons] == ["may-stay-slush"]
    assert before.figures.chance_of_closing < 0.7
    assert after.figures.chance_of_closing > 0.95
    assert "may-stay-slush" not in [r.code for r in after.reasons]
    frosted = asked(frost(150.0), fluid=glycol)  # frost tells nothing of the ice
    assert "may-stay-slush" in [r.code for r in frosted.reasons]


def closed(figures: PlugTimeFigures) -> float:
    """When the likely course is closed [s]."""
    radius = np.array(figures.history.liquid_radius)
    return float(np.array(figures.history.time)[np.argmax(radius <= 0.0)])


@pytest.mark.parametrize("seen", [(frost(230.0),), (stopped(250.0),), (frost(420.0),)])
def test_the_likely_course_closes_when_closure_is_likely_now(
    seen: tuple[AnyObservation, ...],
) -> None:
    """Between the ends of the band, up to the planned ready as without observations."""
    figures = asked(*seen).figures
    closure: Range = known(figures.closure)
    assert closed(figures) == pytest.approx(closure.likely, rel=NOISE)
    assert figures.history.time[-1] == pytest.approx(known(figures.planned_ready))
    assert closed(asked().figures) != pytest.approx(closure.likely, rel=5 * NOISE)
