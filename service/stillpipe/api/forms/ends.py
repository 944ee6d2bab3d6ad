"""How far a plug reaches along the pipe against time, with its band."""

from typing import NamedTuple

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from stillpipe.api.forms import canvas, layout, words
from stillpipe.api.forms.canvas import JSON
from stillpipe.api.forms.run import read

MOST = 6
"""Plugs that are drawn on one picture."""
TALL, LOW = 3.4, 1.9
"""Height of a plug's axes [in], of the first with its key and of the others."""
UNKNOWN = 1.2
"""The axis of time over the end of the hold, where nothing tells when the plug lets go [-]."""
UNDER_KEY = 0.74
"""Share of the first axes that is below its key [-]."""
ROW = 0.17
"""Height of a row of words [in]."""
SURE: JSON = {"color": canvas.ICE, "linewidth": 6.0}
MAY: JSON = {"color": canvas.WATER, "linewidth": 6.0}
EDGE: JSON = {"color": canvas.INK, "linewidth": 1.0, "linestyle": (0, (4, 3))}
"""How ice that is sure, ice that may be there and the jacket's edges are drawn."""


class Plug(NamedTuple):
    """What is drawn of a plug: times [min], lengths, and a mark [min] for each named moment.

    ``likely`` has times of its own. ``jacket`` its length, ``unit`` of lengths; ``lets_go`` when
    it lets go unfed, a range of times [s] after the stop at ``stop`` [min].
    """

    name: str
    time: list[float]
    low: list[float]
    high: list[float]
    likely_time: list[float]
    likely: list[float]
    jacket: float
    unit: str
    marks: list[tuple[str, float]]
    stop: float | None = None
    lets_go: JSON | None = None


def plug_time(reply: JSON) -> bytes:
    """Return the ends of the plug against time, up to the planned ready."""
    said = words.freeze(reply)
    if not reply["bands"]["time"]["values"]:
        return canvas.drawn(canvas.refusal, reply, "Freeze point", said)
    plug = _frozen(reply)
    said = f"{said}; {_words(plug)}"
    return canvas.drawn(lambda _: _ends([plug], 0), reply, "Freeze point", said)


def hold_time(reply: JSON) -> bytes:
    """Return the ends of the plug against time through the hold, and when it lets go after it."""
    return _held(reply, "Hold", [_fed("", reply, reply)])


def job(reply: JSON) -> bytes:
    """Return the ends of every plug of a job that differs, against the time it is fed."""
    every = reply.get("freeze_points") or []
    plugs = [_fed(p["name"], p, reply) for p in every if "growth" in p]
    return _held(reply, "Job", plugs or [_fed("", reply, reply)])


def _held(reply: JSON, unnamed: str, every: list[Plug]) -> bytes:
    """Return the picture of plugs that are held, equal ones once."""
    plugs: list[Plug] = []
    for plug in every:
        if plug.time and all(plug._replace(name=p.name) != p for p in plugs):
            plugs.append(plug)
    if not plugs:
        said = " ".join(reason["text"] for reason in reply["reasons"])
        return canvas.drawn(canvas.refusal, reply, unnamed, said)
    shown, more = plugs[:MOST], len(plugs[MOST:])
    said = "; ".join(_words(plug) for plug in shown)
    said += f"; {more} more are not drawn" if more else ""
    return canvas.drawn(lambda _: _ends(shown, more), reply, unnamed, said)


def _minutes(series: JSON) -> list[float]:
    return [time / 60.0 for time in series["values"]]


def _frozen(reply: JSON) -> Plug:
    """Return the plug of a plug-time."""
    history, bands = reply["history"], reply["bands"]
    lengths = (history[name]["values"] for name in ("plug_length", "bonded_length"))
    names = (("closed", "closure"), ("ready", "ready"))
    marks = [(name, reply[of]["likely"] / 60.0) for name, of in names if reply[of]]
    marks.append(("planned ready", words.minutes(reply["planned_ready"])))
    return Plug(
        "", _minutes(bands["time"]), bands["plug_length_low"]["values"],
        bands["plug_length_high"]["values"], _minutes(history["time"]),
        [min(both) for both in zip(*lengths, strict=True)],
        reply["inputs"]["jacket"]["length"]["value"], history["plug_length"]["unit"], marks,
    )  # fmt: skip


def _fed(name: str, point: JSON, reply: JSON) -> Plug:
    """Return a plug that is held: ``point`` has its figures, ``reply`` what was asked."""
    growth, planned = point["growth"], point["planned_ready"]
    marks = [] if planned is None else [("planned ready", words.minutes(planned))]
    inputs = reply["inputs"] | read.own(name, reply)
    time, jacket = _minutes(growth["time"]), inputs["jacket"]["length"]["value"]
    return Plug(
        name, time, growth["low"]["values"], growth["high"]["values"], time,
        growth["likely"]["values"], jacket, growth["likely"]["unit"], marks,
        time[-1] if time else None, point["survival"],
    )  # fmt: skip


def _words(plug: Plug) -> str:
    """Return in words how a plug grows and when it lets go."""
    found = {
        "low": plug.low[-1], "likely": plug.likely[-1], "high": plug.high[-1], "unit": plug.unit
    }  # fmt: skip
    before = f"{plug.name}: " if plug.name else ""
    said = f"{before}after {plug.time[-1]:.0f} min the plug is {words.length(found)} long"
    if plug.stop is None:
        return said
    if plug.lets_go is None:
        return f"{said}; unfed from then on it may never let go"
    return f"{said}; unfed from then on it lets go after {words.span(plug.lets_go)}"


def _ends(plugs: list[Plug], more: int) -> Figure:
    heights = [TALL, *(LOW for _ in plugs[1:])]
    figure, every = canvas.blank("ends", tuple(heights), sum(heights) + 1.15, left=0.9, top=0.6)
    last = 1.02 * max(_last(plug) for plug in plugs)
    for axes, plug in zip(every, plugs, strict=True):
        _one(axes, plug, last, first=axes is every[0])
    every[-1].set_xlabel(
        "time from the first feed [min]" + (f"; {more} more plugs are not drawn" if more else "")
    )
    return figure


def _last(plug: Plug) -> float:
    """Return up to when a plug is drawn [min]."""
    if plug.stop is None:
        return max(plug.time[-1], plug.likely_time[-1])
    if plug.lets_go is None:
        return UNKNOWN * plug.stop
    known = plug.lets_go["high"] or 1.4 * plug.lets_go["likely"]
    return float(plug.stop + known / 60.0)


def _one(axes: Axes, plug: Plug, last: float, first: bool) -> None:
    """Draw a plug's ends to both sides of the jacket's centre, and below it what happens when."""
    half = 1.1 * max(0.5 * plug.jacket, 0.5 * max(*plug.high, *plug.likely))
    lines = _moments(plug)
    part = (UNDER_KEY if first else 1.0) - ROW * len(lines) / (TALL if first else LOW)
    whole = 2.0 * half / part
    bottom = -half - whole * ROW * len(lines) / (TALL if first else LOW)
    axes.set_xlim(0.0, last)
    axes.set_ylim(bottom, bottom + whole)
    for length, color in ((plug.high, canvas.WATER), (plug.low, canvas.ICE)):
        ends = [0.5 * x for x in length]
        axes.fill_between(plug.time, [-x for x in ends], ends, color=color, linewidth=0)
    begun = next((n for n, x in enumerate(plug.likely) if x > 0.0), 1) - 1
    for side in (-0.5, 0.5):
        likely = [side * x for x in plug.likely[begun:]]
        axes.plot(plug.likely_time[begun:], likely, **canvas.LIKELY)
    axes.hlines((-0.5 * plug.jacket, 0.5 * plug.jacket), 0.0, last, **EDGE)
    axes.set_ylabel(f"along the pipe\n[{plug.unit}]")
    _marks(axes, lines, bottom, half, whole * ROW / (TALL if first else LOW))
    _lets_go(axes, plug, last)
    if plug.name:
        name = layout.shortened(plug.name, 60)
        axes.text(0.0, half, f" {name}", va="top", fontsize=9, fontweight="bold",
                  bbox=canvas.ON_WHITE)  # fmt: skip
    if first:
        canvas.key(axes, {
            "ice, 95 % sure": SURE, "there may be ice, 5 %": MAY, "likely end": canvas.LIKELY,
            "jacket": EDGE,
        })  # fmt: skip


def _moments(plug: Plug) -> list[tuple[str, float, str]]:
    """Return what happens when [min], each in its colour."""
    found = [(name, minute, canvas.INK) for name, minute in plug.marks]
    if plug.stop is not None:
        found.append(("feeding stops", plug.stop, canvas.STOP))
    if plug.stop is not None and plug.lets_go is None:
        found.append(("unfed it may never let go", UNKNOWN * plug.stop, canvas.STOP))
    if plug.stop is not None and plug.lets_go is not None:
        never = ", or never" if plug.lets_go["high"] is None else ""
        likely = plug.stop + plug.lets_go["likely"] / 60.0
        found.append((f"unfed it lets go{never}", likely, canvas.STOP))
    return found


def _marks(
    axes: Axes, lines: list[tuple[str, float, str]], bottom: float, top: float, row: float
) -> None:
    """Draw a line up to ``top`` for each moment, and its name in a row of its own."""
    last = axes.get_xlim()[1]
    for n, (name, minute, color) in enumerate(lines):
        y, left = bottom + (n + 0.5) * row, minute > 0.5 * last
        axes.vlines(minute, y, top, color=color, linewidth=0.8)
        said = f"{name} " if left else f" {name}"
        axes.text(
            minute, y, said, ha="right" if left else "left", va="center", fontsize=9, color=color,
            bbox=canvas.ON_WHITE | {"pad": 0.5},
        )  # fmt: skip


def _lets_go(axes: Axes, plug: Plug, last: float) -> None:
    """Draw when an unfed plug lets go; one that may never is open at its end."""
    if plug.stop is None:
        return
    high = None
    low = plug.stop
    if plug.lets_go is not None:
        low, likely = (plug.stop + plug.lets_go[end] / 60.0 for end in ("low", "likely"))
        high = plug.lets_go["high"]
        axes.plot((likely,), (0.0,), "|", markersize=13, color=canvas.STOP, mew=2.2)
    end = last if high is None else plug.stop + high / 60.0
    axes.hlines(0.0, low, end, color=canvas.STOP, linewidth=7, alpha=0.5)
    if high is None:
        axes.plot((last,), (0.0,), ">", **canvas.MARK | {"markersize": 10.0})
