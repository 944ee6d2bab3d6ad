"""Room air: closed form against a numerical one, published limits, directions."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from estimates.jobs import known
from stillpipe.estimates import cautions
from stillpipe.estimates.ventilation import AirFigures, air, ventilation
from stillpipe.model.figures import Amount, Answer, Reason, Severity
from stillpipe.model.requests import VentilationRequest
from stillpipe.model.site import Regime, Release, Room
from stillpipe.physics import co2, room

TEN = (Release(rate=10.0 / 3600.0, duration=3600.0),)


def of(release: tuple[Release, ...] = TEN, **changes: float | Regime) -> Answer[AirFigures]:
    """The air of a room of 50 m3 with these ``changes``, in SI units."""
    place = Room(**({"volume": 50.0} | changes)).completed()  # type: ignore[arg-type]
    return air(place, release)


def test_ten_kilograms_in_fifty_cubic_metres() -> None:
    """9.81 % sealed, 10.30 % vented and mixed, 20 C: CoolProp 8, 0.5 %."""
    found = of(outdoor_carbon_dioxide=0.0)
    assert found.figures.sealed == pytest.approx(0.0981, rel=0.005)
    assert found.figures.peak == pytest.approx(0.1030, rel=0.005)
    assert found.verdict == "no-go"


def test_oxygen_falls_to_19_5_percent_at_6_7_percent_of_carbon_dioxide() -> None:
    """OSHA 19.5 %; of 20.9 %, 6.70 % displaced leave it, of 20.95 %, 6.92 % (arithmetic), 1e-4.

    Where outdoor air holds 0.042 % already: 1 - 19.5 / 20.95 x (1 - 0.00042) = 6.96 %.
    """
    assert 0.209 * room.oxygen(0.0670, 0.0) / room.oxygen(0.0, 0.0) == pytest.approx(
        0.195, abs=1e-4
    )
    for outdoor, displaced in ((0.0, 0.0692), (420e-6, 0.0696)):
        found = of(outdoor_carbon_dioxide=outdoor)
        oxygen = next(r for r in found.figures.limits if r.quantity == "minimum")
        assert oxygen.limit == pytest.approx(displaced, abs=1e-4)


def test_what_is_said_of_a_limit_is_what_it_is() -> None:
    """Below 19.5 % of oxygen air is deficient (29 CFR 1910.146), not dangerous to life yet.

    OSHA treats it as IDLH for the choice of respirators (29 CFR 1910.134(d)(2)(iii)), so it stops
    the job; from 16 % down it is a danger by itself (table II there).
    """
    told = {n.figure: n for n in of().reasons if n.severity is Severity.STOP}
    oxygen = told["least_oxygen"]
    assert oxygen.code == "oxygen-deficient"
    assert "deficient" in oxygen.text
    assert "danger" not in oxygen.text
    assert "1910.134(d)(2)(iii)" in oxygen.text
    (idlh,) = [n for n in told.values() if n.code == "air-dangerous"]
    assert "NIOSH IDLH" in idlh.text
    assert "immediately dangerous to life" in idlh.text
    (thin,) = [n for n in of(volume=5.0).reasons if n.figure == "least_oxygen"]
    assert thin.code == "air-dangerous"
    assert known(thin.value).value < 0.16 < known(oxygen.value).value


def test_carbon_dioxide_binds_before_oxygen() -> None:
    found = of(air_changes=1.0 / 3600.0)
    needs = {r.quantity: r.air_changes_needed for r in found.figures.limits}
    assert needs["STEL"] is not None
    assert needs["minimum"] is not None
    assert needs["STEL"] > needs["minimum"]
    assert found.figures.binding != "minimum"


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.floats(10.0, 500.0), st.floats(0.0, 20.0), st.floats(0.1, 30.0), st.floats(60.0, 7200.0))
def test_closed_form_is_the_differential_equation(
    volume: float, changes: float, rate: float, span: float
) -> None:
    """Against scipy's solve_ivp, V dx/dt = G + Q x0 - (Q + G) x."""
    fresh, flow = volume * changes / 3600.0, rate / 3600.0 / co2.gas_density(293.15)
    found = solve_ivp(
        lambda _, x: (flow + fresh * 420e-6 - (fresh + flow) * x) / volume, (0.0, span), [420e-6],
        rtol=1e-9, atol=1e-12,
    )  # fmt: skip
    expected = room.concentration_after(420e-6, span, volume, fresh, flow, 420e-6)
    assert expected == pytest.approx(float(found.y[0, -1]), rel=1e-6)
    reached = room.time_to_reach(expected, 420e-6, volume, fresh, flow, 420e-6)
    if math.isfinite(reached):
        again = room.concentration_after(420e-6, reached, volume, fresh, flow, 420e-6)
        assert again == pytest.approx(expected, rel=1e-9)


def test_the_integral_is_that_of_the_concentration() -> None:
    ends = [room.concentration_after(4e-4, t, 50.0, 0.02, 0.001, 4e-4) for t in range(601)]
    trapezoid = sum(0.5 * (a + b) for a, b in itertools.pairwise(ends))
    assert room.integral(4e-4, 600.0, 50.0, 0.02, 0.001, 4e-4) == pytest.approx(trapezoid, rel=1e-5)


@st.composite
def courses(draw: st.DrawFn) -> room.Course:
    """Rooms through one to five stretches and eight quiet hours."""
    count = draw(st.integers(1, 5))
    release = draw(st.lists(st.floats(0.0, 0.02), min_size=count, max_size=count))
    duration = draw(st.lists(st.floats(60.0, 7200.0), min_size=count, max_size=count))
    volume, changes = draw(st.floats(10.0, 500.0)), draw(st.floats(0.0, 20.0)) / 3600.0
    return room.course(
        volume, volume * changes, 420e-6, np.array([*release, 0.0]), np.array([*duration, 28800.0])
    )


@settings(max_examples=30, deadline=None, derandomize=True)
@given(courses(), st.floats(300.0, 3600.0))
def test_the_worst_mean_is_that_of_all_windows(course: room.Course, span: float) -> None:
    """Against windows every 5 s over a course in steps of 5 s, by the trapezoid rule, 0.2 %."""
    times = np.arange(0.0, course.begin[-1] + span + 5.0, 5.0)
    x = room.concentrations(course, times)
    total = np.concatenate(([0.0], np.cumsum(2.5 * (x[1:] + x[:-1]))))
    starts = np.arange(0.0, course.begin[-1] + 5.0, 5.0)
    means = (np.interp(starts + span, times, total) - np.interp(starts, times, total)) / span
    assert room.worst(course, span) == pytest.approx(means.max(), rel=2e-3)
    assert room.worst(course, 0.0) == pytest.approx(x.max(), rel=0.05)
    assert room.worst(course, 0.0) >= x.max() * (1.0 - 1e-12)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(courses(), st.sampled_from((0.0, 900.0, 28800.0)), st.floats(0.9, 1.1))
def test_a_limit_is_exceeded_by_the_worst_mean(
    course: room.Course, span: float, share: float
) -> None:
    """With no more windows than that takes, the same is found as from the worst of all."""
    worst = room.worst(course, span)
    for limit in (share * worst, worst, math.nextafter(worst, 0.0)):
        assert room.exceeds(course, span, limit) == (worst > limit)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(courses())
def test_a_limit_is_passed_when_the_air_first_stands_there(course: room.Course) -> None:
    """The concentration at that time is the limit, before it is below; above the peak, never."""
    peak = room.worst(course, 0.0)
    assert math.isinf(room.time_over(course, peak * 1.001))
    limit = 0.5 * (peak + 420e-6)
    when = room.time_over(course, limit)
    before = room.concentrations(course, np.linspace(0.0, when, 50))
    assert before.max() <= limit * (1.0 + 1e-9)
    assert before[-1] == pytest.approx(limit, rel=1e-9)


@pytest.mark.parametrize(
    ("regime", "quantity", "limit"),
    [("OSHA", "TWA", 0.005), ("NIOSH", "STEL", 0.030), ("NIOSH", "IDLH", 0.040),
     ("EH40", "TWA", 0.005), ("EH40", "STEL", 0.015)],
)  # fmt: skip
def test_limits_are_those_of_the_regime(regime: str, quantity: str, limit: float) -> None:
    """OSHA Table Z-1, NIOSH Pocket Guide, HSE EH40."""
    found = of(regime=Regime(regime))
    reach = next(r for r in found.figures.limits if r.quantity == quantity)
    assert (reach.regime, reach.limit) == (regime, limit)


def test_the_air_changes_needed_are_enough_and_no_more() -> None:
    needed = of().figures.air_changes_needed
    assert needed is not None
    assert of(air_changes=1.001 * needed).verdict == "go"
    assert of(air_changes=0.98 * needed).verdict != "go"


def test_no_release_no_concern() -> None:
    found = of((Release(rate=0.0, duration=600.0),))
    assert found.verdict == "go"
    assert found.figures.peak == pytest.approx(420e-6)
    assert found.figures.air_changes_needed == 0.0
    assert {r.passed_at for r in found.figures.limits} == {None}


@pytest.mark.parametrize("changes", [0.0, 5e-324, 1e-300, 1e-15])
@pytest.mark.parametrize("rate", [0.0, 5e-324, 1e-9, 1.0])
def test_the_smallest_numbers_leave_finite_figures(changes: float, rate: float) -> None:
    found = of(
        (Release(rate=rate, duration=86400.0), Release(rate=1.0, duration=1.0)),
        volume=1.0,
        air_changes=changes,
    )
    assert all(math.isfinite(r.worst) for r in found.figures.limits)
    assert all(r.passed_at is None or math.isfinite(r.passed_at) for r in found.figures.limits)
    assert all(
        math.isfinite(x)
        for x in (*found.figures.course.carbon_dioxide, *found.figures.course.oxygen)
    )


def test_every_limit_that_is_passed_is_a_reason_that_names_how_far() -> None:
    """10 kg in an hour into 200 m3 with an air change an hour: the mean of 8 h is above 5,000 ppm.

    5.44 m3 of gas into a flow of 200 m3/h: 2.65 % (1 - exp(-1.03)) = 1.7 % at the end of the hour,
    which no mean over 15 min exceeds. Over 8 h it is 5.44 / (8 x 202) = 0.33 %, and outdoor air.
    """
    for volume, codes in ((200.0, set()), (120.0, {"over-twa"}), (60.0, {"over-twa", "over-stel"})):
        found = of(volume=volume, air_changes=1.0 / 3600.0, regime=Regime.NIOSH)
        told = {r.code: r.text for r in found.reasons}
        assert {c for c in told if c.startswith("over-")} == codes, volume
        for limit in found.figures.limits:
            if f"over-{limit.quantity.lower()}" in told:
                text = told[f"over-{limit.quantity.lower()}"]
                assert f"{100.0 * limit.worst:.1f} % of CO2" in text or limit.worst < 0.01
                assert f"NIOSH {limit.quantity}" in text


HOUR, OUTDOOR, OXYGEN = 3600.0, 420e-6, 0.2095
SHORT, LONG = Release(rate=5.0 / 300.0, duration=300.0), Release(rate=2.0 / HOUR, duration=8 * HOUR)
"""Five kilograms in five minutes, and 2 kg/h for eight hours."""


def aired(*releases: Release, changes: float = 2.0) -> dict[str, float]:
    """Worst averages by limit in 50 m3, stretches one after another, in steps of a second.

    V dx/dt = G + Q x0 - (Q + G) x: a thing of its own beside the closed form.
    """
    rate = [r.rate / co2.gas_density(293.15) for r in releases for _ in range(int(r.duration))]
    x, course, fresh = OUTDOOR, [OUTDOOR], 50.0 * changes / HOUR
    for flow in [*rate, *[0.0] * 28800]:
        x += (flow + fresh * OUTDOOR - (fresh + flow) * x) / 50.0
        course.append(x)
    total = np.concatenate(([0.0], np.cumsum(course)))
    means = {span: ((total[span:] - total[:-span]) / span).max() for span in (900, 28800)}
    return {"TWA": means[28800], "STEL": means[900], "IDLH": max(course)}


def test_each_limit_is_judged_on_the_release_that_is_worst_for_it() -> None:
    """The short one has the peak, the long one the mean of eight hours."""
    place = Room(volume=50.0, air_changes=2.0 / HOUR, regime=Regime.NIOSH).completed()
    short, long = aired(SHORT), aired(LONG)
    assert short["STEL"] > long["STEL"]
    assert long["TWA"] > short["TWA"]
    for order in (((SHORT,), (LONG,)), ((LONG,), (SHORT,))):
        found = air(place, *order).figures
        worst = {c.quantity: c.worst for c in found.limits}
        for quantity in ("TWA", "STEL", "IDLH"):
            most = max(short[quantity], long[quantity])
            assert worst[quantity] == pytest.approx(most, rel=2e-3), quantity
        assert found.peak == pytest.approx(short["IDLH"], rel=2e-3)
        assert found.released == pytest.approx(5.0)
        assert found.least_oxygen == pytest.approx(
            OXYGEN * (1.0 - found.peak) / (1.0 - OUTDOOR), rel=1e-9
        )
        needs = {c.quantity: known(c.air_changes_needed) for c in found.limits}
        assert found.binding == max(needs, key=needs.__getitem__)
        assert found.air_changes_needed == max(needs.values())


def test_of_limits_that_need_no_more_air_the_nearest_binds() -> None:
    """A gram an hour is far below all of them.

    Carbon dioxide outdoors is 420 ppm of the 5,000 of the TWA, 1 % of the IDLH; of the 6.96 % at
    which oxygen is short it is 0.6 %.
    """
    found = of((Release(rate=1e-3 / HOUR, duration=HOUR),), air_changes=1.0 / HOUR).figures
    assert {c.air_changes_needed for c in found.limits} == {0.0}
    assert found.binding == "TWA"


def test_the_course_is_the_air_until_twice_the_release() -> None:
    """61 moments; sealed, 1 - (1 - x0) exp(-gas / V) while it is let out, then constant."""
    course = of().figures.course
    assert course.time == pytest.approx(np.linspace(0.0, 2.0 * HOUR, 61))
    gas = np.minimum(np.array(course.time), HOUR) * 10.0 / HOUR / co2.gas_density(293.15)
    expected = 1.0 - (1.0 - OUTDOOR) * np.exp(-gas / 50.0)
    assert course.carbon_dioxide == pytest.approx(expected, rel=1e-9)
    assert course.oxygen == pytest.approx(OXYGEN * (1.0 - expected) / (1.0 - OUTDOOR), rel=1e-9)


def test_a_mean_over_no_time_is_the_peak() -> None:
    found = of(air_changes=3.0 / HOUR).figures
    for check in found.limits:
        if check.quantity in ("IDLH", "minimum"):
            assert check.averaging_time is None
            assert check.worst == found.peak
    averaged = {c.quantity: c.averaging_time for c in found.limits if c.averaging_time}
    assert averaged == {"TWA": 8 * HOUR, "STEL": 900.0}


def sealed_until(x: float) -> float:
    """When 10 kg/h bring a sealed room of 50 m3 to a mole fraction ``x`` [s]."""
    flow = 10.0 / HOUR / co2.gas_density(293.15)
    return 50.0 / flow * math.log((1.0 - OUTDOOR) / (1.0 - x))


def test_what_is_said_of_a_passed_limit() -> None:
    """Its figure in the answer, how far, the limit, when, and how much fresh air keeps all of them.

    In 50 m3, sealed: 4 % of CO2 and 19.5 % of oxygen (6.96 % of CO2) as told by the closed form.
    """
    answer = of(regime=Regime.NIOSH)
    figures, told = answer.figures, {n.figure: n for n in answer.reasons}
    assert answer.cautions == cautions.AIR
    assert [c.quantity for c in figures.limits] == ["TWA", "STEL", "IDLH", "minimum"]
    needed = f"{HOUR * known(figures.air_changes_needed):.1f} air changes an hour"
    for index, (code, share) in enumerate(
        (("over-twa", 0.005), ("over-stel", 0.03), ("air-dangerous", 0.04))
    ):
        check, reason = figures.limits[index], told[f"limits.{index}.worst"]
        assert (reason.code, reason.at) == (code, check.passed_at)
        assert reason.value == Amount(check.worst, "mole_fraction")
        assert reason.limit == Amount(share, "mole_fraction")
        assert needed in reason.action
        assert check.source
        assert ("immediately dangerous" in reason.text) is (code == "air-dangerous")
    assert told["limits.2.worst"].at == pytest.approx(sealed_until(0.04), rel=1e-6)
    assert f"after {sealed_until(0.04) / 60.0:.0f} min" in told["limits.2.worst"].text
    of_oxygen(told["least_oxygen"], figures, needed)


def of_oxygen(reason: Reason, figures: AirFigures, needed: str) -> None:
    """Hold what is said of oxygen in 50 m3 against the closed form."""
    short = 1.0 - 0.195 / OXYGEN * (1.0 - OUTDOOR)
    assert reason.at == pytest.approx(sealed_until(short), rel=1e-6)
    assert f"after {sealed_until(short) / 60.0:.0f} min" in reason.text
    assert reason.value == Amount(figures.least_oxygen, "oxygen")
    limit = known(reason.limit)
    assert (limit.value, limit.kind) == (pytest.approx(0.195), "oxygen")
    assert needed in reason.action
    assert "supplied air" in reason.action


def test_thin_air_is_told_as_a_danger_to_life() -> None:
    """Below 16 % (table II of 29 CFR 1910.134): a tenth of the room makes 1 - exp(-1.1)."""
    (thin,) = [n for n in of(volume=5.0).reasons if n.figure == "least_oxygen"]
    assert "below 16 % it is a danger to life" in thin.text.lower()


def test_where_no_fresh_air_is_enough_the_gas_is_led_outdoors() -> None:
    """100 kg a second into 10 m3: a thousand changes an hour bring 2.8 m3/s, the gas is 54."""
    found = of((Release(rate=100.0, duration=60.0),), volume=10.0)
    assert found.figures.air_changes_needed is None
    assert {c.air_changes_needed for c in found.figures.limits if c.quantity == "IDLH"} == {None}
    for reason in found.reasons:
        assert "hose" in reason.action
        assert "air changes" not in reason.action


def test_a_request_is_answered_as_its_room_and_release() -> None:
    request = VentilationRequest(room=Room(volume=50.0), release=TEN).completed()
    assert ventilation(request) == air(request.room, TEN)


def test_air_that_begins_at_a_limit_passes_it_at_once() -> None:
    """Fresh air of 5,000 ppm is at the limit of eight hours before anything is let out."""
    found = of(outdoor_carbon_dioxide=5000e-6, air_changes=1.0 / HOUR)
    check = next(c for c in found.figures.limits if c.quantity == "TWA")
    (reason,) = [r for r in found.reasons if r.code == "over-twa"]
    assert (check.passed_at, reason.at) == (0.0, 0.0)
    assert "after 0 s" in reason.text
    assert check.air_changes_needed is None
