"""Labels lie on no other, and a run of pipe is drawn to scale with what is bare left out."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stillpipe.api.forms import canvas, layout

WIDTH = 6.5
PLACES = st.lists(st.tuples(st.floats(0.0, 2e5), st.floats(5.0, 600.0)), min_size=1, max_size=50)


@given(st.lists(st.tuples(st.floats(0.0, 7.0), st.floats(0.05, 3.0)), min_size=1, max_size=60))
def test_no_label_lies_on_another(labels: list[tuple[float, float]]) -> None:
    spans = [(left, left + wide) for left, wide in labels]
    rows = layout.rows(spans)
    for (a, row), (b, other) in itertools.combinations(zip(spans, rows, strict=True), 2):
        assert row != other or a[1] <= b[0] or b[1] <= a[0]


def test_a_second_row_is_begun_only_where_it_must() -> None:
    assert layout.rows([(0.0, 1.0), (2.0, 3.0), (0.5, 2.5), (4.0, 5.0)]) == [0, 0, 1, 0]


@settings(deadline=None)
@given(PLACES)
def test_every_place_is_on_the_page_in_order_and_to_scale(
    places: list[tuple[float, float]],
) -> None:
    stretches = [(at - half, at + half) for at, half in places]
    scale = layout.broken(stretches, 0.35, WIDTH)
    for begin, end in stretches:
        piece = scale.piece(0.5 * (begin + end))
        left, right = scale.x(begin, piece), scale.x(end, piece)
        assert 0.35 - 1e-6 <= left <= right <= 0.35 + WIDTH + 1e-6
        assert right - left == pytest.approx((end - begin) * scale.per_length)
    for before, after in itertools.pairwise(scale.pieces):
        assert before.end < after.begin
        assert after.row > before.row or after.left > scale.x(before.end, before)


def test_two_points_far_apart_are_as_large_as_near_ones() -> None:
    """30 m of bare pipe are left out: the plugs of 0.3 m can be seen."""
    near = layout.broken([(-150.0, 150.0), (250.0, 550.0)], 0.35, WIDTH)
    far = layout.broken([(-150.0, 150.0), (29850.0, 30150.0)], 0.35, WIDTH)
    assert (len(near.pieces), len(far.pieces)) == (1, 2)
    assert 300.0 * far.per_length > layout.SEEN
    assert far.per_length == pytest.approx(near.per_length, rel=0.2)


def test_a_run_with_many_points_goes_on_in_further_rows() -> None:
    scale = layout.broken([(4000.0 * i, 4000.0 * i + 300.0) for i in range(30)], 0.35, WIDTH)
    assert scale.rows > 5
    assert 300.0 * scale.per_length == pytest.approx(layout.SEEN)


def test_plugs_that_touch_are_one_stretch_however_long() -> None:
    scale = layout.broken([(100.0 * i, 100.0 * i + 150.0) for i in range(49)], 0.35, WIDTH)
    assert [piece.row for piece in scale.pieces] == [0]
    assert scale.x(4950.0) == pytest.approx(0.35 + WIDTH)


def test_a_smaller_scale_is_centred() -> None:
    scale = layout.smaller(layout.broken([(0.0, 100.0)], 0.35, WIDTH), 0.01)
    assert 0.5 * (scale.x(0.0) + scale.x(100.0)) == pytest.approx(0.5 * canvas.WIDTH)
    assert scale.x(100.0) - scale.x(0.0) == pytest.approx(1.0)


@pytest.mark.parametrize(("diameter", "times"), [(60.0, 1.0), (15.0, 2.0), (6.0, 5.0)])
def test_a_slim_pipe_is_drawn_larger_across(diameter: float, times: float) -> None:
    assert layout.across(diameter, 0.015, 0.42) == times


@pytest.mark.parametrize(("per_length", "length"), [(0.0133, 100.0), (0.31, 2.0), (1.2, 1.0)])
def test_a_scale_bar_is_a_round_length(per_length: float, length: float) -> None:
    assert layout.bar(per_length, 1.5) == length


def test_words_are_wrapped_by_their_width() -> None:
    lines = layout.wrapped("W" * 20 + " a " + "i" * 20, 2.5)
    assert lines == ["W" * 20 + " a", "i" * 20]
    assert layout.wide("水") > layout.wide("W") > layout.wide("i")
