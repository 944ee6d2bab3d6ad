"""What an uncertain input is at its ends, with its kind of quantity, and what closure comes to."""

import math

import pytest

from estimates.jobs import ZERO_C, known, point_of, request_of, solution_of
from stillpipe.estimates import drivers, ensemble
from stillpipe.estimates.solution import Solution
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.figures import Amount
from stillpipe.model.requests import Co2MassRequest
from stillpipe.physics import film, freeze
from stillpipe.uncertainty import draws
from stillpipe.uncertainty.table import Z95

KINDS = {
    "jacket_conductance": "conductance", "jacket_filling": "time", "convection": "factor",
    "room_film": "conductance", "relative_humidity": "factor", "wall_conductivity": "factor",
    "wall_thickness": "length", "ice_conductivity": "factor", "fluid_temperature": "temperature",
    "ambient_temperature": "temperature", "ice_fraction": "factor", "adhesion": "pressure",
    "capture": "factor", "cylinder_temperature": "temperature", "model": "factor",
    "usable": "factor",
}  # fmt: skip


def solution(**changes: object) -> Solution:
    """Half-inch copper, water and room at 20 degC."""
    return Solution(point_of(**changes))


@pytest.mark.parametrize("name", [*draws.SOLVED, *draws.AFTER])
def test_an_input_has_its_kind_and_rises_with_its_deviate(name: str) -> None:
    of = solution(fluid=solution_of("propylene_glycol", 0.05))
    low, high = (drivers.amount(of, name, z) for z in (-Z95, Z95))
    assert low.kind == high.kind == KINDS[name]
    assert low.value < high.value


def test_values_by_hand() -> None:
    """The defaults at the median, and the table's ends: 110 to 250 W/(m2 K), 10 to 90 s, 2 K."""
    of = solution(cylinder=Cylinder(temperature=ZERO_C + 18.0))
    case = of.cases.case(of.cases.likely)
    for name, expected in {
        "jacket_conductance": case.h_jacket, "jacket_filling": 30.0, "relative_humidity": 0.5,
        "room_film": film.at(case.room_film, ZERO_C), "wall_thickness": of.point.pipe.wall,
        "fluid_temperature": ZERO_C + 20.0, "ambient_temperature": ZERO_C + 20.0,
        "convection": 1.0, "adhesion": 0.5e6, "cylinder_temperature": ZERO_C + 18.0,
    }.items():  # fmt: skip
        assert drivers.amount(of, name, 0.0).value == pytest.approx(expected, rel=0.03), name
    ends = [drivers.amount(of, "jacket_conductance", z).value for z in (-Z95, Z95)]
    assert ends == pytest.approx([109.5, 248.7], rel=0.002)
    assert drivers.amount(of, "jacket_filling", Z95).value == pytest.approx(90.0, rel=0.01)
    assert drivers.amount(of, "adhesion", Z95).value == pytest.approx(1.25e6, rel=0.02)
    assert drivers.amount(of, "relative_humidity", -9.0) == Amount(0.0, "factor")
    assert drivers.amount(of, "relative_humidity", 9.0) == Amount(1.0, "factor")


def test_no_more_is_captured_than_there_is() -> None:
    of = Solution(request_of(Co2MassRequest, capture_efficiency=0.9))
    assert drivers.amount(of, "capture", 0.0).value == pytest.approx(0.9, rel=0.05)
    assert drivers.amount(of, "capture", 4.0) == Amount(1.0, "factor")


def test_what_moves_closure() -> None:
    """Shares add up to one; a later closure at the slower end; the model's is its own factor."""
    of = solution()
    found = {d.name: d for d in drivers.of_closure(of)}
    assert list(found) == sorted(found, key=lambda name: -found[name].share)
    assert sum(d.share for d in found.values()) == pytest.approx(1.0)
    assert found["jacket_conductance"].share == pytest.approx(0.746, abs=0.01)
    likely = known(of.fine.closure)
    model, table = found["model"], of.cases.input("model")
    assert (model.low, model.high) == (Amount(table.low, "factor"), Amount(table.high, "factor"))
    assert model.closure_at_low == pytest.approx(likely * table.low)
    assert model.closure_at_high == pytest.approx(likely * table.high)
    jacket = found["jacket_conductance"]
    assert jacket.low == drivers.amount(of, "jacket_conductance", -Z95)
    assert jacket.high == drivers.amount(of, "jacket_conductance", Z95)
    assert known(jacket.closure_at_low) > likely > known(jacket.closure_at_high)
    assert found["jacket_filling"].closure_at_low == pytest.approx(268.0, rel=0.02)


def test_a_closure_that_does_not_come_is_none() -> None:
    late = math.log(freeze.LONGEST_FREEZE)
    assert drivers._time(late + 1e-6) is None
    assert drivers._time(late - 1e-6) == pytest.approx(freeze.LONGEST_FREEZE, rel=1e-5)


def test_a_closure_at_the_very_end_of_what_is_followed_comes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(freeze, "LONGEST_FREEZE", math.exp(9.0))
    assert drivers._time(9.0) == math.exp(9.0)


def test_closure_is_read_once_for_its_range_and_for_what_moves_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    of = solution()
    assert known(of.closure).likely > 0.0

    def fails(*_: object) -> None:
        raise AssertionError

    monkeypatch.setattr(ensemble, "fitted", fails)
    assert drivers.of_closure(of)
