"""A second-order surface of the logarithms of figures over the uncertain inputs.

A centre, every input moved to one side, the most telling ones to the other side too, and a few
pairs moved together: a star with corners. The figures' logarithms are taken as squares in the
inputs that were moved to both sides, straight in the others, with products for the corners.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP = 1.7
"""Standard deviations by which an input is moved [-]."""
FURTHEST = 3.0
"""A draw further out than so many standard deviations is taken to lie there [-]."""


@dataclass(frozen=True)
class Star:
    """Which points of the inputs are solved, one row each of standard normal deviates.

    ``sides`` +1 or -1 to which each of the inputs is moved first; ``both`` the inputs that are
    moved to the other side too; ``corners`` pairs that are moved together, to their first sides.
    """

    sides: tuple[int, ...]
    both: tuple[int, ...] = ()
    corners: tuple[tuple[int, int], ...] = ()

    @property
    def points(self) -> Array:
        """The points, shape (runs, inputs), the centre first [-]."""
        n = len(self.sides)
        first = STEP * np.diag(np.array(self.sides, dtype=float))
        other = -first[list(self.both)]
        pairs = [first[i] + first[j] for i, j in self.corners]
        return np.vstack([np.zeros((1, n)), first, other.reshape(-1, n), *pairs])


@dataclass(frozen=True)
class Surface:
    """What a star's runs came to: ``centre``, slopes, squares of inputs and products of pairs.

    Shapes (figures,), (inputs, figures) twice, (corners, figures); figures as logarithms.
    """

    centre: Array
    slopes: Array
    squares: Array
    products: Array
    corners: tuple[tuple[int, int], ...]

    def at(self, z: Array) -> Array:
        """Return the figures at deviates ``z``, shape (draws, inputs): shape (draws, figures)."""
        return self.over(terms(z, self.corners))

    def over(self, known: Array) -> Array:
        """Return the figures over the ``known`` :func:`terms` of draws: shape (draws, figures)."""
        rows = np.vstack([self.slopes, self.squares, self.products])
        return np.asarray(known @ rows + self.centre)


def terms(z: Array, corners: tuple[tuple[int, int], ...]) -> Array:
    """Return deviates ``z``, shape (draws, inputs), their squares and the products of ``corners``.

    Shape (draws, twice the inputs and the corners) [-].
    """
    z = np.clip(z, -FURTHEST, FURTHEST)
    products = [z[:, [i]] * z[:, [j]] for i, j in corners]
    return np.hstack([z, z * z, *products])


def fitted(star: Star, found: Array) -> Surface:
    """Return the surface through what the ``star``'s points came to, shape (runs, figures).

    A figure that is not a number at one side is taken as straight from the other, or as not
    depending on that input where it has no other.
    """
    n, m = len(star.sides), found.shape[1]
    centre, first = found[0], found[1 : 1 + n]
    sides = STEP * np.array(star.sides, dtype=float)[:, None]
    slopes = (first - centre) / sides
    squares = np.zeros((n, m))
    for row, i in enumerate(star.both):
        one, other = first[i] - centre, found[1 + n + row] - centre
        slopes[i] = np.where(
            np.isnan(one), -other, np.where(np.isnan(other), one, 0.5 * (one - other))
        )
        slopes[i] /= sides[i]
        squares[i] = np.nan_to_num(0.5 * (one + other)) / STEP**2
    slopes = np.nan_to_num(slopes)
    products = np.zeros((len(star.corners), m))
    for row, (i, j) in enumerate(star.corners):
        corner = found[1 + n + len(star.both) + row]
        more = corner - first[i] - first[j] + centre
        products[row] = np.nan_to_num(more) / (sides[i] * sides[j])
    return Surface(centre, slopes, squares, products, star.corners)


def shares(
    surface: Surface, figure: int, beside: dict[str, float]
) -> tuple[Array, dict[str, float]]:
    """Return the share of each input in the variance of a figure's logarithm [-].

    The inputs are standard normal: a slope b and a square q give b2 + 2 q2, a product its square,
    half to either input. ``beside`` are standard deviations of what acts on the figure besides.
    """
    parts = surface.slopes[:, figure] ** 2 + 2.0 * surface.squares[:, figure] ** 2
    for (i, j), product in zip(surface.corners, surface.products[:, figure], strict=True):
        parts[i] += 0.5 * product**2
        parts[j] += 0.5 * product**2
    whole = max(float(np.sum(parts)) + sum(s**2 for s in beside.values()), 1e-30)
    return parts / whole, {name: s**2 / whole for name, s in beside.items()}
