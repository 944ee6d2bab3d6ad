"""What freezes of one set have in common, against the closed form of normal distributions."""

import numpy as np
import pytest
from numpy.typing import NDArray

from stillpipe.uncertainty import common
from stillpipe.uncertainty.common import MEANS, NODES, SHARES, Records

Array = NDArray[np.float64]
Z95 = 1.6448536269514722


def normal(i: int, read: float, off: float) -> Array:
    """What a reading of the input ``i`` with a standard deviation says, at the nodes [log]."""
    return np.broadcast_to(
        np.moveaxis(
            (-0.5 * ((NODES[i] - read) / off) ** 2)[:, None, None], 0, i
        ),
        [len(nodes) for nodes in NODES],
    )  # fmt: skip


def closed(read: list[float], off: list[float]) -> tuple[float, float, float, float]:
    """Mean and deviation of m and of another freeze, where these were read: the closed form.

    For each share m has the prior N(0, 1 - s2), and each reading is N(m, s2 + off2).
    """
    found = []
    for share in SHARES.tolist():
        wide = share + np.square(off)
        precision = 1.0 / (1.0 - share) + np.sum(1.0 / wide)
        mean = float(np.sum(np.array(read) / wide) / precision)
        whole = np.diag(wide) + (1.0 - share)
        quadratic = np.array(read) @ np.linalg.solve(whole, np.array(read))
        evidence = -0.5 * quadratic - 0.5 * np.linalg.slogdet(whole)[1]
        found.append((evidence, mean, 1.0 / precision, share))
    logs, means, own, shares = np.array(found).T
    weight = np.exp(logs - np.max(logs))
    weight /= np.sum(weight)
    mean = float(weight @ means)
    off_mean = (means - mean) ** 2
    return (
        mean, float(np.sqrt(weight @ (own + off_mean))), mean,
        float(np.sqrt(weight @ (own + shares + off_mean))),
    )  # fmt: skip


@pytest.mark.parametrize("i", [0, 1, 2])
@pytest.mark.parametrize(
    ("read", "off"),
    [
        ([1.0], [0.5]),
        ([0.4, -0.3, 0.9], [0.8, 0.6, 1.2]),
        ([-1.2] * 20, [0.7] * 20),
        (list(np.linspace(-0.5, 1.7, 20)), [0.6] * 20),
    ],
)
def test_normal_readings_give_the_closed_form(i: int, read: list[float], off: list[float]) -> None:
    logs = {n: normal(i, r, o) for n, (r, o) in enumerate(zip(read, off, strict=True))}
    found = Records(logs).common(logs)
    mean, own, _, following = closed(read, off)
    p = (0.05, 0.5, 0.95)
    assert found.own(i, p) == pytest.approx(mean + own * np.array([-Z95, 0.0, Z95]), abs=0.05)
    assert found.next(i, p) == pytest.approx(
        mean + following * np.array([-Z95, 0.0, Z95]), abs=0.05
    )
    assert found.deviation(i) == pytest.approx(own, rel=0.03)
    assert found.moments[0][i] == pytest.approx(mean, abs=0.02)
    assert np.sqrt(found.moments[1][i, i]) == pytest.approx(following, rel=0.03)


def test_what_nothing_says_anything_about_is_as_the_table_has_it() -> None:
    logs = {0: normal(0, 1.0, 0.3), 1: normal(0, 0.7, 0.3)}
    for known in (Records({}).common(()), Records(logs).common(logs)):
        for i in (1, 2):
            assert known.next(i, (0.05, 0.5, 0.95)) == pytest.approx([-Z95, 0.0, Z95], abs=0.03)
            assert known.deviation(i) == pytest.approx(
                np.sqrt(np.mean(1.0 - SHARES)), rel=0.01
            )  # fmt: skip


def test_two_inputs_on_which_one_reading_hangs_go_against_each_other() -> None:
    both = np.add.outer(NODES[0], NODES[1])[:, :, None] + 0.0 * NODES[2]
    logs = dict.fromkeys(range(10), -0.5 * ((both - 1.0) / 0.3) ** 2)
    mean, spread = Records(logs).common(logs).moments
    assert mean[0] == pytest.approx(0.5, abs=0.05)
    assert mean[1] == pytest.approx(0.5, abs=0.05)
    assert spread[0, 1] < -0.2
    assert spread[0, 1] == pytest.approx(spread[1, 0])


def test_one_left_out_is_as_if_it_had_never_been_there() -> None:
    logs = {0: normal(0, 1.0, 0.3), 1: normal(0, -1.5, 0.4), 2: normal(2, 0.5, 0.5)}
    without = Records(logs).common({0, 2})
    never = Records({n: logs[n] for n in (0, 2)}).common({0, 2})
    assert without.weight == pytest.approx(never.weight, abs=1e-6)


def test_draws_are_weighed_as_another_freeze_has_them() -> None:
    logs = {n: normal(0, 1.0, 0.3) for n in range(8)}
    known = Records(logs).common(logs)
    z = np.random.default_rng(1).standard_normal((40_000, 3))
    weight = known.weights(z)
    mean, spread = known.moments
    assert weight @ z == pytest.approx(mean, abs=0.03)
    assert weight @ (z[:, 0] - mean[0]) ** 2 == pytest.approx(spread[0, 0], rel=0.05)


def test_what_is_gained_is_that_of_normal_distributions() -> None:
    assert common.gained(normal(1, 0.0, 1e6)) == pytest.approx(0.0, abs=1e-6)
    variance = 1.0 / (1.0 + 1.0 / 0.8**2)
    mean = 1.2 * variance / 0.8**2
    exact = 0.5 * (variance + mean**2 - 1.0 - np.log(variance))
    assert common.gained(normal(1, 1.2, 0.8)) == pytest.approx(exact, rel=0.01)


def test_grids_reach_far_enough() -> None:
    for means, nodes in zip(MEANS, NODES, strict=True):
        assert nodes[-1] == common.BETWEEN[-1]
        assert nodes[-1] > means[-1]
    step = common.BETWEEN[1] - common.BETWEEN[0]
    assert step < np.sqrt(SHARES[0]), "a sum over them is an integral"
