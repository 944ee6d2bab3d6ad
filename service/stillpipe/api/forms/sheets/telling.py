"""Figures as a sheet tells them: to what their range allows, and never to the good side.

The ends of a range are rounded outwards, so that what is told covers what was estimated; a single
time that somebody relies on is rounded to its unfavourable side, which the caller names.
"""

import calendar
import math
from datetime import datetime, timedelta
from enum import Enum
from typing import Any

JSON = dict[str, Any]

THIN = "\u202f"
"""Between groups of three digits, since a comma or a point there is read in two ways."""
TIED = "\u00a0"
"""Between a figure and its unit, which stay on one line."""
UNITS = {
    "degC": "°C", "degF": "°F", "kPa": "kPa", "psi": "psi", "mm": "mm", "in": "in", "kg": "kg",
    "lb": "lb", "kg/h": "kg/h", "lb/h": "lb/h", "%": "%", "m3": "m³", "ft3": "ft³", "ppm": "ppm",
    "L/min": "L/min", "gal/min": "gal/min", "1/h": "an hour", "L": "L", "gal": "gal",
}  # fmt: skip
"""How the units of answers are written."""
MINUTE, HOUR = 60.0, 3600.0
LONG = 90.0 * MINUTE
"""From this on a time is told in hours and minutes [s]."""
STEPS = (5.0, 10.0, 30.0, 60.0, 300.0, 600.0)
"""To which times are rounded [s]."""
ALLOWED = (
    (2 * MINUTE, 5.0, 5.0), (20 * MINUTE, 10.0, 60.0), (2 * HOUR, 60.0, 300.0),
    (math.inf, 60.0, 600.0),
)  # fmt: skip
"""A range of time that ends before the first is told no finer than to the second and no coarser
than to the third [s]."""
NEVER = "never"
UNKNOWN = "–"
TINY = 1e-9
"""So much a figure may lie beyond a round one and still be that [-]."""


class Way(Enum):
    """To which side a figure is rounded."""

    NEAR = "near"
    DOWN = "down"
    UP = "up"


def count(number: int | None) -> str:
    """Return a number of things, or that it is not known."""
    return UNKNOWN if number is None else str(number)


def to(value: float, step: float, way: Way = Way.NEAR) -> float:
    """Return ``value`` as a multiple of ``step``, rounded that ``way``."""
    steps = value / step
    if way is Way.DOWN:
        return step * math.floor(steps + TINY)
    return step * (math.ceil(steps - TINY) if way is Way.UP else math.floor(steps + 0.5))


def digits(value: float, count: int, way: Way = Way.NEAR) -> float:
    """Return ``value`` to ``count`` significant digits, rounded that ``way``."""
    if value == 0.0:
        return 0.0
    return to(value, 10.0 ** (math.floor(math.log10(abs(value)) + TINY) - count + 1), way)


def plain(value: float) -> str:
    """Return a number without an exponent or zeros at its end, digits in groups of three."""
    text = f"{value:,.6f}".rstrip("0").rstrip(".")
    return text.replace(",", THIN if abs(value) >= 1e4 else "")


def quantity(found: JSON, count: int = 3, way: Way = Way.NEAR) -> str:
    """Return a quantity of a reply with its unit, to ``count`` digits."""
    return f"{plain(digits(found['value'], count, way))}{TIED}{UNITS[found['unit']]}"


def stated(found: JSON) -> str:
    """Return a quantity as it was stated, with its unit."""
    return quantity(found, 4)


def pressure(found: JSON) -> str:
    """Return a pressure, in bar too where it is in kilopascals."""
    if found["unit"] != "kPa":
        return quantity(found)
    return f"{plain(digits(found['value'] / 100.0, 3))}{TIED}bar ({quantity(found)})"


def length(found: JSON, way: Way = Way.NEAR) -> str:
    """Return a length, to a millimetre, a centimetre from a metre on, or a tenth of an inch."""
    value, unit = found["value"], found["unit"]
    if unit == "in":
        return f"{plain(to(value, 0.1, way))}{TIED}in"
    if value < 1000.0:
        return f"{plain(to(value, 1.0, way))}{TIED}mm"
    return f"{plain(to(value / 1000.0, 0.01, way))}{TIED}m"


def ppm(found: JSON) -> str:
    """Return what comes into the air, to two digits and never less than it is."""
    return quantity(found, 2, Way.UP)


def span(found: JSON) -> str:
    """Return a range that is no time: ``about 2.4 kg (1.8 to 3.8)``."""
    unit = UNITS[found["unit"]]
    low, likely, high = found["low"], found["likely"], found["high"]
    step = _step((likely if high is None else high) - low)
    if step == 0.0:
        return f"{plain(digits(likely, 3))}{TIED}{unit}"
    ends = plain(to(low, step, Way.DOWN)), NEVER if high is None else plain(to(high, step, Way.UP))
    return f"about {plain(to(likely, step))}{TIED}{unit} ({ends[0]} to {ends[1]})"


def _step(width: float) -> float:
    """Return to what figures are rounded whose range is so wide: 1, 2 or 5 with noughts."""
    if width <= 0.0:
        return 0.0
    most = width / 4.0
    ten = 10.0 ** math.floor(math.log10(most) + TINY)
    return ten * max(n for n in (1.0, 2.0, 5.0) if n * ten <= most * (1.0 + TINY))


def time_step(low: float, high: float) -> float:
    """Return to what the times of a range from ``low`` to ``high`` [s] are rounded [s]."""
    finest, coarsest = next((f, c) for end, f, c in ALLOWED if high < end)
    fit = [s for s in STEPS if finest <= s <= coarsest and 2.0 * s <= high - low]
    return max(fit, default=finest)


def times(found: JSON) -> tuple[str, str]:
    """Return a range of time as the likely one and its ends: ``5 min``, ``3 to 8``.

    No ends where the range has no width.
    """
    low, likely, high = found["low"], found["likely"], found["high"]
    if high is not None and high <= low:
        return time(likely, Way.NEAR), ""
    step = time_step(low, high or 2.0 * likely)
    first, last = to(low, step, Way.DOWN), None if high is None else to(high, step, Way.UP)
    ends = [_told(first, step), NEVER if last is None else _told(last, step)]
    unit = ends[1].rpartition(TIED)[2]
    if last is not None and last < LONG and ends[0].endswith(TIED + unit):
        ends = [end.removesuffix(TIED + unit) for end in ends]
    return _told(to(likely, step), step), " to ".join(ends)


def time_span(found: JSON) -> str:
    """Return a range of time: ``about 5 min (3 to 8)``."""
    likely, ends = times(found)
    return f"about {likely} ({ends})" if ends else likely


def time(seconds: float, way: Way) -> str:
    """Return one time [s], rounded that ``way``: to 5 s below two minutes, else to a minute."""
    step = 5.0 if seconds < 2 * MINUTE else MINUTE
    found = to(seconds, step, way)
    return f"less than {step:.0f}{TIED}s" if found == 0.0 < seconds else _told(found, step)


def _told(seconds: float, step: float) -> str:
    """Return a time [s] that was rounded to ``step`` [s]."""
    if step < 30.0:
        return f"{seconds:.0f}{TIED}s"
    minutes = seconds / MINUTE
    if seconds < LONG:
        return f"{plain(minutes)}{TIED}min"
    hours, rest = divmod(round(minutes), 60)
    return f"{hours}{TIED}h {rest}{TIED}min" if rest else f"{hours}{TIED}h"


def percent(chance: float) -> str:
    """Return a chance in words, rounded down."""
    return f"{math.floor(100.0 * chance + TINY)}{TIED}%"


class Clock:
    """Tells times since arrival: by the clock where it is known when the job begins."""

    def __init__(self, start: datetime | None) -> None:
        """Begin at ``start``, None where that is not known."""
        self.start = start

    def at(self, seconds: float, way: Way = Way.NEAR, step: float = MINUTE) -> str:
        """Return a time since arrival [s] as hours and minutes, rounded that ``way``."""
        found = to(seconds, step, way)
        if self.start is None:
            hours, minutes = divmod(round(found / MINUTE), 60)
            return f"{hours}:{minutes:02d}"
        moment = self.start + timedelta(seconds=found)
        days = (moment.date() - self.start.date()).days
        return f"{moment:%H:%M}" + (f" +{days} d" if days else "")

    @property
    def begins(self) -> str:
        """When the job begins, in words; empty where that is not known."""
        if self.start is None:
            return ""
        day = f"{self.start.day} {calendar.month_abbr[self.start.month]} {self.start.year}"
        return f"{day}, {self.start:%H:%M}"


def clock(reply: JSON) -> Clock:
    """Return the clock of a job, which begins where the caller says when."""
    start = reply["inputs"].get("start")
    return Clock(None if start is None else datetime.fromisoformat(start["value"]))
