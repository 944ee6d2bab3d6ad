"""What lies on site, in words: pipe, line, freeze points, places of a run."""

from dataclasses import dataclass

from stillpipe.api.forms.sheets import telling, words
from stillpipe.api.forms.sheets.telling import JSON, Way
from stillpipe.model.site import PlaceKind
from stillpipe.tables import wording

MAIN = "run"
"""What a run is called that the caller has given no name."""


@dataclass(frozen=True, kw_only=True)
class Point:
    """A freeze point: its name, pipe, place and jacket in words, and the figures of its plug.

    ``feed_at`` and ``ready_at`` [s] are times since arrival; the ranges are as in the reply.
    """

    name: str
    pipe: str
    place: str
    jacket: str
    group: int
    manifold: str
    feed_at: float
    ready_at: float | None
    survival: JSON | None
    flow_limit: JSON | None


def pipe(stated: JSON) -> str:
    """Return a pipe of the echo in words, by its trade size where it has one."""
    material = stated["material"]["value"]
    if "standard" in stated:
        standard, size, schedule = (stated[m]["value"] for m in ("standard", "size", "schedule"))
        return wording.pipe(standard, size, schedule, material)
    return f"{wording.MATERIALS[material]} pipe, {measures(stated)}"


def measures(stated: JSON) -> str:
    """Return the outside diameter and the wall of a pipe of the echo in words."""
    outside, wall = (telling.quantity(stated[m]) for m in ("outside_diameter", "wall"))
    return f"{outside} outside, {wall} wall"


def fluid(stated: JSON) -> str:
    """Return what stands in the line in words."""
    name = wording.FLUIDS[stated["type"]["value"]]
    share = stated["concentration"]
    much = "" if not share["value"] else f", {telling.stated(share)}"
    flow = stated["flow"]
    moves = f", flowing {telling.stated(flow)}" if flow["value"] else ""
    return f"{name}{much}, {telling.stated(stated['temperature'])}{moves}"


def about(inputs: JSON) -> str:
    """Return the air around the pipe, what is on it and in it, and how it runs, in words."""
    moist = telling.percent(inputs["relative_humidity"]["value"])
    parts = [f"{telling.stated(inputs['ambient']['temperature'])}, humidity {moist}"]
    for layer in ("insulation", "lining"):
        stated = inputs[layer]
        if stated is not None:
            thick = telling.stated(stated["thickness"])
            parts.append(f"{thick} {wording.layer(stated['material']['value'])}")
    return "; ".join(parts)


def points(reply: JSON) -> tuple[Point, ...]:
    """Return the freeze points of a job: those that differ, or as many as there are alike."""
    if reply.get("freeze_points"):
        return tuple(_own(reply, index) for index in range(len(reply["freeze_points"])))
    inputs = reply["inputs"]
    placed = [p for p in inputs["places"] if p["kind"]["value"] == PlaceKind.FREEZE_POINT]
    alike = [str(n) for n in range(1, inputs["points"]["value"] + 1)]
    begun = _moment(reply, "feed")
    ready = reply["planned_ready"]
    return tuple(
        Point(
            name=name, place=place, pipe=pipe(inputs["pipe"]), jacket=jacket(inputs), group=1,
            manifold="", feed_at=begun, survival=reply["survival"],
            ready_at=None if ready is None else begun + ready["value"], flow_limit=None,
        )
        for name, place in (
            [(p["name"]["value"], telling.length(p["at"])) for p in placed]
            if len(placed) == len(alike) else [(name, "") for name in alike]
        )
    )  # fmt: skip


def _moment(reply: JSON, code: str) -> float:
    """Return when the first moment of that ``code`` is [s], 0 where there is none."""
    return next((e["at"]["value"] for e in reply["timeline"] if e["code"] == code), 0.0)


def _own(reply: JSON, index: int) -> Point:
    """Return a freeze point of those that differ."""
    found, inputs = reply["freeze_points"][index], reply["inputs"]
    listed = inputs.get("freeze_points") or []
    stated = listed[index] if index < len(listed) else {}
    run = "" if found["run"] == MAIN else found["run"]
    at = "" if found["at"] is None else telling.length(found["at"])
    begun, ready = found["feed_at"]["value"], found["planned_ready"]
    return Point(
        name=found["name"],
        pipe=found["pipe"],
        place=", ".join(part for part in (run, at) if part),
        jacket=jacket(inputs | {k: v for k, v in stated.items() if k == "jacket" and v}),
        group=found["group"],
        manifold=found["manifold"] or "",
        feed_at=begun,
        ready_at=None if ready is None else begun + ready["value"],
        survival=found["survival"],
        flow_limit=found["residual_flow_limit"],
    )


def jacket(inputs: JSON) -> str:
    """Return how long the jacket is, in words."""
    return telling.length(inputs["jacket"]["length"])


def runs(reply: JSON) -> list[tuple[str, list[JSON], JSON]]:
    """Return each run: its name, empty for the only one; its places in order; what was found."""
    places = reply["inputs"]["places"]
    found = reply.get("runs") or []
    if not found and reply["spacing"] is not None:
        found = [reply["spacing"]]

    def along(name: str) -> list[JSON]:
        mine = [p for p in places if p.get("run", {"value": MAIN})["value"] == name]
        return sorted(mine, key=lambda p: float(p["at"]["value"]))

    names = [run.get("run", MAIN) for run in found]
    return [
        ("" if name == MAIN else name, along(name), run)
        for name, run in zip(names, found, strict=True)
    ]


def place(stated: JSON) -> str:
    """Return a place of a run in words, what it is unless its name says so."""
    name, kind = stated["name"]["value"], words.PLACES[PlaceKind(stated["kind"]["value"])]
    what = "" if kind in name.casefold() else f" ({kind})"
    return f"{telling.length(stated['at'])} {name}{what}"


def least_flow(found: tuple[Point, ...]) -> str:
    """Return the most flow that surely still freezes, of all points; empty where not estimated."""
    limits = [p.flow_limit for p in found if p.flow_limit is not None]
    if not limits:
        return ""
    least = min(limits, key=lambda limit: float(limit["low"]))
    return telling.quantity({"value": least["low"], "unit": least["unit"]}, 2, Way.DOWN)
