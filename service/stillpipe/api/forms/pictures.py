"""Pictures of answers as SVG, drawn by matplotlib: what the figures say, at a glance.

Importing this imports matplotlib. Times are in seconds in either system of units.
"""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from stillpipe.api.forms import canvas, layout, words
from stillpipe.api.forms.canvas import JSON

Array = NDArray[np.float64]

COURSE = "time from the first feed [min], likely course"
BARS = ((0, "closure"), (1, "ready"))
"""Rows of figures that have a bar below the course."""
LATE = 1.5
"""What is seen so many times later than all else of a freeze is marked at the end of its axis."""
DAY = 1440.0
"""What is said to last so long lasts so long at least, or for ever [min]."""
MOMENTS = 120
"""At which the ends of an ice front are drawn."""
SURE = 0.98
"""Share of an axis of time up to which what is said of a mark may reach [-]."""
LONGEST = 28
"""Characters of the name of a freeze point at most."""
NEVER = 1.2
"""The axis of time is so many times as long as all that is known, where something may never come
[-]."""


def plug_time(reply: JSON) -> bytes:
    """Return the likely course of a freeze: liquid left and plug grown against time.

    Where something was seen it is marked, with the ranges before and after.
    """
    frozen = reply["history"] is not None and bool(reply["history"]["time"]["values"])
    said = words.freeze(reply)
    if not frozen:
        return canvas.drawn(canvas.refusal, reply, "Freeze point", said)
    if reply.get("learned") is None:
        return canvas.drawn(_course, reply, "Freeze point", said)
    return canvas.drawn(_learned, reply, "Freeze point", f"{said}; {words.seen(reply)}")


def hold_time(reply: JSON) -> bytes:
    """Return how long the plug lasts unfed against when feeding stops, with its band."""
    held = bool(reply["course"]["time"]["values"])
    said = words.freeze(reply)
    if reply["survival"] is not None:
        said = f"unfed after the hold the plug lasts {words.span(reply['survival'])}"
    return canvas.drawn(_survival if held else canvas.refusal, reply, "Hold", said)


def job(reply: JSON) -> bytes:
    """Return the timeline of a whole job: a mark where likely, a bar from earliest to latest.

    Moments of a freeze point of its own stand together under its name.
    """
    if any(r["code"] == "flowing" for r in reply["reasons"]):
        said = " ".join(r["text"] for r in reply["reasons"])
        return canvas.drawn(canvas.refusal, reply, "Job", said)
    said = "; ".join(_said(event) for event in reply["timeline"])
    return canvas.drawn(_timeline, reply, "Job", said)


def _course(reply: JSON) -> Figure:
    figure, (upper, lower) = canvas.blank("course", (1.0, 1.0), 6.0, left=0.9, top=0.95)
    _front(upper, reply)
    _plug(lower, reply, canvas.BAND)
    lower.set_xlabel(COURSE)
    return figure


def _learned(reply: JSON) -> Figure:
    """Return the course with its ranges before and after, and below it what was seen when."""
    rows = 2 + len(reply["learned"]["observations"]) + (not reply["learned"]["used"])
    strip = 0.24 * rows + 0.1
    figure, (front, plug, below) = canvas.blank(
        "learned", (2.25, 2.0, strip), 6.0 + strip, left=0.9, top=0.95
    )  # fmt: skip
    _before_and_after(front, reply)
    _plug(plug, reply, _known(reply))
    _seen(below, reply, rows)
    at = [o["elapsed"]["value"] / 60.0 for o in reply["learned"]["observations"]]
    for axes in (front, plug):
        axes.vlines(at, 0.0, 1.0, **canvas.SIGHT, transform=axes.get_xaxis_transform())
    below.set_xlabel(COURSE)
    return figure


def _known(reply: JSON) -> JSON:
    """Return how a range is drawn that is known now: as before where nothing was learned."""
    return canvas.KNOWN if reply["learned"]["used"] else canvas.BAND


def _before_and_after(axes: Axes, reply: JSON) -> None:
    """Draw the ice front: its range before anything was seen, and what is known of it now."""
    history, bore = reply["history"], _bore(reply["inputs"])
    minutes = np.linspace(0.0, _end(reply), MOMENTS)
    key = {"5 to 95 % before": canvas.BAND, "likely": canvas.LIKELY}
    before = reply["learned"]["before"]["closure"]
    axes.fill_between(minutes, *_fronts(reply, before, minutes), color=canvas.WATER, linewidth=0)
    if reply["learned"]["used"]:
        now = _fronts(reply, reply["closure"], minutes)
        axes.fill_between(minutes, *now, color=canvas.AFTER, linewidth=0)
        key |= {"5 to 95 % now": canvas.KNOWN}
    likely = [t / 60.0 for t in history["time"]["values"]]
    axes.plot(likely, history["liquid_radius"]["values"], **canvas.LIKELY)
    axes.axhline(0.5 * bore, color=canvas.INK, linewidth=0.8)
    axes.set_ylim(0.0, 0.5 * bore / 0.72)
    axes.set_ylabel(f"radius under the\njacket's middle [{history['liquid_radius']['unit']}]")
    axes.text(0.02, 0.08, "liquid", transform=axes.transAxes, bbox=canvas.ON_WHITE)
    axes.text(0.97, 0.55, "ice", transform=axes.transAxes, ha="right", bbox=canvas.ON_WHITE)
    canvas.key(axes, key)
    _events(axes, reply, lettered=True)


def _fronts(reply: JSON, closure: JSON | None, minutes: Array) -> tuple[Array, Array]:
    """Return the low and the high end of the ice front at times, for a range of closure.

    As in the bands the front is the likely one, stretched to the ends of closure; where that
    never comes all stays liquid.
    """
    history = reply["history"]
    times, radius = history["time"]["values"], history["liquid_radius"]["values"]
    lengths = zip(times, history["plug_length"]["values"], strict=True)
    closed = next((t for t, length in lengths if length > 0.0), times[-1])
    known = np.array(times) / closed

    def front(end: float | None) -> Array:
        if end is None:
            return np.full(len(minutes), radius[0])
        return np.asarray(np.interp(minutes * 60.0 / end, known, radius))

    return (
        (front(None), front(None))
        if closure is None
        else (front(closure["low"]), front(closure["high"]))
    )


def _seen(axes: Axes, reply: JSON, rows: int) -> None:
    """Draw closure and ready before and after as bars, and a mark at the time of what was seen."""
    learned, last = reply["learned"], _end(reply)
    axes.set_ylim(rows - 0.4, -0.6)
    axes.set_yticks((0, 1, 2), ("closed", "ready", "seen"))
    _bars(axes, learned["before"], last, canvas.WATER, 12)
    if learned["used"]:
        _bars(axes, reply, last, canvas.AFTER, 6)
    known = [(reply[name]["likely"] / 60.0, row) for row, name in BARS if reply[name]]
    axes.plot(*zip(*known, strict=True), "|", markersize=10, color=canvas.INK, mew=1.8)
    at = [words.minutes(o["elapsed"]) for o in learned["observations"]]
    shown = [(minute, row) for row, minute in enumerate(at, 2) if minute <= last]
    beyond = [(last, row) for row, minute in enumerate(at, 2) if minute > last]
    for marks, shape in ((shown, "o"), (beyond, ">")):
        if marks:
            axes.plot(*zip(*marks, strict=True), shape, **canvas.MARK)
    for row, (minute, word) in enumerate(zip(at, words.told(reply), strict=True), 2):
        _label(axes, row, minute, word, last)
    if not learned["used"]:
        axes.text(
            0.01, rows - 1, "cannot be explained: nothing is learned from it", va="center",
            fontsize=9, color=canvas.STOP, transform=axes.get_yaxis_transform(),
        )  # fmt: skip


def _label(axes: Axes, row: int, minute: float, word: str, last: float) -> None:
    """Say beside the mark at ``minute`` what it is, where there is room; ``last`` ends the axis."""
    said = word if minute <= last else f"{word}, after {minute:.0f} min"
    inch = last / (canvas.WIDTH - 1.05)
    at, right = min(minute, last), canvas.CHARACTER * len(said) * inch
    left = at + right > SURE * last
    beside = at - 0.1 * inch if left else at + 0.1 * inch
    axes.text(beside, row, said, va="center", ha="right" if left else "left", fontsize=9)


def _bars(axes: Axes, figures: JSON, last: float, color: str, width: float) -> None:
    """Draw closure and ready as bars, open at the ``last`` [min] where the high end never comes."""
    known = [(row, figures[name]) for row, name in BARS if figures[name] is not None]
    low = [found["low"] / 60.0 for _, found in known]
    high = [last if found["high"] is None else found["high"] / 60.0 for _, found in known]
    axes.hlines([row for row, _ in known], low, high, color=color, linewidth=width)
    never = [row for row, found in known if found["high"] is None]
    if never:
        axes.plot([last] * len(never), never, ">", color=color, markersize=width, clip_on=False)


def _survival(reply: JSON) -> Figure:
    """Draw how long the plug lasts; what lasts a day or more runs out of the picture above."""
    figure, (axes,) = canvas.blank("survival", (1.0,), 4.0, left=0.9, top=0.5)
    course = reply["course"]
    minutes, low, likely, high = (
        [t / 60.0 for t in course[name]["values"]] for name in ("time", "low", "likely", "high")
    )
    axes.fill_between(minutes, low, high, color=canvas.WATER, linewidth=0)
    axes.plot(minutes, likely, **canvas.FROZEN)
    axes.set_xlim(minutes[0], minutes[-1])
    beyond = [minute for minute, x in zip(minutes, high, strict=True) if x >= DAY]
    told = [x for x in (*low, *likely, *high) if x < DAY]
    axes.set_ylim(0.0, 1.4 * max([*told, 0.2 * DAY if beyond else 1e-6]))
    if beyond:
        axes.plot(
            beyond, [0.74] * len(beyond), "^", transform=axes.get_xaxis_transform(), **canvas.MARK
        )
        axes.text(
            0.5, 0.64, "a day or more, or never", transform=axes.transAxes, ha="center",
            fontsize=9, color=canvas.STOP, bbox=canvas.ON_WHITE,
        )  # fmt: skip
    axes.set_ylabel("bonded unfed [min]")
    axes.set_xlabel("when feeding stops in the hold, since the first feed [min]")
    canvas.key(axes, {"median": canvas.FROZEN, "5 to 95 %": canvas.BAND})
    return figure


def _front(axes: Axes, reply: JSON) -> None:
    history, bore = reply["history"], _bore(reply["inputs"])
    minutes = [t / 60.0 for t in history["time"]["values"]]
    radius = history["liquid_radius"]["values"]
    axes.fill_between(minutes, radius, 0.5 * bore, color=canvas.ICE, alpha=0.85, linewidth=0)
    axes.fill_between(minutes, 0.0, radius, color=canvas.WATER, linewidth=0)
    for end in ("liquid_radius_low", "liquid_radius_high"):
        axes.plot(_band_minutes(reply), reply["bands"][end]["values"], **canvas.FRONT)
    axes.set_ylim(0.0, 0.5 * bore)
    axes.set_ylabel(f"radius under the\njacket's middle [{history['liquid_radius']['unit']}]")
    axes.text(0.02, 0.08, "liquid", transform=axes.transAxes)
    axes.text(0.6, 0.86, "ice", transform=axes.transAxes, ha="center", **canvas.ON_ICE)
    if reply["bands"]["time"]["values"]:
        text = "dashed: 5th and 95th percentile"
        axes.text(0.97, 0.74, text, transform=axes.transAxes, ha="right", **canvas.ON_ICE)
    _events(axes, reply, lettered=True)


def _bore(inputs: JSON) -> float:
    """Return the diameter of the free bore, in the answer's unit of length."""
    lining = inputs["lining"]["thickness"]["value"] if inputs["lining"] else 0.0
    pipe = inputs["pipe"]
    return float(pipe["outside_diameter"]["value"] - 2.0 * (pipe["wall"]["value"] + lining))


def _plug(axes: Axes, reply: JSON, known: JSON) -> None:
    """Draw the plug's length and the bond's, with its range in the style ``known``."""
    history = reply["history"]
    minutes = [t / 60.0 for t in history["time"]["values"]]
    frozen, bonded = history["plug_length"]["values"], history["bonded_length"]["values"]
    band = reply["bands"]
    ends = [band[end]["values"] for end in ("plug_length_low", "plug_length_high")]
    axes.fill_between(_band_minutes(reply), *ends, color=known["color"], linewidth=0)
    axes.plot(minutes, frozen, **canvas.FROZEN)
    axes.plot(minutes, bonded, **canvas.BONDED)
    key = {"frozen through": canvas.FROZEN, "wall below freezing": canvas.BONDED}
    if ends[1]:
        key["5th to 95th percentile"] = known
    if reply["plug_length"] is not None:
        axes.axhline(reply["plug_length"]["likely"], **canvas.ENOUGH)
        key["sound plug at ready"] = canvas.ENOUGH
    axes.set_ylim(0.0, 1.4 * max(*frozen, *bonded, *ends[1], 1e-6))
    axes.set_ylabel(f"length along\nthe pipe [{history['plug_length']['unit']}]")
    canvas.key(axes, key)
    _events(axes, reply, lettered=False)


def _band_minutes(reply: JSON) -> list[float]:
    """Return the times of the bands [min]; none where no plug is expected to get ready."""
    return [t / 60.0 for t in reply["bands"]["time"]["values"]]


def _events(axes: Axes, reply: JSON, lettered: bool) -> None:
    """Mark frost, closure and ready where they are likely, and the planned ready."""
    marks = (("frost", "frost_by"), ("closed", "closure"), ("ready", "ready"))
    known = [(row, label, name) for row, (label, name) in enumerate(marks) if reply[name]]
    at = [reply[name]["likely"] / 60.0 for _, _, name in known]
    if reply["planned_ready"]:
        known.append((3, "planned ready", "planned_ready"))
        at.append(words.minutes(reply["planned_ready"]))
    axes.set_xlim(0.0, _end(reply))
    axes.vlines(at, 0.0, 1.0, color=canvas.INK, linewidth=0.8, transform=axes.get_xaxis_transform())
    if lettered:
        for (row, label, _), minute in zip(known, at, strict=True):
            axes.annotate(
                label, (minute, 1.0), xycoords=("data", "axes fraction"),
                xytext=(-3, 3 + 11 * row), textcoords="offset points", ha="right", fontsize=9,
            )  # fmt: skip


def _end(reply: JSON) -> float:
    """Return where the axis of time ends [min]: behind all but what was seen long afterwards."""
    last = [*reply["history"]["time"]["values"], *reply["bands"]["time"]["values"]]
    ranges = [reply[name] for name in ("frost_by", "closure", "ready")]
    last += [found["likely"] for found in ranges if found]
    if reply["planned_ready"]:
        last.append(reply["planned_ready"]["value"])
    learned = reply.get("learned")
    if learned is not None:
        ranges = [found for found in learned["before"].values() if found]
        last += [found["high"] or found["likely"] for found in ranges]
        seen = max(o["elapsed"]["value"] for o in learned["observations"])
        last.append(min(seen, LATE * max(last)))
    return 1.02 * float(max(last)) / 60.0


def _said(event: JSON) -> str:
    of = f" of {of_points(event)}" if of_points(event) else ""
    return f"{event['code']}{of} at {words.minutes(event['at']):.0f} min"


def of_points(event: JSON) -> str:
    """Return the names of the freeze points that a moment is of; empty where it is of all."""
    return event.get("point") or ", ".join(event.get("points") or [])


def grouped(events: list[JSON]) -> list[JSON | str]:
    """Return events in order, those of the same freeze points together, their names before them."""
    found: list[JSON | str] = [e for e in events if not of_points(e)]
    for name in dict.fromkeys(of_points(e) for e in events if of_points(e)):
        found += [name, *(e for e in events if of_points(e) == name)]
    return found


def _timeline(reply: JSON) -> Figure:
    every = grouped(reply["timeline"])
    named = [e if isinstance(e, str) else e["code"] for e in every]
    names = [layout.shortened(name, LONGEST) for name in named]
    left = 0.3 + canvas.CHARACTER * max(map(len, names))
    figure, (axes,) = canvas.blank(
        "timeline", (1.0,), 1.3 + 0.34 * len(every), left=left, top=0.5
    )  # fmt: skip
    events = [(row, e) for row, e in enumerate(every) if not isinstance(e, str)]
    room = NEVER if any(e["latest"] is None for _, e in events) else 1.04
    last = room * (max(words.minutes(e["latest"] or e["at"]) for _, e in events) + 1.0)
    _moments(axes, events, last)
    heads = [row for row, e in enumerate(every) if isinstance(e, str)]
    axes.hlines([row - 0.5 for row in heads], 0.0, last, color=canvas.INK, linewidth=0.6)
    axes.set_yticks(range(len(names)), names)
    for row, label in enumerate(axes.get_yticklabels()):
        label.set_fontweight("bold" if row in heads else "normal")
    axes.set_ylim(len(every) - 0.5, -0.5)
    axes.set_xlim(0.0, last)
    axes.set_xlabel("time from arrival [min]; bars: 5th to 95th percentile")
    return figure


def _moments(axes: Axes, events: list[tuple[int, JSON]], last: float) -> None:
    """Draw a bar and a mark for each event; one that may never come is open at its end."""
    rows = [row for row, _ in events]
    early = [words.minutes(e["earliest"]) for _, e in events]
    late = [0.985 * last if e["latest"] is None else words.minutes(e["latest"]) for _, e in events]
    axes.hlines(rows, early, late, color=canvas.WATER, linewidth=12)
    likely = [words.minutes(e["at"]) for _, e in events]
    axes.plot(likely, rows, "|", markersize=13, color=canvas.ICE, mew=2.5, clip_on=False)
    open_ended = [row for row, e in events if e["latest"] is None]
    if open_ended:
        at = [last] * len(open_ended)
        axes.plot(at, open_ended, ">", markersize=11, color=canvas.WATER, clip_on=False, mew=0)
    for row in open_ended:
        axes.text(
            0.985 * last, row, "or never ", ha="right", va="center", fontsize=9, color=canvas.STOP
        )  # fmt: skip
