"""The uncertain inputs at their likely values and at the ends of their bands."""

from dataclasses import dataclass, replace

CONDUCTANCE_BAND = (110.0 / 165.0, 250.0 / 165.0)
"""Of the jacket's conductance about 165 W/(m2 K) [-]: an assumption."""
ADHESION_BAND = (0.2 / 0.28, 1.6 / 0.28)
"""Of the bond about 0.28 MPa [-]: publications span 0.2 to 1.6 MPa."""
CONVECTION_BAND = (0.5, 1.5)
"""Of the convective part of the water's conductivity [-]: an assumption."""
FILM_BAND = (0.7, 1.4)
"""Of the room's film [-]: an assumption."""
FILLING_BAND = (10.0 / 30.0, 90.0 / 30.0)
"""Of the time constant of the filling jacket about 30 s [-]: common practice, no source."""
CAPTURE_BAND = (0.4 / 0.6, 0.8 / 0.6)
"""Of the capture efficiency about 0.6 [-]: an assumption."""

ICE_FRACTION_BAND = (0.6, 0.95)
"""Of the ice mass fraction that counts as a plug in a solution [-]: an assumption."""


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """Factors on the uncertain inputs [-]: jacket and its filling, convection, film, adhesion."""

    jacket: float = 1.0
    filling: float = 1.0
    convection: float = 1.0
    film: float = 1.0
    adhesion: float = 1.0

    def varied(self, name: str, factor: float) -> "Scenario":
        """Return the scenario with the factor called ``name`` changed."""
        return replace(self, **{name: factor})


LIKELY = Scenario()
FAST = Scenario(
    jacket=CONDUCTANCE_BAND[1],
    filling=FILLING_BAND[0],
    convection=CONVECTION_BAND[0],
    film=FILM_BAND[0],
    adhesion=ADHESION_BAND[1],
)
SLOW = Scenario(
    jacket=CONDUCTANCE_BAND[0],
    filling=FILLING_BAND[1],
    convection=CONVECTION_BAND[1],
    film=FILM_BAND[1],
    adhesion=ADHESION_BAND[0],
)
SCENARIOS = (FAST, LIKELY, SLOW)
"""All favourable, likely, all unfavourable for the freezing time."""
