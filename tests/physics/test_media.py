"""What fills the bore: the enthalpy at which a plug closes is where its ice fraction says."""

from dataclasses import replace

import numpy as np
import pytest

from reference.cases_2d import of
from stillpipe.errors import SolverError
from stillpipe.physics import freeze, media, solutions
from stillpipe.physics.column import mesh
from stillpipe.physics.column.circulation import circulate
from stillpipe.physics.column.layout import Column
from stillpipe.physics.column.work import Work
from stillpipe.tables import pipes

STEEL = of(pipes.find("ASME B36.10M", "2", "40"))


@pytest.mark.parametrize("solid", [0.6, 0.75, 0.95])
def test_closing_is_where_the_ice_fraction_is_reached(solid: float) -> None:
    for medium in (
        media.WATER,
        solutions.medium("seawater", 0.035, solid),
        solutions.medium("propylene_glycol", 0.02, solid),
    ):
        grid = medium.h0 + np.arange(len(medium.solid)) / medium.inv
        assert np.interp(medium.closing(solid), grid, medium.solid) == pytest.approx(solid)


@pytest.mark.parametrize("concentration", [0.3, 0.6])
def test_a_fluid_that_stays_slush_never_closes(concentration: float) -> None:
    medium = solutions.medium("propylene_glycol", concentration, 0.75)
    with pytest.raises(SolverError, match="never holds"):
        medium.closing(0.75)


def circulation(
    bore: float, celsius: float, *, shell: int = 0, core: int = 0, **changes: object
) -> float:
    """How much better than at rest the liquid of a slice conducts, ice in its outer or inner rings.

    ``shell`` and ``core`` count the rings of ice.
    """
    case = replace(STEEL, bore=bore, outer_diameter=bore + 0.006, wall_thickness=0.003, **changes)
    column = Column(case, freeze.PRODUCTION, Work())
    H = column.warm().H
    H[:] = case.medium.enthalpy(273.15 + celsius)
    ice = case.medium.closing(1.0) - 1e6
    H[len(H) - shell :], H[:core] = ice, ice
    s = mesh.scratch(*H.shape, 0)
    circulate(H, column.tables, column.mesh, column.circulation, s.p, s.q, s.E)
    return float(s.E[0])


def test_the_liquid_rests_at_the_freezing_point_and_in_a_capillary() -> None:
    assert circulation(0.05, 0.01) == pytest.approx(1.0)
    assert circulation(0.002, 20.0) == pytest.approx(1.0)
    assert 1.0 < circulation(0.05, 20.0) < circulation(0.05, 35.0)
    assert circulation(0.05, 20.0) < circulation(0.1, 20.0)


def test_the_core_circulates_by_its_own_radius() -> None:
    """Nu by hand: 0.386 (Pr / (0.861 + Pr))^(1/4) 0.65 Ra^(1/4), Pr 10, over the core's radius."""
    for shell in (0, 2, 3):
        column = Column(STEEL, freeze.PRODUCTION, Work())
        left = column.mesh.area[: len(column.mesh.area) - shell].sum()
        radius = 0.5 * STEEL.bore * np.sqrt(left / column.mesh.area.sum())
        ra = media.rayleigh(np.array([298.15]), 273.15, radius)[0]
        nusselt = 0.386 * (10.0 / 10.861) ** 0.25 * 0.65 * ra**0.25
        found = circulation(STEEL.bore, 25.0, shell=shell)
        assert found == pytest.approx(max(nusselt, 1.0), rel=0.01)


def test_melt_circulates_by_the_width_of_its_gap() -> None:
    """Nu by hand with Raithby and Hollands' factor between cylinders 102 and 82 mm wide.

    Ra over 0.01 m of water at 20 C beside ice: 0.386 x (10/10.861)^(1/4) x F^(1/4) x Ra^(1/4).
    """
    bore, core = 0.1, 4
    column = Column(replace(STEEL, bore=bore), freeze.PRODUCTION, Work())
    inside = bore * np.sqrt(column.mesh.area[:core].sum() / column.mesh.area.sum())
    gap = 0.5 * (bore - inside)
    factor = np.log(bore / inside) / (gap**0.75 * (bore**-0.6 + inside**-0.6) ** 1.25)
    ra = media.rayleigh(np.array([293.15]), 273.15, gap)[0]
    expected = 0.386 * (10.0 / 10.861) ** 0.25 * factor * ra**0.25
    found = circulation(bore, 20.0, core=core)
    assert found == pytest.approx(expected, rel=0.02)
    assert found < circulation(bore, 20.0)


def test_half_the_strength_adds_half_and_none_rests() -> None:
    whole = circulation(0.05, 20.0) - 1.0
    assert circulation(0.05, 20.0, convection=0.5) - 1.0 == pytest.approx(0.5 * whole)
    assert circulation(0.05, 20.0, convection=0.0) == 1.0


def test_a_pipe_that_stands_circulates_by_its_height() -> None:
    """MacGregor and Emery by hand: 0.42 Ra^(1/4) Pr^0.012 (H / gap)^-0.3, jacket 87 mm."""
    radius = 0.025
    ra = media.rayleigh(np.array([293.15]), 273.15, radius)[0]
    height = STEEL.jacket_length
    expected = 0.42 * ra**0.25 * 10.0**0.012 * (height / radius) ** -0.3
    assert circulation(2.0 * radius, 20.0, vertical=True) == pytest.approx(expected, rel=0.01)
