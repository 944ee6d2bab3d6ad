"""The fitter's sheet: what is done when, what to count on, what to write down; no prices."""

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

from stillpipe.api.forms import pictures
from stillpipe.api.forms.sheets import course, layout, site, supplies, telling, words
from stillpipe.api.forms.sheets.content import (
    Blanks,
    Block,
    Figure,
    Item,
    Items,
    Mark,
    Picture,
    Rows,
    Section,
    Sheet,
    Table,
    Text,
    Tone,
)
from stillpipe.api.forms.sheets.site import Point
from stillpipe.api.forms.sheets.telling import JSON, Way

T = TypeVar("T")

RULES = 12
"""Most distances that are told of a run; those not kept come first, then the tightest."""
KEPT = {"go": "kept", "conditional": "tight", "no-go": "too near"}
RECORDED = (
    "First feed",
    "Frost seen",
    "Proved dry",
    "Cut",
    "Repair done",
    "Feed stopped",
    "Thawed",
)
"""Moments whose actual times are written down, for each freeze point."""
AT_HAND = (
    "cap and coupling that fit, key to the valve, hose to a drain, light, telephone"
)  # fmt: skip
"""What to have for a plug that lets go: common practice."""
DRAWN = 16
"""Most moments that are drawn."""
FEW = 4
"""Most freeze points that are named beside the pipe."""
ORIENTED = {"horizontal": "level", "vertical": "upright"}
"""How a pipe runs."""
READINGS = (
    "Arrived, room aired",
    "Line temperature before",
    "Line pressure before",
    "Flow proved nil by",
    "CO₂ at the floor, highest",
    "Oxygen, lowest",
    "Cylinders weighed before",
    "Cylinders weighed after",
)  # fmt: skip
SIGNED = ("Fitter", "Second person", "Date and signature", "Left site, all sound")
LICENSED = "licensed-practice"
"""The caution that comes first."""


def html(reply: JSON) -> bytes:
    """Return the fitter's sheet as a page."""
    return layout.html(sheet(reply))


def pdf(reply: JSON) -> bytes:
    """Return the fitter's sheet as PDF."""
    return layout.pdf(sheet(reply))


def sheet(reply: JSON) -> Sheet:
    """Return the fitter's sheet of a job-estimate's reply."""
    points, mark = site.points(reply), Mark(reply["verdict"])
    clock = telling.clock(reply)
    bands = (
        (_line(reply, points), supplies.cylinders(reply, clock, points)),
        _several(points, clock),
        (course.by_the_clock(reply, clock),),
        _picture(reply),
        *_runs(reply),
        (_failing(reply, points), *supplies.air(reply)),
        (_minded(reply),),
        (_record(points),),
    )
    return Sheet(
        title="Fitter's sheet",
        name=reply.get("id", ""),
        mark=mark,
        verdict=words.VERDICTS[mark],
        lead=(Text(words.FITTER[mark]), *_reasons(reply)),
        figures=tuple(_figures(reply, points, clock)),
        bands=tuple(band for band in bands if band),
        foot=(
            f"Engineering estimate, model {reply['model_version']}; not an authorisation. Ranges "
            "run from the 5th to the 95th percentile: one in twenty is less, one in twenty more.",
            "Local codes, the site's permit and licensed practice come first.",
        ),
    )


def _listed(points: tuple[Point, ...]) -> str:
    """Return how many freeze points there are, and where a few that are alike lie."""
    named = [f"{p.name} at {p.place}" if p.place else p.name for p in points]
    plain = all(p.name.isdecimal() for p in points)
    if site.differ(points) or len(points) > FEW or plain:
        return str(len(points))
    return f"{len(points)}: {', '.join(named)}"


def _reasons(reply: JSON) -> Iterator[Items]:
    """Yield what stands against the job."""
    if reply["reasons"]:
        yield Items(
            tuple(Item(words.said(_what(r)), _tone(r["severity"])) for r in reply["reasons"])
        )


def _what(reason: JSON) -> str:
    """Return a reason and what to do about it."""
    return f"{reason['text']} {reason.get('action') or ''}".strip()


def _tone(severity: str) -> Tone:
    return Tone(severity) if severity in (Tone.STOP, Tone.WARN) else Tone.PLAIN


def _figures(reply: JSON, points: tuple[Point, ...], clock: telling.Clock) -> Iterator[Figure]:
    """Yield what the fitter looks for first."""
    ready, survival = reply["planned_ready"], reply["survival"]
    count = reply["cylinders"]["planned_count"]
    if ready is not None:
        last = max(p.ready_at or 0.0 for p in points)
        sure = telling.percent(reply["chances"]["ready"])
        fed = telling.time(ready["value"], Way.UP)
        note = f"{fed} from the first feed; ready then with {sure}"
        if site.differ(points):
            yield Figure("Last point ready to cut", clock.at(last, Way.UP), "each at its own time")
        else:
            yield Figure("Cut no earlier than", clock.at(last, Way.UP), note)
    if survival is not None:
        yield Figure(
            "Unfed, the plug holds at least",
            telling.time(survival["low"], Way.DOWN),
            f"{telling.time_span(survival)} at the end of the work",
        )
    if count is not None:
        named, each = supplies.so_many(count, reply["inputs"]["cylinder"])
        yield Figure("Take", named, f"of {each}; {supplies.gas(reply)}")
    thaw = reply["planned_thaw"] or reply["thaw"]
    if thaw is not None:
        likely, ends = telling.times(thaw)
        after = f"after the stop ({ends})" if ends else "after the stop, with help"
        yield Figure("Bore open again", f"about {likely}", after)


def _line(reply: JSON, points: tuple[Point, ...]) -> Section:
    """Return what is frozen."""
    inputs = reply["inputs"]
    pipes = dict.fromkeys(p.pipe for p in points)
    runs = ORIENTED[inputs["orientation"]["value"]]
    rows = [
        ("Pipe", next(iter(pipes)) if len(pipes) == 1 else f"{len(pipes)} different, see below"),
        ("In it", _common(p.fluid for p in points)),
        ("Line pressure", _common(p.pressure for p in points)),
        ("Around it", site.about(inputs)),
        ("Freeze points", f"{_listed(points)}; the pipe runs {runs}"),
    ]
    if len(pipes) == 1:
        rows[1:1] = [("Measures", site.measures(inputs["pipe"]))] * ("standard" in inputs["pipe"])
        rows.append(("Jacket", f"{points[0].jacket} long, on bare clean pipe"))
    limit = site.least_flow(points)
    if limit:
        rows.append(("Freezes up to", f"a flow of {limit}; prove the line stiller than that"))
    if reply["plug_length"] is not None:
        rows.append(("Plug after the work", f"{telling.span(reply['plug_length'])} long"))
    return Section("Pipe and line", (Rows(tuple(rows)),))


def _several(points: tuple[Point, ...], clock: telling.Clock) -> tuple[Section, ...]:
    """Return the table of freeze points, where they are not all alike."""
    if not site.differ(points):
        return ()
    columns: list[tuple[str, list[str]]] = [
        ("Point", [p.name for p in points]),
        ("Pipe", [p.pipe for p in points]),
        ("In it", [p.fluid for p in points]),
        ("At", [p.pressure for p in points]),
        ("Where", [p.place for p in points]),
        ("Jacket", [p.jacket for p in points]),
        ("Group", [str(p.group) for p in points]),
        ("Manifold", [p.manifold for p in points]),
        ("Feed", [clock.at(p.feed_at) for p in points]),
        ("Cut from", [_or_dash(p.ready_at, lambda t: clock.at(t, Way.UP)) for p in points]),
        ("Unfed holds", [_or_dash(p.survival, _lasts) for p in points]),
    ]
    always = ("Point", "Pipe", "Cut from", "Unfed holds")
    shown = [c for c in columns if c[0] in always or _tells(c[0], c[1])]
    table = Table(
        tuple(head for head, _ in shown),
        tuple(zip(*(cells for _, cells in shown), strict=True)),
        wide=(0, 1),
        phone="cards",
    )
    return (Section("Freeze points", (table,)),)


def _tells(head: str, cells: list[str]) -> bool:
    """Tell whether a column says anything: what is sparing only where it differs."""
    sparing = ("In it", "At", "Group", "Manifold", "Feed")
    return len(set(cells)) > 1 if head in sparing else any(cells)


def _common(told: Iterable[str]) -> str:
    """Return what is told of every freeze point alike, or that it differs."""
    found = list(dict.fromkeys(told))
    return found[0] if len(found) == 1 else f"{len(found)} different, see below"


def _lasts(survival: JSON) -> str:
    return f"{telling.time(survival['low'], Way.DOWN)} at least"


def _or_dash(found: T | None, tell: Callable[[T], str]) -> str:
    """Return what ``tell`` makes of what was found, a dash where nothing was."""
    return telling.UNKNOWN if found is None else tell(found)


def _picture(reply: JSON) -> tuple[Section, ...]:
    """Return the timeline as a picture, its moments in words, where there are not too many."""
    if len(reply["timeline"]) > DRAWN:
        return ()
    named = [event | {"code": words.of(words.EVENTS, event["code"])} for event in reply["timeline"]]
    drawn = pictures.job(reply | {"timeline": named}).decode()
    return (Section("At a glance", (Picture(drawn[drawn.index("<svg") :]),)),)


def _runs(reply: JSON) -> list[tuple[Section, ...]]:
    """Return every run of pipe, two beside each other."""
    found = [_run(*run) for run in site.runs(reply)]
    return [tuple(found[i : i + 2]) for i in range(0, len(found), 2)]


def _run(name: str, places: str, found: JSON) -> Section:
    """Return a run of pipe: what lies where, the distances to keep, the water to vent."""
    order = {"no-go": 0, "conditional": 1, "go": 2}
    rules = sorted(
        found["rules"],
        key=lambda r: (order[r["verdict"]], r["actual"]["value"] - r["required"]["value"]),
    )
    rows = tuple(
        (
            f"{words.RULES.get(r['rule'], r['rule'])}: {' – '.join(r['between'])}",
            telling.length(r["actual"]),
            telling.length(r["required"], Way.UP),
            KEPT[r["verdict"]],
        )
        for r in rules[:RULES]
    )
    more = (Text(f"{len(rules) - RULES} more distances are wider.", Tone.SMALL),)
    blocks: tuple[Block, ...] = (
        Text(places),
        *((Table(("Distance", "Is", "Needs", ""), rows, wide=(0,), right=(1, 2)),) if rows else ()),
        *(more if len(rules) > RULES else ()),
        *(Text(_water(w), Tone.WARN) for w in found["trapped_water"]),
    )
    return Section(f"Along the run {name}" if name else "Along the run", blocks)


def _water(found: JSON) -> str:
    """Return what becomes of the water between two plugs, and what to do."""
    between = " and ".join(found["between"])
    most, good = found["pressure"], found["rating"]
    reached = telling.pressure(most | {"value": telling.digits(most["value"], 2, Way.UP)})
    held = telling.pressure(good | {"value": telling.digits(good["value"], 2, Way.DOWN)})
    shut = f"Shut in, it could come to {reached}; the pipe is good for {held}."
    if found["vented"]:
        return f"Water between {between}: vent open before the first feed until both thaw. {shut}"
    return f"Water between {between} has no vent: make one, or freeze one point at a time. {shut}"


def _failing(reply: JSON, points: tuple[Point, ...]) -> Section:
    """Return what to have at hand and what to do when a plug lets go: common practice."""
    survival, limit = reply["survival"], site.least_flow(points)
    again = f" A flow above {limit} does not freeze again." if limit else ""
    lasts = "" if survival is None else (
        f" Unfed it may let go from {telling.time(survival['low'], Way.DOWN)} on."
    )  # fmt: skip
    steps = (
        "Shout, and everybody out of the line of the open end: the plug can be shot out.",
        "Shut the nearest valve; somebody stands at it from before the cut.",
        "Cap or couple the open end, or lead the water to the drain.",
        f"Work again only on a line that is shut, still and proved so.{again}",
    )
    return Section(
        "If the plug lets go",
        (
            Text(f"Ice is no valve.{lasts}"),
            *_coming(reply.get("letting_go")),
            Items(tuple(map(Item, steps)), numbered=True),
            Blanks(("Nearest valve", "Who stands there", "Drain to"), columns=1),
        ),
    )


def _coming(found: JSON | None) -> Iterator[Text | Items]:
    """Yield what comes out then where that was estimated, and what to have at hand."""
    if found is None:
        yield Text(f"Before the cut have at hand: {AT_HAND}.")
        return
    flow, much = (telling.quantity(found[m], 2, Way.UP) for m in ("flow", "first_minute"))
    yield Text(f"One open end then gives up to {flow}, {much} in the first minute. Have at hand:")
    yield Items(tuple(Item(words.said(each["text"])) for each in found["at_hand"]))


def _minded(reply: JSON) -> Section:
    """Return every caution, that of codes and licensed practice first."""
    ordered = sorted(reply["cautions"], key=lambda c: c["code"] != LICENSED)
    items = tuple(
        Item(words.said(c["text"]), Tone.WARN if c["code"] == LICENSED else Tone.PLAIN)
        for c in ordered
    )
    return Section("Mind", (Items(items, columns=2),))


def _record(points: tuple[Point, ...]) -> Section:
    """Return the blanks for what really was: times, readings, names."""
    names = [p.name for p in points]
    rows = tuple((name, *(None for _ in RECORDED)) for name in names)
    return Section(
        "As it was",
        (
            Table(("Point", *RECORDED), rows),
            Blanks(READINGS, columns=4),
            Blanks(SIGNED, columns=4),
        ),
        paper=True,
    )
