"""What a freeze point is made of, as the estimates take it: SI units, defaults filled in."""

from dataclasses import dataclass

from stillpipe.tables import fluids, materials


@dataclass(frozen=True)
class Freeze:
    """One freeze point, all quantities SI.

    Parameters
    ----------
    outside_diameter, wall
        of the pipe [m]
    material
        of the pipe, a row of the materials table
    lining_thickness, lining_conductivity
        scale or lining inside the bore [m], [W/(m K)]; thickness 0 for a clean bore
    insulation_thickness, insulation_conductivity
        around the pipe beside the jacket [m], [W/(m K)]; thickness 0 for a bare pipe
    fluid, concentration
        a row of the fluids table and its mass fraction or salinity [kg/kg]
    fluid_temperature, ambient_temperature
        of the still fluid and of the air [K]
    line_pressure
        gauge pressure which the plug must carry [Pa]
    flow
        mass flow through the bore while freezing [kg/s]; 0 for a still line
    orientation
        ``"horizontal"`` or ``"vertical"``
    jacket_length, jacket_conductance
        axial length of the jacket [m]; conductance from dry ice to the pipe's surface [W/(m2 K)]
    adhesion
        shear strength of the bond between ice and pipe [Pa]
    safety_factor
        on the line pressure [-]
    cylinder_temperature
        of the liquid CO2 [K]
    """

    outside_diameter: float
    wall: float
    material: materials.Material
    fluid: fluids.Fluid
    concentration: float
    fluid_temperature: float
    ambient_temperature: float
    line_pressure: float
    jacket_length: float
    jacket_conductance: float = 165.0
    flow: float = 0.0
    orientation: str = "horizontal"
    lining_thickness: float = 0.0
    lining_conductivity: float = 1.0
    insulation_thickness: float = 0.0
    insulation_conductivity: float = 0.04
    adhesion: float = 0.28e6
    safety_factor: float = 2.0
    cylinder_temperature: float = 293.15

    @property
    def bore(self) -> float:
        """Diameter of the free bore [m]."""
        return self.outside_diameter - 2.0 * (self.wall + self.lining_thickness)


@dataclass(frozen=True)
class Range:
    """A figure with the band that the uncertain inputs give it; ``high`` None means never."""

    low: float
    likely: float
    high: float | None


@dataclass(frozen=True)
class Note:
    """A coded reason or caution: a stable code, one sentence, and ``stop | warn | info``."""

    code: str
    text: str
    severity: str = "warn"


@dataclass(frozen=True)
class Driver:
    """How much one uncertain input moves the closure time.

    ``low`` and ``high`` are the values tried [SI unit ``unit``], ``closure_low`` and
    ``closure_high`` the closure times found with them [s] (None: not closed).
    """

    name: str
    unit: str
    low: float
    high: float
    closure_low: float | None
    closure_high: float | None
