"""One set of values of the uncertain inputs on which a freeze depends."""

from dataclasses import dataclass, replace


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """The uncertain inputs of one freeze, held against their likely values.

    Factors [-] on jacket conductance, filling time, what circulation adds, the room's film, wall
    conductivity and thickness, the ice's conductivity and how far the fluid is above its freezing
    point; what is added to the relative humidity [-] and to the room's temperature [K]; the ice
    fraction that is a plug [-], None for that of the likely freeze.
    """

    jacket_conductance: float = 1.0
    jacket_filling: float = 1.0
    convection: float = 1.0
    room_film: float = 1.0
    relative_humidity: float = 0.0
    wall_conductivity: float = 1.0
    wall_thickness: float = 1.0
    ice_conductivity: float = 1.0
    fluid_temperature: float = 1.0
    ambient_temperature: float = 0.0
    ice_fraction: float | None = None

    def varied(self, name: str, value: float) -> "Scenario":
        """Return the scenario with the input called ``name`` changed."""
        return replace(self, **{name: value})


LIKELY = Scenario()
