"""A run of pipe laid out on a page: rows to scale, labels and distances on no other."""

from typing import NamedTuple

from stillpipe.api.forms import canvas, layout, words
from stillpipe.api.forms.canvas import JSON
from stillpipe.api.forms.layout import Piece, Scale
from stillpipe.api.forms.run import read
from stillpipe.api.forms.run.read import Place, Plug, Run

LEFT, WIDE = 0.35, canvas.WIDTH - 0.7
"""The pipe begins so far from the left and is so wide [in]."""
TALLEST, LEAST = 1.6, 0.42
"""Height of a pipe [in] at most and at least."""
SLEEVE, LINE, BAR = 0.17, 0.17, 0.13
"""Height of the jacket, of a line of words and of a bar below a plug [in]."""
USUAL = 20.0
"""Diameter of a pipe without a plug, of which it is not known [mm]."""
MARGIN = 1.05
"""A plug is shown with so many times its greatest length [-]."""
RULES = 8
"""Rules that are drawn; of more the tightest."""
NAME = 26
"""Characters of a name in a label at most."""
PAIRS = 3
"""Stretches of water of which the same is said that are named."""


class Label(NamedTuple):
    """Words centred at ``x`` [in] above a place, and on which line they stand."""

    text: str
    x: float
    at: float
    line: int


class Rule(NamedTuple):
    """A distance between ``left`` and ``right`` [in], what is said of it, and on which line."""

    left: float
    right: float
    text: str
    verdict: str
    line: int


class Row(NamedTuple):
    """One row of a run: stretches of pipe, labels above and rules below."""

    pieces: list[Piece]
    labels: list[Label]
    rules: list[Rule]

    @property
    def above(self) -> float:
        """Height above the pipe [in]."""
        return LINE * _lines(self.labels) + SLEEVE + 0.22

    @property
    def below(self) -> float:
        """Height below the pipe [in]."""
        return SLEEVE + 2.0 * BAR + 0.18 + 1.15 * LINE * _lines(self.rules) + 0.12


class Block(NamedTuple):
    """A run laid out: its scale, rows, and lines of words below; ``tall`` the pipe [in]."""

    run: Run
    scale: Scale
    times: float
    tall: float
    rows: list[Row]
    words: list[tuple[str, str]]

    @property
    def height(self) -> float:
        """Height of the whole [in]."""
        rows = sum(row.above + self.tall + row.below for row in self.rows)
        return (0.25 if self.run.name else 0.0) + rows + 0.34 + LINE * len(self.words) + 0.1


def _lines(found: list[Label] | list[Rule]) -> int:
    return 1 + max((each.line for each in found), default=-1)


def block(run: Run) -> Block:
    """Lay a run out."""
    outside = max((plug.outside for plug in run.plugs.values()), default=USUAL)
    stretches = [_stretch(place, outside) for place in run.places]
    scale = layout.broken(stretches, LEFT, WIDE)
    if scale.per_length * outside > TALLEST:
        scale = layout.smaller(scale, TALLEST / outside)
    times = layout.across(outside, scale.per_length, LEAST)
    drawn, said = _rules(run, scale)
    labels = _labels(run, scale)
    rows = [Row(scale.of_row(n), labels.get(n, []), drawn.get(n, [])) for n in range(scale.rows)]
    return Block(run, scale, times, times * outside * scale.per_length, rows, said + _said(run))


def _stretch(place: Place, outside: float) -> tuple[float, float]:
    """Return from where to where pipe is shown about a place."""
    half = 1.5 * outside
    if place.plug is not None:
        high = place.plug.after["high"] or place.plug.after["likely"]
        half = max(half, 0.5 * MARGIN * max(high, place.plug.jacket))
    return place.at - half, place.at + half


def _labels(run: Run, scale: Scale) -> dict[int, list[Label]]:
    """Return the labels of every row, none on another."""
    found: dict[int, list[tuple[str, float, float]]] = {}
    for place in run.places:
        if place.name == read.UNNAMED:
            continue
        kind = "" if place.plug is not None else f"{place.kind.replace('-', ' ')}: "
        text = f"{kind}{layout.shortened(place.name, NAME)}, {words.distance(place.at, run.unit)}"
        at, half = scale.x(place.at), 0.5 * layout.wide(text)
        x = min(max(at, 0.1 + half), canvas.WIDTH - 0.1 - half)
        found.setdefault(scale.piece(place.at).row, []).append((text, x, at))
    return {row: _lined(each) for row, each in found.items()}


def _lined(each: list[tuple[str, float, float]]) -> list[Label]:
    halves = [0.5 * layout.wide(text) for text, _, _ in each]
    lines = layout.rows([(e[1] - h, e[1] + h) for e, h in zip(each, halves, strict=True)])
    return [Label(*e, line) for e, line in zip(each, lines, strict=True)]


def _rules(run: Run, scale: Scale) -> tuple[dict[int, list[Rule]], list[tuple[str, str]]]:
    """Return the rules to draw by row, and in words those that reach over several."""
    ordered = sorted(run.rules, key=_room)
    drawn: dict[int, list[tuple[float, float, str, str]]] = {}
    said = []
    for rule in ordered[:RULES]:
        text = f"{rule['rule']}: {read.apart(rule)}{MEANS[rule['verdict']]}"
        ends = _ends(run, rule)
        pieces = [scale.piece(end) for end in ends]
        if pieces[0].row == pieces[1].row:
            left, right = (scale.x(end) for end in ends)
            drawn.setdefault(pieces[0].row, []).append((left, right, text, rule["verdict"]))
        else:
            color = canvas.INK if rule["verdict"] == "go" else canvas.STOP
            names = (layout.shortened(name, NAME) for name in rule["between"])
            said.append((f"{' to '.join(names)}: {text}", color))
    if len(ordered) > RULES:
        text = f"{len(ordered) - RULES} more distances are not drawn; they are no tighter."
        said.append((text, canvas.INK))
    return {row: _stacked(each) for row, each in drawn.items()}, said


MEANS = {"go": "", "conditional": ", barely too near", "no-go": ", TOO NEAR"}
"""What a rule's verdict is called."""


def _room(rule: JSON) -> float:
    """Return a distance over the least [-]."""
    return float(rule["actual"]["value"]) / max(float(rule["required"]["value"]), 1e-9)


def _ends(run: Run, rule: JSON) -> tuple[float, float]:
    """Return where the two places of a rule lie; of equal names those so far apart."""
    first, second = rule["between"]
    pairs = [
        (a.at, b.at) for a in run.places for b in run.places
        if a.name == first and b.name == second and a.at <= b.at
    ]  # fmt: skip
    return min(pairs, key=lambda pair: abs(pair[1] - pair[0] - rule["actual"]["value"]))


def _stacked(each: list[tuple[float, float, str, str]]) -> list[Rule]:
    """Put every rule on a line, with room for its words."""
    spans = []
    for left, right, text, _ in each:
        x = middle(left, right, text)
        half = 0.5 * layout.wide(text)
        spans.append((min(left, x - half), max(right, x + half)))
    lines = layout.rows(spans)
    return [Rule(*e, line) for e, line in zip(each, lines, strict=True)]


def middle(left: float, right: float, text: str) -> float:
    """Return where words about a distance are centred [in]: on its line, or beside a short one."""
    half = 0.5 * layout.wide(text)
    if right - left > 2.0 * half + 0.3:
        return 0.5 * (left + right)
    after, before = right + 0.1 + half, left - 0.1 - half
    if after + half < canvas.WIDTH - 0.1:
        return after
    if before - half > 0.1:
        return before
    return min(max(0.5 * (left + right), 0.1 + half), canvas.WIDTH - 0.1 - half)


def _said(run: Run) -> list[tuple[str, str]]:
    """Return lines of words about the plugs and the water between them, each with its colour."""
    found: list[tuple[str, str]] = []
    for plug in dict.fromkeys(map(_hashed, run.plugs.values())):
        names = [name for name, p in run.plugs.items() if _hashed(p) == plug]
        own = read.lengths(run.plugs[names[0]])
        short = ", ".join(layout.shortened(name, NAME) for name in names)
        text = own if len(names) == len(run.plugs) else f"{short}: {own}"
        found.append((text, canvas.INK))
    for advice, color in dict.fromkeys(map(_advice, run.trapped)):
        pairs = [_pair(water) for water in run.trapped if _advice(water) == (advice, color)]
        more = f" and {len(pairs) - PAIRS} more" if len(pairs) > PAIRS else ""
        found.append((f"Water between {', '.join(pairs[:PAIRS])}{more}: {advice}", color))
    return [(line, color) for text, color in found for line in layout.wrapped(text, WIDE)]


def _advice(water: JSON) -> tuple[str, str]:
    """Return what to do with the water between two plugs, and the colour in which it is said."""
    return read.advice(water), canvas.INK if water["verdict"] == "go" else canvas.STOP


def _pair(water: JSON) -> str:
    return " and ".join(layout.shortened(name, NAME) for name in water["between"])


def _hashed(plug: Plug) -> str:
    return repr(plug)
