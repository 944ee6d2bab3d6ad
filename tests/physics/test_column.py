"""The kernel: heat is conserved, errors fall with the grid and the step, courses are ordered."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reference import one_dimensional as line
from reference.cases_2d import CASES, Named
from stillpipe.estimates import course
from stillpipe.physics import column, freeze

SOME = [n for n in CASES if n.name.split()[0] in {"ASTM", "insulated", "sea", "glycol"}][::2]


@pytest.mark.parametrize("named", CASES, ids=lambda n: n.name)
def test_heat_drawn_is_heat_lost_through_freeze_hold_and_thaw(named: Named) -> None:
    """The surface's heat and the column's content agree within 0.1 % of the heat exchanged."""
    laid = freeze.Column(course.case(named.job), course.PRODUCTION, 5400.0)
    state = laid.start()
    begun = laid.heat_content(state)
    for end, stop, cooled in (
        (4 * 3600.0, column.CLOSED, True),
        (None, column.RUN, True),
        (None, column.RUN, False),
    ):
        until = float(state.clock[column.NOW]) + 1800.0 if end is None else end
        if not cooled:
            state.clock[column.SINCE] = 0.0
        laid.advance(state, until, stop, cooled=cooled)
        drawn = float(state.clock[column.UNDER] - state.clock[column.OUTSIDE])
        lost = begun - laid.heat_content(state)
        exchanged = abs(float(state.clock[column.UNDER])) + abs(float(state.clock[column.OUTSIDE]))
        assert drawn == pytest.approx(lost, abs=1e-3 * exchanged)
        assert drawn == pytest.approx(lost, abs=1e-9 * exchanged), "measured: about 1e-13"


def _saturated() -> freeze.Case:
    """A cylinder at its freezing point, Ste 0.5, Bi 10, in the one-dimensional limit."""
    k, heat, radius = 2.0, 2.0e6, 0.02
    substance = line.Constant(k, heat, heat * line.SUBCOOLING / 0.5, 0.6, 4.2e6)
    return line.case(substance, radius, 10.0 * k / radius)


def test_order_of_convergence_in_the_grid() -> None:
    """Closure converges at better than first order in the radial cells (measured 1.4 to 1.6)."""
    times = [line.closure(_saturated(), cells, 0.0005) for cells in (8, 16, 32, 64)]
    steps = np.abs(np.diff(times))
    orders = np.log2(steps[:-1] / steps[1:])
    assert np.all(orders > 1.2)
    assert np.all(orders < 2.3)
    reference = 0.770299 * 0.02**2 / 1e-6  # Fo of total solidification, two solutions agree
    assert times[-1] == pytest.approx(reference, rel=0.001)


def test_order_of_convergence_in_time() -> None:
    """The error of the step falls at first order (measured 1.2, root mean square of six grids)."""
    cells, etas = (12, 16, 20, 24, 28, 32), (0.2, 0.1, 0.05, 0.025, 0.0125, 0.00625)
    case = _saturated()
    fine = {n: line.closure(case, n, 0.0004) for n in cells}
    errors = [
        math.sqrt(np.mean([(line.closure(case, n, eta) / fine[n] - 1.0) ** 2 for n in cells]))
        for eta in etas
    ]
    order = np.polyfit(np.log(etas), np.log(errors), 1)[0]
    assert 0.8 < order < 2.2
    assert errors[-1] < 0.002


@pytest.mark.parametrize("named", SOME, ids=lambda n: n.name)
def test_two_dimensional_closure_converges_as_cells_are_halved(named: Named) -> None:
    """Each halving of the cells, across and along, moves closure less than the one before.

    Or by less than 0.2 %, where the step and Newton's tolerance weigh as much as the cells.
    """
    case = course.case(named.job)
    times = []
    for n in (1, 2, 4):
        grid = freeze.Grid(3 * n, 4 * n, 0.002, 1.35 ** (1.0 / n))
        laid = freeze.Column(case, grid, 3600.0)
        state = laid.advance(laid.start(20000), 4 * 3600.0, column.CLOSED)
        times.append(float(state.clock[column.EVENT]))
    noise = 0.002 * times[-1]
    assert abs(times[2] - times[1]) < max(0.7 * abs(times[1] - times[0]), noise)


BASE = CASES[7].job


def _closes(job: object) -> float:
    assert isinstance(job, type(BASE))
    found = course.closure_only(job, course.LIKELY)
    assert found is not None
    return found


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.floats(1.0, 34.0), st.floats(2.0, 6.0))
def test_warmer_water_closes_later(celsius: float, warmer: float) -> None:
    cold = replace(BASE, fluid_temperature=273.15 + celsius)
    warm = replace(BASE, fluid_temperature=273.15 + celsius + warmer)
    assert _closes(cold) < _closes(warm)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.floats(60.0, 400.0), st.floats(1.1, 1.2))
def test_a_better_jacket_closes_sooner(conductance: float, better: float) -> None:
    weak = replace(BASE, jacket_conductance=conductance)
    strong = replace(BASE, jacket_conductance=conductance * better)
    assert _closes(strong) < _closes(weak)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.floats(0.012, 0.08), st.floats(1.1, 1.4))
def test_a_wider_bore_closes_later(outside: float, wider: float) -> None:
    narrow = replace(BASE, outside_diameter=outside, wall=0.002, jacket_length=0.1)
    wide = replace(narrow, outside_diameter=outside * wider)
    assert _closes(narrow) < _closes(wide)


def test_a_lining_closes_later() -> None:
    wide = replace(BASE, outside_diameter=0.0334, wall=0.0034)
    lined = replace(wide, lining_thickness=0.001, lining_conductivity=0.5)
    assert _closes(lined) > 0.9 * _closes(wide)  # less water to freeze, more to conduct through
    cement = replace(lined, lining_conductivity=0.1)
    assert _closes(cement) > _closes(lined)
