"""What each cause changes of a freeze point, by hand, and that it changes nothing else."""

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import ZERO_C, point_of, solution_of, water
from stillpipe.estimates import faulty
from stillpipe.estimates.cases import Cases
from stillpipe.estimates.faulty import Faulty
from stillpipe.model.freeze_point import Ambient, FreezePoint, Lining
from stillpipe.physics import freeze, solutions
from stillpipe.physics.column.work import Work
from stillpipe.uncertainty import faults
from stillpipe.uncertainty.faults import Fault
from stillpipe.uncertainty.scenarios import LIKELY, Scenario

X = Scenario(room_film=1.2, ice_conductivity=1.1)
"""What is changed is changed under values other than the likely ones."""


def told(point: FreezePoint, **more: Any) -> Any:
    """A freeze point of which nothing is solved."""
    more = {"ensemble": SimpleNamespace(centre=None)} | more
    return SimpleNamespace(point=point, cases=Cases(point), work=Work(), solves=[], **more)


def fault(cause: str, way: str = "") -> Fault:
    return next(f for f in faults.catalogue() if (f.cause, f.way) == (cause, way))


def wrong(
    cause: str, value: float, way: str = "", x: Scenario = X, **changes: Any
) -> tuple[Faulty, freeze.Case]:
    """A half-inch pipe with something wrong, and the case of it with nothing wrong."""
    of = told(point_of(**changes))
    found = faulty.faulty(of, x, fault(cause, way), value)
    return found, of.cases.case(x)


def check(found: Faulty, case: freeze.Case, **changed: Any) -> None:
    """Hold every member against the sound case, but for what is ``changed``."""
    about = {"flow": 0.0, "frosted": ZERO_C, "mass": 1.0}
    about |= {name: changed.pop(name) for name in list(changed) if name in about}
    for name, value in about.items():
        assert getattr(found, name) == (None if value is None else pytest.approx(value)), name
    for name, value in vars(case).items():
        now = getattr(found.case, name)
        if name in changed:
            assert now == pytest.approx(changed[name]), name
        else:
            assert now is value or now == value, name


def test_with_nothing_wrong_it_is_the_case_itself() -> None:
    of = told(point_of())
    found = faulty.sound(of, X)
    check(found, of.cases.case(X))
    assert found.case is of.cases.case(X)


def test_a_flow_comes_to_what_is_stated() -> None:
    """36 kg/h more than 0.02 kg/s."""
    found, case = wrong("flow", 36.0, fluid=water(flow=0.02))
    check(found, case, flow=0.03)


@pytest.mark.parametrize(("value", "share"), [(0.35, 0.35), (1.0, 1.0), (1.4, 1.0)])
def test_a_bad_jacket_cools_less_and_draws_as_much(value: float, share: float) -> None:
    found, case = wrong("jacket", value)
    check(found, case, h_jacket=share * case.h_jacket, mass=None)


@pytest.mark.parametrize(("value", "share"), [(0.05, 0.05), (1.4, 1.0)])
def test_an_empty_cylinder_cools_less_and_gives_less(value: float, share: float) -> None:
    found, case = wrong("cylinder-empty", value)
    check(found, case, h_jacket=share * case.h_jacket, mass=share)


@pytest.mark.parametrize(
    ("celsius", "value", "expected"),
    [(20.0, 12.0, 32.0), (35.0, 30.0, 59.0), (59.5, 5.0, 59.5)],
)
def test_warmer_water_is_no_warmer_than_is_covered(
    celsius: float, value: float, expected: float
) -> None:
    """Nor colder than it is stated."""
    found, case = wrong("warm-water", value, x=LIKELY, fluid=water(celsius))
    check(found, case, start_temperature=ZERO_C + expected)


@pytest.mark.parametrize(
    ("celsius", "expected"), [(20.0, 13.0), (4.0, 0.5), (0.3, 0.3)]
)  # fmt: skip
def test_a_colder_line_is_not_frozen_yet(celsius: float, expected: float) -> None:
    """7 K colder, as the room is."""
    found, case = wrong("colder", 7.0, x=LIKELY, fluid=water(celsius))
    check(
        found, case, start_temperature=ZERO_C + expected, ambient_temperature=ZERO_C + 13.0
    )  # fmt: skip


def test_a_colder_solution_may_be_below_zero() -> None:
    """Down to half a kelvin above where its first ice forms."""
    glycol = solution_of("propylene_glycol", 0.2, 3.0)
    found, case = wrong("colder", 15.0, x=LIKELY, fluid=glycol)
    least = solutions.freezing_point("propylene_glycol", 0.2) + 0.5
    assert least < ZERO_C
    assert found.case.start_temperature == pytest.approx(least)
    assert case.start_temperature == pytest.approx(ZERO_C + 3.0)


@pytest.mark.parametrize(
    ("cause", "way", "value"), [("lined-pipe", "larger", 1.3), ("smaller-pipe", "", 0.75)]
)
def test_another_size_has_every_diameter_scaled(cause: str, way: str, value: float) -> None:
    found, case = wrong(cause, value, way)
    check(
        found, case, bore=value * case.bore, outer_diameter=value * case.outer_diameter,
        wall_thickness=value * case.wall_thickness,
    )  # fmt: skip


@pytest.mark.parametrize(("value", "layer"), [(0.0015, 0.0015), (0.004, None)])
def test_a_lining_narrows_the_bore_and_resists(value: float, layer: float | None) -> None:
    """Of rust that conducts 0.6 W/(m K), on what is stated; no thicker than a fifth of the bore."""
    lining = Lining(material="iron_oxide_scale", thickness=0.0005)
    found, case = wrong("lined-pipe", value, "lining", lining=lining)
    bore = 0.6 * case.bore if layer is None else case.bore - 2.0 * layer
    assert case.lining_resistance > 0.0
    more = math.log(case.bore / bore) / 0.6
    check(found, case, bore=bore, lining_resistance=case.lining_resistance + more)


@pytest.mark.parametrize(("value", "share"), [(0.1, 0.1), (1.6, 1.0)])
def test_a_pipe_that_is_part_empty_holds_and_conducts_less(value: float, share: float) -> None:
    found, case = wrong("pipe-empty", value)
    check(replace(found, case=replace(found.case, medium=case.medium)), case)
    medium = found.case.medium
    assert medium.kirchhoff == pytest.approx(share * case.medium.kirchhoff)
    assert medium.enthalpy(283.15) == pytest.approx(share * case.medium.enthalpy(283.15))


@pytest.mark.parametrize(
    ("fluid", "kind", "share", "plug"),
    [
        (water(), "propylene_glycol", 0.25, 0.292),
        (solution_of("ethylene_glycol", 0.12), "ethylene_glycol", 0.37, 0.192),
        (solution_of("ethylene_glycol", 0.5), "ethylene_glycol", 0.55, 0.042),
        (solution_of("seawater", 0.03), "propylene_glycol", 0.25, 0.292),
    ],
)  # fmt: skip
def test_a_line_may_hold_glycol_or_more_of_it(
    fluid: Any, kind: str, share: float, plug: float
) -> None:
    """Half of the ice that it can hold is a plug: all of it up to 60 %, as its curve has it."""
    found, case = wrong("wrong-fluid", 0.25, fluid=fluid)
    check(
        replace(found, case=replace(found.case, medium=case.medium)), case, plug_ice_fraction=plug
    )
    expected = solutions.medium(kind, share, plug, 1.1)
    assert found.case.medium.freezing == expected.freezing
    assert np.array_equal(found.case.medium.kirchhoff, expected.kirchhoff)


def test_in_dry_air_frost_comes_later_and_brings_less_heat() -> None:
    """A tenth of saturation at 20 degC: ice settles at -11.2 degC, by Magnus' formula."""
    found, case = wrong("dry-air", 0.1, relative_humidity=0.6)
    dry = Cases(point_of(relative_humidity=0.1)).room_film(X)
    log = math.log(0.1) + 17.62 * 20.0 / (243.12 + 20.0)
    check(
        found, case, frosted=ZERO_C + 272.62 * log / (22.46 - log), room_film=1.2 * dry
    )  # fmt: skip
    assert not np.allclose(dry, case.room_film / 1.2, rtol=1e-3)


def test_air_is_no_damper_than_saturated_and_frost_no_warmer_than_ice() -> None:
    found, case = wrong("dry-air", 1.7, x=LIKELY, relative_humidity=0.6)
    damp = Cases(point_of(relative_humidity=1.0)).room_film(LIKELY)
    check(found, case, frosted=ZERO_C, room_film=damp)


def test_in_a_frosty_room_frost_is_no_warmer_than_the_room() -> None:
    found, _ = wrong("dry-air", 1.7, x=LIKELY, ambient=Ambient(temperature=ZERO_C - 5.0))
    assert found.frosted == pytest.approx(ZERO_C - 5.0)


def test_under_insulation_nothing_is_seen() -> None:
    found, case = wrong("insulated", 0.0)
    check(found, case, frosted=None)
