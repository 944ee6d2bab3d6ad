"""The room's air: how near it comes to each limit, and the CO2 against time."""

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from stillpipe.api.forms import canvas, words
from stillpipe.api.forms.canvas import JSON
from stillpipe.physics import room

PPM = 1e-6
AT_LIMIT, END = 0.5, 0.96
"""Where on the axes a limit lies, and where a bar ends that goes far beyond it [-]."""
ABOVE = 1.3
"""The axis of CO2 is so many times as high as the most of it [-]."""
NEAR = 0.3
"""A limit of which so much is reached is within the axis of CO2 [-]."""
COURSE, EACH = 2.6, 0.42
"""Height of the course and of each limit [in]."""
APART = 0.075
"""Share of the course's height by which words beside two limits are apart [-]."""
OVER: JSON = {"color": canvas.STOP, "linewidth": 1.2}


def ventilation(reply: JSON) -> bytes:
    """Return the air of a room while CO2 is let out."""
    return canvas.drawn(lambda _: _air(reply, reply), reply, "Room", _words(reply))


def job(reply: JSON) -> bytes:
    """Return the air of the room of a job, where one was stated."""
    air = reply["air"]
    if air is None:
        said = " ".join(reason["text"] for reason in reply["reasons"])
        return canvas.drawn(canvas.refusal, reply, "Job", said)
    return canvas.drawn(lambda _: _air(air, reply), reply, "Job", _words(air))


def _air(air: JSON, reply: JSON) -> Figure:
    limits = air["limits"]
    strip = EACH * len(limits)
    figure, (bars, course) = canvas.blank(
        "air", (strip, COURSE), COURSE + strip + 1.4, left=1.35, top=0.7
    )  # fmt: skip
    _limits(bars, limits)
    _course(course, air, reply["inputs"]["room"]["outdoor_carbon_dioxide"]["value"])
    return figure


def _limits(axes: Axes, limits: list[JSON]) -> None:
    """Draw for each limit how much of it the air comes to; what passes it is marked."""
    shares = [x["worst"]["value"] / x["limit"]["value"] for x in limits]
    ends = [min(AT_LIMIT * share, END) for share in shares]
    across = axes.get_yaxis_transform()
    for row, (limit, end) in enumerate(zip(limits, ends, strict=True)):
        over = limit["passed_at"] is not None
        color = canvas.STOP if over else canvas.AFTER
        axes.hlines(row, 0.0, end, color=color, linewidth=12, transform=across)
        if end >= END:
            axes.plot((END,), (row,), ">", markersize=17, color=color, transform=across, mew=0)
    axes.vlines(AT_LIMIT, 0.0, 1.0, **canvas.ENOUGH, transform=axes.transAxes)
    for row, limit in enumerate(limits):
        color = canvas.INK if limit["passed_at"] is None else canvas.STOP
        axes.text(0.005, row - 0.3, _share(limit), fontsize=9, va="bottom", transform=across,
                  color=color, bbox=canvas.ON_WHITE | {"pad": 0.2})  # fmt: skip
    axes.text(AT_LIMIT, 1.02, "limit", transform=axes.transAxes, ha="center", fontsize=9,
              color=canvas.STOP)  # fmt: skip
    axes.set_yticks(range(len(limits)), [_name(limit) for limit in limits])
    axes.set_ylim(len(limits) - 0.5, -0.75)


def _name(limit: JSON) -> str:
    """Return what a limit is called, short enough for the margin."""
    quantity = "oxygen" if limit["quantity"] == "minimum" else limit["quantity"]
    return f"{limit['regime']} {quantity}"


def _average(limit: JSON) -> str:
    """Return over how long a limit is an average."""
    if limit["averaging_time"] is None:
        return "at any time"
    minutes = words.minutes(limit["averaging_time"])
    return f"{minutes / 60.0:g} h average" if minutes >= 60.0 else f"{minutes:g} min average"


def _share(limit: JSON) -> str:
    """Return in words how much of a limit the air comes to, and when it passes it."""
    worst, most = limit["worst"]["value"], limit["limit"]["value"]
    found = f"{worst:,.0f} of {most:,.0f} {limit['limit']['unit']}, {_average(limit)}"
    if limit["passed_at"] is None:
        return found
    minutes = words.minutes(limit["passed_at"])
    return f"{found}: passed " + (f"after {minutes:.0f} min" if minutes >= 1.0 else "at once")


def _course(axes: Axes, air: JSON, outdoor: float) -> None:
    """Draw the CO2 against time, with the limits that hold at any time."""
    course, peak = air["course"], air["peak"]["value"]
    minutes = [time / 60.0 for time in course["time"]["values"]]
    dioxide = course["carbon_dioxide"]["values"]
    ceilings = [x for x in air["limits"] if x["averaging_time"] is None]
    near = [x["limit"]["value"] for x in ceilings if peak >= NEAR * x["limit"]["value"]]
    top = max([ABOVE * peak, *(1.15 * x for x in near)])
    axes.fill_between(minutes, 0.0, dioxide, color=canvas.WATER, linewidth=0)
    axes.plot(minutes, dioxide, **canvas.FROZEN)
    axes.set_xlim(0.0, minutes[-1])
    axes.set_ylim(0.0, top)
    axes.set_ylabel(f"CO2 in the air [{course['carbon_dioxide']['unit']}]")
    axes.yaxis.set_label_coords(-0.95 / (canvas.WIDTH - 1.5), 0.5)
    axes.set_xlabel("time since CO2 was first let out [min]")
    shown = sorted((x for x in ceilings if x["limit"]["value"] <= top), key=_height)
    last = -1.0
    for limit in shown:
        share = _height(limit) / top
        last = max(share + 0.01, last + APART)
        axes.axhline(_height(limit), **OVER)
        axes.text(1.0, last, f"{_name(limit)} {_equals(limit, outdoor)}", fontsize=9, ha="right",
                  transform=axes.transAxes, color=canvas.STOP, bbox=canvas.ON_WHITE)  # fmt: skip
    oxygen = "{value:.3g} {unit}".format(**air["least_oxygen"])
    said = f"most CO2 {peak:,.0f} {air['peak']['unit']}; least oxygen {oxygen}"
    axes.text(0.01, 0.04, said, fontsize=9, transform=axes.transAxes, bbox=canvas.ON_WHITE)


def _height(limit: JSON) -> float:
    return float(limit["limit"]["value"])


def _equals(limit: JSON, outdoor: float) -> str:
    """Return a limit in its own words: oxygen as such, with ``outdoor`` [ppm] of CO2 outside."""
    if limit["quantity"] != "minimum":
        return f"{_height(limit):,.0f} {limit['limit']['unit']}"
    oxygen = room.oxygen(_height(limit) * PPM, outdoor * PPM)
    return f"{100.0 * oxygen:.3g} % ({_height(limit):,.0f} {limit['limit']['unit']} of CO2)"


def _words(air: JSON) -> str:
    """Return in words what the picture shows, for those who cannot see it."""
    oxygen = "{value:.3g} {unit}".format(**air["least_oxygen"])
    parts = [f"most CO2 {air['peak']['value']:,.0f} {air['peak']['unit']}, least oxygen {oxygen}"]
    parts += [f"{_name(limit)}: {_share(limit)}" for limit in air["limits"]]
    return "; ".join(parts)
