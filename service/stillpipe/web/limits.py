"""What the service accepts: published ranges of every input, in every accepted unit."""

import math
from dataclasses import dataclass

from stillpipe.web import units

BODY_BYTES = 65536
"""Largest request body [bytes]."""
BATCH_BYTES = 33554432
"""Largest body of a batch [bytes]."""
BATCH_ITEMS = 10000
"""Most items of a batch as a JSON array or CSV."""
BATCH_LINES = 100000
"""Most lines of a batch as lines of JSON."""
BATCH_COLUMNS = 256
"""Most columns of a batch as CSV."""
ROW_LENGTH = 131072
"""Longest row of a batch as CSV [characters]."""
MEMBERS = 1000
"""Most members of one JSON object."""
ID_LENGTH = 128
SAFETY_FACTOR = (1.0, 10.0)
CAPTURE = (0.2, 1.0)
RESERVE = (0.0, 0.9)
HUMIDITY = (0.0, 1.0)
POINTS = (1, 20)
STOCK = (0, 100)
LIST = (1, 50)
"""Fewest and most entries of a list in a request."""


@dataclass(frozen=True)
class Bound:
    """Accepted range of one quantity, SI, both ends included."""

    kind: str
    low: float
    high: float

    def within(self, unit: str) -> tuple[float, float]:
        """Return the range in ``unit``, ends rounded inwards to six significant digits."""
        kind = units.KINDS[self.kind]
        return _inward(kind.from_si(self.low, unit), up=True), _inward(
            kind.from_si(self.high, unit), up=False
        )


def _inward(value: float, up: bool) -> float:
    near = units.rounded(value, 6)
    if abs(near - value) <= 1e-9 * max(abs(value), 1e-6):
        return near
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 5)
    return units.rounded((math.ceil if up else math.floor)(value / step) * step, 6)


ZERO_C = 273.15

BOUNDS: dict[str, Bound] = {
    "outside_diameter": Bound("length", 0.003, 0.120),
    "wall": Bound("length", 0.0002, 0.030),
    "lining_thickness": Bound("length", 0.0001, 0.020),
    "insulation_thickness": Bound("length", 0.001, 0.100),
    "fluid_temperature": Bound("temperature", ZERO_C - 20.0, ZERO_C + 40.0),
    "concentration": Bound("fraction", 0.0, 0.60),
    "flow": Bound("mass_flow", 0.0, 1.0),
    "ambient_temperature": Bound("temperature", ZERO_C - 20.0, ZERO_C + 50.0),
    "line_pressure": Bound("pressure", 0.0, 4.0e6),
    "jacket_length": Bound("length", 0.020, 0.500),
    "jacket_conductance": Bound("conductance", 50.0, 500.0),
    "adhesion": Bound("pressure", 0.05e6, 2.0e6),
    "cylinder_temperature": Bound("temperature", ZERO_C - 40.0, ZERO_C + 50.0),
    "jacket_mass": Bound("mass", 0.01, 50.0),
    "jacket_leak": Bound("leak", 0.0, 50.0),
    "net_mass": Bound("mass", 0.5, 100.0),
    "fill_ratio": Bound("density", 300.0, 900.0),
    "exchange_duration": Bound("time", 0.0, 3600.0),
    "position": Bound("length", 0.0, 200.0),
    "elapsed": Bound("time", 0.0, 8.0 * 3600.0),
    "room_volume": Bound("volume", 1.0, 1.0e6),
    "air_changes": Bound("air_changes", 0.0, 100.0 / 3600.0),
    "release_rate": Bound("mass_flow", 0.0, 1.0),
    "release_duration": Bound("time", 1.0, 86400.0),
    "outdoor_carbon_dioxide": Bound("mole_fraction", 0.0, 5000e-6),
    "setup": Bound("time", 0.0, 8.0 * 3600.0),
    "repair": Bound("time", 0.0, 8.0 * 3600.0),
    "drained_volume": Bound("volume", 1e-4, 1000.0),
    "drain_rate": Bound("volume_flow", 1e-6, 0.1),
    "hold": Bound("time", 0.0, 8.0 * 3600.0),
}
