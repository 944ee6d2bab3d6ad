"""A freeze cut open lengthwise: the pipe to scale, and the ice in it at several times."""

from matplotlib.figure import Figure

from stillpipe.api.forms import canvas, layout, words
from stillpipe.api.forms.canvas import JSON
from stillpipe.api.forms.shapes import Shapes

SHADES = ("#12384c", "#255f7c", "#4583a0", "#6c9fb7", "#93bacb", "#b6d0dc")
"""Of ice, the oldest first: darker the longer it is there, in grey too."""
LIQUID = "#eaf1f4"
"""Of water between ice: lighter than the youngest ice."""
TALLEST, LEAST, WIDE = 2.4, 1.0, 6.6
"""Height of a pipe [in] at most and at least, and width of the section [in]."""
SLEEVE = 0.28
"""The jacket is drawn so thick [in]: its shape is not known."""
LEFT = 0.3
"""Words begin so far from the left [in]."""
MIDDLE = 0.5 * canvas.WIDTH
"""Where the jacket's centre lies [in]."""


def plug_time(reply: JSON) -> bytes:
    """Return the pipe cut open lengthwise, with the likely ice at several times."""
    said = words.freeze(reply)
    if not reply["profile"]["moments"]:
        return canvas.drawn(canvas.refusal, reply, "Freeze point", said)
    return canvas.drawn(_section, reply, "Freeze point", f"{said}; {_shape(reply)}")


def _section(reply: JSON) -> Figure:
    jacket = reply["inputs"]["jacket"]["length"]["value"]
    outside = reply["inputs"]["pipe"]["outside_diameter"]["value"]
    half = max(1.06 * reply["profile"]["position"]["values"][-1], 0.7 * jacket)
    along = min(0.5 * WIDE / half, TALLEST / outside)
    times = layout.across(outside, along, LEAST)
    tall = outside * along * times
    height = 2.9 + tall
    figure, axes = canvas.page("section", height)
    shapes = Shapes(axes)
    middle = height - 0.95 - 0.5 * tall
    _pipe(shapes, reply, middle, along * times, half * along)
    _ice(shapes, reply, middle, along, along * times)
    _jacket(shapes, middle, 0.5 * tall, 0.5 * jacket * along, reply["inputs"]["jacket"]["length"])
    below = middle - 0.5 * tall - SLEEVE - 0.2
    _sound(shapes, reply, below, along)
    _scale(shapes, below - 0.6, along, times, reply["inputs"]["pipe"]["outside_diameter"])
    _key(shapes, reply)
    shapes.draw()
    return figure


def _pipe(shapes: Shapes, reply: JSON, middle: float, across: float, half: float) -> None:
    """Draw wall, lining and water; ``across`` [in for a unit], ``half`` the width [in]."""
    pipe, lining = reply["inputs"]["pipe"], reply["inputs"]["lining"]
    outer = 0.5 * pipe["outside_diameter"]["value"]
    inner = outer - pipe["wall"]["value"]
    bore = inner - (lining["thickness"]["value"] if lining else 0.0)
    x = (MIDDLE - half, MIDDLE + half)
    for radius, color in ((outer, canvas.WALL), (inner, canvas.JACKET), (bore, LIQUID)):
        y = radius * across
        shapes.box(x, (middle - y, middle + y), color)
        shapes.level(x, middle - y, canvas.INK)
        shapes.level(x, middle + y, canvas.INK)
    if bore * across > 0.12:
        shapes.words(x[0] + 0.06, middle, "water")


def _ice(shapes: Shapes, reply: JSON, middle: float, along: float, across: float) -> None:
    """Draw the ice of every moment, the youngest first and what was there before over it."""
    profile = reply["profile"]
    half = [place * along for place in profile["position"]["values"]]
    x = [*(MIDDLE - place for place in half[:0:-1]), *(MIDDLE + place for place in half)]
    bore = profile["moments"][0]["liquid_radius"]["values"][-1] * across
    every = list(zip(shades(len(profile["moments"])), profile["moments"], strict=True))
    for color, moment in reversed(every):
        radius = [liquid * across for liquid in moment["liquid_radius"]["values"]]
        edge = [*radius[:0:-1], *radius]
        for side in (1.0, -1.0):
            front = [(at, middle + side * y) for at, y in zip(x, edge, strict=True)]
            wall = [(x[-1], middle + side * bore), (x[0], middle + side * bore)]
            shapes.area([*front, *wall], color, "white", 0.5)


def shades(count: int) -> tuple[str, ...]:
    """Return the shades of so many moments; of few the youngest."""
    return SHADES[len(SHADES) - count :]


def _jacket(shapes: Shapes, middle: float, tall: float, half: float, length: JSON) -> None:
    """Draw the jacket above and below a pipe, ``tall`` from its axis, and say how long it is."""
    x = (MIDDLE - half, MIDDLE + half)
    for near in (middle + tall, middle - tall - SLEEVE):
        shapes.box(x, (near, near + SLEEVE), canvas.JACKET, canvas.INK)
    y = middle + tall + SLEEVE + 0.12
    shapes.words(MIDDLE, y, f"jacket {amount(length)}", ha="center")


def amount(quantity: JSON) -> str:
    """Return a length with its unit, rounded as a rule is read."""
    digits = 2 if quantity["unit"] == "in" else 0 if quantity["value"] >= 20.0 else 1
    return f"{quantity['value']:.{digits}f} {quantity['unit']}"


def _sound(shapes: Shapes, reply: JSON, y: float, along: float) -> None:
    """Draw how long the sound plug is at ready: its range as a bar, the likely length over it."""
    found = ready_length(reply)
    if found is None:
        return
    low, likely, high = (0.5 * along * found[end] for end in ("low", "likely", "high"))
    for half, color in ((high, canvas.WATER), (low, canvas.ICE)):
        shapes.box((MIDDLE - half, MIDDLE + half), (y - 0.06, y + 0.06), color)
    shapes.ticks((MIDDLE - likely, MIDDLE + likely), y, canvas.INK, 1.8, 0.09)
    said = f"sound plug at the planned ready {words.length(found)}"
    shapes.words(MIDDLE, y - 0.2, said, ha="center")


def ready_length(reply: JSON) -> JSON | None:
    """Return how long the sound plug is at the planned ready; None where there is no such time."""
    bands, history = reply["bands"], reply["history"]
    if not bands["time"]["values"]:
        return None
    low, high = (bands[f"plug_length_{end}"]["values"][-1] for end in ("low", "high"))
    likely = min(history[name]["values"][-1] for name in ("plug_length", "bonded_length"))
    return {
        "low": low, "likely": min(max(likely, low), high), "high": high,
        "unit": history["plug_length"]["unit"],
    }  # fmt: skip


def _scale(shapes: Shapes, y: float, along: float, times: float, outside: JSON) -> None:
    """Draw a bar of a round length, and say how large the pipe is and is drawn."""
    length = layout.bar(along, 1.5)
    ends = (LEFT, LEFT + length * along)
    shapes.level(ends, y, canvas.INK, 1.6)
    shapes.ticks(ends, y, canvas.INK, 1.6)
    shapes.words(ends[1] + 0.1, y, f"{length:g} {outside['unit']}")
    said = f"pipe {amount(outside)} outside"
    if times > 1.0:
        said += f", drawn {times:g} times larger across than along"
    shapes.words(canvas.WIDTH - LEFT, y, said, ha="right")


def _key(shapes: Shapes, reply: JSON) -> None:
    """Say which shade is ice of which time."""
    moments = reply["profile"]["moments"]
    shapes.words(LEFT, 0.62, "ice after")
    step = (canvas.WIDTH - 2.0 * LEFT) / len(SHADES)
    for n, (color, moment) in enumerate(zip(shades(len(moments)), moments, strict=True)):
        x = LEFT + n * step
        shapes.box((x, x + 0.3), (0.25, 0.45), color)
        shapes.words(x + 0.36, 0.35, f"{words.minutes(moment['time']):.1f} min")
    if reply["planned_ready"] is not None:
        shapes.words(LEFT + (len(moments) - 1) * step, 0.12, "planned ready")


def _shape(reply: JSON) -> str:
    """Return in words what the section shows."""
    profile = reply["profile"]
    unit, places = profile["position"]["unit"], profile["position"]["values"]
    parts = []
    for moment in profile["moments"]:
        radius = moment["liquid_radius"]["values"]
        every = zip(places, radius, strict=True)
        reach = next(place for place, liquid in every if liquid >= radius[-1])
        parts.append(
            f"after {words.minutes(moment['time']):.1f} min ice reaches {reach:.3g} {unit} to each "
            f"side of the jacket's centre, where a radius of {radius[0]:.2g} {unit} is liquid"
        )
    found = ready_length(reply)
    if found is not None:
        parts.append(f"sound plug at the planned ready {words.length(found)}")
    return "; ".join(parts)
