"""Which freezes are solved for one freeze point, and where its star lies."""

import math

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, ZERO_C, point_of, solution_of, water
from stillpipe.estimates.ensemble import BRIEF, COLDEST, LATE, MILD, Ensemble
from stillpipe.estimates.sampled import Sampled
from stillpipe.model.freeze_point import Ambient
from stillpipe.model.observations import Frost, Seen
from stillpipe.uncertainty import draws
from stillpipe.uncertainty.surface import FURTHEST, STEP

ROOM = "ambient_temperature"


def ensemble_of(room: float = 20.0, **changes: object) -> Ensemble:
    """The freezes of a half-inch pipe in a room so warm [C]."""
    ambient = Ambient(temperature=ZERO_C + room)
    return Sampled(point_of(HALF_INCH, ambient=ambient, **changes)).ensemble


def names_of(ensemble: Ensemble, which: tuple[int, ...]) -> set[str]:
    """What the inputs of a star are called."""
    return {ensemble.names[i] for i in which}


def test_sixteen_freezes_tell_of_water() -> None:
    """Ten inputs, three of them to both sides, two pairs."""
    found = ensemble_of()
    assert len(found.runs) == len(found.star.points) == 1 + 10 + 3 + 2
    assert names_of(found, found.star.both) == {
        "room_film", "jacket_conductance", "jacket_filling"
    }  # fmt: skip
    pairs = [names_of(found, pair) for pair in found.star.corners]
    assert pairs == [
        {"jacket_conductance", "jacket_filling"}, {"jacket_conductance", "room_film"}
    ]  # fmt: skip


def test_what_acts_until_closure_is_followed_no_further() -> None:
    found = ensemble_of()
    for z, run in zip(found.star.points, found.runs, strict=True):
        moved = {found.names[i] for i in np.flatnonzero(z)}
        assert run is not None
        assert found.is_brief(run) == bool(moved & set(BRIEF))
        assert run.closure is not None
        assert (run.last.grip < found.need) == found.is_brief(run)


@pytest.mark.parametrize(("room", "both"), [(-1.0, True), (2.0, True), (11.9, True), (12.1, False)])
def test_a_room_a_little_warmer_than_ice_is_moved_to_both_sides(room: float, both: bool) -> None:
    found = ensemble_of(room)
    assert (ROOM in names_of(found, found.star.both)) == both
    assert MILD == 12.0


def test_the_room_lies_by_the_logarithm_of_its_warmth() -> None:
    """Each unit of the scale is the same factor, and one step up is that of the deviate."""
    found, i = ensemble_of(3.0), 9
    assert found.names[i] == ROOM

    def warmth(place: float) -> float:
        z = np.zeros(len(found.names))
        z[i] = place
        return 3.0 + found.at(z).ambient_temperature

    step = float(found.cases.input(ROOM).at(STEP))
    assert warmth(STEP) == pytest.approx(3.0 + step, rel=1e-12)
    assert warmth(-STEP) == pytest.approx(3.0**2 / (3.0 + step), rel=1e-12)
    assert warmth(0.0) == 3.0
    ratio = warmth(2.0) / warmth(1.0)
    assert ratio == pytest.approx(warmth(-1.0) / warmth(-2.0), rel=1e-12)


def test_draws_lie_on_the_scale_of_the_star() -> None:
    """As warm as the place says, and none colder than a fiftieth of the likely difference."""
    found, sample = ensemble_of(2.0), draws.prior()
    place = found.terms(sample)[:, found.names.index(ROOM)].astype(float)
    z = np.clip(sample.of(ROOM), -FURTHEST, FURTHEST)
    warm = np.maximum(2.0 + np.asarray(found.cases.input(ROOM).at(z)), 2.0 * COLDEST)
    growth = math.log(1.0 + float(found.cases.input(ROOM).at(STEP)) / 2.0) / STEP
    np.testing.assert_allclose(place, np.log(warm / 2.0) / growth, rtol=2e-6, atol=2e-6)
    assert place.min() == pytest.approx(math.log(COLDEST) / growth, rel=1e-6)


def test_in_a_room_below_freezing_it_lies_by_degrees() -> None:
    found, sample = ensemble_of(-3.0), draws.prior()
    place = found.terms(sample)[:, found.names.index(ROOM)]
    np.testing.assert_allclose(place, np.clip(sample.of(ROOM), -3.0, 3.0), rtol=1e-6)
    z = np.zeros(len(found.names))
    z[found.names.index(ROOM)] = -1.2
    assert found.at(z).ambient_temperature == pytest.approx(
        float(found.cases.input(ROOM).at(-1.2)), rel=1e-12
    )


def test_what_is_learned_rests_on_more_that_shares_its_freezes() -> None:
    seen = (Frost(kind=Seen.FROST, elapsed=190.0, standard_uncertainty=20.0),)
    sampled = Sampled(point_of(HALF_INCH, observations=seen))
    plain, more = sampled.ensemble, sampled.about(None)
    assert plain.runs is not None
    assert more.fine is plain.fine
    shared = {id(run) for run in plain.runs} & {id(run) for run in more.runs}
    assert len(shared) == len(plain.runs) == 16
    assert len(more.runs) == 16 + 2 + 1
    assert set(LATE) <= names_of(more, more.star.both)
    assert len(sampled.solves) == 1 + 19


def test_a_solution_has_a_line_of_its_ice_fraction_and_no_pairs() -> None:
    found = ensemble_of(fluid=solution_of("propylene_glycol", 0.1))
    assert found.star.line
    assert found.star.corners == ()
    assert "ice_fraction" not in names_of(found, found.star.both)
    assert found.names[found.star.bend] == "jacket_conductance"


def test_effects_of_the_grid_are_no_effects() -> None:
    """What moves neither closure nor plug by more than steps of the grid do ranks last."""
    found = ensemble_of(fluid=water(20.0))
    effects = dict(zip(found.names, found._effects.tolist(), strict=True))
    assert effects["jacket_conductance"] > effects["jacket_filling"] > 0.1
    assert all(effects[name] < 0.02 for name in LATE)
