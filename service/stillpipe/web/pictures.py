"""Pictures of answers as SVG, drawn by matplotlib: what the figures say, at a glance."""

import io
import threading
from xml.sax.saxutils import escape

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from stillpipe.estimates import course
from stillpipe.estimates.job import Range
from stillpipe.estimates.job_estimate import JobEstimate
from stillpipe.estimates.outcomes import PlugTime
from stillpipe.web import replies, units
from stillpipe.web.schemas import Asked

ICE, WATER, INK, STOP = "#2f6f8f", "#c8dbe3", "#22303a", "#9c3d2e"

_lock = threading.Lock()
"""matplotlib is not safe in threads: one picture at a time."""

matplotlib.rcParams.update({
    "svg.fonttype": "none", "svg.hashsalt": "stillpipe", "font.family": "sans-serif",
    "font.size": 10, "axes.edgecolor": INK, "axes.labelcolor": INK, "text.color": INK,
    "xtick.color": INK, "ytick.color": INK, "axes.spines.top": False, "axes.spines.right": False,
})  # fmt: skip


def plug_time(asked: Asked, outcome: PlugTime) -> bytes:
    """Return the likely course of a freeze: liquid left and plug grown against time."""
    with _lock:
        height = 6.0 if outcome.history.time else 1.2 + 0.6 * len(outcome.reasons)
        figure = Figure(figsize=(7.2, height), layout="constrained")
        title = f"{asked.id or 'Freeze point'}: {outcome.verdict}"
        figure.suptitle(_short(title), fontsize=12, fontweight="bold", x=0.01, ha="left")
        if outcome.history.time:
            upper, lower = figure.subplots(2, 1, sharex=True)
            _front(upper, asked, outcome)
            _plug(lower, asked, outcome)
        else:
            _refusal(figure, outcome)
        return svg(figure, title, _words(outcome))


def _front(axes: Axes, asked: Asked, outcome: PlugTime) -> None:
    length, name = _scale(asked, "length")
    minutes = [t / 60.0 for t in outcome.history.time]
    radius = [r * length for r in outcome.history.front_radius]
    bore = 0.5 * asked.job.bore * length
    axes.fill_between(minutes, radius, bore, color=ICE, alpha=0.85, linewidth=0)
    axes.fill_between(minutes, 0.0, radius, color=WATER, linewidth=0)
    axes.set_ylim(0.0, bore)
    axes.set_ylabel(f"radius under the\njacket's middle [{name}]")
    axes.text(0.02, 0.08, "liquid", transform=axes.transAxes)
    axes.text(0.6, 0.86, "ice", transform=axes.transAxes, color="white", ha="center")
    _events(axes, outcome, lettered=True)


def _plug(axes: Axes, asked: Asked, outcome: PlugTime) -> None:
    length, name = _scale(asked, "length")
    minutes = [t / 60.0 for t in outcome.history.time]
    frozen = [v * length for v in outcome.history.plug_length]
    bonded = [v * length for v in outcome.history.bonded_length]
    axes.plot(minutes, frozen, color=ICE, linewidth=2.2, label="frozen through")
    axes.plot(minutes, bonded, color=INK, linewidth=1.2, label="wall below freezing")
    needed = course.needed_length(asked.job) * length
    axes.axhline(needed, color=STOP, linewidth=1.0, linestyle=(0, (4, 3)), label="length needed")
    axes.set_ylim(0.0, None)
    axes.set_ylabel(f"length along the pipe [{name}]")
    axes.set_xlabel("time from the first feed [min], likely course")
    axes.legend(frameon=False, fontsize=9)
    _events(axes, outcome, lettered=False)


def _events(axes: Axes, outcome: PlugTime, lettered: bool) -> None:
    """Mark frost, closure and ready: a line where likely, a band where the range lies."""
    last = outcome.history.time[-1] / 60.0
    axes.set_xlim(0.0, last * 1.02)
    marks = (("frost", outcome.frost_by), ("closed", outcome.closure), ("ready", outcome.ready))
    for row, (label, found) in enumerate(marks):
        if found is None:
            continue
        axes.axvline(found.likely / 60.0, color=INK, linewidth=0.8)
        if lettered:
            axes.annotate(
                label, (found.likely / 60.0, 1.0), xycoords=("data", "axes fraction"),
                xytext=(-3, 3 + 11 * row), textcoords="offset points", ha="right", fontsize=9,
            )  # fmt: skip


def _refusal(figure: Figure, outcome: PlugTime) -> None:
    axes = figure.subplots()
    axes.axis("off")
    for row, note in enumerate(outcome.reasons):
        axes.text(0.0, 1.0 - (row + 0.5) / len(outcome.reasons), note.text, color=STOP, wrap=True)


def _words(outcome: PlugTime) -> str:
    """Return in words what the picture shows, for those who cannot see it."""
    parts = [
        f"{name} {_minutes(found)}"
        for name, found in (
            ("frost beside the jacket by", outcome.frost_by),
            ("closed after", outcome.closure),
            ("ready after", outcome.ready),
        )
        if found
    ]
    return "; ".join(parts) or " ".join(n.text for n in outcome.reasons)


def _minutes(found: Range) -> str:
    high = "never" if found.high is None else f"{found.high / 60.0:.1f}"
    return f"{found.likely / 60.0:.1f} min ({found.low / 60.0:.1f} to {high})"


def _scale(asked: Asked, kind: str) -> tuple[float, str]:
    """Return the factor from SI to the answer's unit, and that unit."""
    unit = replies.unit_of(kind, asked.units)
    return 1.0 / units.KINDS[kind].accepted[unit][0], unit


def _short(text: str, longest: int = 80) -> str:
    text = text.replace("$", r"\$")
    return text if len(text) <= longest else text[: longest - 1] + "…"


def svg(figure: Figure, title: str, words: str) -> bytes:
    """Return ``figure`` as SVG with a title and a description for screen readers."""
    out = io.BytesIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    drawn = out.getvalue().decode()
    start = drawn.index(">", drawn.index("<svg")) + 1
    named = f'<title id="t">{escape(title)}</title><desc id="d">{escape(words)}</desc>'
    head = drawn[: start - 1] + ' role="img" aria-labelledby="t d">'
    return (head + named + drawn[start:]).encode()


def job(asked: Asked, outcome: JobEstimate) -> bytes:
    """Return the timeline of a whole job: a mark where likely, a bar from earliest to latest."""
    with _lock:
        events = outcome.timeline
        figure = Figure(figsize=(7.2, 1.4 + 0.34 * len(events)), layout="constrained")
        title = f"{asked.id or 'Job'}: {outcome.verdict}"
        figure.suptitle(_short(title), fontsize=12, fontweight="bold", x=0.01, ha="left")
        axes = figure.subplots()
        rows = list(range(len(events)))
        last = max(e.at for e in events) / 60.0 + 1.0
        for row, event in zip(rows, events, strict=True):
            late = last * 1.04 if event.latest is None else event.latest / 60.0
            early = event.earliest / 60.0
            axes.barh(row, late - early, left=early, height=0.5, color=WATER)
            axes.plot([event.at / 60.0], [row], marker="|", markersize=13, color=ICE, mew=2.5)
        axes.set_yticks(rows, [e.code for e in events])
        axes.invert_yaxis()
        axes.set_xlim(0.0, None)
        axes.set_xlabel("time from arrival [min]; the bar runs from earliest to latest")
        words = "; ".join(f"{e.code} at {e.at / 60.0:.0f} min" for e in events)
        return svg(figure, title, words)
