"""What pictures are drawn on: colours, styles, axes that are kept, a key, the SVG itself.

Importing this imports matplotlib. Axes are kept from picture to picture, since making them and
their ticks takes most of the time.
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
AFTER = "#7ba0b4"
"""Between ice and water, in grey too: what is known once something was seen."""
WALL, JACKET = "#98948c", "#f1eee6"
""" Of a pipe, and of the jacket on it."""
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
KNOWN: JSON = {"color": AFTER, "linewidth": 6.0}
LIKELY: JSON = {"color": INK, "linewidth": 1.6}
MARK: JSON = {"color": STOP, "markersize": 6.0, "clip_on": False}
SIGHT: JSON = {"color": STOP, "linewidth": 1.0, "linestyle": (0, (1, 2))}
ENOUGH: JSON = {"color": STOP, "linewidth": 1.0, "linestyle": (0, (4, 3))}
"""How the lines of a plug against time are drawn."""

ON_WHITE: JSON = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
"""Behind words that lie on lines."""
ON_ICE: JSON = {"color": "white", "bbox": ON_WHITE | {"facecolor": "#4e85a0"}}
"""Words on ice, as it looks on white where it is drawn a little transparent."""

_lock = threading.Lock()
"""matplotlib is not safe in threads, and axes are kept: one picture at a time."""

matplotlib.rcParams.update({
    "svg.fonttype": "none", "svg.hashsalt": "stillpipe", "font.family": "sans-serif",
    "font.size": 10, "axes.edgecolor": INK, "axes.labelcolor": INK, "text.color": INK,
    "xtick.color": INK, "ytick.color": INK, "axes.spines.top": False, "axes.spines.right": False,
    "text.parse_math": False,
})  # fmt: skip


def drawn(draw: Callable[[JSON], Figure], reply: JSON, unnamed: str, words: str) -> bytes:
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
    found = out.getvalue().decode()
    start = found.index(">", found.index("<svg")) + 1
    named = f'<title id="t">{escape(title)}</title><desc id="d">{escape(words)}</desc>'
    opened = found[: start - 1] + ' role="img" aria-labelledby="t d">'
    return (opened + named + found[start:]).encode()


@cache
def _kept(_picture: str, panels: int) -> tuple[Figure, list[Axes]]:
    """Return the figure of a picture, with so many axes above each other on the lowest's x."""
    figure = Figure(figsize=(WIDTH, 6.0))
    every = list(figure.subplots(panels, 1, sharex=True, squeeze=False)[:, 0])
    for axes in every:
        axes.locator_params(nbins=TICKS)
        axes.tick_params(length=0)
    for axes in every[:-1]:
        axes.xaxis.set_visible(False)
    return figure, every


@cache
def _paper(_picture: str) -> tuple[Figure, Axes]:
    """Return the figure of a picture that is laid out in inches, with axes over all of it."""
    figure = Figure(figsize=(WIDTH, 6.0))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(0.0, WIDTH)
    return figure, axes


def page(picture: str, height: float) -> tuple[Figure, Axes]:
    """Return a picture's blank page, of ``height`` [in]; its axes are in inches, upwards."""
    figure, axes = _paper(picture)
    figure.set_size_inches(WIDTH, height)
    axes.set_ylim(0.0, height)
    _clear(axes)
    return figure, axes


def _clear(axes: Axes) -> None:
    gone: list[Artist] = [*axes.lines, *axes.collections, *axes.patches, *axes.texts]
    for artist in gone:
        artist.remove()


def blank(
    picture: str, panels: tuple[float, ...], height: float, left: float, top: float
) -> tuple[Figure, list[Axes]]:
    """Return a picture's blank axes, of ``height`` with room ``left`` of and above them [in].

    ``panels`` are their heights in proportion. Labels have fixed places: to find places by the
    extent of the ticks takes long.
    """
    figure, every = _kept(picture, len(panels))
    if (grid := every[0].get_gridspec()) is not None:
        grid.set_height_ratios(panels)
    figure.set_size_inches(WIDTH, height)
    figure.subplots_adjust(
        left=left / WIDTH, right=1.0 - 0.15 / WIDTH, bottom=0.55 / height,
        top=1.0 - top / height, hspace=0.08,
    )  # fmt: skip
    for axes in every:
        _clear(axes)
        box = axes.get_position()
        wide, high = box.width * WIDTH, box.height * height
        axes.xaxis.set_label_coords(0.5, -0.32 / high)
        axes.yaxis.set_label_coords(-0.46 / wide, 0.5)
    return figure, every


def refusal(reply: JSON) -> Figure:
    """Return the reasons why there is nothing to draw."""
    reasons = reply["reasons"]
    figure = Figure(figsize=(WIDTH, 0.6 + 0.6 * len(reasons)))
    for row, reason in enumerate(reasons):
        height = 1.0 - (0.6 + 0.6 * row) / float(figure.get_figheight())
        figure.text(0.015, height, reason["text"], color=STOP, wrap=True, va="top")
    return figure


def key(axes: Axes, lines: dict[str, JSON]) -> None:
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


def _short(text: str, longest: int = 80) -> str:
    return text if len(text) <= longest else text[: longest - 1] + "…"
