"""A run of pipe drawn on a page: one or more rows to scale, long bare stretches left out."""

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from stillpipe.api.forms import canvas, layout, words
from stillpipe.api.forms.canvas import JSON
from stillpipe.api.forms.layout import Piece, Scale
from stillpipe.api.forms.run import arrange
from stillpipe.api.forms.run.arrange import Block, Row, Rule
from stillpipe.api.forms.run.read import Place, Run

WATER, AT_READY, AT_END = "#eaf1f4", "#255f7c", "#93bacb"
"""Water, ice at the planned ready, ice at the end of the hold: apart in grey too."""
ON_LINE: JSON = canvas.ON_WHITE | {"pad": 0.3}
"""Behind words that lie on lines close to others."""


def page(runs: list[Run]) -> Figure:
    """Return a page with all ``runs``, one below the other."""
    blocks = [arrange.block(run) for run in runs]
    key = _key_lines(runs)
    height = 0.45 + sum(block.height for block in blocks) + 0.24 * key + 0.1
    figure, axes = canvas.page("run", height)
    y = height - 0.45
    for block in blocks:
        _draw(axes, block, y)
        y -= block.height
    _key(axes, y - 0.06, runs)
    return figure


def _draw(axes: Axes, block: Block, top: float) -> None:
    """Draw a run from ``top`` [in] downwards."""
    y = top
    if block.run.name:
        axes.text(0.1, y, f"run {block.run.name}", fontsize=10, fontweight="bold", va="top")
        y -= 0.25
    for row in block.rows:
        middle = y - row.above - 0.5 * block.tall
        _row(axes, block, row, middle)
        y -= row.above + block.tall + row.below
    _scale(axes, block, y - 0.1)
    y -= 0.34
    for text, color in block.words:
        axes.text(arrange.LEFT, y, text, fontsize=9, va="top", color=color)
        y -= arrange.LINE


def _row(axes: Axes, block: Block, row: Row, middle: float) -> None:
    half, scale = 0.5 * block.tall, block.scale
    for label in row.labels:
        y = middle + half + arrange.SLEEVE + 0.16 + arrange.LINE * label.line
        axes.plot(
            (label.at, label.at),
            (middle + half + arrange.SLEEVE, y),
            color=canvas.INK,
            linewidth=0.6,
        )
    for piece in row.pieces:
        _pipe(axes, block, piece, middle)
    for before, after in zip(row.pieces, row.pieces[1:], strict=False):
        x = 0.5 * (_right(before, scale) + after.left)
        unit = next((plug.unit for plug in block.run.plugs.values()), "mm")
        left_out = words.distance(after.begin - before.end, unit)
        axes.text(x, middle, left_out, ha="center", va="center", fontsize=8)
    for place in block.run.places:
        if scale.piece(place.at) in row.pieces:
            _place(axes, block, place, middle)
    for label in row.labels:
        y = middle + half + arrange.SLEEVE + 0.16 + arrange.LINE * label.line
        axes.text(label.x, y, label.text, ha="center", fontsize=9, bbox=ON_LINE)
    for rule in row.rules:
        _rule(
            axes,
            rule,
            middle
            - half
            - arrange.SLEEVE
            - 2.0 * arrange.BAR
            - 0.22
            - 1.15 * arrange.LINE * rule.line,
        )


def _right(piece: Piece, scale: Scale) -> float:
    return piece.left + (piece.end - piece.begin) * scale.per_length


def _pipe(axes: Axes, block: Block, piece: Piece, middle: float) -> None:
    """Draw a stretch of pipe, its ends broken off."""
    half = 0.5 * block.tall
    plug = next(iter(block.run.plugs.values()), None)
    bore = half if plug is None else half - plug.wall * block.scale.per_length * block.times
    x = (piece.left, _right(piece, block.scale))
    axes.fill_between(x, middle - half, middle + half, color=canvas.WALL, linewidth=0)
    axes.fill_between(x, middle - bore, middle + bore, color=WATER, linewidth=0)
    for y in (middle - half, middle + half):
        axes.plot(x, (y, y), color=canvas.INK, linewidth=0.8)
    for end in x:
        zigzag = [end + 0.04 * step for step in (0, 1, -1, 1, -1, 0)]
        heights = [middle - 1.15 * half + 0.46 * half * n for n in range(6)]
        axes.plot(zigzag, heights, color=canvas.INK, linewidth=0.8)


def _place(axes: Axes, block: Block, place: Place, middle: float) -> None:
    """Draw what lies at a place."""
    half, x = 0.5 * block.tall, block.scale.x(place.at)
    if place.plug is not None:
        _plug(axes, block, place, middle)
    elif place.kind == "cut":
        axes.plot((x, x), (middle - 1.25 * half, middle + 1.25 * half), color=canvas.STOP,
                  linewidth=2.0, linestyle=(0, (3, 1.5)))  # fmt: skip
    elif place.kind == "vent":
        top = middle + half + arrange.SLEEVE
        axes.fill_between((x - 0.05, x + 0.05), middle + half, top, linewidth=0.8,
                          facecolor=WATER, edgecolor=canvas.INK)  # fmt: skip
        axes.plot((x,), (top,), "^", markersize=6, color=canvas.INK)
    elif place.kind == "heat-source":
        axes.plot((x,), (middle - half - 0.08,), "^", markersize=11, color=canvas.STOP)
    elif place.kind == "support":
        axes.plot((x,), (middle - half - 0.08,), "^", markersize=11, color=canvas.WALL)
    elif place.kind == "valve":
        for side in (-0.09, 0.09):
            axes.fill((x, x + side, x + side), (middle, middle - half, middle + half),
                      color=canvas.INK)  # fmt: skip
    else:
        axes.fill_between((x - 0.06, x + 0.06), middle - 1.2 * half, middle + 1.2 * half,
                          facecolor=canvas.WALL, edgecolor=canvas.INK, linewidth=0.8)  # fmt: skip


def _plug(axes: Axes, block: Block, place: Place, middle: float) -> None:
    """Draw a plug at both times, its jacket, and bars of both ranges."""
    plug = place.plug
    if plug is None:
        return
    half, along, x = 0.5 * block.tall, block.scale.per_length, block.scale.x(place.at)
    bore = half - plug.wall * along * block.times
    for found, color in ((plug.after, AT_END), (plug.ready, AT_READY)):
        if found is not None:
            far = 0.5 * found["likely"] * along
            axes.fill_between((x - far, x + far), middle - bore, middle + bore, color=color,
                              linewidth=0)  # fmt: skip
    sleeve = 0.5 * plug.jacket * along
    for y in (middle + half, middle - half - arrange.SLEEVE):
        axes.fill_between((x - sleeve, x + sleeve), y, y + arrange.SLEEVE, facecolor=canvas.JACKET,
                          edgecolor=canvas.INK, linewidth=0.8)  # fmt: skip
    y = middle - half - arrange.SLEEVE - 0.1
    for n, found in enumerate((plug.ready, plug.after)):
        if found is not None:
            _bar(axes, found, x, y - n * arrange.BAR, along)


def _bar(axes: Axes, found: JSON, x: float, y: float, along: float) -> None:
    """Draw a range of a plug's length: dark where there is ice for sure, light where there may."""
    high = found["high"] or found["likely"]
    low, likely, high = (0.5 * along * end for end in (found["low"], found["likely"], high))
    axes.plot((x - high, x + high), (y, y), color=canvas.WATER, linewidth=6, solid_capstyle="butt")
    axes.plot((x - low, x + low), (y, y), color=canvas.ICE, linewidth=6, solid_capstyle="butt")
    axes.plot((x - likely, x + likely), (y, y), "|", markersize=7, color=canvas.INK, mew=1.4)


def _rule(axes: Axes, rule: Rule, y: float) -> None:
    """Draw a distance with its ends, and what is said of it on it."""
    color = canvas.INK if rule.verdict == "go" else canvas.STOP
    axes.plot((rule.left, rule.right), (y, y), "|-", color=color, linewidth=0.8, markersize=7)
    axes.text(
        arrange.middle(rule.left, rule.right, rule.text), y, rule.text, ha="center", va="center",
        fontsize=9, color=color, bbox=ON_LINE,
    )  # fmt: skip


def _scale(axes: Axes, block: Block, y: float) -> None:
    """Draw a bar of a round length, and say how large the pipe is drawn across."""
    along = block.scale.per_length
    unit = next((plug.unit for plug in block.run.plugs.values()), "mm")
    length = layout.bar(along, 1.3)
    ends = (arrange.LEFT, arrange.LEFT + length * along)
    axes.plot(ends, (y, y), "|-", color=canvas.INK, linewidth=1.6, markersize=7)
    axes.text(ends[1] + 0.1, y, f"{length:g} {unit}", va="center", fontsize=9)
    if block.times > 1.0:
        said = f"drawn {block.times:g} times larger across than along"
        axes.text(canvas.WIDTH - arrange.LEFT, y, said, ha="right", va="center", fontsize=9)


def _key_lines(runs: list[Run]) -> int:
    return 2 if any(run.plugs for run in runs) else 0


def _key(axes: Axes, y: float, runs: list[Run]) -> None:
    """Say what the tones and bars mean."""
    plugs = [plug for run in runs for plug in run.plugs.values()]
    if not plugs:
        return
    tones = [(AT_END, "likely ice at the end of the hold")]
    if plugs[0].ready is not None:
        tones.insert(0, (AT_READY, "likely ice at the planned ready"))
    x = arrange.LEFT
    for color, text in tones:
        axes.fill_between((x, x + 0.3), y - 0.08, y + 0.06, color=color, linewidth=0)
        axes.text(x + 0.38, y, text, fontsize=9, va="center")
        x += 3.1
    _bar(axes, {"low": 0.12, "likely": 0.2, "high": 0.3}, arrange.LEFT + 0.15, y - 0.22, 1.0)
    bars = "length" if plugs[0].ready is None else "length at ready and at the end"
    said = f"{bars}: dark, ice with 95 %; light, there may be ice (5 %); mark, likely"
    axes.text(arrange.LEFT + 0.38, y - 0.22, said, fontsize=9, va="center")
