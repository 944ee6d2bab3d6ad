"""The whole job: request, reply, picture and printable sheet of job-estimate."""

from decimal import Decimal
from pathlib import Path

from jinja2 import Environment, FileSystemLoader
from marshmallow import fields

from stillpipe.estimates import job_estimate as estimate
from stillpipe.estimates.job_estimate import DrainDown, Event, JobEstimate, Line, Rates, Whole, Work
from stillpipe.web import gas, limits, replies, site
from stillpipe.web.fields import Many, Pattern, Quantity
from stillpipe.web.replies import JSON
from stillpipe.web.schemas import Asked, Strict, asked

MONEY = r"[0-9]{1,9}(\.[0-9]{1,2})?"
CURRENCY = r"[A-Z]{3}"
_SAYS = 'must be a decimal amount as text, like "62.50"'

_pages = Environment(
    loader=FileSystemLoader(Path(__file__).parent / "pages"), autoescape=True,
    trim_blocks=True, lstrip_blocks=True,
)  # fmt: skip


class RatesSchema(Strict):
    """The caller's own rates."""

    currency = Pattern(CURRENCY, "must be three capital letters (ISO 4217)", required=True)
    labour_per_hour = Pattern(MONEY, _SAYS, required=True)
    co2_per_kg = Pattern(MONEY, _SAYS, required=True)
    exchange = Pattern(MONEY, _SAYS)
    call_out = Pattern(MONEY, _SAYS)


class DrainDownSchema(Strict):
    """The alternative of draining down."""

    volume = Quantity("drained_volume", required=True)
    drain_rate = Quantity("drain_rate")
    fill_rate = Quantity("drain_rate")
    venting = Quantity("setup")
    inhibitor_per_litre = Pattern(MONEY, _SAYS)
    downtime_per_hour = Pattern(MONEY, _SAYS)


class JobEstimateSchema(gas.CylinderCountSchema):
    """Body of POST /v1/job-estimate."""

    setup = Quantity("setup")
    repair = Quantity("repair")
    places = Many(site.PlaceSchema, limits.LIST[1])
    room = fields.Nested(site.RoomSchema)
    rates = fields.Nested(RatesSchema)
    drain_down = fields.Nested(DrainDownSchema)

    class Meta(gas.CylinderCountSchema.Meta):
        exclude = ("hold", "stock")


def _whole(data: JSON) -> tuple[Asked, Whole]:
    question = asked(data)
    work = Work(data.get("setup", Work.setup), data.get("repair", Work.repair))
    fed = gas.feeding(data | {"hold": work.repair})
    room = None
    if "room" in data:
        room = site.place(data["room"], question.job.ambient_temperature)
    whole = Whole(
        question.job,
        work,
        fed,
        gas.bottle(data),
        gas.plan(data),
        room,
        _rates(data),
        _drain(data),
        site.run(data),
        question.pipe.rating if question.pipe else None,
    )
    return question, whole


def _rates(data: JSON) -> Rates | None:
    if "rates" not in data:
        return None
    given = data["rates"]
    money = {k: Decimal(v) for k, v in given.items() if k != "currency"}
    return Rates(given["currency"], **money)


def _drain(data: JSON) -> DrainDown | None:
    if "drain_down" not in data:
        return None
    given = data["drain_down"]
    optional: JSON = {}
    for name, key in (("drain_rate", "drain_rate"), ("fill_rate", "fill_rate")):
        if key in given:
            optional[name] = given[key] * 1e3
    if "venting" in given:
        optional["other"] = given["venting"]
    for name in ("inhibitor_per_litre", "downtime_per_hour"):
        if name in given:
            optional[name] = Decimal(given[name])
    return DrainDown(given["volume"] * 1e3, **optional)


def job_estimate(data: JSON) -> JSON:
    """Answer POST /v1/job-estimate."""
    question, whole = _whole(data)
    return _reply(question, whole, estimate.job_estimate(whole), data)


def picture(data: JSON) -> bytes:
    """Return the job's timeline as SVG."""
    question, whole = _whole(data)
    return _drawn(question, estimate.job_estimate(whole))


def _drawn(question: Asked, outcome: JobEstimate) -> bytes:
    from stillpipe.web import pictures  # noqa: PLC0415 - loads matplotlib, for a picture only

    return pictures.job(question, outcome)


def sheet(data: JSON) -> bytes:
    """Return the job as a page to print or to read on a phone."""
    question, whole = _whole(data)
    outcome = estimate.job_estimate(whole)
    reply = _reply(question, whole, outcome, data)
    drawn = _drawn(question, outcome).decode()
    page = _pages.get_template("job_sheet.html").render(
        job=reply, drawn=drawn[drawn.index("<svg") :], clock=_clock
    )
    return page.encode()


def _clock(quantity: JSON | None) -> str:
    """Return a time as hours and minutes."""
    if quantity is None:
        return "never"
    minutes = round(quantity["value"] / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _event(e: Event, system: str) -> JSON:
    def q(value: float, kind: str, system: str) -> JSON:
        return replies.quantity(value, kind, system, 4)

    return {
        "code": e.code, "at": q(e.at, "time", system), "earliest": q(e.earliest, "time", system),
        "latest": None if e.latest is None else q(e.latest, "time", system), "text": e.text,
    }  # fmt: skip


def _line(line: Line) -> JSON:
    return {
        "item": line.item, "quantity": str(line.quantity), "unit": line.unit,
        "rate": str(line.rate), "amount": str(line.amount),
    }  # fmt: skip


def _reply(question: Asked, whole: Whole, outcome: JobEstimate, data: JSON) -> JSON:
    system, given = question.units, question.given
    reply = replies.head(question, outcome)
    fed = gas.fed_inputs(question, question.job, whole.feeding)
    fed["hold"]["default"] = "repair" not in given
    reply["inputs"] |= fed | gas.used_inputs(question, whole.bottle, whole.plan)
    for name, value in (("setup", whole.work.setup), ("repair", whole.work.repair)):
        reply["inputs"][name] = replies.quantity(value, "time", system) | {
            "default": name not in given
        }
    if whole.place is not None:
        reply["inputs"]["room"] = site.room_inputs(whole.place, data["room"], system)
    cost = outcome.quote
    return reply | {
        "timeline": [_event(e, system) for e in outcome.timeline],
        "closure": replies.span(outcome.plug.closure, "time", system),
        "ready": replies.span(outcome.plug.ready, "time", system),
        "plug_length": replies.span(outcome.hold.plug_length, "length", system),
        "survival": replies.span(outcome.hold.survival, "time", system),
        "thaw": replies.span(outcome.hold.thaw, "time", system),
        "co2": gas.masses(outcome.co2, system),
        "cylinders": gas.counted(outcome.cylinders, system),
        "air": None if outcome.air is None else site.air(outcome.air, system),
        "spacing": None if outcome.spacing is None else site.apart(outcome.spacing, system),
        "quote": None if cost is None else {
            "currency": cost.currency, "lines": [_line(x) for x in cost.lines],
            "total": str(cost.total), "drain_down": [_line(x) for x in cost.drain_down],
            "drain_down_total":
                None if cost.drain_down_total is None else str(cost.drain_down_total),
        },
    }  # fmt: skip
