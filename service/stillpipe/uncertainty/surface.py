"""A second-order surface of the logarithms of figures over the uncertain inputs.

A centre, every input moved to one side, the most telling ones to the other side too, and a few
pairs moved together: a star with corners. The figures' logarithms are taken as squares in the
inputs that were moved to both sides, straight in the others, with products for the corners. One
input may be far from straight: it is solved at several places, between which a curve is laid.
"""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri

from stillpipe.lazy import cached_property
from stillpipe.physics.compiling import njit

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Single = NDArray[np.float32]
"""Logarithms over the draws, in single precision: seven digits, at half the cost."""
Pairs = tuple[tuple[int, int], ...]

STEP = 1.7
"""Standard deviations by which an input is moved [-]."""
LINE = (-STEP, 0.9, 1.8, 2.6)
"""Where an input that is far from straight is solved beside the centre [-]."""
BEND = 1
"""Which of these a pair is moved to together with another input."""
FURTHEST = 3.0
"""A draw further out than so many standard deviations is taken to lie there [-]."""
MOST_BENT = 10.0
"""Largest extent of the line, where the input that bends it is at its side, over that without, and
one over the least [-], which a figure has that goes the other way there."""
BENT_FURTHER = 0.15
"""By how much the power by which the line's extent goes grows with :func:`tail` from 1 where it was
solved, at ``LINE[BEND]`` [-]: an assumption, read off two glycols frozen at seven places of the
line and seven of the conductance."""
STILL = 0.02
"""A figure that moves less along the line has no product with it [-]."""
BENT = 0.02
"""Standard deviation of what squares add to a figure's logarithm at ``STEP`` [-]: an assumption,
which counts where figures are rough."""
QUANTILES = ndtri((np.arange(64) + 0.5) / 64.0)
"""Deviates at even steps of probability [-]."""


@dataclass(frozen=True)
class Star:
    """Which points of the inputs are solved, one row each of standard normal deviates.

    ``sides`` +1 or -1 to which each of the inputs is moved first; ``both`` the inputs that are
    moved to the other side too; ``corners`` pairs that are moved together, to their first sides.
    ``line``: the last input, if it is far from straight, is moved to all of ``LINE`` instead;
    ``bend``: the input that is moved together with it.
    """

    sides: tuple[int, ...]
    both: tuple[int, ...] = ()
    corners: Pairs = ()
    line: bool = False
    bend: int = 0

    @property
    def straight(self) -> int:
        """How many inputs are moved to a first side."""
        return len(self.sides) - self.line

    @property
    def opposite(self) -> slice:
        """Which runs are the other sides of ``both``."""
        begun = 1 + self.straight + (len(LINE) if self.line else 0)
        return slice(begun, begun + len(self.both))

    @property
    def points(self) -> Array:
        """The points, shape (runs, inputs), the centre first [-]."""
        n = len(self.sides)
        first = STEP * np.diag(np.array(self.sides, dtype=float))
        found = [np.zeros((1, n)), first[: self.straight]]
        if self.line:
            found.append(np.outer(LINE, np.eye(n)[-1]))
        found.append(-first[list(self.both)].reshape(-1, n))
        found += [(first[i] + first[j])[None, :] for i, j in self.corners]
        if self.line and (self.both or self.corners):
            found.append((first[self.bend] + LINE[BEND] * np.eye(n)[-1])[None, :])
        return np.vstack(found)

    def terms(self, z: Array) -> Single:
        """Return deviates ``z``, shape (draws, inputs), squares of ``both``, products of pairs.

        In the place of the line's input stands its :func:`tail`. Shape (draws, terms), draw beside
        draw in memory [-].
        """
        count, both = len(self.sides), list(self.both)
        terms = count + len(both) + len(self.corners)
        found = np.empty((len(z), terms), dtype=np.float32, order="F")
        found[:, :count] = z
        if self.line:
            found[:, count - 1] = tail(z[:, -1])
        for k, (i, j) in enumerate([*zip(both, both, strict=True), *self.corners], start=count):
            np.multiply(found[:, i], found[:, j], out=found[:, k])
        return found


@dataclass(frozen=True)
class Surface:
    """What a ``star``'s runs came to: ``centre``, slopes, squares of inputs and products of pairs.

    Shapes (figures,), (inputs, figures) twice, (corners, figures); figures as logarithms; squares
    of inputs that were not moved to both sides are nothing. ``curve``
    is the line's, shape (nodes, figures) from the centre at ``nodes`` of :func:`tail` [-], and
    ``bends`` by how much one over its extent grows with each deviate of the input ``bend``, shape
    (figures,).
    """

    star: Star
    centre: Array
    slopes: Array
    squares: Array
    products: Array
    nodes: tuple[float, ...] = ()
    curve: Array | None = None
    bends: Array | None = None

    def at(self, z: Array) -> Array:
        """Return the figures at deviates ``z``, shape (draws, inputs): shape (draws, figures)."""
        return self.over(self.star.terms(np.clip(z, -FURTHEST, FURTHEST))).astype(float)

    def over(self, known: Single) -> Single:
        """Return the figures over the ``known`` :meth:`Star.terms`: shape (draws, figures).

        Draw beside draw in memory.
        """
        found: Single = (self._rows.T @ known.T).T
        found += self.centre.astype(np.float32)
        if self.curve is not None and self.bends is not None:
            far = known[:, len(self.slopes) - 1]
            along = monotone(self.nodes, self.curve, far.astype(float)).astype(np.float32)
            found += along * self._extent(known[:, self.star.bend], far)
        return found

    def _extent(self, bend: Single, far: Single) -> Single:
        """Return how far the line goes where its input is ``far`` out, over that at the centre.

        At deviates ``bend`` of the input that bends it: shape (draws, figures) [-].
        """
        falls = 1.0 + bend[:, None] * np.asarray(self.bends, dtype=np.float32)
        power = 1.0 + BENT_FURTHER * (far[:, None] - np.float32(tail(np.array(LINE[BEND]))))
        return np.asarray(np.exp(-power * np.log(np.maximum(falls, 1.0 / MOST_BENT))))

    def farthest(self, known: Array) -> float:
        """Return what no figure is farther from nothing than, where terms are ``known`` [-].

        ``known`` has the largest of each, either way; infinite where there is a line.
        """
        if self.curve is not None:
            return np.inf
        return float(np.max(np.abs(self.centre) + known @ np.abs(self._rows), initial=0.0))

    @cached_property
    def _rows(self) -> Single:
        """What each of :meth:`Star.terms` adds to the figures, shape (terms, figures) [-]."""
        rows = (self.slopes, self.squares[list(self.star.both)], self.products)
        return np.concatenate(rows).astype(np.float32)

    def of(self, figures: slice) -> "Surface":
        """Return the surface of some of its ``figures``."""
        own: dict[str, Any] = {name: x[..., figures] for name, x in self._arrays()}
        return replace(self, **own)

    def beside(self, other: "Surface") -> "Surface":
        """Return one surface of these figures and of those of an ``other`` over the same star."""
        known = zip(self._arrays(), other._arrays(), strict=True)
        both: dict[str, Any] = {name: np.concatenate((x, y), -1) for (name, x), (_, y) in known}
        return replace(self, **both)

    def _arrays(self) -> list[tuple[str, Array]]:
        names = ("centre", "slopes", "squares", "products", "curve", "bends")
        return [(name, x) for name in names if (x := getattr(self, name)) is not None]

    def along(self, z: Array) -> Array:
        """Return the line's curve at deviates ``z`` of its input: shape (draws, figures).

        A monotone cubic: what rises from node to node rises between them.
        """
        return monotone(self.nodes, self.curve, tail(z))


def tail(z: Array) -> Array:
    """Return how far deviates ``z`` lie from the furthest: -ln of the chance to be further [-].

    A figure that goes where an input comes near its end is nearly straight over this.
    """
    return np.asarray(-log_ndtr(-z))


def monotone(nodes: Array | tuple[float, ...], values: Array | None, at: Array) -> Array:
    """Return ``values`` known at ``nodes`` at other places, by a monotone cubic [as given]."""
    from scipy.interpolate import PchipInterpolator  # noqa: PLC0415 - a third of a second

    return np.asarray(PchipInterpolator(nodes, values)(at))


def fitted(star: Star, found: Array, rough: float = 0.0) -> Surface:
    """Return the surface through what the ``star``'s points came to, shape (runs, figures).

    ``rough`` is by how much the figures step with the grid, as a standard deviation [-]; then it
    goes through all but the centre, whose roughness alone would bend it in every input. A figure
    that is not a number at one side is taken as straight from the other, or as not
    depending on that input where it has no other.
    """
    both, corners = np.array(star.both, dtype=np.int64), np.array(star.corners, dtype=np.int64)
    laid = _through(
        found, np.array(star.sides, dtype=np.float64), star.straight, star.opposite.start, both,
        corners.reshape(-1, 2), rough,
    )  # fmt: skip
    if not star.line:
        return Surface(star, *laid)
    return Surface(star, *laid, *_line(star, np.vstack([laid[0], found[1:]])))


@njit(nogil=True, cache=True, error_model="numpy")
def _through(
    found: Array, sides: Array, straight: int, others: int, both: Indices, corners: Indices,
    rough: float,
) -> tuple[Array, Array, Array, Array]:  # fmt: skip
    """Return centre, slopes, squares and products through runs: see :func:`fitted`.

    ``straight`` inputs are moved to a first side; other sides of ``both`` begin at run ``others``.
    """
    m, n = found.shape[1], len(sides)
    centre, products = found[0].copy(), np.zeros((len(corners), m))
    slopes, squares = np.zeros((n, m)), np.zeros((n, m))
    for f in range(m):
        if rough > 0.0 and len(both) > 0:
            centre[f] = _centre(found[:, f], others, both, rough)
        for i in range(straight):
            slopes[i, f] = _known((found[1 + i, f] - centre[f]) / (STEP * sides[i]))
        for k, i in enumerate(both):
            one, other = found[1 + i, f] - centre[f], found[others + k, f] - centre[f]
            rise = 0.5 * (one - other)
            if np.isnan(one):
                rise = -other
            elif np.isnan(other):
                rise = one
            slopes[i, f] = _known(rise / (STEP * sides[i]))
            squares[i, f] = _known(0.5 * (one + other) / STEP**2)
        for k, (i, j) in enumerate(corners):
            alone = found[1 + i, f] + found[1 + j, f]
            more = found[others + len(both) + k, f] - alone + centre[f]
            products[k, f] = _known(more / (STEP * sides[i] * STEP * sides[j]))
    return centre, slopes, squares, products


@njit(nogil=True, cache=True, error_model="numpy")
def _centre(found: Array, others: int, both: Indices, rough: float) -> float:
    """Return the centre of one figure by itself and by the middles between opposite sides.

    Such a middle lies off by the square, by ``BENT``, and by the roughness of two runs. That is as
    large as the middles lie off together, if that is more than ``rough``.
    """
    middle, itself = np.empty(len(both)), found[0]
    for k, i in enumerate(both):
        middle[k] = 0.5 * (found[1 + i] + found[others + k])
    known = np.isfinite(middle)
    middle = np.where(known, middle, itself)
    steps = max(abs(np.median(middle) - itself), rough)
    weight = 1.0 / steps**2
    whole, weights = weight * itself, weight
    for k in range(len(both)):
        if known[k]:
            whole += middle[k] / (BENT**2 + 0.5 * steps**2)
            weights += 1.0 / (BENT**2 + 0.5 * steps**2)
    return float(whole / weights)


@njit(nogil=True, cache=True, error_model="numpy")
def _known(value: float) -> float:
    """Return ``value``, or nothing in the place of what is not a number."""
    return value if math.isfinite(value) else 0.0


def _line(star: Star, found: Array) -> tuple[tuple[float, ...], Array, Array]:
    """Return the nodes of the star's line, the figures there from the centre, and their bends.

    A figure that is not a number at a node is as at the node next to it towards the centre.
    """
    begun = 1 + star.straight
    at = np.array([0.0, *LINE])
    order = np.argsort(at)
    curve = np.array([found[0], *found[begun : begun + len(LINE)]])[order] - found[0]
    middle = int(np.flatnonzero(at[order] == 0.0)[0])
    for k in range(middle + 1, len(curve)):
        curve[k] = np.where(np.isnan(curve[k]), curve[k - 1], curve[k])
    for k in range(middle - 1, -1, -1):
        curve[k] = np.where(np.isnan(curve[k]), curve[k + 1], curve[k])
    bends = np.zeros(found.shape[1])
    if star.both or star.corners:
        i, side = star.bend, STEP * star.sides[star.bend]
        alone = found[begun + BEND] - found[0]
        more = found[-1] - found[1 + i] - alone
        moves = np.abs(alone) > STILL
        extent = 1.0 + np.where(moves, more / np.where(moves, alone, 1.0), 0.0)
        bends = (1.0 / np.clip(extent, 1.0 / MOST_BENT, MOST_BENT) - 1.0) / side
    return tuple(tail(at[order]).tolist()), _finite(curve), _finite(bends)


def _finite(found: Array) -> Array:
    """Return ``found`` with nothing in the place of what is not a number."""
    return np.where(np.isfinite(found), found, 0.0)


def shares(
    surface: Surface, figure: int, beside: dict[str, float]
) -> tuple[Array, dict[str, float]]:
    """Return the share of each input in the variance of a figure's logarithm [-].

    The inputs are standard normal: a slope b and a square q give b2 + 2 q2, a product its square,
    half to either input; the line's is that of its curve. ``beside`` are standard deviations of
    what acts on the figure besides.
    """
    parts = surface.slopes[:, figure] ** 2 + 2.0 * surface.squares[:, figure] ** 2
    if surface.curve is not None:
        parts[-1] = float(np.var(surface.along(QUANTILES)[:, figure]))
    for (i, j), product in zip(surface.star.corners, surface.products[:, figure], strict=True):
        parts[i] += 0.5 * product**2
        parts[j] += 0.5 * product**2
    whole = max(float(np.sum(parts)) + sum(s**2 for s in beside.values()), 1e-30)
    return parts / whole, {name: s**2 / whole for name, s in beside.items()}
