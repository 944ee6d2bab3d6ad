"""The surface: exact on what it is made of, near on what it is not, by hand and by direct draws."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from stillpipe.uncertainty import draws, surface
from stillpipe.uncertainty.surface import LINE, STEP, Star, tail

Array = NDArray[np.float64]

SIDES = (-1, 1, 1, 1)
SINGLE = 5e-7
"""How near a surface in single precision comes to a logarithm [-]."""
STAR = Star(SIDES, both=(0, 2), corners=((0, 1), (0, 3)))


def over(star: Star, function: Callable[[Array], Array]) -> surface.Surface:
    """The surface through a function's logarithm at the star's points."""
    return surface.fitted(star, np.array([[math.log(float(function(z)))] for z in star.points]))


def test_the_points_of_a_star_are_counted_and_moved_once() -> None:
    points = STAR.points
    assert points.shape == (1 + 4 + 2 + 2, 4)
    assert np.count_nonzero(points, axis=1).tolist() == [0, 1, 1, 1, 1, 1, 1, 2, 2]
    assert len(np.unique(points, axis=0)) == len(points)
    assert set(np.abs(points[points != 0.0])) == {STEP}


def test_what_a_surface_can_say_it_says_exactly() -> None:
    """Squares in the inputs moved to both sides, straight in the others, products of corners."""

    def quadratic(z: Array) -> Array:
        a, b, c, d = z
        log = 1.0 + 0.3 * a - 0.2 * b + 0.1 * c + 0.05 * d
        return np.exp(log + 0.04 * a * a - 0.02 * c * c + 0.03 * a * b - 0.01 * a * d)

    found = over(STAR, quadratic)
    z = np.random.default_rng(7).uniform(-2.5, 2.5, (50, 4))
    expected = np.log([float(quadratic(row)) for row in z])
    assert found.at(z)[:, 0] == pytest.approx(expected, abs=SINGLE)


@pytest.mark.parametrize("p", [0.05, 0.5, 0.95])
def test_percentiles_of_an_analytic_closure_time(p: float) -> None:
    """London and Seban's closure, t = C (R / (2 k) + 1 / h) over the temperature, by direct draws.

    Conductance lognormal with sigma 0.25, ice conductivity 0.04, temperature 0.03 of its
    difference, filling added to it: within 1 % of what the function itself gives on the draws.
    """

    def closure(z: Array) -> Array:
        z = np.atleast_2d(z)
        h, k = 165.0 * np.exp(0.25 * z[:, 0]), 2.6 * np.exp(-0.04 * z[:, 2])
        filling = 30.0 * np.exp(0.65 * z[:, 1])
        return np.asarray(3.0e4 * (0.007 / (2.0 * k) + 1.0 / h) * np.exp(0.03 * z[:, 3]) + filling)

    star = Star(SIDES, both=(0, 1), corners=((0, 1), (0, 3)))
    z = draws.deviates()[:, :4]
    told = np.exp(over(star, lambda z: closure(z)[0]).at(z)[:, 0])
    direct = closure(z)
    assert np.quantile(told, p) == pytest.approx(np.quantile(direct, p), rel=0.01)


def test_a_figure_missing_at_one_side_goes_by_the_other() -> None:
    found = np.array([[0.3 * float(z[0])] for z in STAR.points])
    found[1] = np.nan
    assert surface.fitted(STAR, found).slopes[0, 0] == pytest.approx(0.3)
    found[1 + 4] = np.nan
    assert surface.fitted(STAR, found).slopes[0, 0] == 0.0


def test_a_line_is_met_at_its_nodes_and_bends_with_its_neighbour() -> None:
    """A time that diverges towards a limit: the curve at the nodes is exact, between them near."""

    def late(z: Array) -> Array:
        wanted = 0.6 + 0.35 * stats.norm.cdf(z[3])
        return np.asarray(np.exp(-0.2 * z[0]) * (1.0 / (1.0 - wanted)))

    star = Star(SIDES, both=(0, 1), line=True, bend=0)
    assert len(star.points) == 1 + 3 + len(LINE) + 2 + 1
    found = over(star, late)
    for node in (0.0, *LINE):
        z = np.array([[0.0, 0.0, 0.0, node]])
        assert found.at(z)[0, 0] == pytest.approx(math.log(float(late(z[0]))), abs=SINGLE)
    z = np.array([[-1.0, 0.0, 0.0, 1.2]])
    assert found.at(z)[0, 0] == pytest.approx(math.log(float(late(z[0]))), abs=0.05)


def test_the_line_is_met_where_it_was_solved_with_its_neighbour_and_bends_more_further_out() -> (
    None
):
    """The neighbour at its side doubles what the line moves; at the other side it halves less."""

    def late(z: Array) -> Array:
        return np.asarray(np.exp(0.3 * tail(z[[3]])[0] * 2.0 ** (-z[0] / surface.STEP)))

    star = Star(SIDES, both=(0, 1), line=True, bend=0)
    found, middle = over(star, late), float(tail(np.zeros(1))[0])

    def moved(side: float, node: float) -> float:
        ends = found.at(np.array([[side, 0.0, 0.0, node], [side, 0.0, 0.0, 0.0]]))[:, 0]
        return float(ends[0] - ends[1]) / (0.3 * (float(tail(np.array([node]))[0]) - middle))

    at = LINE[surface.BEND]
    assert moved(-1.7, at) == pytest.approx(2.0, abs=1e-5)
    assert moved(1.7, at) == pytest.approx(1.0 / 1.5, abs=1e-5)
    more = 2.0 ** (surface.BENT_FURTHER * (tail(np.array([2.5])) - tail(np.array([at])))[0])
    assert moved(-1.7, 2.5) == pytest.approx(2.0 * more, rel=1e-5)
    assert moved(-1.7, -1.7) < 2.0


def test_a_tail_is_the_logarithm_of_the_chance_to_be_further() -> None:
    """Table of the normal distribution: beyond 1.6449 lie 5 %, beyond 0 the half."""
    found = tail(np.array([0.0, 1.6449, -1.6449]))
    assert found == pytest.approx([math.log(2.0), math.log(20.0), -math.log(0.95)], rel=1e-4)


def test_a_line_that_hardly_matters_at_one_side_of_its_neighbour_does_not_turn_there() -> None:
    """Three times as long where the neighbour is slow; short where it is fast, never reversed."""

    def late(z: Array) -> Array:
        return np.asarray(np.exp(0.5 * stats.norm.cdf(z[3]) * 3.0 ** (-z[0] / surface.STEP)))

    found = over(Star(SIDES, both=(0, 1), line=True, bend=0), late)
    for fast in (1.0, 1.7, 2.5):
        low, high = (found.at(np.array([[fast, 0.0, 0.0, z]]))[0, 0] for z in (-1.7, 1.7))
        direct = math.log(float(late(np.array([fast, 0.0, 0.0, 1.7]))))
        direct -= math.log(float(late(np.array([fast, 0.0, 0.0, -1.7]))))
        assert high - low >= 0.0
        assert high - low == pytest.approx(direct, abs=0.15)


def test_shares_of_variance_by_hand() -> None:
    """Slopes 0.3 and 0.4 and a square of 0.1: 0.09, 0.16 + 0.02; 0.03 beside them: of 0.3."""

    def function(z: Array) -> Array:
        return np.exp(0.3 * z[1] + 0.4 * z[0] + 0.1 * z[0] ** 2)

    parts, beside = surface.shares(over(STAR, function), 0, {"model": math.sqrt(0.03)})
    assert parts[:2] == pytest.approx([0.18 / 0.3, 0.09 / 0.3])
    assert beside == {"model": pytest.approx(0.1)}
    assert float(np.sum(parts)) + beside["model"] == pytest.approx(1.0)


def test_a_draw_far_out_is_taken_at_three_deviations() -> None:
    found = over(STAR, lambda z: np.exp(0.5 * z[0]))
    far = np.zeros((2, 4))
    far[:, 0] = (3.0, 9.0)
    assert found.at(far)[0, 0] == found.at(far)[1, 0]


def test_a_rough_centre_bends_nothing() -> None:
    """Straight in all inputs, but the centre's run is off by 3 %: most of that is taken back."""
    star = Star(SIDES, both=(0, 2, 3))
    found = np.array([[1.0 + 0.3 * z[0] - 0.1 * z[2]] for z in star.points])
    plain = surface.fitted(star, found, 0.02)
    assert plain.centre[0] == pytest.approx(1.0, abs=1e-12)
    assert np.abs(plain.squares).max() < 1e-12
    found[0] += 0.03
    trusting, doubting = surface.fitted(star, found), surface.fitted(star, found, 0.02)
    assert trusting.squares[0, 0] == pytest.approx(-0.03 / STEP**2)
    # all middles lie off by 0.03, so that much the runs are taken to step
    left = 0.03 / (1.0 + 3.0 * 0.03**2 / (surface.BENT**2 + 0.5 * 0.03**2))
    assert doubting.centre[0] - 1.0 == pytest.approx(left)
    assert doubting.squares[[0, 2, 3], 0] == pytest.approx(-left / STEP**2)
    assert doubting.slopes == pytest.approx(plain.slopes - [[0.0], [left / STEP], [0.0], [0.0]])


def test_a_rough_centre_stays_where_no_two_sides_are_known() -> None:
    star = Star(SIDES, both=(0,))
    found = np.array([[1.0 + 0.3 * z[0]] for z in star.points])
    found[1 + len(SIDES)] = np.nan
    assert surface.fitted(star, found, 0.02).centre[0] == pytest.approx(1.0)
    assert surface.fitted(Star(SIDES), found[:5] + 0.1, 0.02).centre[0] == pytest.approx(1.1)


def test_parts_of_a_surface_side_by_side_are_the_surface() -> None:
    z = np.random.default_rng(5).uniform(-2.0, 2.0, (20, 4))
    found = np.array(
        [[float(np.sum(p)), float(p[0] ** 2), float(p[0] * p[1])] for p in STAR.points]
    )
    whole = surface.fitted(STAR, found)
    joined = whole.of(slice(0, 1)).beside(whole.of(slice(1, 3)))
    assert np.array_equal(joined.at(z), whole.at(z))
    assert np.array_equal(whole.of(slice(2, 3)).at(z)[:, 0], whole.at(z)[:, 2])


def test_no_figure_is_farther_out_than_its_surface_says() -> None:
    """By the largest of each term; one that is nowhere else comes there."""
    z = np.random.default_rng(6).uniform(-2.0, 2.0, (500, 4))
    laid = over(STAR, lambda z: np.exp(0.5 * z[0] - 0.2 * z[1] * z[0] - 3.0))
    known = STAR.terms(z)
    bound = laid.farthest(np.max(np.abs(known), axis=0))
    assert np.max(np.abs(laid.over(known))) <= bound
    corner = np.sign(np.array([[*laid.slopes[:, 0]]])) * -2.0
    most = np.max(np.abs(STAR.terms(corner)), axis=0)
    assert laid.farthest(most) >= np.abs(laid.over(STAR.terms(corner))[0, 0])
    straight = over(Star(SIDES), lambda z: np.exp(0.5 * z[0] - 0.2 * z[1] + 3.0))
    assert straight.farthest(np.array([2.0, 2.0, 2.0, 2.0])) == pytest.approx(4.4, rel=1e-6)


def test_a_surface_with_a_line_may_go_anywhere() -> None:
    star = Star(SIDES, line=True)
    laid = surface.fitted(star, np.array([[float(np.sum(p))] for p in star.points]))
    assert laid.farthest(np.zeros(4)) == np.inf
