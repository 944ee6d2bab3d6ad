"""The customer's sheet: what is done, when, what it costs and what to mind, in plain words."""

from collections.abc import Iterator

from stillpipe.api.forms.sheets import layout, site, telling, words
from stillpipe.api.forms.sheets.content import (
    Blanks,
    Figure,
    Item,
    Items,
    Mark,
    Rows,
    Section,
    Sheet,
    Table,
    Text,
    Tone,
)
from stillpipe.api.forms.sheets.telling import JSON, Clock, Way

EXPLAINED = (
    "A short piece of the pipe is made so cold from outside, with dry ice, that the water in it "
    "freezes. The ice is the stopper while the repair is done, so the line need not be drained. "
    "Then the ice melts by itself."
)
MINDED = (
    "Open no tap and no valve on this line and start no pump until we say so.",
    "Keep everybody out of the room, pets too: dry ice turns to a gas that takes the place of air "
    "and gathers near the floor, in pits and in cellars below.",
    "Leave doors and windows open that we open, and any fan running.",
    "Do not touch pipe, frost or hoses: they are cold enough to burn.",
    "Ice is a stopper for a while and no valve: tell us where the water is shut off for the whole "
    "house, and keep the way there free. Move what must not get wet.",
    "Let the ice melt by itself. Never warm the pipe with a flame.",
)
"""What a customer must mind: common practice, no source."""
ROUND = 300.0
"""To which a customer is told times [s]."""
TOLD = ("Where the water is shut off", "Who can be reached", "Key or access")
SIGNED = ("For the firm", "Customer", "Date")


def html(reply: JSON) -> bytes:
    """Return the customer's sheet as a page."""
    return layout.html(sheet(reply))


def pdf(reply: JSON) -> bytes:
    """Return the customer's sheet as PDF."""
    return layout.pdf(sheet(reply))


def sheet(reply: JSON) -> Sheet:
    """Return the customer's sheet of a job-estimate's reply."""
    mark, clock = Mark(reply["verdict"]), telling.clock(reply)
    bands = (
        (_work(reply),),
        _plan(reply, clock),
        _price(reply),
        (Section("Please mind", (Items(tuple(map(Item, MINDED))),)),),
        (
            Section("Please tell us", (Blanks(TOLD, columns=3),)),
            Section("Agreed", (Blanks(SIGNED, columns=3),)),
        ),
    )
    return Sheet(
        title="Your repair",
        name=reply.get("id", ""),
        mark=mark,
        verdict=words.CUSTOMER[mark],
        lead=tuple(_reasons(reply)),
        figures=tuple(_figures(reply, clock)),
        bands=tuple(band for band in bands if band),
        foot=(
            "An engineering estimate, not an authorisation: local codes, the site's permit and "
            "licensed practice come first. Times are what is expected, not a promise.",
        ),
    )


def _reasons(reply: JSON) -> Iterator[Items]:
    """Yield what has to be settled, each thing once, in plain words."""
    told = dict.fromkeys(
        words.REASONS.get(reason["code"], words.SETTLE)
        for reason in reply["reasons"]
        if reason["severity"] != "info"
    )
    if told:
        yield Items(tuple(Item(text, Tone.WARN) for text in told))


def _figures(reply: JSON, clock: Clock) -> Iterator[Figure]:
    """Yield what a customer looks for first."""
    moments = _moments(reply)
    if clock.start is not None:
        yield Figure("We come", clock.begins)
    if "ready" in moments:
        at = _at(moments["ready"]["at"]["value"], Way.UP, clock)
        yield Figure("The repair begins", f"about {at}", _since(clock))
    if "thawed" in moments:
        yield _open_again(moments["thawed"], reply["promises"], clock)
    if reply["quote"] is not None:
        quote = reply["quote"]
        price = quote.get("sums", {}).get("payable", quote["total"])
        yield Figure("Price", f"{price} {quote['currency']}", "as listed below")


def _open_again(event: JSON, promises: list[JSON], clock: Clock) -> Figure:
    """Return when the line can be used again, and by when most such lines can."""
    last = ""
    if promises:
        by = _at(promises[-1]["by"]["value"], Way.UP, clock)
        last = f", by {by} in {_of_ten(promises[-1])} cases of ten"
    about = f"about {_at(event['at']['value'], Way.NEAR, clock)}"
    return Figure("The line can be used again", about, f"{_since(clock)}{last}".strip(", "))


def _of_ten(promise: JSON) -> int:
    """Return of how many jobs in ten a promise is kept."""
    return int(10.0 * promise["chance"] + 1e-9)


def _at(seconds: float, way: Way, clock: Clock) -> str:
    """Return when something is [s], to five minutes: by the clock, else how long after arrival."""
    if clock.start is not None:
        return clock.at(seconds, way, ROUND)
    return telling.time(telling.to(seconds, ROUND, way), Way.NEAR)


def _since(clock: Clock) -> str:
    return "" if clock.start is not None else "after we come"


def _work(reply: JSON) -> Section:
    """Return what is done to which pipe."""
    points = site.points(reply)
    pipes = dict.fromkeys(p.pipe for p in points)
    rows = [
        ("Where", _places(points)),
        ("Pipe" if len(pipes) == 1 else "Pipes", "; ".join(pipes)),
        ("In it", "; ".join(dict.fromkeys(p.fluid for p in points))),
    ]
    return Section("What is done", (Text(EXPLAINED), Rows(tuple(rows))))


def _places(points: tuple[site.Point, ...]) -> str:
    """Return how many places are frozen, and how they are called."""
    if len(points) == 1:
        return "in one place"
    named = [p.name for p in points if not p.name.isdecimal()]
    return f"in {len(points)} places" + (f": {', '.join(named)}" if named else "")


def _moments(reply: JSON) -> dict[str, JSON]:
    """Return the moments that a customer is told: the last of each kind, but the first feed.

    Of those that are ready the last of the first group, with which the repair begins.
    """
    found: dict[str, JSON] = {}
    groups = [e.get("group") or 1 for e in reply["timeline"] if e["code"] == "ready"]
    for event in reply["timeline"]:
        code = event["code"]
        later = code == "ready" and (event.get("group") or 1) > min(groups)
        if code not in words.STEPS or later or (code == "feed" and code in found):
            continue
        before = found.get(code)
        if before is None or event["at"]["value"] >= before["at"]["value"]:
            found[code] = event
    return found


def _plan(reply: JSON, clock: Clock) -> tuple[Section, ...]:
    """Return what is done when."""
    moments = _moments(reply)
    if "ready" not in moments:
        return ()
    rows = tuple(
        (_when(code, moments[code], clock), said)
        for code, said in words.STEPS.items()
        if code in moments
    )
    return (
        Section(
            "What is done when",
            (
                Table(("Time" if clock.start else "After we come", ""), rows, wide=(1,)),
                Text(f"The line is out of use from when the valves are shut.{_promised(reply)}"),
            ),
        ),
    )


def _when(code: str, event: JSON, clock: Clock) -> str:
    """Return when a moment is, from when to when the line opens."""
    earliest, latest = event["earliest"], event["latest"]
    if code != "thawed" or earliest == latest:
        if event["at"]["value"] == 0.0 and clock.start is None:
            return "at once"
        return _at(event["at"]["value"], Way.UP if code == "ready" else Way.NEAR, clock)
    first = _at(earliest["value"], Way.DOWN, clock)
    return f"{first} to {_at(latest['value'], Way.UP, clock)}" if latest else f"{first} or later"


def _promised(reply: JSON) -> str:
    """Return how long a job as this one takes, by how many."""
    if not reply["promises"]:
        return ""
    last = reply["promises"][-1]
    took = telling.time(telling.to(last["by"]["value"], ROUND, Way.UP), Way.UP)
    return f" Of ten jobs like this, {_of_ten(last)} are done within {took}."


def _price(reply: JSON) -> tuple[Section, ...]:
    """Return what it costs, and what draining the line instead would."""
    quote = reply["quote"]
    if quote is None:
        return ()
    rows = tuple(
        (
            line["text"],
            _much(line),
            line["rate"],
            line["amount"],
        )
        for line in quote["lines"]
    )
    total = ("Total", "", "", f"{quote['total']} {quote['currency']}")
    head = ("What", "Quantity", "Each", quote["currency"])
    table = Table(head, (*rows, total), wide=(0,), right=(1, 2, 3), total=True)
    said = tuple(Text(text) for text in _besides(quote))
    return (Section("What it costs", (table, *said)),)


def _besides(quote: JSON) -> Iterator[str]:
    """Yield what is said beside the lines of a quote."""
    currency, sums, seldom = quote["currency"], quote.get("sums"), quote.get("at_90")
    if sums is not None and float(sums["lost_use"]):
        yield (
            f"To be paid: {sums['payable']} {currency}. The line's lost use is your own, "
            f"{sums['lost_use']} {currency}."
        )
    if seldom is not None:
        most = seldom["sums"]["payable"]
        yield f"Of ten jobs like this, nine come to {most} {currency} at most to be paid."
    instead = quote["drain_down_total"]
    if instead is not None:
        yield f"To drain the line and fill it again instead would come to {instead} {currency}."


def _much(line: JSON) -> str:
    """Return the quantity of a line of the quote, to what it was charged by."""
    unit = "" if line["unit"] == "1" else f" {line['unit']}"
    return f"{telling.plain(float(line['quantity']))}{unit}"
