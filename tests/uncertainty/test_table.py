"""Uncertain inputs: their distributions by hand, and which row holds for a freeze point."""

import math

import pytest

from estimates.jobs import point_of
from stillpipe.estimates.cases import Cases
from stillpipe.model.freeze_point import Jacket
from stillpipe.tables import pipes
from stillpipe.uncertainty import draws, table
from stillpipe.uncertainty.table import Z95


@pytest.mark.parametrize("row", table.catalogue(), ids=lambda r: f"{r.name} {r.of}")
def test_the_percentiles_of_a_row_are_what_the_table_says(row: table.UncertainInput) -> None:
    assert row.name in draws.NAMES
    assert row.source
    assert row.low < row.likely < row.high
    if row.distribution is table.Distribution.LOGNORMAL:
        assert math.log(float(row.at(Z95)) / float(row.at(-Z95))) == pytest.approx(
            math.log(row.high / row.low)
        )
        assert float(row.at(0.0)) == pytest.approx(row.likely)
    else:
        ends = [float(row.at(z)) for z in (-Z95, 0.0, Z95)]
        assert ends == pytest.approx([row.low, row.likely, row.high], abs=1e-9)


def test_the_figures_that_the_design_names() -> None:
    """Jacket 110-250 W/(m2 K), filling 10-90 s, bond 0.2, 0.5, 1.25 MPa, model 18 % (2 sigma)."""
    assert [165.0 * x for x in _ends("jacket_conductance")] == pytest.approx([110, 250], rel=6e-3)
    assert [30.0 * x for x in _ends("jacket_filling")] == pytest.approx([10, 90], rel=6e-3)
    assert [0.5 * x for x in _ends("adhesion")] == pytest.approx([0.2, 1.25])
    assert float(table.find("adhesion").at(0.0)) == 1.0
    low, high = _ends("model")
    assert 2.0 * math.log(high / low) / (2.0 * Z95) == pytest.approx(0.18, abs=0.002)
    assert float(table.find("ice_fraction").at(-9.0)) == pytest.approx(0.6)
    assert float(table.find("ice_fraction").at(9.0)) == pytest.approx(0.95)


def _ends(name: str) -> list[float]:
    found = table.find(name)
    return [found.low, found.high]


def test_a_wall_goes_by_its_material_and_its_standard() -> None:
    """PVC's table holds the least wall: 6 % more is likely; a pipe by measure has the plain row."""
    plastic = Cases(point_of(pipes.find("ASTM D1785", "1", "40")))
    assert plastic.input("wall_thickness").likely == 1.06
    assert plastic.input("wall_conductivity").of == "pvc"
    copper = Cases(point_of())
    assert copper.input("wall_thickness").of == "ASTM B88"
    assert copper.case(copper.likely).wall_thickness == copper.point.pipe.wall


def test_what_the_caller_states_is_known_more_closely() -> None:
    plain = Cases(point_of()).input("jacket_conductance")
    stated = Cases(point_of(jacket=Jacket(conductance=180.0))).input("jacket_conductance")
    assert stated.high / stated.low < 0.6 * plain.high / plain.low


def test_a_fluid_is_never_frozen_by_a_reading() -> None:
    cases = Cases(point_of(pipes.find("ASTM B88", "1", "L"), 1.0))
    for z in (-4.0, -1.7, 0.0, 1.7):
        case = cases.case(cases.scenario({"fluid_temperature": z}))
        assert case.start_temperature > cases.point.fluid.freezing_point
