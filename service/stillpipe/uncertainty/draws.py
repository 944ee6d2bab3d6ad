"""The draws of the uncertain inputs: always the same, so that equal requests get equal answers.

A table of 8,192 scrambled Sobol points (scipy.stats.qmc, seed 20261126) in as many dimensions as
there are uncertain inputs, made by ``python -m stillpipe.uncertainty.draws``.
"""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from stillpipe.lazy import cached_property

Array = NDArray[np.float64]

FILE = "draws.npy"
BITS = 16
"""Bits to which a coordinate is kept."""
SOLVED = (
    "jacket_conductance", "jacket_filling", "convection", "room_film", "relative_humidity",
    "wall_conductivity", "wall_thickness", "ice_conductivity", "fluid_temperature",
    "ambient_temperature", "ice_fraction",
)  # fmt: skip
"""Inputs on which the freeze itself depends, in the order of the table's columns."""
AFTER = ("adhesion", "capture", "cylinder_temperature", "usable", "model")
"""Those that act on a freeze when it is solved."""
NAMES = (*SOLVED, *AFTER)
COUNT = 8192
SEED = 20261126


@lru_cache(maxsize=1)
def uniform() -> Array:
    """Return the draws as probabilities between 0 and 1, shape (COUNT, inputs), read-only [-]."""
    with (files(__package__) / FILE).open("rb") as file:
        table = np.load(file)
    found = np.asarray((table + 0.5) / 2.0**BITS)
    found.setflags(write=False)
    return found


@lru_cache(maxsize=1)
def deviates() -> Array:
    """Return the draws as standard normal deviates, shape (COUNT, inputs), read-only [-]."""
    found = np.asarray(ndtri(uniform()))
    found.setflags(write=False)
    return found


def deviate(probability: Array) -> Array:
    """Return standard normal deviates of probabilities [-]."""
    return np.asarray(ndtri(probability))


@dataclass(frozen=True, eq=False)
class Sample:
    """Draws of the uncertain inputs, all of them as likely.

    ``z`` [-] are standard normal deviates, shape (draws, inputs in the order of ``NAMES``).
    """

    z: Array

    def __len__(self) -> int:
        """How many draws they are."""
        return len(self.z)

    def of(self, name: str) -> Array:
        """Return the deviates of the input called ``name``, shape (draws,) [-]."""
        return np.asarray(self.z[:, NAMES.index(name)])

    def of_all(self, names: tuple[str, ...]) -> Array:
        """Return the deviates of inputs ``names``, read-only, shape (draws, inputs) [-].

        Draw beside draw in memory.
        """
        if names not in self._several:
            found = np.asfortranarray(self.z[:, [NAMES.index(name) for name in names]])
            found.setflags(write=False)
            self._several[names] = found
        return self._several[names]

    @cached_property
    def _several(self) -> dict[tuple[str, ...], Array]:
        return {}

    @cached_property
    def _shares(self) -> Array:
        return uniform() if self.z is deviates() else np.asarray(ndtr(self.z))

    def shares(self, name: str) -> Array:
        """Return how likely the input called ``name`` is below each draw, shape (draws,) [-]."""
        return np.asarray(self._shares[:, NAMES.index(name)])


@lru_cache(maxsize=1)
def prior() -> Sample:
    """Return the draws of the table: what is known where nothing was seen."""
    return Sample(deviates())


@lru_cache(maxsize=1)
def flushing() -> Array:
    """Return draws of how well a line is flushed, shape (COUNT,) [-], which hangs on nothing else.

    Standard normal deviates, even, in an order of their own.
    """
    order = np.random.default_rng(SEED).permutation(COUNT)
    return np.asarray(ndtri((order + 0.5) / COUNT))


def made() -> NDArray[np.uint16]:
    """Return the table made anew, shape (COUNT, inputs)."""
    from scipy.stats import qmc  # noqa: PLC0415 - takes 1.6 s, and is not needed to answer

    points = qmc.Sobol(len(NAMES), scramble=True, seed=SEED).random_base2(13)
    return np.asarray(np.floor(points * 2.0**BITS), dtype=np.uint16)


if __name__ == "__main__":
    np.save(str(files(__package__) / FILE), made())
