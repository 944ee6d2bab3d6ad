"""What pictures show, in words: for those who cannot see them, and for labels."""

from stillpipe.api.forms.canvas import JSON


def freeze(reply: JSON) -> str:
    """Return in words what the picture shows, for those who cannot see it."""
    parts = [
        f"{words} {span(reply[name])}"
        for words, name in (
            ("frost beside the jacket by", "frost_by"),
            ("closed after", "closure"),
            ("ready after", "ready"),
        )
        if reply.get(name) is not None
    ]
    if reply["planned_ready"] is not None:
        parts.append(f"planned ready {minutes(reply['planned_ready']):.1f} min")
    return "; ".join(parts) or " ".join(r["text"] for r in reply["reasons"])


def seen(reply: JSON) -> str:
    """Return in words what was seen, and what was to be expected before."""
    learned = reply["learned"]
    each = zip(told(reply), learned["observations"], strict=True)
    parts = [f"{word} at {minutes(held['elapsed']):.1f} min" for word, held in each]
    before = [
        f"{words} {span(learned['before'][name])}"
        for words, name in (("closed after", "closure"), ("ready after", "ready"))
        if learned["before"][name] is not None
    ]
    used = "" if learned["used"] else "; nothing is learned from what cannot be explained"
    return f"seen: {', '.join(parts)}; before anything was seen: {', '.join(before)}{used}"


def told(reply: JSON) -> list[str]:
    """Return what was seen, each in a word or two, and whether that is explained."""
    each = zip(reply["learned"]["observations"], reply["inputs"]["observations"], strict=True)
    return [_word(stated) + ("" if held["fits"] else ", does not fit") for held, stated in each]


def _word(stated: JSON) -> str:
    """Return what was seen in a word or two."""
    amount = "{value:g} {unit}".format(**stated["value"]) if "value" in stated else ""
    words = {
        "frost": "frost", "no-frost": "no frost yet", "surface-temperature": amount,
        "weight-drawn": f"{amount} drawn", "flow-stopped": "flow stopped",
        "pressure-held": f"{amount} held",
    }  # fmt: skip
    return words[stated["kind"]["value"]]


def span(found: JSON) -> str:
    """Return a range of times in minutes."""
    high = "never" if found["high"] is None else f"{found['high'] / 60.0:.1f}"
    return f"{found['likely'] / 60.0:.1f} min ({found['low'] / 60.0:.1f} to {high})"


def minutes(quantity: JSON) -> float:
    """Return a time in minutes."""
    return float(quantity["value"]) / 60.0


def length(found: JSON) -> str:
    """Return a range of lengths, as many digits as its width allows."""
    ends = [found[end] for end in ("likely", "low", "high")]
    digits = 2 if found["unit"] == "in" else 0
    likely, low, high = ("?" if x is None else f"{x:.{digits}f}" for x in ends)
    return f"{likely} {found['unit']} ({low} to {high})"


def distance(value: float, unit: str) -> str:
    """Return a length along a run: in metres or feet where it is long."""
    if unit == "mm":
        return f"{value / 1000.0:.2f} m" if value >= 1000.0 else f"{value:.0f} mm"
    return f"{value / 12.0:.1f} ft" if value >= 48.0 else f"{value:.1f} {unit}"
