"""A freeze cut open lengthwise: the pipe to scale, and the ice in it at several times."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from stillpipe.api.forms import canvas, layout, words
from stillpipe.api.forms.canvas import JSON

SHADES = ("#12384c", "#255f7c", "#4583a0", "#6c9fb7", "#93bacb", "#b6d0dc")
"""Of ice, the oldest first: darker the longer it is there, in grey too."""
LIQUID = "#eaf1f4"
"""Of water between ice: lighter than the youngest ice."""
TALLEST, LEAST, WIDE = 2.4, 1.0, 6.6
"""Height of a pipe [in] at most and at least, and width of the section [in]."""
SLEEVE = 0.28
"""The jacket is drawn so thick [in]: its shape is not known."""
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
    middle = height - 0.95 - 0.5 * tall
    _pipe(axes, reply, middle, along * times, half * along)
    _ice(axes, reply, middle, along, along * times)
    _jacket(axes, middle, 0.5 * tall, 0.5 * jacket * along, reply["inputs"]["jacket"]["length"])
    below = middle - 0.5 * tall - SLEEVE - 0.2
    _sound(axes, reply, below, along)
    _scale(axes, below - 0.6, along, times, reply["inputs"]["pipe"]["outside_diameter"])
    _key(axes, reply)
    return figure


def _pipe(axes: Axes, reply: JSON, middle: float, across: float, half: float) -> None:
    """Draw wall, lining and water; ``across`` [in for a unit], ``half`` the width [in]."""
    pipe, lining = reply["inputs"]["pipe"], reply["inputs"]["lining"]
    outer = 0.5 * pipe["outside_diameter"]["value"]
    inner = outer - pipe["wall"]["value"]
    bore = inner - (lining["thickness"]["value"] if lining else 0.0)
    for radius, color in ((outer, canvas.WALL), (inner, canvas.JACKET), (bore, LIQUID)):
        y = radius * across
        x, ends = (MIDDLE - half, MIDDLE + half), (middle - y, middle + y)
        axes.fill_between(x, *ends, color=color, linewidth=0)
    for y in (middle - outer * across, middle + outer * across):
        axes.hlines(y, MIDDLE - half, MIDDLE + half, color=canvas.INK, linewidth=0.8)


def _ice(axes: Axes, reply: JSON, middle: float, along: float, across: float) -> None:
    """Draw the ice of every moment, the youngest first and what was there before over it."""
    profile = reply["profile"]
    half = np.array(profile["position"]["values"]) * along
    x = MIDDLE + np.concatenate((-half[::-1], half[1:]))
    bore = profile["moments"][0]["liquid_radius"]["values"][-1] * across
    every = list(zip(shades(len(profile["moments"])), profile["moments"], strict=True))
    for color, moment in reversed(every):
        radius = np.array(moment["liquid_radius"]["values"]) * across
        y = np.concatenate((radius[::-1], radius[1:]))
        for side in (1.0, -1.0):
            axes.fill_between(
                x, middle + side * y, middle + side * bore, color=color, edgecolor="white",
                linewidth=0.5,
            )  # fmt: skip
    for y in (middle - bore, middle + bore):
        axes.hlines(y, x[0], x[-1], color=canvas.INK, linewidth=0.8)
    if x[0] - MIDDLE < -2.0 and bore > 0.12:
        axes.text(MIDDLE - 0.5 * WIDE + 0.05, middle, "water", fontsize=9, va="center")


def shades(count: int) -> tuple[str, ...]:
    """Return the shades of so many moments; of few the youngest."""
    return SHADES[len(SHADES) - count :]


def _jacket(axes: Axes, middle: float, tall: float, half: float, length: JSON) -> None:
    """Draw the jacket above and below a pipe, ``tall`` from its axis, and say how long it is."""
    x = (MIDDLE - half, MIDDLE + half)
    for near in (middle + tall, middle - tall - SLEEVE):
        axes.fill_between(
            x, near, near + SLEEVE, facecolor=canvas.JACKET, edgecolor=canvas.INK, linewidth=0.8
        )  # fmt: skip
    axes.text(
        MIDDLE, middle + tall + SLEEVE + 0.06, f"jacket {amount(length)}", ha="center", fontsize=9
    )  # fmt: skip


def amount(quantity: JSON) -> str:
    """Return a length with its unit, rounded as a rule is read."""
    digits = 2 if quantity["unit"] == "in" else 0 if quantity["value"] >= 20.0 else 1
    return f"{quantity['value']:.{digits}f} {quantity['unit']}"


def _sound(axes: Axes, reply: JSON, y: float, along: float) -> None:
    """Draw how long the sound plug is at ready: its range as a bar, the likely length over it."""
    found = ready_length(reply)
    if found is None:
        return
    low, likely, high = (0.5 * along * found[end] for end in ("low", "likely", "high"))
    axes.hlines(y, MIDDLE - high, MIDDLE + high, color=canvas.WATER, linewidth=9)
    axes.hlines(y, MIDDLE - low, MIDDLE + low, color=canvas.ICE, linewidth=9)
    ends = (MIDDLE - likely, MIDDLE + likely)
    axes.plot(ends, (y, y), "|", markersize=12, color=canvas.INK, mew=1.8)
    said = f"sound plug at the planned ready {words.length(found)}"
    axes.text(MIDDLE, y - 0.12, said, ha="center", va="top", fontsize=9)


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


def _scale(axes: Axes, y: float, along: float, times: float, outside: JSON) -> None:
    """Draw a bar of a round length, and say how large the pipe is and is drawn."""
    length = layout.bar(along, 1.5)
    left = 0.3
    axes.hlines(y, left, left + length * along, color=canvas.INK, linewidth=1.6)
    axes.plot((left, left + length * along), (y, y), "|", markersize=7, color=canvas.INK, mew=1.6)
    axes.text(left + length * along + 0.1, y, f"{length:g} {outside['unit']}", va="center",
              fontsize=9)  # fmt: skip
    said = f"pipe {amount(outside)} outside"
    if times > 1.0:
        said += f", drawn {times:g} times larger across than along"
    axes.text(canvas.WIDTH - 0.3, y, said, ha="right", va="center", fontsize=9)


def _key(axes: Axes, reply: JSON) -> None:
    """Say which shade is ice of which time."""
    moments = reply["profile"]["moments"]
    axes.text(0.3, 0.62, "ice after", fontsize=9, va="center")
    step = (canvas.WIDTH - 0.6) / len(SHADES)
    for n, (color, moment) in enumerate(zip(shades(len(moments)), moments, strict=True)):
        x = 0.3 + n * step
        axes.fill_between((x, x + 0.3), 0.25, 0.45, color=color, linewidth=0)
        said = f"{words.minutes(moment['time']):.1f} min"
        axes.text(x + 0.36, 0.35, said, fontsize=9, va="center")
    if reply["planned_ready"] is not None:
        x = 0.3 + (len(moments) - 1) * step
        axes.text(x, 0.12, "planned ready", fontsize=9, va="center")


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
