"""Every reason and caution of a freeze in full: what it is about, what it is held against, when."""

from dataclasses import replace
from typing import Any

import pytest
from scipy.stats import norm

from estimates.jobs import (
    HALF_INCH,
    HOUR,
    TWO_INCH,
    ZERO_C,
    known,
    likely,
    point_of,
    request_of,
    solution_of,
    water,
)
from stillpipe.estimates import assess, cautions, frost_check, growth, hold_time, seen
from stillpipe.estimates.course import Of
from stillpipe.estimates.solution import Solution
from stillpipe.model.calibration import REACH, Calibration, Factor
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.figures import Amount, Caution, Reason, Severity
from stillpipe.model.freeze_point import Ambient, FreezePoint, Jacket
from stillpipe.model.observations import Frost, NoFrost, Observation
from stillpipe.model.observations import Seen as Kind
from stillpipe.model.requests import FrostCheckRequest, HoldTimeRequest
from stillpipe.physics import co2, fading, freeze, solutions
from stillpipe.tables import pipes

STOP, WARN = Severity.STOP, Severity.WARN
PVC = pipes.find("ASTM D1785", "1", "40")
LONGEST = Amount(freeze.LONGEST_FREEZE, "time")


def one(found: tuple[Reason, ...] | list[Reason]) -> Reason:
    """The only reason."""
    (reason,) = found
    return reason


def check(reason: Reason, code: str, severity: Severity, **told: Any) -> None:
    """Hold everything but the sentence and what to do against what it should be."""
    expected = {"figure": None, "value": None, "limit": None, "chance": None, "at": None} | told
    assert (reason.code, reason.severity) == (code, severity)
    for name, value in expected.items():
        assert getattr(reason, name) == value, name
    assert reason.text.endswith(".")
    assert "XX" not in reason.text
    assert len(reason.action) > 20


@pytest.mark.parametrize(
    ("kelvin", "code", "severity", "limit", "says"),
    [
        (assess.LIQUID_ENDS + 0.01, "cylinder-near-critical", WARN, assess.LIQUID_ENDS, "26.8 d"),
        (co2.CRITICAL - 0.01, "cylinder-near-critical", WARN, assess.LIQUID_ENDS, "only in part"),
        (co2.CRITICAL, "no-liquid-co2", STOP, co2.CRITICAL, "holds no liquid"),
    ],
)
def test_a_warm_cylinder(
    kelvin: float, code: str, severity: Severity, limit: float, says: str
) -> None:
    reason = one(assess.blockers(Solution(point_of(cylinder=Cylinder(temperature=kelvin)))))
    check(
        reason, code, severity, figure="inputs.cylinder.temperature",
        value=Amount(kelvin, "temperature"), limit=Amount(limit, "temperature"),
    )  # fmt: skip
    assert says in reason.text
    assert f"{kelvin - ZERO_C:.1f} degC" in reason.text
    assert "shade" in reason.action


def test_a_cylinder_where_two_phases_end_is_no_reason() -> None:
    point = point_of(cylinder=Cylinder(temperature=assess.LIQUID_ENDS))
    assert assess.blockers(Solution(point)) == ()


@pytest.mark.parametrize(
    ("concentration", "code", "severity"),
    [(0.12, "may-stay-slush", WARN), (0.15, "slush", STOP), (0.30, "slush", STOP)],
)
def test_a_solution_that_may_not_hold_the_ice(
    concentration: float, code: str, severity: Severity
) -> None:
    """The strongest that does is that whose ice reaches the 95th percentile of what a plug needs.

    That is 0.6 to 0.95 all alike: at 95 % 0.95, and a hundredth.
    """
    solution = Solution(point_of(fluid=solution_of("propylene_glycol", concentration)))
    reason = one(assess.blockers(solution))
    need = solution.cases.input("ice_fraction")
    strongest = solutions.strongest(float(need.at(float(norm.ppf(0.95)))) + assess.ALMOST)
    check(
        reason, code, severity, figure="inputs.fluid.concentration",
        value=Amount(concentration, "fraction"), limit=Amount(strongest, "fraction"),
        chance=solution.freezing_chance,
    )  # fmt: skip
    assert f"{100 * solution.cases.most_ice:.0f} %" in reason.text
    assert ("stays slush" in reason.text) is (solution.freezing_chance <= 0.0)
    stops = severity is STOP
    assert (reason.action == assess.DO_NOT_FREEZE) is stops
    assert (f"{100 * strongest:.0f} %" in reason.action) is not stops


def test_a_room_at_the_freezing_point() -> None:
    cold = Ambient(temperature=ZERO_C)
    reason = one(assess.of_line(Solution(point_of(ambient=cold))))
    check(
        reason, "room-below-freezing", WARN, figure="inputs.ambient.temperature",
        value=Amount(ZERO_C, "temperature"), limit=Amount(ZERO_C, "temperature"),
    )  # fmt: skip
    assert "0.0 degC" in reason.text
    assert "burst" in reason.text
    warmer = Ambient(temperature=ZERO_C + 0.01)
    assert assess.of_line(Solution(point_of(ambient=warmer))) == ()


def test_a_pipe_that_a_condition_hangs_on() -> None:
    reason = one(assess.of_line(Solution(point_of(PVC))))
    check(reason, "pipe-material", WARN, figure="inputs.pipe.material")
    assert reason.text == point_of(PVC).material.condition
    assert "in writing" in reason.action


def test_a_line_above_its_rating() -> None:
    rating = known(HALF_INCH.rating)
    over = point_of(line_pressure=rating * 1.01)
    reason = one(assess.of_line(Solution(over)))
    check(
        reason, "over-rating", STOP, figure="inputs.line_pressure",
        value=Amount(rating * 1.01, "pressure"), limit=Amount(rating, "pressure"),
    )  # fmt: skip
    assert "it is rated for" in reason.text
    assert f"{rating / 1e5:.2f} bar" in reason.text
    assert assess.of_line(Solution(point_of(line_pressure=rating))) == ()


def test_a_bore_that_may_not_freeze_shut() -> None:
    """Wide PVC under a weak jacket; what decides and what it is held against."""
    wide = pipes.find("ASTM D1785", "4", "80")
    found: dict[str, Reason] = {}
    for conductance in (28.0, 30.0, 32.0, 34.0, 36.0, 40.0, 45.0, 50.0, 60.0):
        solution = Solution(point_of(wide, jacket=Jacket(conductance=conductance)))
        chance = solution.closing_chance
        for reason in assess._of_closing(solution):
            found[reason.code] = reason
            likely_closure = None if chance < 0.5 else likely(solution.closure)
            value = None if likely_closure is None else Amount(likely_closure, "time")
            severity = STOP if chance < 0.5 else WARN
            code = "never-closes" if chance < 0.5 else "may-not-close"
            check(reason, code, severity, figure="closure", value=value, limit=LONGEST,
                  chance=chance)  # fmt: skip
            assert f"{int(100 * chance)} %" in reason.text
            assert ("may not" in reason.text) is (severity is WARN)
    assert set(found) == {"never-closes", "may-not-close"}


@pytest.mark.parametrize(
    ("flow", "code", "severity"), [(1e-3, "flowing", STOP), (1.6e-4, "flow-near-limit", WARN)]
)
def test_a_flow_that_keeps_it_open(flow: float, code: str, severity: Severity) -> None:
    solution = Solution(point_of(fluid=water(flow=flow)))
    reason = one(assess._of_closing(solution))
    limit = solution.at_least(solution.flow_limits) or 0.0
    check(
        reason, code, severity, figure="inputs.fluid.flow", value=Amount(flow, "mass_flow"),
        limit=Amount(limit, "mass_flow"), chance=solution.closing_chance,
    )  # fmt: skip
    assert limit < flow
    assert f"{3600 * flow:.3g} kg/h" in reason.text
    assert "prove that the line is still" in reason.action


def test_a_plug_that_is_too_short_or_carries_too_little() -> None:
    """Short of pressure first; where that is enough, of a bore's length."""
    weak = Solution(point_of(TWO_INCH, line_pressure=40e5, safety_factor=8.0))
    reason = one(assess._of_ready(weak))
    carried = weak.at_least(weak.carries(weak.grown_at_last(Of.GRIP), weak.strength))
    assert weak.ready_chance < 0.5
    check(
        reason, "never-ready", STOP, figure="holding_pressure",
        value=Amount(known(carried), "pressure"), limit=Amount(40e5, "pressure"),
        chance=weak.ready_chance,
    )  # fmt: skip
    assert "40.00 bar" in reason.text
    assert "safety factor of 8" in reason.text
    assert not reason.action.endswith("cutting.")


def test_a_plug_that_is_short_of_its_length() -> None:
    wide = pipes.find("ASTM B88", "4", "L")
    slim = Solution(
        point_of(wide, 0.5, 49.0, line_pressure=0.0, jacket=Jacket(length=0.02, conductance=400.0))
    )
    name, value, limit = assess._short_of(slim)
    length = slim.at_least(slim.grown_at_last(Of.SOUND)) or 0.0
    assert (name, value) == ("plug_length", Amount(length, "length"))
    assert limit == Amount(slim.point.bore, "length")


def test_a_plug_that_may_not_be_ready_is_proved_first() -> None:
    solution = Solution(point_of(TWO_INCH, line_pressure=36e5, safety_factor=3.0))
    reason = one(assess._of_ready(solution))
    assert 0.5 < solution.ready_chance < 0.95
    assert (reason.code, reason.severity) == ("may-not-be-ready", WARN)
    assert reason.chance == solution.ready_chance
    assert reason.action.endswith("; prove the plug before cutting.")


def frost(time: float) -> Observation:
    """Frost seen at a time [s]."""
    return Frost(kind=Kind.FROST, elapsed=time)


@pytest.mark.parametrize(
    ("late", "severity", "limit"), [(480.0, WARN, seen.UNLIKELY), (1500.0, STOP, seen.ABSURD)]
)
def test_what_is_seen_and_does_not_fit(late: float, severity: Severity, limit: float) -> None:
    """The worst of what was seen is named, which is not the first."""
    none_yet = NoFrost(kind=Kind.NO_FROST, elapsed=60.0)
    solution = Solution(point_of(observations=(none_yet, frost(late))))
    reason = one(assess._of_seen(solution))
    evidence = known(solution.evidence)
    assert evidence.least == evidence.foretold[1].probability
    check(
        reason, "observations-do-not-fit", severity, figure="learned.observations.1.probability",
        value=Amount(evidence.least, "factor"), limit=Amount(limit, "factor"),
        chance=evidence.least, at=late,
    )  # fmt: skip
    assert f"{late:.0f} s after the first feed (frost)" in reason.text
    assert ("those from before" in reason.text) is (severity is STOP)
    assert "Do not cut" in reason.action


def test_what_is_seen_and_fits_is_no_reason() -> None:
    assert assess._of_seen(Solution(point_of(observations=(frost(230.0),)))) == []
    assert assess._of_seen(Solution(point_of())) == []


def test_what_is_seen_where_no_plug_is_expected() -> None:
    slush = solution_of("propylene_glycol", 0.30)
    solution = Solution(point_of(fluid=slush, observations=(frost(230.0),)))
    reason = one(assess._of_seen(solution))
    check(reason, "observations-not-used", WARN, figure="inputs.observations")
    assert "tells nothing" in reason.text


@pytest.mark.parametrize(
    ("pipe", "room", "code"),
    [(HALF_INCH, 2.5, "may-not-thaw"), (PVC, -5.0, "does-not-thaw"), (PVC, 1.0, "does-not-thaw")],
)
def test_a_plug_that_may_not_thaw_by_itself(pipe: pipes.Pipe, room: float, code: str) -> None:
    request = request_of(HoldTimeRequest, pipe, 5.0, room, hold=1800.0)
    solution = Solution(request, 1800.0)
    told = {r.code: r for r in hold_time.reasons(solution)}
    chance = solution.thawing_chance
    assert (chance < 0.5) is (code == "does-not-thaw")
    thaw = solution.thaw
    value = None if thaw is None else Amount(thaw.likely, "time")
    check(
        told[code], code, WARN, figure="thaw", value=value,
        limit=Amount(fading.LONGEST_THAW, "time"), chance=chance,
    )  # fmt: skip
    assert told[code].action == hold_time.HELP


def test_the_course_of_a_hold_by_hand() -> None:
    """Thirteen stops from planned ready to the end; nothing of a hold of no length."""
    solution = Solution(request_of(HoldTimeRequest, TWO_INCH, hold=HOUR), HOUR)
    course = hold_time.course(solution)
    assert len(course.time) == hold_time.POINTS == len(course.high)
    assert course.time[0] == solution.planned_ready
    assert course.time[-1] == pytest.approx(known(solution.planned_ready) + HOUR)
    last = known(solution.survival)
    ends = (course.low[-1], course.likely[-1], course.high[-1])
    assert ends == pytest.approx((last.low, last.likely, last.high))
    assert hold_time.course(Solution(solution.point, 0.0)) == hold_time.SurvivalCourse()


def test_a_hold_that_never_fades_is_told_a_day() -> None:
    cold = request_of(HoldTimeRequest, PVC, 5.0, -5.0, hold=1800.0)
    course = hold_time.course(Solution(cold, 1800.0))
    assert course.high[-1] == pytest.approx(fading.LONGEST_THAW)


def test_the_figures_of_a_hold_are_those_of_its_solution() -> None:
    request = request_of(HoldTimeRequest, TWO_INCH, hold=HOUR)
    solution, figures = Solution(request, HOUR), hold_time.hold_time(request).figures
    assert figures.survival_at_closure == solution.survival_at_closure
    assert figures.holding_pressure == solution.held_pressure
    assert known(figures.holding_pressure).low > 0.0
    assert figures.growth == growth.growth(solution)
    slush = replace(request, fluid=solution_of("propylene_glycol", 0.30))
    assert hold_time.hold_time(slush).figures == hold_time.HoldTimeFigures()
    told = hold_time.hold_time(replace(request, observations=(frost(300.0),))).learned
    assert known(told).observations[0].elapsed == 300.0


def test_a_hold_of_what_closes_and_is_never_ready() -> None:
    """Not hopeless, but nothing is planned: no figure of a hold, and no reason of its thaw."""
    weak = request_of(HoldTimeRequest, TWO_INCH, hold=HOUR, line_pressure=40e5, safety_factor=8.0)
    solution = Solution(weak, HOUR)
    assert not solution.hopeless
    assert not solution.is_planned
    assert hold_time.figures(solution) == hold_time.HoldTimeFigures()
    assert hold_time.reasons(solution) == assess.reasons(solution)
    assert hold_time.course(solution) == hold_time.SurvivalCourse()


def extra(point: FreezePoint) -> list[Caution]:
    """The cautions of a freeze beyond those of every one."""
    found = cautions.of_freeze(point)
    assert found[: len(cautions.GENERAL)] == cautions.GENERAL
    return list(found[len(cautions.GENERAL) :])


def test_cautions_of_a_freeze() -> None:
    assert extra(point_of()) == []
    (plastic,) = extra(point_of(PVC))
    material = point_of(PVC).material
    assert (plastic.code, plastic.text) == (material.caution_code, material.caution)
    assert plastic.severity is WARN
    assert extra(point_of(fluid=water(cautions.WARM - ZERO_C))) == []
    (warm,) = extra(point_of(fluid=water(cautions.WARM - ZERO_C + 0.01)))
    assert (warm.code, warm.severity) == ("warm-fluid", WARN)
    assert "room temperature" in warm.text
    (cold,) = extra(point_of(ambient=Ambient(temperature=ZERO_C)))
    assert (cold.code, cold.severity) == ("freezing-room", WARN)
    assert "burst damage is likely" in cold.text


def test_cautions_of_a_cold_cylinder() -> None:
    def told(kelvin: float) -> tuple[Caution, ...]:
        return cautions.of_cylinder(point_of(cylinder=Cylinder(temperature=kelvin)))

    assert told(cautions.COLD_CYLINDER) == cautions.CYLINDER
    *rest, cold = told(cautions.COLD_CYLINDER - 0.01)
    assert tuple(rest) == cautions.CYLINDER
    assert (cold.code, cold.severity) == ("cold-cylinder", WARN)
    assert cold.text.startswith("A cold cylinder")
    assert cold.text.endswith("room temperature first.")


@pytest.mark.parametrize("pipe", [HALF_INCH, TWO_INCH], ids=["below", "above"])
def test_a_pipe_outside_a_calibration(pipe: pipes.Pipe) -> None:
    """Its reach is a factor on the thinnest and the thickest of its records."""
    factor = Factor(p05=0.8, p50=1.0, p95=1.2)
    made = Calibration(
        model_version="3.0.0", records=9, jacket_conductance=factor, jacket_filling=factor,
        capture=factor, least_diameter=0.028, greatest_diameter=0.030,
    )  # fmt: skip
    wide = pipe.outside_diameter
    reason = one(assess.of_line(Solution(point_of(pipe, calibration=made))))
    limit = 0.030 * REACH if wide > 0.03 else 0.028 / REACH
    check(
        reason, "outside-calibration", WARN, figure="inputs.pipe.outside_diameter",
        value=Amount(wide, "length"), limit=Amount(limit, "length"),
    )  # fmt: skip
    assert "28 to 30 mm" in reason.text
    assert f"{1e3 * wide:.0f} mm" in reason.text


def frost_reason(pipe: pipes.Pipe = HALF_INCH, /, **told: Any) -> tuple[Reason, Any]:
    """The reason of a frost check and its figures."""
    answer = frost_check.frost_check(request_of(FrostCheckRequest, pipe, **told))
    codes = {r.code: r for r in answer.reasons if "frost" in r.code}
    return one(tuple(codes.values())), answer.figures


@pytest.mark.parametrize(
    ("elapsed", "seen_", "code", "severity", "share"),
    [
        (30.0, True, "frost-early", STOP, frost_check.EARLY_SHARE),
        (90.0, True, "frost-early", WARN, 1.0),
        (900.0, False, "frost-overdue", STOP, None),
        (60.0, False, "frost-too-early", WARN, None),
    ],
)
def test_frost_against_when_it_is_expected(
    elapsed: float, seen_: bool, code: str, severity: Severity, share: float | None
) -> None:
    """Held against the end of the range that it is beyond, or half of its low end."""
    reason, figures = frost_reason(elapsed=elapsed, frost_seen=seen_)
    by = figures.frost_by
    limit = by.longest if share is None else share * by.low
    check(
        reason, code, severity, figure="inputs.elapsed", value=Amount(elapsed, "time"),
        limit=Amount(limit, "time"), chance=figures.chance_of_no_frost, at=elapsed,
    )  # fmt: skip
    assert f"{limit:.0f} s" in reason.text
    assert ("Do not cut" in reason.action) is (severity is STOP)


def test_frost_at_its_fifth_percentile_is_as_expected() -> None:
    by = frost_check.frost_check(
        request_of(FrostCheckRequest, elapsed=300.0, frost_seen=True)
    ).figures.frost_by
    low = known(by).low
    answer = frost_check.frost_check(request_of(FrostCheckRequest, elapsed=low, frost_seen=True))
    assert answer.reasons == ()
    reason, _ = frost_reason(elapsed=low - 0.01, frost_seen=True)
    assert reason.severity is WARN
    reason, _ = frost_reason(elapsed=frost_check.EARLY_SHARE * low, frost_seen=True)
    assert reason.severity is WARN


def test_frost_that_dry_air_hides() -> None:
    """The air's frost point is held against the least at which frost shows."""
    reason, figures = frost_reason(elapsed=600.0, frost_seen=False, relative_humidity=0.0)
    check(
        reason, "no-frost-dry-air", WARN, figure="frost_point",
        value=Amount(figures.frost_point, "temperature"),
        limit=Amount(frost_check.DRIEST, "temperature"),
    )  # fmt: skip
    assert figures.frost_point < frost_check.DRIEST


def test_frost_that_a_warm_wall_keeps_away() -> None:
    hot = Ambient(temperature=ZERO_C + 45.0)
    pipe = pipes.find("ASTM D1785", "4", "80")
    reason, _ = frost_reason(pipe, elapsed=900.0, frost_seen=False, ambient=hot)
    solution = Solution(
        request_of(FrostCheckRequest, pipe, elapsed=900.0, frost_seen=False, ambient=hot)
    )
    coldest = frost_check.coldest_beside(solution, freeze.FROST_DISTANCE)
    codes = {
        "no-frost-warm-wall": (None, Amount(coldest, "temperature"), Amount(ZERO_C, "temperature")),
        "no-frost-after-two-hours": ("frost_by", None, Amount(freeze.LATEST_FROST, "time")),
    }
    figure, value, limit = codes[reason.code]
    check(reason, reason.code, WARN, figure=figure, value=value, limit=limit)
    assert (coldest > ZERO_C) is (reason.code == "no-frost-warm-wall")


def test_cautions_of_feeding_and_of_a_whole_job() -> None:
    """Those of the freeze, of its cylinder, and of the work: none twice."""
    point = point_of(PVC, cylinder=Cylinder(temperature=ZERO_C - 5.0))
    feeding, job = cautions.of_feeding(point), cautions.of_job(point)
    assert feeding == (*cautions.of_freeze(point), *cautions.of_cylinder(point))
    assert job == (*feeding, *cautions.WORK)
    codes = [c.code for c in job]
    assert len(codes) == len(set(codes))
    assert {"cold-pvc", "cold-cylinder", "no-flame-thaw"} <= set(codes)
