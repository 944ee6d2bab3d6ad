"""Pictures of answers as SVG, drawn by matplotlib: what the figures say, at a glance.

Importing this imports matplotlib. Times are in seconds in either system of units.
"""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from stillpipe.api.forms import canvas
from stillpipe.api.forms.canvas import JSON

Array = NDArray[np.float64]

COURSE = "time from the first feed [min], likely course"
BARS = ((0, "closure"), (1, "ready"))
"""Rows of figures that have a bar below the course."""
LATE = 1.5
"""What is seen so many times later than all else of a freeze is marked at the end of its axis."""
MOMENTS = 120
"""At which the ends of an ice front are drawn."""
SURE = 0.98
"""Share of an axis of time up to which what is said of a mark may reach [-]."""


def plug_time(reply: JSON) -> bytes:
    """Return the likely course of a freeze: liquid left and plug grown against time.

    Where something was seen it is marked, with the ranges before and after.
    """
    frozen = reply["history"] is not None and bool(reply["history"]["time"]["values"])
    words = _freeze_words(reply)
    if not frozen:
        return canvas.drawn(_refusal, reply, "Freeze point", words)
    if reply.get("learned") is None:
        return canvas.drawn(_course, reply, "Freeze point", words)
    return canvas.drawn(_learned, reply, "Freeze point", f"{words}; {_seen_words(reply)}")


def hold_time(reply: JSON) -> bytes:
    """Return how long the plug lasts unfed against when feeding stops, with its band."""
    held = bool(reply["course"]["time"]["values"])
    words = _freeze_words(reply)
    if reply["survival"] is not None:
        words = f"unfed after the hold the plug lasts {_range(reply['survival'])}"
    return canvas.drawn(_survival if held else _refusal, reply, "Hold", words)


def job(reply: JSON) -> bytes:
    """Return the timeline of a whole job: a mark where likely, a bar from earliest to latest."""
    if any(r["code"] == "flowing" for r in reply["reasons"]):
        return canvas.drawn(_refusal, reply, "Job", " ".join(r["text"] for r in reply["reasons"]))
    words = "; ".join(f"{e['code']} at {_minutes(e['at']):.0f} min" for e in reply["timeline"])
    return canvas.drawn(_timeline, reply, "Job", words)


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
    at = [_minutes(o["elapsed"]) for o in learned["observations"]]
    shown = [(minute, row) for row, minute in enumerate(at, 2) if minute <= last]
    beyond = [(last, row) for row, minute in enumerate(at, 2) if minute > last]
    for marks, shape in ((shown, "o"), (beyond, ">")):
        if marks:
            axes.plot(*zip(*marks, strict=True), shape, **canvas.MARK)
    for row, (minute, word) in enumerate(zip(at, _told(reply), strict=True), 2):
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
    """Draw closure and ready as bars, up to the ``last`` [min] where the high end never comes."""
    known = [(row, figures[name]) for row, name in BARS if figures[name] is not None]
    low = [found["low"] / 60.0 for _, found in known]
    high = [last if found["high"] is None else found["high"] / 60.0 for _, found in known]
    axes.hlines([row for row, _ in known], low, high, color=color, linewidth=width)


def _told(reply: JSON) -> list[str]:
    """Return what was seen, each in a word or two, and whether that is explained."""
    told = zip(reply["learned"]["observations"], reply["inputs"]["observations"], strict=True)
    return [_word(stated) + ("" if held["fits"] else ", does not fit") for held, stated in told]


def _word(stated: JSON) -> str:
    """Return what was seen in a word or two."""
    amount = "{value:g} {unit}".format(**stated["value"]) if "value" in stated else ""
    words = {
        "frost": "frost", "no-frost": "no frost yet", "surface-temperature": amount,
        "weight-drawn": f"{amount} drawn", "flow-stopped": "flow stopped",
        "pressure-held": f"{amount} held",
    }  # fmt: skip
    return words[stated["kind"]["value"]]


def _survival(reply: JSON) -> Figure:
    figure, (axes,) = canvas.blank("survival", (1.0,), 4.0, left=0.9, top=0.5)
    course = reply["course"]
    minutes, low, likely, high = (
        [t / 60.0 for t in course[name]["values"]] for name in ("time", "low", "likely", "high")
    )
    axes.fill_between(minutes, low, high, color=canvas.WATER, linewidth=0)
    axes.plot(minutes, likely, **canvas.FROZEN)
    axes.set_xlim(minutes[0], minutes[-1])
    axes.set_ylim(0.0, 1.4 * max(*high, 1e-6))
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
        at.append(_minutes(reply["planned_ready"]))
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


def _refusal(reply: JSON) -> Figure:
    reasons = reply["reasons"]
    figure = Figure(figsize=(canvas.WIDTH, 0.6 + 0.6 * len(reasons)))
    for row, reason in enumerate(reasons):
        height = 1.0 - (0.6 + 0.6 * row) / float(figure.get_figheight())
        figure.text(0.015, height, reason["text"], color=canvas.STOP, wrap=True, va="top")
    return figure


def _freeze_words(reply: JSON) -> str:
    """Return in words what the picture shows, for those who cannot see it."""
    parts = [
        f"{words} {_range(reply[name])}"
        for words, name in (
            ("frost beside the jacket by", "frost_by"),
            ("closed after", "closure"),
            ("ready after", "ready"),
        )
        if reply.get(name) is not None
    ]
    if reply["planned_ready"] is not None:
        parts.append(f"planned ready {_minutes(reply['planned_ready']):.1f} min")
    return "; ".join(parts) or " ".join(r["text"] for r in reply["reasons"])


def _seen_words(reply: JSON) -> str:
    """Return in words what was seen, and what was to be expected before."""
    learned = reply["learned"]
    told = zip(_told(reply), learned["observations"], strict=True)
    parts = [f"{word} at {_minutes(held['elapsed']):.1f} min" for word, held in told]
    before = [
        f"{words} {_range(learned['before'][name])}"
        for words, name in (("closed after", "closure"), ("ready after", "ready"))
        if learned["before"][name] is not None
    ]
    used = "" if learned["used"] else "; nothing is learned from what cannot be explained"
    return f"seen: {', '.join(parts)}; before anything was seen: {', '.join(before)}{used}"


def _range(found: JSON) -> str:
    high = "never" if found["high"] is None else f"{found['high'] / 60.0:.1f}"
    return f"{found['likely'] / 60.0:.1f} min ({found['low'] / 60.0:.1f} to {high})"


def _minutes(quantity: JSON) -> float:
    return float(quantity["value"]) / 60.0


def _timeline(reply: JSON) -> Figure:
    events = reply["timeline"]
    left = 0.3 + canvas.CHARACTER * max(len(e["code"]) for e in events)
    height = 1.3 + 0.34 * len(events)
    figure, (axes,) = canvas.blank("timeline", (1.0,), height, left=left, top=0.5)
    rows = range(len(events))
    room = 1.2 if any(e["latest"] is None for e in events) else 1.04
    last = room * (max(_minutes(e["latest"] or e["at"]) for e in events) + 1.0)
    late = [last if e["latest"] is None else _minutes(e["latest"]) for e in events]
    axes.hlines(
        rows, [_minutes(e["earliest"]) for e in events], late, color=canvas.WATER, linewidth=12
    )
    likely = [_minutes(e["at"]) for e in events]
    axes.plot(likely, rows, "|", markersize=13, color=canvas.ICE, mew=2.5, clip_on=False)
    for row, event in enumerate(events):
        if event["latest"] is None:
            axes.text(
                last, row, "or never ", ha="right", va="center", fontsize=9, color=canvas.STOP
            )
    axes.set_yticks(rows, [e["code"] for e in events])
    axes.set_ylim(len(events) - 0.5, -0.5)
    axes.set_xlim(0.0, last)
    axes.set_xlabel("time from arrival [min]; the bar runs from the 5th to the 95th percentile")
    return figure
