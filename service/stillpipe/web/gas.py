"""CO2 and its cylinders: requests and replies of co2-mass and cylinder-count."""

from typing import Any

from marshmallow import ValidationError, fields, validates_schema

from stillpipe.estimates import co2_mass as co2_estimate
from stillpipe.estimates import cylinder_count as cylinder_estimate
from stillpipe.estimates.co2_mass import Co2Mass, Feeding
from stillpipe.estimates.cylinder_count import Bottle, CylinderCount, Plan
from stillpipe.estimates.job import Freeze
from stillpipe.physics import freeze
from stillpipe.tables import cylinders
from stillpipe.web import limits, replies
from stillpipe.web.fields import Count, Flag, Many, Number, Quantity, Text
from stillpipe.web.replies import JSON
from stillpipe.web.schemas import Asked, CylinderSchema, PlugTimeSchema, Strict, asked

CYLINDER_IDS = tuple(c.id for c in cylinders.catalogue())
DEFAULT_CYLINDER = "co2-22.7kg"


class JacketLossSchema(Strict):
    """What the jacket itself takes up."""

    mass = Quantity("jacket_mass")
    leak = Quantity("jacket_leak")


class BottleSchema(CylinderSchema):
    """A cylinder of the catalogue, or one by its net mass."""

    id = Text(choices=CYLINDER_IDS)
    net_mass = Quantity("net_mass")
    fill_ratio = Quantity("fill_ratio")
    dip_tube = Flag()

    @validates_schema(pass_original=True, skip_on_field_errors=False)
    def one_way(self, _data: JSON, original: Any, **_: Any) -> None:
        """Refuse a cylinder that is given in both ways, or by its fill ratio alone."""
        given = set(original) if isinstance(original, dict) else set()
        both = {"net_mass", "fill_ratio"} & given if "id" in given else set()
        if both:
            raise ValidationError({m: ["give either id or net mass"] for m in both})
        if "fill_ratio" in given and "net_mass" not in given:
            raise ValidationError({"fill_ratio": ["needs net_mass, which it goes with"]})


class StockSchema(Strict):
    """So many cylinders of a kind."""

    id = Text(choices=CYLINDER_IDS, required=True)
    count = Count(*limits.STOCK, required=True)


class Co2MassSchema(PlugTimeSchema):
    """Body of POST /v1/co2-mass."""

    hold = Quantity("hold")
    points = Count(*limits.POINTS)
    capture_efficiency = Number(*limits.CAPTURE)
    jacket_loss = fields.Nested(JacketLossSchema)


class CylinderCountSchema(Co2MassSchema):
    """Body of POST /v1/cylinder-count."""

    cylinder = fields.Nested(BottleSchema)
    jackets_per_cylinder = Count(*limits.POINTS)
    exchange_duration = Quantity("exchange_duration")
    reserve = Number(*limits.RESERVE)
    stock = Many(StockSchema, limits.LIST[1])


def feeding(data: JSON) -> Feeding:
    """Return how a loaded request is fed, defaults filled in."""
    loss = data.get("jacket_loss", {})
    return Feeding(
        hold=data.get("hold", 3600.0),
        points=data.get("points", 1),
        capture=data.get("capture_efficiency", 0.6),
        jacket_mass=loss.get("mass"),
        jacket_leak=loss.get("leak"),
    )


def bottle(data: JSON) -> Bottle:
    """Return the cylinder of a loaded request."""
    given = data.get("cylinder", {})
    tube = given.get("dip_tube", True)
    if "net_mass" in given:
        return Bottle("custom", given["net_mass"], given.get("fill_ratio", 680.0), tube)
    found = cylinders.find(given.get("id", DEFAULT_CYLINDER))
    return Bottle(found.id, found.net_mass, found.fill_ratio, tube and found.dip_tube)


def plan(data: JSON) -> Plan:
    """Return how the cylinders of a loaded request are used."""
    return Plan(
        data.get("jackets_per_cylinder", 1),
        data.get("exchange_duration", cylinder_estimate.EXCHANGE),
        data.get("reserve", cylinder_estimate.RESERVE),
    )


def stock(data: JSON) -> tuple[tuple[Bottle, ...], tuple[int, ...]]:
    """Return the kinds of a loaded stock and how many of each there are."""
    found = [(cylinders.find(s["id"]), s["count"]) for s in data.get("stock", [])]
    bottles = tuple(Bottle(c.id, c.net_mass, c.fill_ratio, c.dip_tube) for c, _ in found)
    return bottles, tuple(count for _, count in found)


def co2_mass(data: JSON) -> JSON:
    """Answer POST /v1/co2-mass."""
    question = asked(data)
    fed = feeding(data)
    outcome = co2_estimate.co2_mass(question.job, fed)
    reply = replies.head(question, outcome)
    reply["inputs"] |= fed_inputs(question, question.job, fed)
    return reply | masses(outcome, question.units)


def fed_inputs(question: Asked, job: Freeze, fed: Feeding) -> JSON:
    """Return the inputs of feeding as they were used, defaults marked."""
    heat, leak = co2_estimate.jacket(job, fed)
    deep = max(job.ambient_temperature - freeze.DRY_ICE, 1e-9)
    given, system = question.given, question.units

    def mark(name: str, shown: JSON) -> JSON:
        return shown | {"default": name not in given}

    mass = heat / deep / co2_estimate.JACKET_HEAT
    return {
        "hold": mark("hold", replies.quantity(fed.hold, "time", system)),
        "points": mark("points", {"value": fed.points}),
        "capture_efficiency": mark("capture_efficiency", {"value": fed.capture}),
        "jacket_loss": {
            "mass": mark("jacket_loss.mass", replies.quantity(mass, "mass", system)),
            "leak": mark("jacket_loss.leak", replies.quantity(leak / deep, "leak", system)),
        },
    }


def masses(outcome: Co2Mass, system: str) -> JSON:
    """Return the figures of the CO2 estimate."""
    cooling = None
    if outcome.cooling is not None:
        cooling = replies.quantity(outcome.cooling, "specific_energy", system, 4)
    return {
        "freeze": replies.span(outcome.freeze, "mass", system),
        "hold": replies.span(outcome.hold, "mass", system),
        "hold_rate": replies.span(outcome.rate, "mass_flow", system),
        "total": replies.span(outcome.total, "mass", system),
        "job_total": replies.span(outcome.job, "mass", system),
        "pipe_heat": replies.span(outcome.pipe_heat, "energy", system),
        "jacket_heat": replies.quantity(outcome.jacket_heat, "energy", system, 4),
        "cooling": cooling,
    }


def cylinder_count(data: JSON) -> JSON:
    """Answer POST /v1/cylinder-count."""
    question = asked(data)
    fed, used = feeding(data), bottle(data)
    bottles, have = stock(data)
    outcome = cylinder_estimate.cylinder_count(question.job, fed, used, plan(data), bottles, have)
    reply = replies.head(question, outcome)
    reply["inputs"] |= fed_inputs(question, question.job, fed)
    reply["inputs"] |= used_inputs(question, used, plan(data))
    shown = counted(outcome, question.units)
    shown["mix"] = _mix(outcome, bottles, question.units)
    return reply | {"co2": masses(outcome.need, question.units)} | shown


def used_inputs(question: Asked, used: Bottle, how: Plan) -> JSON:
    """Return the inputs about cylinders as they were used, defaults marked."""
    given, system = question.given, question.units
    before = replies.inputs(question)["cylinder"]
    named = "cylinder.id" in given or "cylinder.net_mass" in given
    return {
        "cylinder": before | {
            "id": {"value": used.name, "default": not named},
            "net_mass": replies.quantity(used.net_mass, "mass", system) | {"default": not named},
            "fill_ratio": replies.quantity(used.fill, "density", system)
            | {"default": "cylinder.fill_ratio" not in given},
            "dip_tube": {"value": used.dip_tube, "default": "cylinder.dip_tube" not in given},
        },
        "jackets_per_cylinder": {
            "value": how.jackets, "default": "jackets_per_cylinder" not in given,
        },
        "exchange_duration": replies.quantity(how.exchange, "time", system)
        | {"default": "exchange_duration" not in given},
        "reserve": {"value": how.reserve, "default": "reserve" not in given},
    }  # fmt: skip


def counted(outcome: CylinderCount, system: str) -> JSON:
    """Return the figures of the cylinder estimate, but for the mix."""

    def time(value: float | None) -> JSON | None:
        return None if value is None else replies.quantity(value, "time", system, 4)

    return {
        "usable": replies.span(outcome.usable, "mass", system),
        "count": replies.span(outcome.count, "factor", system),
        "exchanges": [
            {
                "cylinder": e.number, "at": time(e.at), "survival": time(e.survival),
                "margin": time(e.margin), "verdict": e.verdict, "advice": e.advice,
            }
            for e in outcome.exchanges
        ],
    }  # fmt: skip


def _mix(outcome: CylinderCount, bottles: tuple[Bottle, ...], system: str) -> JSON | None:
    mix = outcome.mix
    if mix is None:
        return None
    return {
        "cylinders": [
            {"id": b.name, "count": n} for b, n in zip(bottles, mix.counts, strict=True) if n
        ],
        "usable": replies.quantity(mix.usable, "mass", system, 4),
        "net_mass": replies.quantity(mix.net_mass, "mass", system, 4),
        "enough": mix.enough,
        "shortfall": replies.quantity(mix.shortfall, "mass", system, 4),
    }
