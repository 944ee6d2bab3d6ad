"""A run of pipe drawn on a page: one or more rows to scale, long bare stretches left out."""

from itertools import pairwise

from matplotlib.figure import Figure

from stillpipe.api.forms import canvas, layout, words
from stillpipe.api.forms.canvas import JSON
from stillpipe.api.forms.layout import Piece, Scale
from stillpipe.api.forms.run import arrange
from stillpipe.api.forms.run.arrange import BAR, LEFT, LINE, SLEEVE, Block, Row, Rule
from stillpipe.api.forms.run.read import Place, Plug, Run
from stillpipe.api.forms.shapes import Shapes

WATER, AT_READY, AT_END = "#eaf1f4", "#255f7c", "#93bacb"
"""Water, ice at the planned ready, ice at the end of the hold: apart in grey too."""
THICK = 0.04
"""Half the height of a bar below a plug [in]."""


def page(runs: list[Run]) -> Figure:
    """Return a page with all ``runs``, one below the other."""
    blocks = [arrange.block(run) for run in runs]
    height = 0.55 + sum(block.height for block in blocks) + 0.48
    figure, axes = canvas.page("run", height)
    shapes, y = Shapes(axes), height - 0.45
    for block in blocks:
        _draw(shapes, block, y)
        y -= block.height
    _key(shapes, y - 0.06, next(plug for run in runs for plug in run.plugs.values()))
    shapes.draw()
    return figure


def _draw(shapes: Shapes, block: Block, top: float) -> None:
    """Draw a run from ``top`` [in] downwards."""
    y = top
    if block.run.name:
        shapes.words(0.1, y, f"run {block.run.name}", fontsize=10, fontweight="bold", va="top")
        y -= 0.25
    for row in block.rows:
        _row(shapes, block, row, y - row.above - 0.5 * block.tall)
        y -= row.above + block.tall + row.below
    _scale(shapes, block, y - 0.1)
    y -= 0.34
    for text, color in block.words:
        shapes.words(LEFT, y, text, va="top", color=color)
        y -= LINE


def _row(shapes: Shapes, block: Block, row: Row, middle: float) -> None:
    half, scale = 0.5 * block.tall, block.scale
    for piece in row.pieces:
        _pipe(shapes, block, piece, middle)
    for before, after in pairwise(row.pieces):
        x = 0.5 * (_right(before, scale) + after.left)
        left_out = words.distance(after.begin - before.end, block.run.unit)
        shapes.words(x, middle, left_out, ha="center", fontsize=8)
    for place in block.run.places:
        if scale.piece(place.at) in row.pieces:
            _place(shapes, block, place, middle)
    for label in row.labels:
        y = middle + half + SLEEVE + 0.2 + LINE * label.line
        shapes.line(((label.at, middle + half + SLEEVE), (label.at, y)), canvas.INK, 0.6)
        shapes.words(label.x, y, label.text, ha="center", behind=True)
    for rule in row.rules:
        _rule(shapes, rule, middle - half - SLEEVE - 2.0 * BAR - 0.22 - 1.15 * LINE * rule.line)


def _right(piece: Piece, scale: Scale) -> float:
    return piece.left + (piece.end - piece.begin) * scale.per_length


def _pipe(shapes: Shapes, block: Block, piece: Piece, middle: float) -> None:
    """Draw a stretch of pipe, its ends broken off."""
    half = 0.5 * block.tall
    plug = next(iter(block.run.plugs.values()), None)
    bore = half if plug is None else half - plug.wall * block.scale.per_length * block.times
    x = (piece.left, _right(piece, block.scale))
    shapes.box(x, (middle - half, middle + half), canvas.WALL)
    shapes.box(x, (middle - bore, middle + bore), WATER)
    for y in (middle - half, middle + half):
        shapes.level(x, y, canvas.INK)
    for end in x:
        edge = [
            (end + 0.04 * step, middle + (0.46 * n - 1.15) * half)
            for n, step in enumerate((0, 1, -1, 1, -1, 0))
        ]
        shapes.line(edge, canvas.INK)


def _place(shapes: Shapes, block: Block, place: Place, middle: float) -> None:
    """Draw what lies at a place."""
    half, x = 0.5 * block.tall, block.scale.x(place.at)
    above, below = middle + half, middle - half
    if place.plug is not None:
        _plug(shapes, block, place.plug, x, middle)
    elif place.kind == "cut":
        shapes.line(((x, below - 0.1), (x, above + 0.1)), canvas.STOP, 2.0, (0.0, (3.0, 1.5)))
    elif place.kind == "vent":
        shapes.box((x - 0.05, x + 0.05), (above, above + SLEEVE - 0.06), WATER, canvas.INK)
        shapes.peak(x, above + SLEEVE + 0.04, 0.06, canvas.INK)
    elif place.kind == "heat-source":
        shapes.peak(x, below, 0.09, canvas.STOP)
    elif place.kind == "support":
        shapes.peak(x, below, 0.09, canvas.WALL)
    elif place.kind == "valve":
        for side in (-0.1, 0.1):
            shapes.area(((x, middle), (x + side, below), (x + side, above)), canvas.INK)
    else:
        shapes.box((x - 0.06, x + 0.06), (below - 0.06, above + 0.06), canvas.WALL, canvas.INK)


def _plug(shapes: Shapes, block: Block, plug: Plug, x: float, middle: float) -> None:
    """Draw a plug at both times, its jacket, and bars of both ranges."""
    half, along = 0.5 * block.tall, block.scale.per_length
    bore = half - plug.wall * along * block.times
    for found, color in ((plug.after, AT_END), (plug.ready, AT_READY)):
        if found is not None:
            far = 0.5 * found["likely"] * along
            shapes.box((x - far, x + far), (middle - bore, middle + bore), color)
    sleeve = 0.5 * plug.jacket * along
    for y in (middle + half, middle - half - SLEEVE):
        shapes.box((x - sleeve, x + sleeve), (y, y + SLEEVE), canvas.JACKET, canvas.INK)
    y = middle - half - SLEEVE - 0.1
    for n, found in enumerate((plug.ready, plug.after)):
        if found is not None:
            _bar(shapes, found, x, y - n * BAR, along)


def _bar(shapes: Shapes, found: JSON, x: float, y: float, along: float) -> None:
    """Draw a range of a plug's length: dark where there is ice for sure, light where there may.

    One without an end is open there.
    """
    low, likely = (0.5 * along * found[end] for end in ("low", "likely"))
    high = 0.5 * along * (found["likely"] if found["high"] is None else found["high"])
    shapes.box((x - high, x + high), (y - THICK, y + THICK), canvas.WATER)
    shapes.box((x - low, x + low), (y - THICK, y + THICK), canvas.ICE)
    shapes.ticks((x - likely, x + likely), y, canvas.INK, 1.4)


def _rule(shapes: Shapes, rule: Rule, y: float) -> None:
    """Draw a distance with its ends, and what is said of it on it."""
    color = canvas.INK if rule.verdict == "go" else canvas.STOP
    shapes.level((rule.left, rule.right), y, color)
    shapes.ticks((rule.left, rule.right), y, color)
    x = arrange.middle(rule.left, rule.right, rule.text)
    shapes.words(x, y, rule.text, ha="center", color=color, behind=True)


def _scale(shapes: Shapes, block: Block, y: float) -> None:
    """Draw a bar of a round length, and say how large the pipe is drawn across."""
    along = block.scale.per_length
    length = layout.bar(along, 1.3)
    ends = (LEFT, LEFT + length * along)
    shapes.level(ends, y, canvas.INK, 1.6)
    shapes.ticks(ends, y, canvas.INK, 1.6)
    shapes.words(ends[1] + 0.1, y, f"{length:g} {block.run.unit}")
    if block.times > 1.0:
        said = f"drawn {block.times:g} times larger across than along"
        shapes.words(canvas.WIDTH - LEFT, y, said, ha="right")


def _key(shapes: Shapes, y: float, plug: Plug) -> None:
    """Say what the tones and bars mean, as of ``plug``."""
    tones = [(AT_END, "likely ice at the end of the hold")]
    if plug.ready is not None:
        tones.insert(0, (AT_READY, "likely ice at the planned ready"))
    for n, (color, text) in enumerate(tones):
        x = LEFT + 3.1 * n
        shapes.box((x, x + 0.3), (y - 0.07, y + 0.07), color)
        shapes.words(x + 0.38, y, text)
    _bar(shapes, {"low": 0.12, "likely": 0.2, "high": 0.3}, LEFT + 0.15, y - 0.22, 1.0)
    bars = "length" if plug.ready is None else "length at ready and at the end"
    said = f"{bars}: dark, ice with 95 %; light, there may be ice (5 %); mark, likely"
    shapes.words(LEFT + 0.38, y - 0.22, said)
