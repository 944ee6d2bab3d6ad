"""Spacing: each rule at its edge, trapped water by a published value and by hand."""

import pytest
from iapws import IAPWS95

from estimates.jobs import HOUR, TWO_INCH, high, point_of, request_of
from stillpipe.estimates.hold_time import hold_time
from stillpipe.estimates.spacing import SpacingFigures, spacing
from stillpipe.model.figures import Answer, Verdict
from stillpipe.model.requests import HoldTimeRequest, SpacingRequest
from stillpipe.model.site import Place, PlaceKind
from stillpipe.physics import trapped
from stillpipe.tables import materials, pipes

COPPER = pipes.find("ASTM B88", "2", "L")
INCH = 0.0254


def place(name: str, kind: str, at: float) -> Place:
    """A place of a ``kind``, ``at`` [m] along the pipe."""
    return Place(name=name, kind=PlaceKind(kind), at=at)


def run(*places: tuple[str, str, float], hold: float = HOUR) -> Answer[SpacingFigures]:
    """The answer for 2 in steel with these ``places``, plugs kept for ``hold`` [s]."""
    return spacing(
        request_of(SpacingRequest, TWO_INCH, places=tuple(place(*p) for p in places), hold=hold)
    )


def codes(answer: Answer[SpacingFigures]) -> set[str]:
    return {r.code for r in answer.reasons}


@pytest.fixture(scope="module")
def longest() -> float:
    """The longest plug after an hour's hold [m]."""
    return high(hold_time(request_of(HoldTimeRequest, TWO_INCH, hold=HOUR)).figures.plug_length)


def test_bulk_modulus_is_that_of_iapws() -> None:
    """1.965 GPa at 0 C; IAPWS-95, 0.5 %."""
    kelvin = 273.16
    low, high_ = IAPWS95(T=kelvin, P=0.1), IAPWS95(T=kelvin, P=1.1)
    modulus = low.rho * 1e6 / (high_.rho - low.rho)
    assert pytest.approx(1.965e9, rel=0.005) == trapped.WATER_BULK_MODULUS
    assert pytest.approx(modulus, rel=0.01) == trapped.WATER_BULK_MODULUS


@pytest.mark.parametrize(
    ("pipe", "megapascal"),
    [(None, 1.78), (TWO_INCH, 1.57), (COPPER, 1.21)],
    ids=["rigid", "s", "c"],
)
def test_pressure_for_each_percent_frozen(pipe: pipes.Pipe | None, megapascal: float) -> None:
    """Rigid, NPS 2 steel, 2 in type L copper: computed with IAPWS-95 and Lame, 3 %."""
    compliance = 0.0
    if pipe is not None:
        metal = materials.find(pipe.material)
        compliance = trapped.widening(
            pipe.outside_diameter, pipe.wall, metal.youngs_modulus, metal.poisson_ratio
        )
    assert trapped.rise(0.01, compliance) / 1e6 == pytest.approx(megapascal, rel=0.03)


def test_a_closed_tube_goes_beyond_a_thousand_bar() -> None:
    """Above 1,000 bar was measured in a closed tube (JKAU Eng. Sci. 16(1), 2005).

    And below the 208.6 MPa at which ice Ih ends (IAPWS R14-08).
    """
    assert 1e8 < trapped.rise(1.0, 0.0) < 208.6e6


def test_unvented_water_between_two_plugs_is_a_stop() -> None:
    pair = (("a", "freeze-point", 0.0), ("b", "freeze-point", 1.5))
    closed = run(*pair)
    assert closed.verdict is Verdict.NO_GO
    assert "trapped-water" in codes(closed)
    vented = run(*pair, ("drain cock", "vent", 0.7))
    assert vented.verdict is Verdict.GO
    assert vented.figures.trapped_water[0].vented


def test_a_vent_within_the_ice_lets_no_water_out(longest: float) -> None:
    """Under the jacket, or where the plug has grown to by the hold's end."""
    pair = (("a", "freeze-point", 0.0), ("b", "freeze-point", 1.5))
    for at in (0.02, 0.5 * longest, 1.5 - 0.5 * longest):
        found = run(*pair, ("drain cock", "vent", at))
        assert (found.verdict, codes(found)) == (Verdict.NO_GO, {"too-near-vent"})


def test_a_cut_is_no_vent_before_it_is_made() -> None:
    found = run(("a", "freeze-point", 0.0), ("c", "cut", 0.7), ("b", "freeze-point", 1.5))
    assert found.verdict is Verdict.NO_GO


def test_jackets_stay_a_foot_apart_edge_to_edge() -> None:
    """12 in: common practice, no source."""
    need = point_of(TWO_INCH).jacket.length + 12 * INCH
    vent = ("v", "vent", 0.1)
    for apart, verdict in ((need + 0.001, "go"), (need - 0.001, "conditional"), (0.3, "no-go")):
        found = run(("a", "freeze-point", 0.0), vent, ("b", "freeze-point", apart))
        rule = next(r for r in found.figures.rules if r.rule == "jackets")
        assert rule.verdict == Verdict(verdict)
        assert rule.required == pytest.approx(need)


@pytest.mark.parametrize("kind", ["cut", "heat-source", "fitting", "valve", "vent", "support"])
def test_what_is_too_near_a_freeze_point_is_named(kind: str) -> None:
    near = run(("a", "freeze-point", 1.0), ("it", kind, 1.03))
    far = run(("a", "freeze-point", 1.0), ("it", kind, 2.5))
    rule = near.figures.rules[0]
    assert near.verdict is Verdict.NO_GO
    assert f"too-near-{rule.rule}" in codes(near)
    assert rule.between == ("a", "it")
    assert rule.reason
    assert rule.source
    assert far.verdict is Verdict.GO


@pytest.mark.parametrize(
    ("kind", "from_plug", "from_jacket"),
    [("cut", 2.0, None), ("heat-source", 24.0, None), ("fitting", 0.0, 2.0), ("valve", 0.0, 2.0),
     ("vent", 0.0, 2.0), ("support", None, 2.0)],
)  # fmt: skip
def test_the_distance_to_each_kind_by_hand(
    kind: str, from_plug: float | None, from_jacket: float | None, longest: float
) -> None:
    """From the jacket's middle, so many inches beyond the end of the plug or of the jacket.

    Half the longest plug, a quarter added for what is not known; half a jacket that is 25 mm longer
    than the pipe is wide. 24 in to a torch, 2 in to a cut and of clear pipe: common practice, no
    source.
    """
    plug, jacket = 0.5 * 1.25 * longest, 0.5 * (0.025 + 60.325e-3)
    ends = ((plug, from_plug), (jacket, from_jacket))
    expected = max(end + inches * INCH for end, inches in ends if inches is not None)
    rule = run(("a", "freeze-point", 1.0), ("it", kind, 2.5)).figures.rules[0]
    assert rule.required == pytest.approx(expected, rel=1e-3)
    assert rule.actual == pytest.approx(1.5)


def test_a_little_too_near_is_conditional(longest: float) -> None:
    """Within a tenth of what is required."""
    required = 0.5 * 1.25 * longest + 2.0 * INCH
    for share, code in ((1.01, set()), (0.95, {"near"}), (0.85, {"too-near-cut"})):
        answer = run(("a", "freeze-point", 1.0), ("it", "cut", 1.0 + share * required))
        assert codes(answer) - {"one-plug"} == code


def test_room_for_growth_comes_from_the_solver(longest: float) -> None:
    found = run(("a", "freeze-point", 0.0), ("v", "vent", 0.5), ("b", "freeze-point", 1.0))
    rule = next(r for r in found.figures.rules if r.rule == "plugs")
    assert rule.required == pytest.approx(1.25 * longest)
    to_a_cut = (("a", "freeze-point", 0.0), ("c", "cut", 1.0))
    short, long = (run(*to_a_cut, hold=hold).figures.rules[0] for hold in (60.0, HOUR))
    assert short.required < long.required


def test_a_run_without_a_freeze_point_is_a_no_go() -> None:
    answer = run(("c", "cut", 1.0))
    assert (answer.verdict, "no-freeze-point" in codes(answer)) == (Verdict.NO_GO, True)
