"""Request bodies of the description's examples, and a small estimate of our own."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from stillpipe.api import registry
from stillpipe.model.declare import Figure, Plain
from stillpipe.model.figures import Amount, Answer, Caution, Effort, Range, Reason, Severity
from stillpipe.model.requests import PlugTimeRequest, Request

FOLDER = Path(__file__).parents[2] / "openapi" / "examples"
NAMES = {
    "plug-time-request": "plug-time", "plug-time-by-measure": "plug-time",
    "plug-time-slush": "plug-time", "plug-time-observations": "plug-time",
    "hold-time-request": "hold-time",
    "co2-mass-request": "co2-mass", "cylinder-count-request": "cylinder-count",
    "cylinder-count-stock": "cylinder-count", "spacing-validation-request": "spacing-validation",
    "frost-check-request": "frost-check", "ventilation-request": "ventilation",
    "job-estimate-request": "job-estimate", "job-estimate-two-lines": "job-estimate",
    "calibration-request": "calibration",
    "job-estimate-rates": "job-estimate",
}  # fmt: skip
"""Which estimate an example asks for."""
SINGLE = sorted(p for p in FOLDER.glob("*.json") if not p.stem.startswith("batch"))


def example(stem: str) -> Any:
    """The body of an example."""
    return json.loads((FOLDER / f"{stem}.json").read_text())


def request_of(stem: str) -> type[Request]:
    """The request class of an example."""
    return registry.ENDPOINTS[NAMES[stem]].request


EFFORT = Effort(freezes=2, units=34)


@dataclass(frozen=True)
class Part:
    """A part of an answer."""

    name: Annotated[str, Plain(says="Its name.")]
    length: Annotated[float, Figure("length", says="Its length.")]


@dataclass(frozen=True)
class Figures:
    """Figures of every kind."""

    time: Annotated[Range | None, Figure("time", says="A range.")]
    never: Annotated[Range | None, Figure("time", says="A figure that there is not.")]
    pressure: Annotated[float, Figure("pressure", 3, says="A quantity.")]
    course: Annotated[tuple[float, ...], Figure("length", says="A series.")]
    severity: Annotated[Severity, Plain(says="A word.")]
    parts: Annotated[tuple[Part, ...], Plain(says="Groups.")]
    unseen: float = 0.0


def estimate(request: PlugTimeRequest) -> Answer[Figures]:
    """Answer with lengths of the pipe in place of a freeze."""
    diameter = request.pipe.outside_diameter
    return Answer(
        reasons=(
            Reason(
                "narrow",
                "The pipe is narrow.",
                figure="inputs.pipe.outside_diameter",
                value=Amount(diameter, "length"),
                limit=Amount(0.02, "length"),
                action="Take another.",
            ),
        ),
        cautions=(Caution("cold", "Dry ice is cold.", Severity.INFO),),
        figures=Figures(
            time=Range(60.0, 123.456789, None),
            never=None,
            pressure=123456.789,
            course=(0.0, diameter),
            severity=Severity.STOP,
            parts=(Part("wall", request.pipe.wall),),
        ),
        effort=EFFORT,
    )
