"""Spacing: each rule at its edge, trapped water by a published value and by hand."""

import pytest
from iapws import IAPWS95

from estimates.jobs import TWO_INCH, of
from stillpipe.estimates import hold_time
from stillpipe.estimates.spacing import Place, Spacing, spacing
from stillpipe.physics import trapped
from stillpipe.tables import pipes

COPPER = of(pipes.find("ASTM B88", "2", "L"))
HOUR = 3600.0


def run(*places: tuple[str, str, float]) -> Spacing:
    return spacing(TWO_INCH, HOUR, tuple(Place(*p) for p in places), None)


def test_bulk_modulus_is_that_of_iapws() -> None:
    """1.965 GPa at 0 C; IAPWS-95, 0.5 %."""
    kelvin = 273.16
    low, high = IAPWS95(T=kelvin, P=0.1), IAPWS95(T=kelvin, P=1.1)
    modulus = low.rho * 1e6 / (high.rho - low.rho)
    assert pytest.approx(1.965e9, rel=0.005) == trapped.WATER_BULK_MODULUS
    assert pytest.approx(modulus, rel=0.01) == trapped.WATER_BULK_MODULUS


@pytest.mark.parametrize(
    ("job", "megapascal"), [(None, 1.78), (TWO_INCH, 1.57), (COPPER, 1.21)], ids=["rigid", "s", "c"]
)
def test_pressure_for_each_percent_frozen(job: object, megapascal: float) -> None:
    """Rigid, NPS 2 steel, 2 in type L copper: computed with IAPWS-95 and Lame, 3 %."""
    wide = 0.0
    if job is not None:
        j = TWO_INCH if job is TWO_INCH else COPPER
        wide = trapped.widening(
            j.outside_diameter, j.wall, j.material.youngs_modulus, j.material.poisson_ratio
        )
    assert trapped.rise(0.01, wide) / 1e6 == pytest.approx(megapascal, rel=0.03)


def test_a_closed_tube_goes_beyond_a_thousand_bar() -> None:
    """Above 1,000 bar was measured in a closed tube (JKAU Eng. Sci. 16(1), 2005).

    And below the 208.6 MPa at which ice Ih ends (IAPWS R14-08).
    """
    assert 1e8 < trapped.rise(1.0, 0.0) < 208.6e6


def test_unvented_water_between_two_plugs_is_a_stop() -> None:
    pair = (("a", "freeze-point", 0.0), ("b", "freeze-point", 1.5))
    closed = run(*pair)
    assert closed.verdict == "no-go"
    assert "trapped-water" in {n.code for n in closed.reasons}
    assert closed.trapped[0].pressure > 0.05e6
    open_ = run(*pair, ("drain cock", "vent", 0.7))
    assert open_.verdict == "go"
    assert open_.trapped[0].vented


def test_a_cut_is_no_vent_before_it_is_made() -> None:
    found = run(("a", "freeze-point", 0.0), ("c", "cut", 0.7), ("b", "freeze-point", 1.5))
    assert found.verdict == "no-go"


def test_jackets_stay_a_foot_apart_edge_to_edge() -> None:
    """12 in: common practice, no source."""
    need = TWO_INCH.jacket_length + 12 * 0.0254
    vent = ("v", "vent", 0.1)
    for apart, verdict in ((need + 0.001, "go"), (need - 0.001, "conditional"), (0.3, "no-go")):
        found = run(("a", "freeze-point", 0.0), vent, ("b", "freeze-point", apart))
        rule = next(r for r in found.rules if r.rule == "jackets")
        assert (rule.verdict, rule.required) == (verdict, pytest.approx(need))


@pytest.mark.parametrize("kind", ["cut", "heat-source", "fitting", "valve", "support"])
def test_what_is_too_near_a_freeze_point_is_named(kind: str) -> None:
    near = run(("a", "freeze-point", 1.0), ("it", kind, 1.03))
    far = run(("a", "freeze-point", 1.0), ("it", kind, 2.5))
    assert near.verdict == "no-go"
    assert near.rules[0].between == ("a", "it")
    assert near.rules[0].reason
    assert near.rules[0].source
    assert far.verdict == "go"


def test_room_for_growth_comes_from_the_solver() -> None:
    grown = hold_time.hold_time(TWO_INCH, HOUR).plug_length
    assert grown is not None
    assert grown.high is not None
    found = run(("a", "freeze-point", 0.0), ("v", "vent", 0.5), ("b", "freeze-point", 1.0))
    rule = next(r for r in found.rules if r.rule == "plugs")
    assert rule.required == pytest.approx(1.25 * grown.high)
    short = spacing(TWO_INCH, 60.0, (Place("a", "freeze-point", 0.0), Place("c", "cut", 1.0)), None)
    assert short.rules[0].required < run(("a", "freeze-point", 0.0), ("c", "cut", 1.0)).rules[
        0
    ].required  # fmt: skip


def test_a_run_without_a_freeze_point_is_a_no_go() -> None:
    assert run(("c", "cut", 1.0)).verdict == "no-go"
