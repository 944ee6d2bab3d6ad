"""Pictures of answers as SVG, drawn by matplotlib: what the figures say, at a glance.

Importing this imports matplotlib. Axes are kept from picture to picture, since making them and
their ticks takes most of the time. Times are in seconds in either system of units.
"""

import io
import threading
from collections.abc import Callable
from functools import cache
from typing import Any
from xml.sax.saxutils import escape

import matplotlib
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure

JSON = dict[str, Any]

ICE, WATER, INK, STOP = "#2f6f8f", "#c8dbe3", "#22303a", "#9c3d2e"
WIDTH = 7.2
"""Width of a picture [in]."""
CHARACTER = 0.082
"""Width of a character of a label [in], on the large side."""
TICKS = 5
"""Most intervals between the numbers of an axis, which have no marks: those take long to draw."""
FROZEN: JSON = {"color": ICE, "linewidth": 2.2}
BONDED: JSON = {"color": INK, "linewidth": 1.2}
FRONT: JSON = {"color": INK, "linewidth": 1.0, "linestyle": (0, (2, 2))}
BAND: JSON = {"color": WATER, "linewidth": 6.0}
ENOUGH: JSON = {"color": STOP, "linewidth": 1.0, "linestyle": (0, (4, 3))}
"""How the lines of a plug against time are drawn."""

_lock = threading.Lock()
"""matplotlib is not safe in threads, and axes are kept: one picture at a time."""

matplotlib.rcParams.update({
    "svg.fonttype": "none", "svg.hashsalt": "stillpipe", "font.family": "sans-serif",
    "font.size": 10, "axes.edgecolor": INK, "axes.labelcolor": INK, "text.color": INK,
    "xtick.color": INK, "ytick.color": INK, "axes.spines.top": False, "axes.spines.right": False,
    "text.parse_math": False,
})  # fmt: skip


def plug_time(reply: JSON) -> bytes:
    """Return the likely course of a freeze: liquid left and plug grown against time."""
    frozen = reply["history"] is not None and bool(reply["history"]["time"]["values"])
    return _drawn(_course if frozen else _refusal, reply, "Freeze point", _freeze_words(reply))


def hold_time(reply: JSON) -> bytes:
    """Return how long the plug lasts unfed against when feeding stops, with its band."""
    held = bool(reply["course"]["time"]["values"])
    words = _freeze_words(reply)
    if reply["survival"] is not None:
        words = f"unfed after the hold the plug lasts {_range(reply['survival'])}"
    return _drawn(_survival if held else _refusal, reply, "Hold", words)


def job(reply: JSON) -> bytes:
    """Return the timeline of a whole job: a mark where likely, a bar from earliest to latest."""
    if any(r["code"] == "flowing" for r in reply["reasons"]):
        return _drawn(_refusal, reply, "Job", " ".join(r["text"] for r in reply["reasons"]))
    words = "; ".join(f"{e['code']} at {_minutes(e['at']):.0f} min" for e in reply["timeline"])
    return _drawn(_timeline, reply, "Job", words)


def _drawn(draw: Callable[[JSON], Figure], reply: JSON, unnamed: str, words: str) -> bytes:
    """Return what ``draw`` draws as SVG, with title and description for screen readers."""
    title = f"{reply.get('id', unnamed)}: {reply['verdict']}"
    out = io.BytesIO()
    with _lock:
        figure = draw(reply)
        above = 1.0 - 0.12 / float(figure.get_figheight())
        head = figure.text(0.015, above, _short(title), fontsize=12, fontweight="bold", va="top")
        try:
            figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
        finally:
            head.remove()
    drawn = out.getvalue().decode()
    start = drawn.index(">", drawn.index("<svg")) + 1
    named = f'<title id="t">{escape(title)}</title><desc id="d">{escape(words)}</desc>'
    opened = drawn[: start - 1] + ' role="img" aria-labelledby="t d">'
    return (opened + named + drawn[start:]).encode()


@cache
def _kept(_picture: str, panels: int) -> tuple[Figure, list[Axes]]:
    """Return the figure of a picture, with so many axes above each other."""
    figure = Figure(figsize=(WIDTH, 6.0))
    every = list(figure.subplots(panels, 1, sharex=True, squeeze=False)[:, 0])
    for axes in every:
        axes.locator_params(nbins=TICKS)
        axes.tick_params(length=0)
    return figure, every


def _blank(
    picture: str, panels: int, height: float, left: float, top: float
) -> tuple[Figure, list[Axes]]:
    """Return a picture's blank axes, of ``height`` with room ``left`` of and above them [in].

    Labels have fixed places: to find places by the extent of the ticks takes long.
    """
    figure, every = _kept(picture, panels)
    figure.set_size_inches(WIDTH, height)
    figure.subplots_adjust(
        left=left / WIDTH, right=1.0 - 0.15 / WIDTH, bottom=0.55 / height,
        top=1.0 - top / height, hspace=0.08,
    )  # fmt: skip
    for axes in every:
        gone: list[Artist] = [*axes.lines, *axes.collections, *axes.patches, *axes.texts]
        for artist in gone:
            artist.remove()
        box = axes.get_position()
        wide, high = box.width * WIDTH, box.height * height
        axes.xaxis.set_label_coords(0.5, -0.32 / high)
        axes.yaxis.set_label_coords(-0.46 / wide, 0.5)
    return figure, every


def _course(reply: JSON) -> Figure:
    figure, (upper, lower) = _blank("course", 2, 6.0, left=0.9, top=0.95)
    _front(upper, reply)
    _plug(lower, reply)
    return figure


def _survival(reply: JSON) -> Figure:
    figure, (axes,) = _blank("survival", 1, 4.0, left=0.9, top=0.5)
    course = reply["course"]
    minutes, low, likely, high = (
        [t / 60.0 for t in course[name]["values"]] for name in ("time", "low", "likely", "high")
    )
    axes.fill_between(minutes, low, high, color=WATER, linewidth=0)
    axes.plot(minutes, likely, **FROZEN)
    axes.set_xlim(minutes[0], minutes[-1])
    axes.set_ylim(0.0, 1.06 * max(*high, 1e-6))
    axes.set_ylabel("bonded unfed [min]")
    axes.set_xlabel("when feeding stops in the hold, since the first feed [min]")
    _key(axes, {"median": FROZEN, "5 to 95 %": BAND})
    return figure


def _front(axes: Axes, reply: JSON) -> None:
    history, bore = reply["history"], _bore(reply["inputs"])
    minutes = [t / 60.0 for t in history["time"]["values"]]
    radius = history["liquid_radius"]["values"]
    axes.fill_between(minutes, radius, 0.5 * bore, color=ICE, alpha=0.85, linewidth=0)
    axes.fill_between(minutes, 0.0, radius, color=WATER, linewidth=0)
    for end in ("liquid_radius_low", "liquid_radius_high"):
        axes.plot(_band_minutes(reply), reply["bands"][end]["values"], **FRONT)
    axes.set_ylim(0.0, 0.5 * bore)
    axes.set_ylabel(f"radius under the\njacket's middle [{history['liquid_radius']['unit']}]")
    axes.text(0.02, 0.08, "liquid", transform=axes.transAxes)
    axes.text(0.6, 0.86, "ice", transform=axes.transAxes, color="white", ha="center")
    if reply["bands"]["time"]["values"]:
        text = "dashed: 5th and 95th percentile"
        axes.text(0.97, 0.74, text, transform=axes.transAxes, color="white", ha="right")
    _events(axes, reply, lettered=True)


def _bore(inputs: JSON) -> float:
    """Return the diameter of the free bore, in the answer's unit of length."""
    lining = inputs["lining"]["thickness"]["value"] if inputs["lining"] else 0.0
    pipe = inputs["pipe"]
    return float(pipe["outside_diameter"]["value"] - 2.0 * (pipe["wall"]["value"] + lining))


def _plug(axes: Axes, reply: JSON) -> None:
    history = reply["history"]
    minutes = [t / 60.0 for t in history["time"]["values"]]
    frozen, bonded = history["plug_length"]["values"], history["bonded_length"]["values"]
    band = reply["bands"]
    ends = [band[end]["values"] for end in ("plug_length_low", "plug_length_high")]
    axes.fill_between(_band_minutes(reply), *ends, color=WATER, linewidth=0)
    axes.plot(minutes, frozen, **FROZEN)
    axes.plot(minutes, bonded, **BONDED)
    key = {"frozen through": FROZEN, "wall below freezing": BONDED}
    if ends[1]:
        key["5th to 95th percentile"] = BAND
    if reply["plug_length"] is not None:
        axes.axhline(reply["plug_length"]["likely"], **ENOUGH)
        key["sound plug at ready"] = ENOUGH
    axes.set_ylim(0.0, 1.4 * max(*frozen, *bonded, *ends[1], 1e-6))
    axes.set_ylabel(f"length along\nthe pipe [{history['plug_length']['unit']}]")
    axes.set_xlabel("time from the first feed [min], likely course")
    _key(axes, key)
    _events(axes, reply, lettered=False)


def _band_minutes(reply: JSON) -> list[float]:
    """Return the times of the bands [min]; none where no plug is expected to get ready."""
    return [t / 60.0 for t in reply["bands"]["time"]["values"]]


def _key(axes: Axes, lines: dict[str, JSON]) -> None:
    """Say what ``lines`` mean, by the style of each; a legend takes five times as long to draw.

    Above what is drawn, in two columns on white.
    """
    axes.fill(
        (0.01, 0.99, 0.99, 0.01), (0.78, 0.78, 1.0, 1.0), color="white",
        transform=axes.transAxes, zorder=2.1,
    )  # fmt: skip
    for i, (text, style) in enumerate(lines.items()):
        left, height = 0.03 + 0.42 * (i % 2), 0.94 - 0.1 * (i // 2)
        axes.plot(
            (left, left + 0.05), (height, height), **style, transform=axes.transAxes, zorder=2.2
        )
        axes.text(
            left + 0.065, height, text, transform=axes.transAxes, va="center", fontsize=9,
            zorder=2.2,
        )  # fmt: skip


def _events(axes: Axes, reply: JSON, lettered: bool) -> None:
    """Mark frost, closure and ready where they are likely, and the planned ready."""
    marks = (("frost", "frost_by"), ("closed", "closure"), ("ready", "ready"))
    known = [(row, label, name) for row, (label, name) in enumerate(marks) if reply[name]]
    at = [reply[name]["likely"] / 60.0 for _, _, name in known]
    if reply["planned_ready"]:
        known.append((3, "planned ready", "planned_ready"))
        at.append(_minutes(reply["planned_ready"]))
    last = max(*reply["history"]["time"]["values"], *reply["bands"]["time"]["values"])
    axes.set_xlim(0.0, 1.02 * max(last / 60.0, *at, 0.0))
    axes.vlines(at, 0.0, 1.0, color=INK, linewidth=0.8, transform=axes.get_xaxis_transform())
    if lettered:
        for (row, label, _), minute in zip(known, at, strict=True):
            axes.annotate(
                label, (minute, 1.0), xycoords=("data", "axes fraction"),
                xytext=(-3, 3 + 11 * row), textcoords="offset points", ha="right", fontsize=9,
            )  # fmt: skip


def _refusal(reply: JSON) -> Figure:
    reasons = reply["reasons"]
    figure = Figure(figsize=(WIDTH, 0.6 + 0.6 * len(reasons)))
    for row, reason in enumerate(reasons):
        height = 1.0 - (0.6 + 0.6 * row) / float(figure.get_figheight())
        figure.text(0.015, height, reason["text"], color=STOP, wrap=True, va="top")
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


def _range(found: JSON) -> str:
    high = "never" if found["high"] is None else f"{found['high'] / 60.0:.1f}"
    return f"{found['likely'] / 60.0:.1f} min ({found['low'] / 60.0:.1f} to {high})"


def _minutes(quantity: JSON) -> float:
    return float(quantity["value"]) / 60.0


def _short(text: str, longest: int = 80) -> str:
    return text if len(text) <= longest else text[: longest - 1] + "…"


def _timeline(reply: JSON) -> Figure:
    events = reply["timeline"]
    left = 0.3 + CHARACTER * max(len(e["code"]) for e in events)
    height = 1.3 + 0.34 * len(events)
    figure, (axes,) = _blank("timeline", 1, height, left=left, top=0.5)
    rows = range(len(events))
    room = 1.2 if any(e["latest"] is None for e in events) else 1.04
    last = room * (max(_minutes(e["latest"] or e["at"]) for e in events) + 1.0)
    late = [last if e["latest"] is None else _minutes(e["latest"]) for e in events]
    axes.hlines(rows, [_minutes(e["earliest"]) for e in events], late, color=WATER, linewidth=12)
    likely = [_minutes(e["at"]) for e in events]
    axes.plot(likely, rows, "|", markersize=13, color=ICE, mew=2.5, clip_on=False)
    for row, event in enumerate(events):
        if event["latest"] is None:
            axes.text(last, row, "or never ", ha="right", va="center", fontsize=9, color=STOP)
    axes.set_yticks(rows, [e["code"] for e in events])
    axes.set_ylim(len(events) - 0.5, -0.5)
    axes.set_xlim(0.0, last)
    axes.set_xlabel("time from arrival [min]; the bar runs from the 5th to the 95th percentile")
    return figure
