"""Cylinders and the air of the room, in words."""

from stillpipe.api.forms.sheets import telling
from stillpipe.api.forms.sheets.content import Block, Section, Table, Text, Tone
from stillpipe.api.forms.sheets.site import Point
from stillpipe.api.forms.sheets.telling import JSON, Clock, Way
from stillpipe.tables import wording

MOST = 12
"""Most exchanges that are told one by one."""


def so_many(count: int, cylinder: JSON) -> tuple[str, str]:
    """Return a number of cylinders in words, and how much CO2 each holds."""
    named = f"{count} cylinder" if count == 1 else f"{count} cylinders"
    return named, telling.quantity(cylinder["net_mass"])


def gas(reply: JSON) -> str:
    """Return how much CO2 the job takes; empty where it is not known."""
    total = reply["co2"]["job_total"]
    return "" if total is None else f"CO₂ in all {telling.span(total)}"


def cylinders(reply: JSON, clock: Clock, points: tuple[Point, ...]) -> Section:
    """Return the cylinders and their exchanges."""
    inputs, found = reply["inputs"], reply["cylinders"]
    count = found["planned_count"]
    blocks: list[Block] = []
    if count is not None:
        named, each = so_many(count, inputs["cylinder"])
        blocks.append(Text(f"Take {named} of {each}. {gas(reply)}."))
    if found["usable"] is not None:
        low = found["usable"] | {"value": found["usable"]["low"]}
        each = telling.quantity(low, 2, Way.DOWN)
        rate = reply["co2"]["hold_rate"]
        held = "" if rate is None else f"; to hold a point takes {telling.span(rate)}"
        blocks.append(Text(f"One gives at least {each} of liquid{held}."))
    blocks += _manifolds(found)
    blocks += _exchanges(reply, clock, points)
    blocks.append(
        Text("Dip tube, upright, tied, near room temperature; open the valve slowly.", Tone.SMALL)
    )
    return Section("Cylinders", tuple(blocks))


def _manifolds(found: JSON) -> list[Block]:
    """Return which freeze points hang on which cylinders, where there is more than one set."""
    hung = found.get("manifolds") or []
    if len(hung) < 2:
        return []
    rows = tuple(
        (m["name"] or "", ", ".join(m["points"]), telling.count(m["planned_count"])) for m in hung
    )
    return [Table(("Manifold", "Feeds", "Cylinders"), rows, wide=(1,), right=(2,))]


def _exchanges(reply: JSON, clock: Clock, points: tuple[Point, ...]) -> list[Block]:
    """Return when each cylinder is exchanged, and how long the plug lasts unfed then."""
    swaps = reply["cylinders"]["exchanges"]
    if not swaps:
        return [Text("No exchange is planned.")] if reply["planned_ready"] is not None else []
    rows = tuple(
        (
            _named(reply, swap),
            clock.at(_fed(points, swap) + swap["at"]["value"], Way.DOWN),
            "too early" if swap["survival"] is None
            else telling.time(swap["survival"]["value"], Way.DOWN),
        )
        for swap in swaps[:MOST]
    )  # fmt: skip
    takes = telling.time(reply["inputs"]["exchange_duration"]["value"], Way.UP)
    more = f" {len(swaps) - MOST} more follow alike." if len(swaps) > MOST else ""
    return [
        Table(("Cylinder", "Exchange by", "Unfed holds"), rows, wide=(0,)),
        Text(f"An exchange is planned to take {takes} at most.{more}", Tone.SMALL),
    ]


def _fed(points: tuple[Point, ...], swap: JSON) -> float:
    """Return when the points were first fed on whose cylinder an exchange is [s]."""
    hung = [p.feed_at for p in points if p.manifold == swap.get("manifold")]
    return min(hung or [p.feed_at for p in points])


def _named(reply: JSON, swap: JSON) -> str:
    """Return which cylinder it is, of which manifold where there are several."""
    several = len(reply["cylinders"]["manifolds"]) > 1
    return f"{swap['cylinder']} of {swap['manifold']}" if several else f"{swap['cylinder']}"


def air(reply: JSON) -> tuple[Section, ...]:
    """Return the air of the room, where there is one."""
    found = reply["air"]
    if found is None:
        return ()
    lowest = telling.to(found["least_oxygen"]["value"], 0.1, Way.DOWN)
    text = (
        f"CO₂ up to {telling.ppm(found['peak'])}, oxygen no less than {telling.plain(lowest)} %, "
        f"mixed through the room; at the floor it is worse. {_changes(reply)}"
    )
    rows = tuple(
        (_limit(each), telling.quantity(each["limit"], 3), telling.ppm(each["worst"]), _kept(each))
        for each in found["limits"]
    )
    return (
        Section(
            "Air in the room",
            (Text(text), Table(("Limit", "CO₂", "Expected", ""), rows, wide=(0,), right=(1, 2))),
        ),
    )


def _changes(reply: JSON) -> str:
    """Return the fresh air that keeps every limit, beside that which there is."""
    needed, stated = reply["air"]["air_changes_needed"], reply["inputs"]["room"]["air_changes"]
    if needed is None:
        return "No ventilation that was looked at keeps every limit."
    if needed["value"] <= 0.0:
        return "Every limit is kept without ventilation; ventilate all the same."
    changes = telling.plain(telling.digits(needed["value"], 2, Way.UP))
    have = telling.plain(telling.digits(stated["value"], 2, Way.DOWN))
    return f"Every limit is kept with {changes} air changes an hour; {have} are stated."


def _limit(check: JSON) -> str:
    """Return a limit in words."""
    words = wording.LIMITS[check["quantity"]]
    over = check["averaging_time"]
    if over is not None:
        words = f"{words} over {telling.time(over['value'], Way.NEAR)}"
    return f"{check['regime']}: {words}"


def _kept(check: JSON) -> str:
    passed = check["passed_at"]
    if passed is None:
        return "kept"
    return f"over after {telling.time(passed['value'], Way.DOWN)}"
