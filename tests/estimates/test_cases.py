"""A freeze point under values of the uncertain inputs: what of it moves with which, by hand."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import stillpipe
from estimates.jobs import HALF_INCH, TWO_INCH, ZERO_C, point_of, request_of, solution_of, water
from stillpipe.estimates.cases import H_EMPTY, Cases
from stillpipe.model.calibration import Calibration, Factor
from stillpipe.model.fluid import Fluid
from stillpipe.model.freeze_point import Insulation, Lining, Orientation
from stillpipe.model.requests import Co2MassRequest
from stillpipe.physics import film, media, solutions
from stillpipe.tables import pipes
from stillpipe.uncertainty.scenarios import LIKELY, Scenario
from stillpipe.uncertainty.table import Z95, Distribution

PVC = pipes.find("ASTM D1785", "1", "40")


def ends(cases: Cases, name: str) -> list[float]:
    """An input at its 5th, 50th and 95th percentile."""
    return [cases.input(name).value(z) for z in (-Z95, 0.0, Z95)]


@pytest.mark.parametrize(
    ("fluid", "plain"),
    [
        (water(), True), (solution_of("propylene_glycol", 0.0), True),
        (solution_of("propylene_glycol", 0.01), False), (solution_of("seawater", 0.03), False),
    ],
)  # fmt: skip
def test_water_is_what_freezes_at_one_temperature(fluid: Fluid, plain: bool) -> None:
    """And hangs on no ice fraction."""
    cases = Cases(point_of(fluid=fluid))
    assert cases.is_water == plain
    assert ("ice_fraction" in cases.names) is not plain
    assert len(cases.names) == (10 if plain else 11)


def test_an_input_is_looked_up_once() -> None:
    cases = Cases(point_of())
    assert cases.input("convection") is cases.input("convection")
    assert cases.input("convection").name == "convection"


@pytest.mark.parametrize(
    ("pipe", "conductivity", "thickness"),
    [(HALF_INCH, 1.102, 1.062), (TWO_INCH, 1.225, 1.063), (PVC, 1.164, 1.111)],
)
def test_wall_and_conductivity_are_those_of_the_standard_and_the_material(
    pipe: pipes.Pipe, conductivity: float, thickness: float
) -> None:
    """The 95th percentiles of copper, steel and PVC as the table has them."""
    cases = Cases(point_of(pipe))
    assert ends(cases, "wall_conductivity")[2] == pytest.approx(conductivity, rel=1e-3)
    assert ends(cases, "wall_thickness")[2] == pytest.approx(thickness, rel=1e-3)
    assert ends(cases, "convection")[2] == pytest.approx(1.683, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "changes", "plain", "stated"),
    [
        ("jacket_conductance", {"jacket": {"conductance": 200.0}}, 1.507, 1.111),
        ("jacket_filling", {"jacket": {"fill_time": 45.0}}, 3.002, 1.496),
        ("relative_humidity", {"relative_humidity": 0.7}, 0.22, 0.1),
        ("adhesion", {"adhesion": 0.8e6}, 2.5, 1.429),
        ("capture", {"capture_efficiency": 0.5}, 1.333, 1.15),
    ],
)
def test_what_a_caller_states_is_known_better(
    name: str, changes: dict[str, Any], plain: float, stated: float
) -> None:
    """The 95th percentiles, nobody having stated it and as stated; the others stay."""
    request = request_of(Co2MassRequest)
    told = changes | {k: replace(request.jacket, **v) for k, v in changes.items() if k == "jacket"}
    before, after = Cases(request), Cases(replace(request, **told))
    assert ends(before, name)[2] == pytest.approx(plain, rel=2e-3)
    assert ends(after, name)[2] == pytest.approx(stated, rel=2e-3)
    for other in ("jacket_conductance", "jacket_filling", "relative_humidity", "adhesion"):
        assert (ends(after, other) == ends(before, other)) is (other != name)


def test_what_a_request_cannot_state_is_not_stated() -> None:
    assert ends(Cases(point_of()), "capture")[2] == pytest.approx(1.333, rel=1e-3)


def test_a_calibration_takes_the_place_of_the_table_for_its_inputs_alone() -> None:
    known = Calibration(
        model_version=stillpipe.MODEL_VERSION, records=9,
        jacket_conductance=Factor(p05=0.64, p50=0.8, p95=1.0),
        jacket_filling=Factor(p05=0.5, p50=1.0, p95=2.0),
        capture=Factor(p05=0.6, p50=0.75, p95=0.9),
        least_diameter=0.012, greatest_diameter=0.020,
    )  # fmt: skip
    cases, plain = Cases(point_of(calibration=known)), Cases(point_of())
    assert ends(cases, "jacket_conductance") == pytest.approx([0.64, 0.8, 1.0])
    assert ends(cases, "jacket_filling") == pytest.approx([0.5, 1.0, 2.0])
    assert ends(cases, "capture")[1] == 0.75
    found = cases.input("capture")
    assert (found.low, found.high) == (0.6, 0.9)
    assert found.distribution is Distribution.LOGNORMAL
    assert found.name == "capture"
    assert "calibration" in found.source
    assert ends(cases, "convection") == ends(plain, "convection")


@pytest.mark.parametrize(
    ("fluid", "most", "chance"),
    [
        (water(), 1.0, 1.0), (solution_of("propylene_glycol", 0.0), 1.0, 1.0),
        (solution_of("propylene_glycol", 0.12), 0.8, 0.19 / 0.35),
        (solution_of("ethylene_glycol", 0.3), 0.5, 0.0),
        (solution_of("ethylene_glycol", 0.015), 0.975, 1.0),
    ],
)  # fmt: skip
def test_the_chance_that_a_fluid_holds_the_ice_of_a_plug(
    fluid: Fluid, most: float, chance: float
) -> None:
    """A plug takes 60 to 95 % of ice, each as likely; a hundredth less than the most is reached."""
    cases = Cases(point_of(fluid=fluid))
    assert cases.most_ice == pytest.approx(most)
    assert cases.freezing_chance == pytest.approx(chance)


@pytest.mark.parametrize(
    ("z", "expected"), [(-9.0, 0.6), (0.0, 0.695), (9.0, 0.79), (1.6448536, 0.6 + 0.95 * 0.19)]
)
def test_the_ice_that_a_plug_takes_is_what_the_fluid_can_hold(z: float, expected: float) -> None:
    """12 % of glycol: 60 to 79 % of ice, each as likely."""
    cases = Cases(point_of(fluid=solution_of("propylene_glycol", 0.12)))
    assert cases.scenario({"ice_fraction": z}).ice_fraction == pytest.approx(expected)


def test_inputs_that_are_not_given_are_the_likely_ones() -> None:
    cases = Cases(point_of())
    found = cases.scenario({"jacket_conductance": Z95, "ambient_temperature": -Z95})
    assert found.jacket_conductance == pytest.approx(1.507, rel=1e-3)
    assert found.ambient_temperature == pytest.approx(-2.0)
    assert replace(found, jacket_conductance=1.0, ambient_temperature=0.0) == LIKELY
    assert cases.likely == LIKELY


def test_the_likely_wall_of_plastic_is_thicker_than_the_least() -> None:
    assert Cases(point_of(PVC)).likely == LIKELY.varied("wall_thickness", 1.06)


@pytest.mark.parametrize(
    ("celsius", "z", "factor"),
    [
        (20.0, 1.0, math.exp(2.0 / Z95 / 20.0)), (20.0, -2.0, math.exp(-4.0 / Z95 / 20.0)),
        (5.0, 1.0, math.exp(2.0 / Z95 / 5.0)), (2.0, 1.0, math.exp(0.4)),
        (0.0, -1.0, math.exp(-0.4)),
    ],
)  # fmt: skip
def test_a_fluid_is_never_frozen_when_feeding_begins(
    celsius: float, z: float, factor: float
) -> None:
    """2 K off at the 95th percentile, as a share of what it is above freezing; 0.4 at most."""
    point = point_of()
    cases = Cases(replace(point, fluid=replace(point.fluid, temperature=ZERO_C + celsius)))
    found = cases.scenario({"fluid_temperature": z})
    assert found.fluid_temperature == pytest.approx(factor)
    start = cases.case(found).start_temperature
    assert start == pytest.approx(ZERO_C + celsius * factor)


def test_a_solution_is_counted_from_where_it_freezes() -> None:
    """5 K above that, whatever its temperature is."""
    freezing = solutions.freezing_point("propylene_glycol", 0.2)
    fluid = solution_of("propylene_glycol", 0.2, freezing + 5.0 - ZERO_C)
    cases = Cases(point_of(fluid=fluid))
    case = cases.case(cases.scenario({"fluid_temperature": 1.0, "ice_fraction": 0.0}))
    assert case.start_temperature == pytest.approx(freezing + 5.0 * math.exp(2.0 / Z95 / 5.0))


MOVED = Scenario(
    jacket_conductance=1.1, jacket_filling=0.5, convection=1.3, room_film=1.2,
    relative_humidity=0.1, wall_conductivity=0.9, wall_thickness=1.05, ice_conductivity=0.97,
    fluid_temperature=1.02, ambient_temperature=-1.5,
)  # fmt: skip


def test_every_input_moves_what_it_is_about() -> None:
    """Half-inch copper, 15.875 mm outside, at 20 degC, and a wall 5 % thicker than 1.016 mm."""
    lining = Lining(material="iron_oxide_scale", thickness=0.0005)
    point = point_of(lining=lining)
    cases = Cases(point)
    case = cases.case(MOVED)
    assert case is cases.case(MOVED)
    assert case is not cases.case(LIKELY)
    wall = 1.05 * HALF_INCH.wall
    free = HALF_INCH.outside_diameter - 2.0 * HALF_INCH.wall - 0.001
    expected = {
        "outer_diameter": HALF_INCH.outside_diameter, "wall_thickness": wall,
        "bore": HALF_INCH.outside_diameter - 2.0 * wall - 0.001,
        "jacket_length": point.jacket.length,
        "wall_conductivity": 0.9 * point.material.conductivity,
        "wall_heat_capacity": point.material.heat_capacity,
        "lining_resistance": math.log((free + 0.001) / free) / 0.6,
        "h_jacket": 1.1 * 165.0, "fill_time": 15.0, "h_empty": 1.2 * H_EMPTY,
        "start_temperature": ZERO_C + 20.4, "ambient_temperature": ZERO_C + 18.5,
        "plug_ice_fraction": 1.0, "convection": 1.3, "vertical": False,
    }  # fmt: skip
    for name, value in expected.items():
        assert getattr(case, name) == pytest.approx(value), name
    assert np.array_equal(case.medium.kirchhoff, media.water(0.97).kirchhoff)
    assert case.room_film == pytest.approx(1.2 * cases.room_film(MOVED))
    assert H_EMPTY == 10.0


def test_a_pipe_that_stands_is_told_to() -> None:
    cases = Cases(point_of(orientation=Orientation.VERTICAL))
    assert cases.case(LIKELY).vertical


def test_a_solution_is_a_plug_at_its_ice_fraction() -> None:
    cases = Cases(point_of(fluid=solution_of("ethylene_glycol", 0.1)))
    case = cases.case(Scenario(ice_conductivity=0.97, ice_fraction=0.7))
    assert case.plug_ice_fraction == 0.7
    expected = solutions.medium("ethylene_glycol", 0.1, 0.7, 0.97)
    assert case.medium.freezing == expected.freezing
    assert np.array_equal(case.medium.kirchhoff, expected.kirchhoff)


@pytest.mark.parametrize(
    ("more", "humid"), [(0.1, 0.6), (0.7, 1.0), (-0.7, 0.0), (0.0, 0.5)]
)  # fmt: skip
@pytest.mark.parametrize("vertical", [False, True])
def test_the_room_is_as_damp_and_warm_as_it_is_taken_to_be(
    monkeypatch: pytest.MonkeyPatch, more: float, humid: float, vertical: bool
) -> None:
    """No drier than dry and no damper than saturated."""
    asked: list[dict[str, Any]] = []
    monkeypatch.setattr(film, "room_film", lambda **given: asked.append(given))
    foam = Insulation(material="elastomeric_foam", thickness=0.013)
    point = point_of(
        insulation=foam,
        orientation=Orientation.VERTICAL if vertical else Orientation.HORIZONTAL,
    )
    Cases(point).room_film(Scenario(relative_humidity=more, ambient_temperature=-1.5))
    assert asked == [{
        "outer_diameter": HALF_INCH.outside_diameter, "ambient": pytest.approx(ZERO_C + 18.5),
        "relative_humidity": pytest.approx(humid), "emissivity": point.material.emissivity,
        "thickness": 0.013, "conductivity": foam.conductivity, "vertical": vertical,
    }]  # fmt: skip
