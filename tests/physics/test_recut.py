"""What is carried from one set of cells to another: nothing is lost, nothing is made up."""

import numpy as np
import pytest

from stillpipe.physics.column import mesh, recut

RNG = np.random.default_rng(3)
OLD = RNG.uniform(0.5, 2.0, 14)
FIELDS = np.stack((RNG.normal(size=14), np.sort(RNG.normal(size=14)), np.full(14, 7.0)))


def cut(parts: int) -> np.ndarray:
    """Slices of other widths over the same length."""
    edges = np.sort(np.append(RNG.uniform(0.0, OLD.sum(), parts), (0.0, OLD.sum())))
    return np.diff(edges)


@pytest.mark.parametrize("parts", [2, 9, 60])
def test_what_is_carried_to_other_slices_is_the_same_in_all(parts: int) -> None:
    new = cut(parts)
    found = np.full((3, len(new)), np.nan)
    recut.carry(OLD, new, FIELDS, found)
    np.testing.assert_allclose(found @ new, FIELDS @ OLD, rtol=1e-12, atol=1e-12)
    assert np.all(found.max(axis=1) <= FIELDS.max(axis=1) + 1e-12)
    assert np.all(found.min(axis=1) >= FIELDS.min(axis=1) - 1e-12)


def test_what_rises_in_a_straight_line_does_so_on_finer_slices() -> None:
    """But in the first slice, at the mirror, and the last, which know one slope only."""
    dz = np.full(10, 2.0)
    new = np.full(40, 0.5)
    line = np.cumsum(dz) - 0.5 * dz
    found = np.empty((1, 40))
    recut.carry(dz, new, line[None, :], found)
    np.testing.assert_allclose(found[0, 4:36], (np.cumsum(new) - 0.25)[4:36])
    np.testing.assert_allclose(found[0, :4], line[0])
    np.testing.assert_allclose(found[0, 36:], line[-1])


def test_beyond_the_old_slices_the_last_goes_on() -> None:
    found = np.empty((1, 3))
    recut.carry(np.array([1.0, 1.0]), np.array([1.0, 1.0, 4.0]), np.array([[3.0, 5.0]]), found)
    np.testing.assert_allclose(found, [[3.0, 5.0, 5.0]])


def test_slim_rings_at_the_wall_hold_what_the_wide_one_held() -> None:
    edges = mesh.rings(8)
    new = mesh.skin(edges)
    field = np.sort(RNG.normal(size=(8, 5)), axis=0)
    found = recut.carry_rings(edges, new, field)
    assert found.shape == (11, 5)
    np.testing.assert_allclose(
        mesh.areas(new) @ found, mesh.areas(edges) @ field, rtol=1e-12, atol=1e-12
    )
    np.testing.assert_array_equal(found[:7], field[:7])
    assert np.all(np.diff(found, axis=0) >= 0.0), "colder towards the wall, as before"


def test_rings_that_are_cut_keep_a_straight_line() -> None:
    """But in the innermost, which knows one slope only; a ring's mean is that of its area."""
    edges, new = np.arange(1.0, 7.0) / 6.0, np.arange(1.0, 13.0) / 12.0
    line = 5.0 - 3.0 * mean_radius(edges)[:, None]
    found = recut.carry_rings(edges, new, line)
    np.testing.assert_allclose(mesh.areas(new) @ found, mesh.areas(edges) @ line)
    np.testing.assert_allclose(found[2:, 0], 5.0 - 3.0 * mean_radius(new)[2:], rtol=3e-3)


def mean_radius(edges: np.ndarray) -> np.ndarray:
    """Mean radius of rings out to ``edges``, by their area, summed finely."""
    inside = np.append(0.0, edges[:-1])
    r = np.linspace(inside, edges, 2001)
    middle = 0.5 * (r[1:] + r[:-1])
    return np.asarray(np.sum(middle * middle, axis=0) / np.sum(middle, axis=0))


@pytest.mark.parametrize("jacket", [0, 5, 10])
def test_slices_put_together_are_as_long_and_end_with_the_jacket(jacket: int) -> None:
    dz = np.concatenate((np.full(10, 0.5), 0.5 * 1.4 ** np.arange(8)))
    found = recut.merged(dz, jacket, 1.0)
    edges, old = np.cumsum(found), np.cumsum(dz)
    assert edges[-1] == pytest.approx(old[-1], rel=1e-12)
    assert all(np.min(np.abs(old - edge)) < 1e-12 for edge in edges), "no slice is cut"
    assert jacket == 0 or np.min(np.abs(edges - old[jacket - 1])) < 1e-12
    wide = found > 1.0 + 1e-9
    assert set(np.round(found[wide], 9)) <= set(np.round(dz[dz > 1.0], 9)), "wide ones are left"
    assert len(found) == 13


WIDENING = np.concatenate((np.full(6, 0.5), 0.5 * 1.4 ** np.arange(1, 14)))
"""Slices like those of a pipe, ever wider beyond the first few."""


@pytest.mark.parametrize("grade", [1.5, 2.0, 3.0])
def test_slices_beyond_the_fine_part_widen_no_faster_than_asked(grade: float) -> None:
    """Parts of a slice are equal, down to half of what is asked, so one step may be twice that."""
    begin, end = 3.0, 8.0
    found = recut.split(WIDENING, begin, end, 0.25, grade)
    edges, old = np.cumsum(found), np.cumsum(WIDENING)
    assert edges[-1] == pytest.approx(old[-1], rel=1e-12)
    assert all(np.min(np.abs(edges - edge)) < 1e-9 for edge in old), "no slice is put together"
    np.testing.assert_array_equal(found[edges <= begin + 1e-9], 0.5)
    fine = (edges > begin + 1e-9) & (edges - found < end - 1e-9)
    assert np.all(found[fine] <= 0.25 + 1e-12)
    beyond = np.append(found[fine][-1], found[edges - found >= end - 1e-9])
    assert np.all(beyond[1:] <= 2.0 * grade * beyond[:-1] + 1e-12)
    assert grade < 2.0 or beyond[-1] == WIDENING[-1], "far out they are left as they were"


def test_without_a_grade_what_is_beyond_the_fine_part_is_left() -> None:
    found = recut.split(WIDENING, 3.0, 8.0, 0.25, 1e9)
    beyond = np.cumsum(WIDENING) - WIDENING >= 8.0 - 1e-9
    np.testing.assert_allclose(found[-np.count_nonzero(beyond) :], WIDENING[beyond])
    assert found[-np.count_nonzero(beyond)] > 8.0 * 0.25, "one step of eight times at once"
