"""What past freezes say about a set of jackets, as a caller stores it and passes it back."""

import re
from dataclasses import dataclass
from typing import Annotated

import stillpipe
from stillpipe.errors import Fault, OutOfValidityError, StillpipeError
from stillpipe.model.declare import Count, Group, Number, Quantity, Text

NAMES = ("jacket_conductance", "jacket_filling", "capture")
"""The uncertain inputs that belong to a set of jackets, as the table calls them."""
WIDEST = 20.0
"""Most that the 95th percentile of a factor is over the 5th [-]."""
VERSION = re.compile(r"[0-9]{1,4}\.[0-9]{1,4}\.[0-9]{1,4}")
REACH = 1.5
"""By so much thinner or thicker pipes than those of the records a calibration reaches [-]: an
assumption."""


@dataclass(frozen=True, kw_only=True)
class Factor:
    """How a factor on an input's default is distributed in the next freeze: lognormal [-]."""

    p05: Annotated[float, Number(0.05, 20.0, says="Its 5th percentile.", limit="calibrated_factor")]
    p50: Annotated[
        float, Number(0.05, 20.0, says="Its 50th percentile.", limit="calibrated_factor")
    ]
    p95: Annotated[
        float, Number(0.05, 20.0, says="Its 95th percentile.", limit="calibrated_factor")
    ]

    @property
    def fault(self) -> str:
        """What is wrong with it; empty for nothing."""
        if not self.p05 <= self.p50 <= self.p95:
            return "p05, p50 and p95 must not fall"
        if self.p95 > WIDEST * self.p05:
            return f"p95 must be at most {WIDEST:g} times p05"
        return ""


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """What is known of a set of jackets: the answer of POST /v1/calibration, to be stored."""

    model_version: Annotated[str, Text(16, says="Of the model that made it.")]
    records: Annotated[
        int, Count(1, 50, says="From how many records it was made.", limit="calibration_records")
    ]
    jacket_conductance: Annotated[Factor, Group(says="On the jacket's default conductance.")]
    jacket_filling: Annotated[Factor, Group(says="On the jacket's default fill time.")]
    capture: Annotated[Factor, Group(says="On the default capture efficiency.")]
    least_diameter: Annotated[
        float,
        Quantity(
            "length", 0.003, 0.120, limit="outside_diameter",
            says="Outside diameter of the thinnest pipe among its records.",
        ),
    ]  # fmt: skip
    greatest_diameter: Annotated[
        float,
        Quantity(
            "length", 0.003, 0.120, limit="outside_diameter",
            says="Outside diameter of the thickest pipe among its records.",
        ),
    ]  # fmt: skip

    def reaches(self, outside_diameter: float) -> bool:
        """Tell whether it holds for a pipe of this ``outside_diameter`` [m]."""
        return self.least_diameter / REACH <= outside_diameter <= self.greatest_diameter * REACH

    @property
    def faults(self) -> list[StillpipeError]:
        """What keeps it from being used, each naming its member."""
        found = []
        if not VERSION.fullmatch(self.model_version):
            found.append(("model_version", 'must be three numbers, like "3.0.0"'))
        elif _major(self.model_version) != _major(stillpipe.MODEL_VERSION):
            text = (
                f"made by model {self.model_version}, this is {stillpipe.MODEL_VERSION}: make it "
                "again from its records"
            )
            found.append(("model_version", text))
        found += [(name, fault) for name in NAMES if (fault := getattr(self, name).fault)]
        if self.least_diameter > self.greatest_diameter:
            found.append(("least_diameter", "must not be above greatest_diameter"))
        return [OutOfValidityError(Fault(("calibration", name), text)) for name, text in found]


def _major(version: str) -> int:
    return int(version.split(".", maxsplit=1)[0])
