"""The freezes on which the production grid is held against independent solutions."""

from dataclasses import dataclass, replace

from stillpipe.estimates.job import Freeze
from stillpipe.tables import fluids, materials, pipes

ZERO_C = 273.15


@dataclass(frozen=True)
class Named:
    """A freeze with the name under which its reference is kept."""

    name: str
    job: Freeze


def _job(
    standard: str, size: str, schedule: str, celsius: float, fluid: str = "water",
    concentration: float = 0.0,
) -> Freeze:  # fmt: skip
    pipe = pipes.find(standard, size, schedule)
    return Freeze(
        outside_diameter=pipe.outside_diameter, wall=pipe.wall,
        material=materials.find(pipe.material), fluid=fluids.find(fluid),
        concentration=concentration, fluid_temperature=ZERO_C + celsius,
        ambient_temperature=ZERO_C + 20.0, line_pressure=3e5,
        jacket_length=0.025 + pipe.outside_diameter,
    )  # fmt: skip


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
    return [Named(f"{s} {size} {w} {t:g} C", _job(s, size, w, t)) for s, size, w, t in chosen]


def _special() -> list[Named]:
    steel = _job("ASME B36.10M", "1", "40", 20.0)
    copper = _job("ASTM B88", "1", "L", 20.0)
    return [
        Named("insulated steel 1", replace(steel, insulation_thickness=0.025)),
        Named("vertical steel 1", replace(steel, orientation="vertical")),
        Named("strong jacket steel 1", replace(steel, jacket_conductance=250.0)),
        Named("weak jacket copper 1", replace(copper, jacket_conductance=110.0)),
        Named("long jacket copper 1", replace(copper, jacket_length=0.15)),
        Named("cold room copper 1", replace(copper, ambient_temperature=ZERO_C + 5.0)),
        Named("sea water steel 1", _job("ASME B36.10M", "1", "40", 18.0, "seawater", 0.035)),
        Named(
            "glycol 6 % steel 1",
            _job("ASME B36.10M", "1", "40", 18.0, "propylene_glycol", 0.06),
        ),
        Named("glycol 5 % copper 1/2", _job("ASTM B88", "1/2", "L", 18.0, "ethylene_glycol", 0.05)),
    ]


CASES = [*_plain(), *_special()]
