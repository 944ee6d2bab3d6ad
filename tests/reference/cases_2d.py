"""The freezes on which the production grid is held against independent solutions."""

from dataclasses import dataclass

from stillpipe.physics import film, freeze, media, solutions
from stillpipe.tables import materials, pipes

ZERO_C = 273.15
PLUG = 0.75
"""Ice fraction of a plug in a solution [-]."""


@dataclass(frozen=True)
class Named:
    """A freeze with the name under which its reference is kept."""

    name: str
    case: freeze.Case


def of(
    pipe: pipes.Pipe, celsius: float = 20.0, *, fluid: str = "water", concentration: float = 0.0,
    room: float = 20.0, jacket: float | None = None, conductance: float = 165.0,
    insulation: float = 0.0, vertical: bool = False, humidity: float = 0.5, filling: float = 30.0,
) -> freeze.Case:  # fmt: skip
    """A still line in ``pipe``; temperatures [C], ``jacket`` length and ``insulation`` [m].

    Relative ``humidity`` [-], time constant of ``filling`` the jacket [s].
    """
    material = materials.find(pipe.material)
    bore = pipe.outside_diameter - 2.0 * pipe.wall
    length = 0.025 + pipe.outside_diameter if jacket is None else jacket
    water = fluid == "water"
    medium = media.WATER if water else solutions.medium(fluid, concentration, PLUG)
    return freeze.Case(
        bore=bore,
        outer_diameter=pipe.outside_diameter,
        wall_thickness=pipe.wall,
        jacket_length=length,
        wall_conductivity=material.conductivity,
        wall_heat_capacity=material.density * material.specific_heat,
        lining_resistance=0.0,
        h_jacket=conductance,
        fill_time=filling,
        room_film=film.room_film(
            outer_diameter=pipe.outside_diameter,
            ambient=ZERO_C + room,
            relative_humidity=humidity,
            emissivity=material.emissivity,
            thickness=insulation,
            conductivity=0.04,
            vertical=vertical,
        ),
        h_empty=10.0,
        start_temperature=ZERO_C + celsius,
        ambient_temperature=ZERO_C + room,
        medium=medium,
        plug_ice_fraction=1.0 if water else PLUG,
        vertical=vertical,
    )


def _plain() -> list[Named]:
    chosen = [
        ("ASTM B88", "1/4", "L", 20.0), ("ASTM B88", "1/2", "L", 20.0),
        ("ASTM B88", "1/2", "M", 5.0), ("ASTM B88", "3/4", "K", 15.0),
        ("ASTM B88", "1", "L", 30.0), ("ASTM B88", "2", "L", 20.0),
        ("ASTM B88", "3", "M", 12.0),
        ("ASME B36.10M", "1/8", "40", 20.0), ("ASME B36.10M", "1/2", "40", 20.0),
        ("ASME B36.10M", "1/2", "80", 10.0), ("ASME B36.10M", "1", "40", 5.0),
        ("ASME B36.10M", "1-1/4", "40", 35.0), ("ASME B36.10M", "2", "40", 20.0),
        ("ASME B36.10M", "2", "80", 30.0), ("ASME B36.10M", "3", "40", 15.0),
        ("ASME B36.10M", "4", "40", 20.0),
        ("ASTM D1785", "1/2", "40", 20.0), ("ASTM D1785", "1", "80", 10.0),
        ("ASTM D1785", "2", "40", 20.0), ("ASTM D1785", "3", "40", 25.0),
        ("ASTM F876", "3/4", "SDR 9", 20.0), ("ASTM B43", "1", "regular", 20.0),
        ("AWWA C151", "4", "TC 52", 10.0), ("ASME B36.19M", "2", "10S", 20.0),
    ]  # fmt: skip
    return [
        Named(f"{s} {size} {w} {t:g} C", of(pipes.find(s, size, w), t)) for s, size, w, t in chosen
    ]


def _special() -> list[Named]:
    steel, copper = pipes.find("ASME B36.10M", "1", "40"), pipes.find("ASTM B88", "1", "L")
    half = pipes.find("ASTM B88", "1/2", "L")
    return [
        Named("insulated steel 1", of(steel, insulation=0.025)),
        Named("vertical steel 1", of(steel, vertical=True)),
        Named("strong jacket steel 1", of(steel, conductance=250.0)),
        Named("weak jacket copper 1", of(copper, conductance=110.0)),
        Named("long jacket copper 1", of(copper, jacket=0.15)),
        Named("cold room copper 1", of(copper, room=5.0)),
        Named("sea water steel 1", of(steel, 18.0, fluid="seawater", concentration=0.035)),
        Named("glycol 6 % steel 1", of(steel, 18.0, fluid="propylene_glycol", concentration=0.06)),
        Named("glycol 5 % copper 1/2", of(half, 18.0, fluid="ethylene_glycol", concentration=0.05)),
    ]


CASES = [*_plain(), *_special()]
