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
    fluid: str
    pressure: str
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
    """Return the freeze points of a job: those listed, or as many as there are alike."""
    if reply.get("freeze_points"):
        return tuple(_own(reply, index) for index in range(len(reply["freeze_points"])))
    inputs = reply["inputs"]
    placed = [p for p in inputs["places"] if p["kind"]["value"] == PlaceKind.FREEZE_POINT]
    count = inputs["points"]["value"]
    named = [(p["name"]["value"], telling.length(p["at"])) for p in placed]
    if len(named) != count:
        named = [(str(n), "") for n in range(1, count + 1)]
    begun, ready = _moment(reply, "feed"), reply["planned_ready"]
    return tuple(
        Point(
            name=name, place=at, pipe=pipe(inputs["pipe"]), fluid=fluid(inputs["fluid"]),
            pressure=telling.pressure(inputs["line_pressure"]), jacket=jacket(inputs), group=1,
            manifold="", feed_at=begun, survival=reply["survival"],
            ready_at=None if ready is None else begun + ready["value"], flow_limit=None,
        )
        for name, at in named
    )  # fmt: skip


def differ(found: tuple[Point, ...]) -> bool:
    """Tell whether freeze points are not all alike."""
    told = {
        (p.pipe, p.fluid, p.pressure, p.jacket, p.group, p.ready_at, str(p.survival)) for p in found
    }
    return len(told) > 1


def _moment(reply: JSON, code: str) -> float:
    """Return when the first moment of that ``code`` is [s], 0 where there is none."""
    return next((e["at"]["value"] for e in reply["timeline"] if e["code"] == code), 0.0)


def _own(reply: JSON, index: int) -> Point:
    """Return a freeze point of a list; what it has not of its own is the job's."""
    found, inputs = reply["freeze_points"][index], reply["inputs"]
    listed = inputs.get("freeze_points") or []
    stated = listed[index] if index < len(listed) else {}
    named = ("pipe", "jacket", "fluid", "line_pressure")
    own = inputs | {name: stated[name] for name in named if stated.get(name)}
    run = found["run"] if found["run"] not in (None, MAIN) else ""
    at = "" if found["at"] is None else telling.length(found["at"])
    return Point(
        name=found["name"],
        pipe=pipe(own["pipe"]),
        fluid=fluid(own["fluid"]),
        pressure=telling.pressure(own["line_pressure"]),
        place=", ".join(part for part in (run, at) if part),
        jacket=jacket(own),
        group=found["group"],
        manifold=found["manifold"] or "",
        feed_at=found["feed_at"]["value"],
        ready_at=_ready_at(found),
        survival=found["survival"],
        flow_limit=found["residual_flow_limit"],
    )


def _ready_at(found: JSON) -> float | None:
    """Return from when a freeze point may be cut, since arrival [s]."""
    if found.get("cut_at") is not None:
        return float(found["cut_at"]["value"])
    ready = found["planned_ready"]
    return None if ready is None else float(found["feed_at"]["value"] + ready["value"])


def jacket(inputs: JSON) -> str:
    """Return how long the jacket is, in words."""
    return telling.length(inputs["jacket"]["length"])


def runs(reply: JSON) -> list[tuple[str, str, JSON]]:
    """Return each run: its name, empty for the only one; what lies along it; what was found."""
    whole = reply["spacing"]
    if whole is None:
        return []
    members = ("rules", "trapped_water")
    names = dict.fromkeys(_run(each) for member in members for each in whole[member])
    return [
        (
            "" if name == MAIN else name,
            "  ·  ".join(_along(reply, name)),
            {member: [e for e in whole[member] if _run(e) == name] for member in members},
        )
        for name in names or {MAIN: None}
    ]


def _run(found: JSON) -> str:
    """Return the run on which something lies."""
    run = found.get("run") or MAIN
    return str(run if isinstance(run, str) else run["value"])


def _along(reply: JSON, run: str) -> list[str]:
    """Return what lies along a run in words, in order, each with what it is."""
    placed = [
        (p["at"], p["name"]["value"], words.PLACES[PlaceKind(p["kind"]["value"])])
        for p in reply["inputs"]["places"]
        if _run(p) == run
    ]
    known = {name for _, name, _ in placed}
    placed += [
        (p["at"], p["name"], words.PLACES[PlaceKind.FREEZE_POINT])
        for p in reply.get("freeze_points") or []
        if p["at"] is not None and _run(p) == run and p["name"] not in known
    ]
    placed.sort(key=lambda p: float(p[0]["value"]))
    return [
        f"{telling.length(at)} {name}" + ("" if kind in name.casefold() else f" ({kind})")
        for at, name, kind in placed
    ]


def least_flow(found: tuple[Point, ...]) -> str:
    """Return the most flow that surely still freezes, of all points; empty where not estimated."""
    limits = [p.flow_limit for p in found if p.flow_limit is not None]
    if not limits:
        return ""
    least = min(limits, key=lambda limit: float(limit["low"]))
    return telling.quantity({"value": least["low"], "unit": least["unit"]}, 2, Way.DOWN)
