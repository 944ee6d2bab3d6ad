"""The moments of a job by the clock, those that say the same together."""

from collections.abc import Iterable
from typing import NamedTuple

from stillpipe.api.forms.sheets import telling, words
from stillpipe.api.forms.sheets.content import Section, Table, Text, Tone
from stillpipe.api.forms.sheets.telling import JSON, Clock, Way

MOST = 24
"""Most moments that are told; where there are more, those of a group of points are told together,
and at last those of single points are left to their table."""
PLANNED_UP, PLANNED_DOWN = ("ready",), ("bond-lost", "exchange")
"""Moments before which nothing may be done, and by which something must have been."""


class Moment(NamedTuple):
    """A moment as it is told."""

    at: str
    ends: str
    code: str
    text: str


def by_the_clock(reply: JSON, clock: Clock) -> Section:
    """Return the moments of a job in order."""
    events: list[JSON] = reply["timeline"]
    found = _together(events, clock)
    for fewer in (_of_groups, _of_all):
        if len(found) > MOST:
            found = _together(fewer(events), clock)
    rows = tuple(
        (m.at, m.ends, words.of(words.EVENTS, m.code), m.text) for m in found[:MOST]
    )  # fmt: skip
    begins = f"Begins {clock.begins}. " if clock.begins else "Hours and minutes since arrival. "
    note = "Range: one in twenty is earlier, one in twenty later."
    return Section(
        "By the clock",
        (
            Table(("At", "Range", "What", "Do"), rows, wide=(3,), phone="clock"),
            Text(f"{begins}{note}{_promised(reply, clock)}", Tone.SMALL),
        ),
    )


def _of_groups(events: list[JSON]) -> list[JSON]:
    """Return the moments of all, and those of each group from its first point to its last."""
    found: dict[tuple[str, int], list[JSON]] = {}
    for event in events:
        if _names(event):
            found.setdefault((event["code"], event["group"]), []).append(event)
    joined = [_joined(code, group, same) for (code, group), same in found.items()]
    return sorted([*_of_all(events), *joined], key=lambda e: float(e["at"]["value"]))


def _of_all(events: list[JSON]) -> list[JSON]:
    """Return the moments of all freeze points, or of all of a group."""
    return [e for e in events if not _names(e)]


def _names(event: JSON) -> list[str]:
    """Return the freeze points that a moment is of; none where it is of all."""
    return list(event.get("points") or ())


def _joined(code: str, group: int, events: list[JSON]) -> JSON:
    """Return the moments of one kind in a group as one, planned as the first or the last is."""
    ordered = sorted(events, key=lambda e: float(e["at"]["value"]))
    first = code in PLANNED_DOWN or code == "feed"
    last = [e["latest"] for e in events]
    return {
        "code": code, "text": ordered[0]["text"], "points": (), "group": group,
        "at": ordered[0 if first else -1]["at"],
        "earliest": min((e["earliest"] for e in events), key=_seconds),
        "latest": None if None in last else max(last, key=_seconds),
    }  # fmt: skip


def _seconds(found: JSON) -> float:
    return float(found["value"])


def _promised(reply: JSON, clock: Clock) -> str:
    """Return how likely all goes as planned, and when it is done then."""
    if not reply["promises"]:
        return ""
    done = ", ".join(
        f"{telling.percent(p['chance'])} by {clock.at(p['by']['value'], Way.UP)}"
        for p in reply["promises"]
    )
    return f" Everything goes as planned with {telling.percent(reply['chance'])}; done with {done}."


def _together(events: Iterable[JSON], clock: Clock) -> list[Moment]:
    """Return moments in order, those of several points once where they say the same."""
    found: dict[tuple[Moment, int | None], list[str]] = {}
    for event in events:
        moment = Moment(*_times(event, clock), event["code"], words.said(event["text"]))
        found.setdefault((moment, event.get("group")), []).extend(_names(event))
    groups = {group for _, group in found if group is not None}
    told = []
    for (moment, group), names in found.items():
        of_group = f"group {group}" if group is not None and len(groups) > 1 else ""
        of = ", ".join(names) or of_group
        told.append(moment._replace(text=f"{of}: {moment.text}") if of else moment)
    return told


def _times(event: JSON, clock: Clock) -> tuple[str, str]:
    """Return when a moment is and between which times it may be."""
    at, earliest, latest = event["at"], event["earliest"], event["latest"]
    way = Way.NEAR
    if event["code"] in PLANNED_UP:
        way = Way.UP
    elif event["code"] in PLANNED_DOWN:
        way = Way.DOWN
    told = clock.at(at["value"], way)
    if latest == earliest:
        return told, ""
    ends = (
        clock.at(earliest["value"], Way.DOWN),
        telling.NEVER if latest is None else clock.at(latest["value"], Way.UP),
    )
    return told, f"{ends[0]} to {ends[1]}"
