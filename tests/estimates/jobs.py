"""Requests for the tests: one plain, and any that the model covers, every member worked out."""

from typing import Any, TypeVar

from hypothesis import strategies as st

from stillpipe.model.figures import Range
from stillpipe.model.freeze_point import Ambient, Fluid, FreezePoint
from stillpipe.model.pipe import Pipe
from stillpipe.model.requests import PlugTimeRequest
from stillpipe.tables import pipes

P = TypeVar("P", bound=FreezePoint)
T = TypeVar("T")

ZERO_C = 273.15
HOUR, MINUTE = 3600.0, 60.0
HALF_INCH = pipes.find("ASTM B88", "1/2", "L")
TWO_INCH = pipes.find("ASME B36.10M", "2", "40")


def water(celsius: float = 20.0, flow: float = 0.0) -> Fluid:
    """Water at a temperature [C], flowing [kg/s] or still."""
    return Fluid(temperature=ZERO_C + celsius, flow=flow)


def solution_of(fluid: str, concentration: float, celsius: float = 20.0) -> Fluid:
    """A ``fluid`` of a mass fraction [kg/kg] at a temperature [C]."""
    return Fluid(type=fluid, concentration=concentration, temperature=ZERO_C + celsius)


def named(pipe: pipes.Pipe) -> Pipe:
    """A pipe of the catalogue as a caller names it."""
    return Pipe(standard=pipe.standard, size=pipe.size, schedule=pipe.schedule)


def stated(
    kind: type[P], pipe: pipes.Pipe = HALF_INCH, celsius: float = 20.0, room: float = 20.0,
    bar: float = 3.0, /, **changes: Any,
) -> P:  # fmt: skip
    """A request of a still line of water as a caller states it, nothing worked out yet.

    Temperatures of water and room [C], gauge pressure [bar]; ``changes`` are its members.
    """
    given: dict[str, Any] = {
        "pipe": named(pipe),
        "fluid": water(celsius),
        "ambient": Ambient(temperature=ZERO_C + room),
        "line_pressure": bar * 1e5,
    }
    return kind(**(given | changes))


def request_of(
    kind: type[P], pipe: pipes.Pipe = HALF_INCH, celsius: float = 20.0, room: float = 20.0,
    bar: float = 3.0, /, **changes: Any,
) -> P:  # fmt: skip
    """A request as :func:`stated`, every member worked out."""
    return stated(kind, pipe, celsius, room, bar, **changes).completed()


def point_of(
    pipe: pipes.Pipe = HALF_INCH, celsius: float = 20.0, room: float = 20.0, bar: float = 3.0,
    /, **changes: Any,
) -> PlugTimeRequest:  # fmt: skip
    """A freeze point, as a plug-time request has it."""
    return request_of(PlugTimeRequest, pipe, celsius, room, bar, **changes)


def any_request(kind: type[P], **changes: Any) -> st.SearchStrategy[P]:
    """Water in any pipe of the catalogue, at any temperature and pressure of a building."""

    def made(pipe: pipes.Pipe, celsius: float, room: float, bar: float) -> P:
        return request_of(kind, pipe, celsius, room, bar, **changes)

    return st.builds(
        made, st.sampled_from(pipes.catalogue()), st.floats(1.0, 38.0), st.floats(2.0, 40.0),
        st.floats(0.0, 12.0),
    )  # fmt: skip


def known(value: T | None) -> T:
    """A figure that must be there."""
    assert value is not None
    return value


def likely(found: Range | None) -> float:
    """The likely figure of a range that must be there."""
    return known(found).likely


def high(found: Range | None) -> float:
    """The high end of a range that must have one."""
    return known(known(found).high)
