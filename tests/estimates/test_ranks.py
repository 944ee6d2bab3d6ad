"""Percentiles, ranges and chances of draws that can be counted by hand."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stillpipe.estimates import chances
from stillpipe.model.figures import Range

HUNDRED = np.random.default_rng(3).permutation(np.arange(1.0, 101.0))
"""The numbers from 1 to 100 in no order."""
SOME = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=60)


@pytest.mark.parametrize("p", [0.0, 0.01, 0.05, 0.29, 0.5, 0.95, 0.99, 1.0])
def test_of_a_hundred_the_percentile_is_the_draw_of_that_rank(p: float) -> None:
    """The least value that so many of a hundred do not exceed; of none the smallest."""
    assert chances.percentile(HUNDRED, p) == max(round(100.0 * p), 1.0)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(SOME, st.floats(0.001, 1.0))
def test_a_percentile_is_the_least_draw_that_is_not_exceeded_so_often(
    values: list[float], p: float
) -> None:
    found = chances.percentile(np.array(values), p)
    assert found in values
    assert np.mean(np.array(values) <= found) >= p * (1.0 - 1e-12)
    assert np.mean(np.array(values) < found) < p


@pytest.mark.parametrize("count", [20, 100, 1000, 4000])
def test_what_is_left_of_one_is_no_higher_for_being_rounded(count: int) -> None:
    """1 - 0.95 is 0.05000000000000004 to a machine, and still the 20th part of the draws."""
    values = np.arange(1.0, count + 1.0)
    assert chances.percentile(values, 1.0 - 0.95) == chances.percentile(values, 0.05) == count / 20


def test_what_never_comes_has_no_percentile() -> None:
    """Three of four come: the 75th percentile does, what is beyond does not."""
    values = np.array([math.inf, 2.0, 1.0, 3.0])
    assert chances.percentile(values, 0.75) == 3.0
    assert chances.percentile(values, 0.76) is None
    assert chances.percentile(np.zeros(0), 0.5) is None


def test_a_range_is_three_percentiles_and_those_asked_for() -> None:
    assert chances.range_of(HUNDRED) == Range(5.0, 50.0, 95.0)
    assert chances.range_of(HUNDRED, (0.9, 0.1)) == Range(
        5.0, 50.0, 95.0, ((0.9, 90.0), (0.1, 10.0))
    )
    assert chances.range_of(np.array([7.0]), (0.25,)) == Range(7.0, 7.0, 7.0, ((0.25, 7.0),))


def test_percentiles_along_several_figures() -> None:
    """A row for each percentile; what never comes is told as asked, and nothing is not that."""
    figures = [HUNDRED, np.where(HUNDRED > 60.0, math.inf, HUNDRED), np.zeros(4), np.zeros(0)]
    found = chances.along(figures, (0.3, 0.9), never=-1.0)
    assert found.tolist() == [[30.0, 30.0, 0.0, -1.0], [90.0, -1.0, 0.0, -1.0]]
    assert chances.along(figures[1:2], (0.9,)).tolist() == [[0.0]]


def test_a_range_of_what_may_never_come() -> None:
    """An end is left out; without a median there is none, whatever comes before it."""
    seldom = np.where(HUNDRED > 90.0, math.inf, HUNDRED)
    assert chances.range_of(seldom, (0.9, 0.91)) == Range(
        5.0, 50.0, None, ((0.9, 90.0), (0.91, None))
    )
    assert chances.range_of(np.where(HUNDRED > 49.0, math.inf, HUNDRED)) is None
    assert chances.range_of(np.full(3, math.inf)) is None
    assert chances.range_of(np.zeros(0)) is None


def test_a_chance_is_a_share_of_the_draws() -> None:
    assert chances.chance(HUNDRED <= 30.0) == 0.3
    assert chances.chance(np.zeros(0, dtype=bool)) == 0.0
