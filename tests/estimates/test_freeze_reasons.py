"""Every reason that lies in a freeze, on freezes whose chances and figures are laid down."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from estimates.by_hand import rising
from estimates.jobs import HALF_INCH, TWO_INCH, ZERO_C, known, point_of, solution_of, water
from estimates.test_reasons import check
from stillpipe.estimates import assess
from stillpipe.model.calibration import REACH
from stillpipe.model.cylinder import CylinderTemperature
from stillpipe.model.figures import Amount, Range, Reason, Severity
from stillpipe.model.freeze_point import Ambient
from stillpipe.physics import co2, freeze, solutions
from stillpipe.tables import pipes

STOP, WARN = Severity.STOP, Severity.WARN
LONGEST = Amount(freeze.LONGEST_FREEZE, "time")
PVC = pipes.find("ASTM D1785", "1", "40")
ICE = SimpleNamespace(low=0.6, high=0.95, at=norm.cdf)
"""Of what a plug needs of ice as much is enough at a probability as that is."""


def frozen(**changes: Any) -> Any:
    """Water at rest in half-inch copper that closes and gets ready for sure, but for ``changes``.

    A chance of 95 % decides; the figure that is then reached is the 5th percentile.
    """
    given: dict[str, Any] = {
        "point": point_of(), "is_sure": lambda chance: chance >= 0.95, "stays_slush": False,
        "at_least": lambda values: float(np.sort(values)[4]),
        "cases": SimpleNamespace(is_water=True, most_ice=0.4, input={"ice_fraction": ICE}.get),
        "freezing_chance": 1.0, "closing_chance": 1.0, "ready_chance": 1.0, "evidence": None,
        "closure": None, "flow_limits": rising(0.0, 1e-6),
    }  # fmt: skip
    return SimpleNamespace(**(given | changes))


def codes(found: Any) -> list[str]:
    return [r.code for r in found]


def only(found: Any) -> Reason:
    (reason,) = found
    return reason  # type: ignore[no-any-return]


def fed_at(kelvin: float, **changes: Any) -> Any:
    return frozen(point=point_of(cylinder=CylinderTemperature(temperature=kelvin)), **changes)


@pytest.mark.parametrize(
    ("kelvin", "code", "severity", "limit"),
    [
        (assess.LIQUID_ENDS + 0.01, "cylinder-near-critical", WARN, assess.LIQUID_ENDS),
        (co2.CRITICAL - 0.01, "cylinder-near-critical", WARN, assess.LIQUID_ENDS),
        (co2.CRITICAL, "no-liquid-co2", STOP, co2.CRITICAL),
        (co2.CRITICAL + 9.0, "no-liquid-co2", STOP, co2.CRITICAL),
    ],
)
def test_a_cylinder_is_held_against_where_its_liquid_ends(
    kelvin: float, code: str, severity: Severity, limit: float
) -> None:
    reason = only(assess.blockers(fed_at(kelvin)))
    check(
        reason, code, severity, figure="inputs.cylinder.temperature",
        value=Amount(kelvin, "temperature"), limit=Amount(limit, "temperature"),
    )  # fmt: skip
    assert reason.text.startswith(f"The cylinder is at {kelvin - ZERO_C:.1f} degC: above ")
    assert ("it holds no liquid" in reason.text) is (severity is STOP)
    assert reason.action.startswith("Cool the cylinder below 26.8 degC before the first feed")


def test_a_cylinder_that_is_just_cool_enough_is_no_reason() -> None:
    assert assess.blockers(fed_at(assess.LIQUID_ENDS)) == ()


@pytest.mark.parametrize("kelvin", [290.0, 300.0])
def test_what_cylinder_and_ice_stand_in_the_way_of_is_told_together(kelvin: float) -> None:
    found = codes(assess.blockers(fed_at(kelvin, freezing_chance=0.6)))
    warm = ["cylinder-near-critical"] if kelvin > 299.0 else []
    assert found == [*warm, "may-stay-slush"]


def glycol(chance: float) -> Any:
    """A quarter of glycol, on which a chance of 90 % decides."""
    point = point_of(fluid=solution_of("propylene_glycol", 0.25), decision_probability=0.9)
    return frozen(point=point, freezing_chance=chance)


@pytest.mark.parametrize(
    ("chance", "code", "severity", "says"),
    [
        (0.0, "slush", STOP, "percentile). It stays slush."),
        (0.3, "slush", STOP, "percentile). The chance that it freezes to a plug is 30 % at most."),
        (0.499, "slush", STOP, "a plug is 49 % at most."),
        (0.5, "may-stay-slush", WARN, "a plug is 50 % at most."),
        (0.949, "may-stay-slush", WARN, "a plug is 94 % at most."),
    ],
)
def test_a_fluid_is_held_against_the_ice_that_a_plug_needs(
    chance: float, code: str, severity: Severity, says: str
) -> None:
    """At 90 % a plug needs 0.9 of ice and a hundredth: a solution as weak as has that."""
    reason = only(assess.blockers(glycol(chance)))
    strongest = solutions.strongest(0.91)
    check(
        reason, code, severity, figure="inputs.fluid.concentration", chance=chance,
        value=Amount(0.25, "fraction"), limit=Amount(pytest.approx(strongest), "fraction"),
    )  # fmt: skip
    assert reason.text.startswith("At most 40 % of this fluid turns to ice; a plug needs from 60 ")
    assert reason.text.endswith(says)
    if severity is STOP:
        assert reason.action.startswith("Do not freeze this line: drain it")
    else:
        told = f"Fill the stretch with a solution of {100.0 * strongest:.0f} % or weaker"
        assert reason.action.startswith(told)


def test_a_fluid_that_holds_enough_ice_for_sure_is_no_reason() -> None:
    assert assess.blockers(glycol(0.95)) == ()


def test_a_chance_is_told_rounded_down() -> None:
    assert [assess.percent(p) for p in (0.0, 0.29, 0.2999, 1.0)] == ["0 %", "29 %", "29 %", "100 %"]


def test_a_line_is_held_against_what_its_pipe_is_rated_for() -> None:
    rating = known(HALF_INCH.rating)
    reason = only(assess.of_line(frozen(point=point_of(line_pressure=1.5 * rating))))
    check(
        reason, "over-rating", STOP, figure="inputs.line_pressure",
        value=Amount(1.5 * rating, "pressure"), limit=Amount(rating, "pressure"),
    )  # fmt: skip
    assert f"is above what it is rated for, {rating / 1e5:.2f} bar." in reason.text
    assert assess.of_line(frozen(point=point_of(line_pressure=rating))) == ()


def test_of_a_pipe_without_a_rating_it_is_said_that_its_stress_gives_one() -> None:
    point = point_of(TWO_INCH, line_pressure=5e7)
    reason = only(assess.of_line(frozen(point=point)))
    assert "is above what its allowable stress gives, " in reason.text
    assert reason.limit == Amount(point.pressure_rating, "pressure")


def made_on(reaches: bool) -> Any:
    """A calibration of pipes of 20 to 30 mm, which holds for every pipe or for none."""
    return SimpleNamespace(
        reaches=lambda wide: reaches and wide > 0.0, least_diameter=0.02, greatest_diameter=0.03
    )  # fmt: skip


@pytest.mark.parametrize(
    ("pipe", "limit", "wide"), [(HALF_INCH, 0.02 / REACH, "16"), (TWO_INCH, 0.03 * REACH, "60")]
)
def test_a_pipe_is_held_against_those_of_its_calibration(
    pipe: pipes.Pipe, limit: float, wide: str
) -> None:
    known_of = replace(point_of(pipe), calibration=made_on(reaches=False))
    reason = only(assess.of_line(frozen(point=known_of)))
    check(
        reason, "outside-calibration", WARN, figure="inputs.pipe.outside_diameter",
        value=Amount(pipe.outside_diameter, "length"), limit=Amount(limit, "length"),
    )  # fmt: skip
    assert reason.text.startswith("The calibration was made on pipes of 20 to 30 mm outside")
    assert f"this one of {wide} mm is far from them" in reason.text
    near = replace(known_of, calibration=made_on(reaches=True))
    assert assess.of_line(frozen(point=near)) == ()


def test_a_room_is_held_against_the_fluids_freezing_point() -> None:
    """That of water, at which the line freezes by itself already."""
    reason = only(assess.of_line(frozen(point=point_of(ambient=Ambient(temperature=ZERO_C)))))
    check(
        reason, "room-below-freezing", WARN, figure="inputs.ambient.temperature",
        value=Amount(ZERO_C, "temperature"), limit=Amount(ZERO_C, "temperature"),
    )  # fmt: skip
    assert reason.text.startswith("The room, 0.0 degC, is no warmer than the fluid's freezing")
    warmer = point_of(ambient=Ambient(temperature=ZERO_C + 0.01))
    assert assess.of_line(frozen(point=warmer)) == ()


def test_all_reasons_of_a_line_are_told_pressure_material_calibration_and_room() -> None:
    point = point_of(PVC, line_pressure=4e6, ambient=Ambient(temperature=ZERO_C - 5.0))
    found = assess.of_line(frozen(point=replace(point, calibration=made_on(reaches=False))))
    assert codes(found) == [
        "over-rating", "pipe-material", "outside-calibration", "room-below-freezing",
    ]  # fmt: skip
    check(found[1], "pipe-material", WARN, figure="inputs.pipe.material")
    assert found[1].text == point.material.condition
    assert found[1].action.startswith("Have the agreement in writing")


def test_one_reason_that_stops_the_job_stops_it() -> None:
    warning, stopping = assess.warn("a", "A."), assess.stop("b", "B.")
    assert assess.is_stopped((warning, stopping))
    assert not assess.is_stopped((warning, warning))
    assert not assess.is_stopped(())


@pytest.mark.parametrize("slush", [True, False])
def test_reasons_come_in_their_order_and_those_of_solving_not_of_slush(
    monkeypatch: pytest.MonkeyPatch, slush: bool
) -> None:
    solution = frozen(stays_slush=slush)

    def told(name: str) -> Any:
        def of(given: Any) -> tuple[str, ...]:
            assert given is solution
            return (name,)

        return of

    for name in ("blockers", "of_line", "_of_seen", "_of_closing", "_of_ready"):
        monkeypatch.setattr(assess, name, told(name))
    found = ("blockers", "of_line", "_of_seen")
    assert assess.reasons(solution) == (found if slush else (*found, "_of_closing", "_of_ready"))


@pytest.mark.parametrize(
    ("chance", "closure", "code", "value"),
    [
        (0.3, Range(1.0, 2.0, 3.0), "never-closes", None),
        (0.5, Range(1.0, 2.0, 3.0), "may-not-close", Amount(2.0, "time")),
        (0.94, Range(1.0, 7.0, None), "may-not-close", Amount(7.0, "time")),
        (0.6, None, "may-not-close", None),
    ],
)
def test_a_bore_that_may_not_freeze_shut_is_told_with_its_likely_closure(
    chance: float, closure: Range | None, code: str, value: Amount | None
) -> None:
    """Where that comes as likely as not."""
    reason = only(assess._of_closing(frozen(closing_chance=chance, closure=closure)))
    severity = STOP if code == "never-closes" else WARN
    check(reason, code, severity, figure="closure", value=value, limit=LONGEST, chance=chance)
    shut = "does not freeze shut" if severity is STOP else "may not freeze shut"
    assert reason.text.startswith(f"The bore {shut} within 4 h: the chance is ")
    assert reason.action.startswith("Let the line cool first, use a longer jacket")
    assert reason.action.endswith(" narrower.")


def test_a_bore_that_freezes_shut_for_sure_is_no_reason() -> None:
    assert assess._of_closing(frozen(closing_chance=0.95)) == []


@pytest.mark.parametrize(
    ("chance", "limit", "code", "says"),
    [
        (0.3, 5e-6, "flowing", "The flow, 0.72 kg/h, carries in more heat than the jacket can"),
        (0.5, 5e-6, "flow-near-limit", "The flow, 0.72 kg/h, is near the most that can be frozen"),
        (0.3, 2e-4, "flowing", "Against the flow, 0.72 kg/h, the bore freezes shut within 4 h"),
        (0.5, 3e-4, "flow-near-limit", "Against the flow, 0.72 kg/h, the bore freezes shut with"),
        (0.3, 1.9e-4, "flowing", "The flow, 0.72 kg/h, carries in more heat than the jacket can"),
    ],
)
def test_a_flow_is_held_against_the_greatest_that_can_be_frozen(
    chance: float, limit: float, code: str, says: str
) -> None:
    """At the chance that decides, of the limits the 5th percentile; or what is to be said then."""
    flowing = frozen(
        point=point_of(fluid=water(flow=2e-4)), closing_chance=chance,
        flow_limits=rising(0.0, limit / 5.0),
    )  # fmt: skip
    reason = only(assess._of_closing(flowing))
    check(
        reason, code, STOP if code == "flowing" else WARN, figure="inputs.fluid.flow",
        value=Amount(2e-4, "mass_flow"), limit=Amount(pytest.approx(limit), "mass_flow"),
        chance=chance,
    )  # fmt: skip
    assert reason.text.startswith(says)
    assert reason.action.startswith("Stop the flow: close the valves on both sides")


def test_a_flow_is_held_against_none_where_none_can_be_frozen() -> None:
    flowing = frozen(
        point=point_of(fluid=water(flow=2e-4)), closing_chance=0.3, at_least=lambda _: None
    )  # fmt: skip
    assert only(assess._of_closing(flowing)).limit == Amount(0.0, "mass_flow")


def test_a_solution_that_may_not_close_in_time_is_told_as_water_is() -> None:
    """Its ice would do, and comes too slowly in some draws: no plain go."""
    cases = SimpleNamespace(is_water=False, most_ice=0.95)
    slow = frozen(cases=cases, closing_chance=0.82, ready_chance=0.79)
    assert codes(assess._of_closing(slow)) == ["may-not-close"]
    assert "may-not-close" in codes(assess.reasons(slow))
    even = frozen(cases=cases, closing_chance=0.5, ready_chance=0.5)
    assert codes(assess._of_closing(even)) == ["may-not-close"]
    lean = frozen(cases=cases, freezing_chance=0.9, closing_chance=0.82, ready_chance=0.79)
    assert codes(assess._of_closing(lean)) == [], "that its ice may not be enough is said"


@pytest.mark.parametrize(
    ("freezing", "closing", "told"),
    [(1.0, 0.3, True), (0.5, 0.499, True), (0.499, 0.3, False)],
)
def test_a_solution_whose_ice_would_do_and_does_not_come_stays_slush(
    freezing: float, closing: float, told: bool
) -> None:
    cases = SimpleNamespace(is_water=False)
    found = assess._of_closing(
        frozen(cases=cases, freezing_chance=freezing, closing_chance=closing)
    )
    assert codes(found) == (["slush"] if told else [])
    if told:
        check(found[0], "slush", STOP, figure="closure", limit=LONGEST, chance=closing)
        assert found[0].text.startswith("Within 4 h the bore does not come to the ice that a plug")
        assert found[0].action.startswith("Do not freeze this line: drain it")
