"""Pressure drop through a channel, for one flow or for whatever the head drives.

What hangs on the channel alone is worked out once, so that another flow costs little.
"""

import math

import numpy as np
from numpy.typing import NDArray

from stillpipe.physics.column.mesh import FAST
from stillpipe.physics.compiling import njit
from stillpipe.physics.stream import regime
from stillpipe.physics.stream.liquid import Liquid, at

Array = NDArray[np.float64]

REYNOLDS, BY_FRICTION, BY_SPEED = range(3)
"""Rows of a channel's slices: Reynolds number over the flow [s/kg]; drop by friction over friction
factor and square of the flow, and what is lost of the speed of the slice before over that square
[Pa s2/kg2]."""
ROWS = 3
"""How many rows those are."""


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def lay(radius: Array, T: Array, dz: Array, q: Liquid, rows: Array) -> None:
    """Fill the ``rows`` of a channel of ``radius`` [m], ``T`` above freezing [K].

    What speeds the flow up in a neck is lost where it slows down again.
    """
    reynolds, friction, speed = rows[REYNOLDS], rows[BY_FRICTION], rows[BY_SPEED]
    before, density = 0.0, q.density
    for j in range(len(T)):
        r = radius[j]
        reynolds[j] = 2.0 / (math.pi * r * at(0.5 * T[j] + q.freezing, 0, q))
        each = 1.0 / (math.pi * r * r)
        kinetic = 0.5 * each * each / density
        friction[j] = 0.5 * kinetic * dz[j] / r
        speed[j] = max(before - kinetic, 0.0)
        before = kinetic


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def of(flow: float, rows: Array, each: Array) -> float:
    """Pressure drop [Pa] of ``flow`` [kg/s] through a channel; fill that of ``each`` slice."""
    reynolds, friction, speed = rows[REYNOLDS], rows[BY_FRICTION], rows[BY_SPEED]
    square, total = flow * flow, 0.0
    for j in range(len(each)):
        factor = regime.friction(flow * reynolds[j])
        each[j] = square * (factor * friction[j] + speed[j])
        total += each[j]
    return total


@njit(nogil=True, cache=True, borrows=True, error_model="numpy", fastmath=FAST)
def driven(stated: float, head: float, rows: Array, each: Array) -> tuple[float, float]:
    """Flow [kg/s], the ``stated`` one or what ``head`` [Pa] drives, and its drop [Pa].

    The rest as for :func:`of`.
    """
    drop = of(stated, rows, each)
    if drop <= head or stated <= 0.0:
        return stated, drop
    high, flow = stated, stated
    low, exponent = 0.0, 1.0
    for _ in range(60):
        new = flow * math.pow(head / drop, exponent)
        if not low < new < high:
            new = 0.5 * (low + high)
        last, before = flow, drop
        flow = new
        drop = of(flow, rows, each)
        if abs(drop - head) < 1e-4 * head:
            break
        if drop > head:
            high = flow
        else:
            low = flow
        slope = math.log(drop / before) / math.log(flow / last) if flow != last else 1.0
        exponent = 1.0 / min(max(slope, 0.5), 3.0)
    return flow, drop
