"""What fills the bore: the enthalpy at which a plug closes is where its ice fraction says."""

import numpy as np
import pytest

from stillpipe.errors import SolverError
from stillpipe.physics import media, solutions


@pytest.mark.parametrize("solid", [0.6, 0.75, 0.95])
def test_closing_is_where_the_ice_fraction_is_reached(solid: float) -> None:
    for medium in (
        media.WATER,
        solutions.medium("seawater", 0.035, solid),
        solutions.medium("propylene_glycol", 0.02, solid),
    ):
        grid = medium.h0 + np.arange(len(medium.solid)) / medium.inv
        assert np.interp(medium.closing(solid), grid, medium.solid) == pytest.approx(solid)


@pytest.mark.parametrize("concentration", [0.3, 0.6])
def test_a_fluid_that_stays_slush_never_closes(concentration: float) -> None:
    medium = solutions.medium("propylene_glycol", concentration, 0.75)
    with pytest.raises(SolverError, match="never holds"):
        medium.closing(0.75)
