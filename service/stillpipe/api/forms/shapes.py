"""Shapes in inches that are gathered and drawn together: each for itself takes matplotlib long.

Areas lie lowest, each on those before it; lines on them; white behind words on both.
"""

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.backend_bases import RendererBase
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.text import Text

from stillpipe.api.forms import layout

Points = Sequence[tuple[float, float]]
Dashes = tuple[float, tuple[float, ...]]

SOLID: Dashes = (0.0, ())
THIN = 0.8
"""Width of an outline [pt]."""
HIGH = 0.07
"""Half the height of a line of small words [in]."""
TICK = 0.05
"""Half the length of a line across the end of another [in]."""

SMALL: dict[str, Any] = {"fontsize": 9, "zorder": 4.0}
RISE = {"center": 0.36, "top": 0.76}
"""How far words stand below their place, by what of them that is, over the size of letters [-]."""
BEFORE = {"left": 0.0, "center": 0.5, "right": 1.0}
"""Share of words that lies before their place, by how they are aligned [-]."""


class Words(Text):
    """Words in one line whose baseline is known: to lay them out takes long."""

    def draw(self, renderer: RendererBase) -> None:
        """Draw them."""
        x, y = self.get_transform().transform(self.get_unitless_position())
        height = renderer.get_canvas_width_height()[1]
        outline = renderer.new_gc()
        outline.set_foreground(self.get_color())
        font = self.get_fontproperties()
        renderer.draw_text(
            outline,
            x,
            height - y if renderer.flipy() else y,
            self.get_text(),
            font,
            0.0,
            mtext=self,
        )
        outline.restore()


class Shapes:
    """What is drawn on a page; words are drawn at once."""

    def __init__(self, axes: Axes) -> None:
        """Begin empty; ``axes`` are in inches."""
        self._axes = axes
        self._areas: list[Points] = []
        self._colors: list[tuple[str, str, float]] = []
        self._lines: list[Points] = []
        self._styles: list[tuple[str, float, Dashes]] = []
        self._behind: list[Points] = []

    def area(self, points: Points, color: str, edge: str = "none", width: float = THIN) -> None:
        """Fill what ``points`` [in] enclose."""
        self._areas.append(points)
        self._colors.append((color, edge, width))

    def box(
        self, x: tuple[float, float], y: tuple[float, float], color: str, edge: str = "none"
    ) -> None:
        """Fill a box from left to right and from below to above [in]."""
        self.area(_corners(x, y), color, edge)

    def line(
        self, points: Points, color: str, width: float = THIN, dashes: Dashes = SOLID
    ) -> None:  # fmt: skip
        """Draw a line through ``points`` [in]."""
        self._lines.append(points)
        self._styles.append((color, width, dashes))

    def level(self, x: tuple[float, float], y: float, color: str, width: float = THIN) -> None:
        """Draw a level line [in]."""
        self.line(((x[0], y), (x[1], y)), color, width)

    def ticks(
        self, places: Sequence[float], y: float, color: str, width: float = THIN, half: float = TICK
    ) -> None:
        """Draw a short upright line at each of ``places`` [in]."""
        for x in places:
            self.line(((x, y - half), (x, y + half)), color, width)

    def peak(self, x: float, y: float, half: float, color: str) -> None:
        """Draw a triangle that points up to ``y`` [in]."""
        self.area(((x - half, y - 1.7 * half), (x + half, y - 1.7 * half), (x, y)), color)

    def words(
        self, x: float, y: float, text: str, *, va: str = "center", behind: bool = False,
        **style: Any,
    ) -> None:  # fmt: skip
        """Write small words: ``y`` [in] is their middle, or their top.

        White ``behind`` them, where they lie on lines: as wide as they may be.
        """
        style = SMALL | style
        base = y - RISE[va] * style["fontsize"] / 72.0
        self._axes.add_artist(Words(x, base, text, transform=self._axes.transData, **style))
        if behind:
            wide = layout.wide(text)
            left = x - BEFORE[style.get("ha", "left")] * wide
            self._behind.append(_corners((left, left + wide), (y - HIGH, y + HIGH)))

    def draw(self) -> None:
        """Draw what was gathered."""
        faces, edges, widths = zip(*self._colors, strict=True) if self._colors else ((), (), ())
        colors, thick, dashes = zip(*self._styles, strict=True) if self._styles else ((), (), ())
        found = (
            PolyCollection(
                self._areas, facecolors=faces, edgecolors=edges, linewidths=widths, zorder=1.0
            ),
            LineCollection(
                self._lines, colors=colors, linewidths=thick, linestyles=dashes, zorder=2.0,
                capstyle="butt",
            ),
            PolyCollection(self._behind, facecolors="white", linewidths=0.0, zorder=3.0),
        )  # fmt: skip
        for collection in found:
            self._axes.add_collection(collection, autolim=False)


def _corners(x: tuple[float, float], y: tuple[float, float]) -> Points:
    return ((x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1]))
