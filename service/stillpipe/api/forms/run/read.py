"""What lies along runs of pipe, read from replies: plugs, places, rules, trapped water."""

import math
from typing import NamedTuple

from stillpipe.api.forms import words
from stillpipe.api.forms.canvas import JSON

POINT = "freeze-point"
UNNAMED = ""
"""The name of a freeze point that has no place."""


class Plug(NamedTuple):
    """A plug: ranges of its length at the planned ready and at the end of the hold.

    ``ready`` is None where the reply does not tell it. ``jacket``, ``outside`` diameter and
    ``wall`` of the pipe, all lengths in ``unit``.
    """

    ready: JSON | None
    after: JSON
    jacket: float
    outside: float
    wall: float
    unit: str


class Place(NamedTuple):
    """Something along the pipe ``at`` a length; ``plug`` is None where it is no freeze point."""

    name: str
    kind: str
    at: float
    plug: Plug | None


class Run(NamedTuple):
    """A run of pipe: places in order, rules between them, water between plugs."""

    name: str
    places: list[Place]
    rules: list[JSON]
    trapped: list[JSON]

    @property
    def plugs(self) -> dict[str, Plug]:
        """The plugs by the names of their places."""
        return {place.name: place.plug for place in self.places if place.plug is not None}

    @property
    def unit(self) -> str:
        """The unit of lengths along it."""
        plug = next(iter(self.plugs.values()), None)
        if plug is not None:
            return plug.unit
        return str(self.rules[0]["actual"]["unit"]) if self.rules else "mm"


def of_hold(reply: JSON) -> list[Run]:
    """Return the one plug of a hold-time as a run; none where there is no plug."""
    return _alone(_plug(reply, reply))


def of_spacing(reply: JSON) -> list[Run]:
    """Return the run of a spacing-validation; none where there is no plug."""
    plug = _plug(reply, reply)
    if plug is None:
        return []
    return [_run("", _stated(reply), reply, {}, plug)]


def of_job(reply: JSON) -> list[Run]:
    """Return the runs of a job, or its plug alone where no places were stated."""
    plug = _plug(reply, reply)
    if plug is None:
        return []
    points = [p for p in reply.get("freeze_points") or [] if p.get("at") is not None]
    if not points:
        found = reply["spacing"]
        return _alone(plug) if found is None else [_run("", _stated(reply), found, {}, plug)]
    runs = []
    for name in dict.fromkeys(p.get("run") for p in points):
        here = [p for p in points if p.get("run") == name]
        placed = [s for s in _stated(reply) if s["run"] == name and s["kind"] != POINT]
        placed += [{"name": p["name"], "kind": POINT, "at": p["at"]["value"]} for p in here]
        plugs = {p["name"]: _plug(p, reply) or plug for p in here}
        found = {
            part: [each for each in every if each.get("run") == name]
            for part, every in (reply["spacing"] or {}).items()
        }
        runs.append(_run(name or "", placed, found, plugs, plug))
    return runs if len(runs) > 1 else [run._replace(name="") for run in runs]


def _alone(plug: Plug | None) -> list[Run]:
    return [] if plug is None else [Run("", [Place(UNNAMED, POINT, 0.0, plug)], [], [])]


def _run(
    name: str, stated: list[JSON], found: JSON, plugs: dict[str, Plug], usual: Plug
) -> Run:  # fmt: skip
    """Return a run of ``stated`` places; freeze points that have no plug of their own the usual."""
    places = [
        Place(s["name"], s["kind"], s["at"],
              plugs.get(s["name"], usual) if s["kind"] == POINT else None)
        for s in stated
    ]  # fmt: skip
    ordered = sorted(places, key=lambda place: place.at)
    return Run(name, ordered, found.get("rules", []), found.get("trapped_water", []))


def _stated(reply: JSON) -> list[JSON]:
    """Return the places of a request, plain."""
    return [
        {
            "name": place["name"]["value"], "kind": place["kind"]["value"],
            "at": place["at"]["value"], "run": place.get("run", {}).get("value"),
        }
        for place in reply["inputs"]["places"] or []
    ]  # fmt: skip


def _plug(figures: JSON, reply: JSON) -> Plug | None:
    """Return the plug of which ``figures`` tell the length; None where there is none."""
    if figures["plug_length"] is None:
        return None
    inputs = reply["inputs"] | own(figures.get("name"), reply)
    growth, planned = figures.get("growth"), figures.get("planned_ready")
    ready = None
    if growth and planned and planned["value"] in growth["time"]["values"]:
        n = growth["time"]["values"].index(planned["value"])
        ready = {end: growth[end]["values"][n] for end in ("low", "likely", "high")}
        ready["unit"] = growth["likely"]["unit"]
    pipe = inputs["pipe"]
    return Plug(
        ready, figures["plug_length"], inputs["jacket"]["length"]["value"],
        pipe["outside_diameter"]["value"], pipe["wall"]["value"], figures["plug_length"]["unit"],
    )  # fmt: skip


def own(name: str | None, reply: JSON) -> JSON:
    """Return the pipe and the jacket that a freeze point of a job has of its own."""
    every = reply["inputs"].get("freeze_points") or []
    found: JSON = next((point for point in every if point["name"]["value"] == name), {})
    return {part: found[part] for part in ("pipe", "jacket") if found.get(part)}


def lengths(plug: Plug) -> str:
    """Return in words how long a plug is."""
    after = f"at the end of the hold {words.length(plug.after)}"
    if plug.ready is None:
        return f"plug {after}"
    return f"plug at the planned ready {words.length(plug.ready)}, {after}"


def said(run: Run) -> str:
    """Return in words what lies along a run, for those who cannot see it."""
    parts: list[str] = []
    for place in run.places:
        if place.name or len(run.places) > 1:
            kind = place.kind.replace("-", " ")
            parts.append(f"{kind} {place.name} at {words.distance(place.at, run.unit)}")
        if place.plug is not None:
            parts.append(lengths(place.plug))
    for rule in run.rules:
        parts.append(f"{rule['rule']} between {' and '.join(rule['between'])}: {apart(rule)}")
    parts += [between(water) for water in run.trapped]
    found = "; ".join(parts)
    return f"run {run.name}: {found}" if run.name else found


def apart(rule: JSON) -> str:
    """Return a rule's distance beside the least."""
    actual, least = (words.distance(**rule[name]) for name in ("actual", "required"))
    return f"{actual}, needs {least}"


def advice(water: JSON) -> str:
    """Return what to do with the water between two plugs."""
    if water["vented"] and water["verdict"] == "go" and water["vent_open_from"] is not None:
        begun = math.floor(words.minutes(water["vent_open_from"]))
        begin = f"keep the vent open from {begun} min after the first feed"
        return f"{begin} until both plugs have thawed."
    return str(water["advice"])


def between(water: JSON) -> str:
    """Return the same with the names of the two plugs."""
    return f"Water between {' and '.join(water['between'])}: {advice(water)}"
