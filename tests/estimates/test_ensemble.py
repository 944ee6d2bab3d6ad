"""Which freezes are solved for one freeze point, and where its star lies."""

import math

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from estimates.jobs import HALF_INCH, ZERO_C, point_of, solution_of, water
from stillpipe.estimates import moving
from stillpipe.estimates.course import STEPPING, Knots, Of, closing, of_run
from stillpipe.estimates.ensemble import (
    BRIEF,
    BRIEF_IN_METAL,
    COLDEST,
    FLOW,
    LATE,
    LEAST_WARM,
    MILD,
    Ensemble,
)
from stillpipe.estimates.sampled import Sampled
from stillpipe.model.freeze_point import Ambient
from stillpipe.model.observations import Frost, Seen
from stillpipe.physics.column.work import Work
from stillpipe.tables import pipes
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
    """The others until a bond that is weak carries 40 bar with its safety factor."""
    found = ensemble_of(line_pressure=4e6)
    for z, run in zip(found.star.points, found.runs, strict=True):
        moved = {found.names[i] for i in np.flatnonzero(z)}
        assert run is not None
        assert found.is_brief(run) == bool(moved & {*BRIEF, BRIEF_IN_METAL})
        assert run.closure is not None
        assert (run.history().grip[-1] < found.need) == found.is_brief(run)
        grown = found.grown(run, found.knots)
        assert np.all(np.isnan(grown)) == found.is_brief(run)


def test_how_thick_a_wall_is_acts_on_after_closure_where_it_insulates() -> None:
    found = Sampled(point_of(pipes.find("ASTM D1785", "1", "40"))).ensemble
    brief = {
        found.names[i]
        for z, run in zip(found.star.points, found.runs, strict=True)
        for i in np.flatnonzero(z)
        if run is not None and found.is_brief(run)
    }
    assert set(BRIEF) <= brief
    assert BRIEF_IN_METAL not in brief


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


@pytest.mark.parametrize("room", [-3.0, -0.5, 0.0, 0.3])
def test_where_the_room_may_be_warmer_than_ice_the_star_lies_about_one_that_is(room: float) -> None:
    """By half a degree: the likely freeze in a room of that, whatever the reading was."""
    found = ensemble_of(room)
    i = found.names.index(ROOM)
    assert not np.delete(found.about, i).any()
    assert found.fine.case.ambient_temperature == pytest.approx(273.15 + LEAST_WARM, rel=1e-9)
    z, step = np.zeros(len(found.names)), found.cases.input(ROOM).value(STEP)
    z[i] = -STEP  # as many times colder as the other side is warmer
    colder = room + found.at(z).ambient_temperature
    assert colder == pytest.approx(LEAST_WARM**2 / (LEAST_WARM + step), rel=1e-9)
    place = found.terms(draws.prior())[:, i]
    drawn = room + found.cases.input(ROOM).at(draws.prior().of(ROOM))
    assert np.all(place[drawn < 0.0] < place[drawn > LEAST_WARM].min())
    assert float(np.abs(place[np.argmin(np.abs(drawn - LEAST_WARM))])) < 0.01


def test_in_a_room_far_below_freezing_it_lies_by_degrees() -> None:
    found, sample = ensemble_of(-10.0), draws.prior()
    assert not found.about.any()
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
    for z, run in zip(more.star.points, more.runs, strict=True):
        moved = {more.names[i] for i in np.flatnonzero(z)}
        assert run is not None
        assert more.is_brief(run) == bool(moved & {*BRIEF, BRIEF_IN_METAL})


def test_a_solution_has_a_line_of_its_ice_fraction_and_no_pairs() -> None:
    found = ensemble_of(fluid=solution_of("propylene_glycol", 0.1))
    assert found.star.line
    assert found.star.corners == ()
    assert "ice_fraction" not in names_of(found, found.star.both)
    assert found.names[found.star.bend] == "jacket_conductance"


def test_a_solution_is_compared_at_twelve_times_and_water_at_eight() -> None:
    glycol = ensemble_of(fluid=solution_of("propylene_glycol", 0.1))
    assert [len(found.knots.time) for found in (glycol, ensemble_of())] == [12, 8]
    never = ensemble_of(fluid=solution_of("propylene_glycol", 0.1))
    never.__dict__["_first"] = [None]
    assert never.knots.time == pytest.approx(np.geomspace(1.0, 100.0, 12))


def test_what_moves_closure_most_ranks_first_and_the_room_last() -> None:
    found = ensemble_of(fluid=water(20.0))
    effects = dict(zip(found.names, found._effects.tolist(), strict=True))
    assert effects["jacket_conductance"] > effects["jacket_filling"] > 0.1
    assert all(effects[name] < 0.02 for name in LATE)


def test_draws_of_the_inputs_stand_in_their_order() -> None:
    sample = draws.prior()
    for fluid in (water(20.0), solution_of("propylene_glycol", 0.1)):
        found = ensemble_of(fluid=fluid)
        z = found.deviates(sample)
        assert z.shape == (len(sample), len(found.names))
        for i, name in enumerate(found.names):
            if name != "ice_fraction":
                assert np.array_equal(z[:, i], sample.of(name))


def test_ice_fractions_are_those_that_the_fluid_reaches() -> None:
    """As likely among them as the share of the draw is among all; those beyond lie at the end."""
    found, sample = ensemble_of(fluid=solution_of("propylene_glycol", 0.1)), draws.prior()
    z = found.deviates(sample)[:, -1]
    chance = found.cases.freezing_chance
    assert 0.3 < chance < 1.0
    possible = found.possible(sample)
    assert np.mean(possible) == pytest.approx(chance, abs=1e-3)
    shares = sample.shares("ice_fraction")
    np.testing.assert_allclose(ndtr(z[possible]), shares[possible] / chance, rtol=1e-6, atol=1e-6)
    assert np.all(z[~possible] == z.max())
    assert z.max() == pytest.approx(float(ndtri(1.0 - 1e-6)), rel=1e-9)


def test_the_greatest_flow_of_a_draw_is_near_that_of_its_own_channel() -> None:
    found, sample = ensemble_of(), draws.prior()
    told = np.exp(found.flow_logs(sample))
    assert told.shape == (len(sample), 1)
    off = []
    for n in range(12):
        z = {name: float(sample.of(name)[n]) for name in FLOW}
        scenario = found.cases.scenario(z)
        direct = moving.greatest(found.cases.point, found.cases.case(scenario), scenario)
        off.append(math.log(told[n, 0] / direct))
    assert np.max(np.abs(off)) < 0.1
    assert np.sqrt(np.mean(np.square(off))) < 0.05


def test_a_freeze_with_a_flow_goes_on_from_where_the_water_stopped() -> None:
    """Slower than still water, counted, on the fine grid where it is the likely one."""
    still, sample = ensemble_of(), draws.prior()
    flow = 0.3 * float(np.median(np.exp(still.flow_logs(sample))))
    found = ensemble_of(fluid=water(20.0, flow))
    likely = found.cases.likely
    alone = Work()
    stream = moving.frozen(found.cases.point, found.cases.case(likely), likely, alone, fine=True)
    assert found.fine.closure == stream.begun.time
    assert stream.begun.time > 1.02 * (still.fine.closure or math.inf)
    assert found.work.taken > alone.taken > 0


@pytest.mark.parametrize("of", list(Of))
def test_surfaces_of_what_grows_go_through_what_was_solved(of: Of) -> None:
    """Level by the likely freeze, differences by the star's; what steps only near its centre."""
    found = ensemble_of(fluid=solution_of("propylene_glycol", 0.1))
    knots = Knots(np.concatenate((found.knots.time, found.knots.time[-1] * np.array([2.0, 3.0]))))
    laid = found.curves(of, knots)
    np.testing.assert_allclose(laid.centre, of_run(found.fine, knots)[of], rtol=1e-12)
    early = found.curves(of, found.knots)
    np.testing.assert_allclose(early.centre, laid.centre[: len(early.centre)], rtol=1e-12)
    i = found.names.index("room_film")
    place, run = found.star.points[1 + i], found.runs[1 + i]
    assert run is not None
    assert found.centre is not None
    moved = of_run(run, knots)[of] - of_run(found.centre, knots)[of]
    told = laid.at(place[None, :])[0] - laid.centre
    np.testing.assert_allclose(told, moved, atol=2e-5)


@pytest.mark.parametrize("of", list(Of))
def test_in_water_only_what_steps_leaves_its_centre(of: Of) -> None:
    found = ensemble_of()
    i = found.names.index("jacket_conductance")
    laid = found.curves(of, found.knots)
    both = [found.star.points[1 + i], -found.star.points[1 + i]]
    told = laid.at(np.array(both)) - laid.centre
    solved = [
        found.grown(run, found.knots)[of]
        for z in both
        for place, run in zip(found.star.points, found.runs, strict=True)
        if np.array_equal(place, z)
    ]
    one, other = solved
    np.testing.assert_allclose(told[0] - told[1], one - other, atol=2e-5)
    centre = found.grown(found.centre, found.knots)[of]
    bent = np.max(np.abs(told[0] + told[1] - (one + other - 2.0 * centre)))
    assert (bent > 1e-4) == (of in STEPPING)


def test_about_what_was_seen_the_star_lies_there() -> None:
    sampled = Sampled(point_of(HALF_INCH))
    z = np.zeros(10)
    z[0] = -0.8
    found = sampled.about(z)
    assert np.array_equal(found.about, z)
    conductance = found.cases.input("jacket_conductance")
    assert found.at(np.zeros(10)).jacket_conductance == conductance.value(-0.8)
    assert found.fine is not sampled.ensemble.fine
    assert sampled.about(None).fine is sampled.ensemble.fine


def test_a_figure_of_the_likely_draw_is_that_of_the_fine_grid() -> None:
    """Of the coarse one only by how much others differ from it."""
    found = ensemble_of()
    laid = found.surface(closing, "closing")
    assert laid.centre == pytest.approx(closing(found.fine), rel=1e-12)
    assert laid.centre[0] != closing(found.centre)[0]
    one = found.runs[1]
    assert closing(one)[0] - closing(found.centre)[0] == pytest.approx(
        float(laid.at(found.star.points[1:2])[0, 0] - laid.centre[0]), abs=1e-4
    )
    assert found.surface(closing, "closing") is laid


def test_the_greatest_flow_of_a_draw_is_the_same_about_another_jacket() -> None:
    """Laid about one that conducts better by a deviate: the draws are what they were."""
    sampled = Sampled(point_of(HALF_INCH))
    z = np.zeros(10)
    z[0] = 1.0
    found, sample = sampled.about(z), draws.prior()
    assert found.names[0] == "jacket_conductance"
    plain, moved = (e.flow_logs(sample)[:, 0] for e in (sampled.ensemble, found))
    assert float(np.median(np.abs(moved - plain))) < 0.02
    assert float(np.quantile(np.abs(moved - plain), 0.95)) < 0.1


def test_a_plug_of_little_need_is_followed_until_it_is_a_bore_long() -> None:
    found = ensemble_of(line_pressure=1e4)
    assert found.need < 0.1 * HALF_INCH.inside_diameter
    for run in found.runs:
        assert run is not None
        long = run.history().plug_length[-1] >= HALF_INCH.inside_diameter
        assert long == (not found.is_brief(run))


def test_the_skin_beyond_closure_is_known_of_what_is_followed() -> None:
    found = ensemble_of()
    late = Knots(np.array([100.0, 400.0]))
    for run in (None, *found.runs[:4]):
        skin = found.skin(run, late, 0.02)
        known = run is not None and not found.is_brief(run)
        assert bool(np.all(np.isfinite(skin[-2:]))) == known


def test_a_room_half_a_degree_above_ice_lies_by_its_logarithm() -> None:
    found = ensemble_of(0.5)
    z = np.zeros(10)
    z[9] = -STEP
    step = found.cases.input(ROOM).value(STEP)
    assert 0.5 + found.at(z).ambient_temperature == pytest.approx(0.25 / (0.5 + step), rel=1e-9)
    place = found.terms(draws.prior())[:, 9]
    assert place.min() < -4.0


def test_a_flow_beyond_the_limit_is_not_followed() -> None:
    """But for the likely freeze, up to a fifth beyond it."""
    still, sample = ensemble_of(), draws.prior()
    limit = float(np.median(np.exp(still.flow_logs(sample))))
    assert ensemble_of(fluid=water(20.0, 1.3 * limit)).centre is None
    near = ensemble_of(fluid=water(20.0, 1.1 * limit))
    assert near.centre is not None
    i = near.names.index("jacket_conductance")
    assert near.runs[1 + i] is None, "so weak a jacket does not freeze it shut"
