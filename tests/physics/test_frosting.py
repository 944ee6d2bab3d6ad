"""A freeze followed until frost is that of the whole freeze, and directions are those expected."""

from dataclasses import replace

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, known, point_of
from stillpipe.estimates.cases import Cases
from stillpipe.physics import freeze, media
from stillpipe.physics.column.work import Work
from stillpipe.physics.constants import ZERO_C
from stillpipe.physics.frosting import FrostRun
from stillpipe.tables import pipes


def case_of(pipe: pipes.Pipe = HALF_INCH) -> freeze.Case:
    """The likely freeze of a pipe."""
    cases = Cases(point_of(pipe))
    return cases.case(cases.likely)


def followed(case: freeze.Case, until: float = 1.0) -> FrostRun:
    return FrostRun(
        case, at=ZERO_C, until=until, longest=freeze.LATEST_FROST, grid=freeze.PRODUCTION,
        work=Work(),
    )  # fmt: skip


@pytest.mark.parametrize("pipe", [HALF_INCH, TWO_INCH], ids=lambda p: p.id)
def test_it_is_the_whole_freeze_up_to_frost(pipe: pipes.Pipe) -> None:
    """Frost within 1e-6, heat and the outside's temperature at a time of it within 1 %."""
    case = case_of(pipe)
    whole = freeze.FreezeRun(case, needed_length=0.0)
    frost = known(whole.frost)
    run = followed(case, until=frost)
    assert known(run.frost) == pytest.approx(frost, rel=1e-6)
    half = 0.5 * frost
    assert run.heat(half) == pytest.approx(whole.fed_to(half).heat_jacket, rel=0.01)
    assert run.skin(0.05, half) == pytest.approx(np.interp(half, *whole.skin(0.05, half)), rel=0.01)
    assert run.beside(frost) == pytest.approx(ZERO_C, abs=0.5)


def test_what_delays_frost_and_what_brings_it() -> None:
    case = case_of()
    usual = known(followed(case).frost)
    for change in (
        {"h_jacket": 0.5 * case.h_jacket},
        {"start_temperature": case.start_temperature + 10.0},
        {"fill_time": 2.0 * case.fill_time},
    ):
        assert known(followed(replace(case, **change)).frost) > 1.1 * usual
    for share in (0.5, 0.1):
        emptier = known(followed(replace(case, medium=media.partly(case.medium, share))).frost)
        assert emptier < usual
        usual = emptier


def test_frost_that_never_comes_is_none() -> None:
    """Gas alone, a twentieth of the conductance, does not bring the pipe below freezing."""
    case = case_of()
    assert followed(replace(case, h_jacket=0.05 * case.h_jacket)).frost is None


def test_a_bore_that_is_full_is_the_medium() -> None:
    whole = media.partly(media.WATER, 1.0)
    assert whole.h0 == media.WATER.h0
    assert np.array_equal(whole.conductivity, media.WATER.conductivity)
    half = media.partly(media.WATER, 0.5)
    change = [m.enthalpy(300.0) - m.enthalpy(280.0) for m in (half, media.WATER)]
    assert change[0] == pytest.approx(0.5 * change[1])
