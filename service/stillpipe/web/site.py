"""The site: requests and replies of spacing-validation, frost-check and ventilation."""

from typing import Any

from marshmallow import fields

import stillpipe
from stillpipe.estimates import frost_check as frost_estimate
from stillpipe.estimates import spacing as spacing_estimate
from stillpipe.estimates import ventilation as room_estimate
from stillpipe.estimates.spacing import Place, Spacing
from stillpipe.estimates.ventilation import LimitCheck, Room, Segment, Ventilation
from stillpipe.web import limits, replies
from stillpipe.web.fields import Flag, Many, Number, Quantity, Text
from stillpipe.web.replies import JSON
from stillpipe.web.schemas import UNITS, PlugTimeSchema, Strict, asked

REGIMES = ("OSHA", "NIOSH", "EH40")


class PlaceSchema(Strict):
    """Something on the run."""

    name = Text(required=True)
    kind = Text(choices=spacing_estimate.KINDS, required=True)
    at = Quantity("position", required=True)


class SpacingSchema(PlugTimeSchema):
    """Body of POST /v1/spacing-validation."""

    hold = Quantity("hold")
    places = Many(PlaceSchema, limits.LIST[1], required=True)


class FrostCheckSchema(PlugTimeSchema):
    """Body of POST /v1/frost-check."""

    elapsed = Quantity("elapsed", required=True)
    frost_seen = Flag(required=True)
    relative_humidity = Number(*limits.HUMIDITY)


class RoomSchema(Strict):
    """A room."""

    volume = Quantity("room_volume", required=True)
    air_changes = Quantity("air_changes")
    temperature = Quantity("ambient_temperature")
    outdoor_carbon_dioxide = Quantity("outdoor_carbon_dioxide")
    regime = Text(choices=REGIMES)


class SegmentSchema(Strict):
    """A stretch of constant release."""

    rate = Quantity("release_rate", required=True)
    duration = Quantity("release_duration", required=True)


class VentilationSchema(Strict):
    """Body of POST /v1/ventilation."""

    id = Text(longest=limits.ID_LENGTH)
    units = Text(choices=UNITS)
    room = fields.Nested(RoomSchema, required=True)
    release = Many(SegmentSchema, limits.LIST[1], required=True)


def run(data: JSON) -> tuple[Place, ...]:
    """Return what lies along the pipe, as loaded."""
    return tuple(Place(p["name"], p["kind"], p["at"]) for p in data.get("places", []))


def spacing(data: JSON) -> JSON:
    """Answer POST /v1/spacing-validation."""
    question = asked(data)
    places = run(data)
    rating = question.pipe.rating if question.pipe else None
    outcome = spacing_estimate.spacing(question.job, question.hold, places, rating)
    system = question.units

    def q(value: float, kind: str = "length") -> JSON:
        return replies.quantity(value, kind, system, 4)

    reply = replies.head(question, outcome)
    reply["inputs"]["hold"] = q(question.hold, "time") | {"default": "hold" not in question.given}
    return (
        reply
        | {"plug_length": replies.span(outcome.plug_length, "length", system)}
        | apart(outcome, system)
    )


def apart(outcome: Spacing, system: str) -> JSON:
    """Return the rules and the trapped water of a run."""

    def q(value: float, kind: str = "length") -> JSON:
        return replies.quantity(value, kind, system, 4)

    return {
        "rules": [
            {
                "rule": r.rule, "between": list(r.between), "verdict": r.verdict,
                "required": q(r.required), "actual": q(r.actual), "reason": r.reason,
                "source": r.source,
            }
            for r in outcome.rules
        ],
        "trapped_water": [
            {
                "between": list(t.between), "vented": t.vented, "verdict": t.verdict,
                "frozen": q(t.frozen, "fraction"), "pressure": q(t.pressure, "pressure"),
                "per_percent": q(t.per_percent, "pressure"), "rating": q(t.rating, "pressure"),
                "advice": t.advice,
            }
            for t in outcome.trapped
        ],
    }  # fmt: skip


def frost_check(data: JSON) -> JSON:
    """Answer POST /v1/frost-check."""
    question = asked(data)
    humid = data.get("relative_humidity", frost_estimate.HUMIDITY)
    outcome = frost_estimate.frost_check(question.job, data["elapsed"], data["frost_seen"], humid)
    system = question.units
    reply = replies.head(question, outcome)
    reply["inputs"]["relative_humidity"] = {
        "value": humid, "default": "relative_humidity" not in question.given,
    }  # fmt: skip
    return reply | {
        "state": outcome.state,
        "frost_by": replies.span(outcome.frost_by, "time", system),
        "frost_point": replies.quantity(outcome.frost_point, "temperature", system, 4),
        "causes": [
            {"code": c.code, "weight": round(c.weight, 2), "text": c.text, "first": c.first}
            for c in outcome.causes
        ],
    }


def place(data: JSON, temperature: float | None = None) -> Room:
    """Return a loaded room; ``temperature`` [K] stands in where it has none."""
    return Room(
        volume=data["volume"],
        changes=data.get("air_changes", 0.0),
        temperature=data.get("temperature", temperature or 293.15),
        outdoor=data.get("outdoor_carbon_dioxide", room_estimate.OUTDOOR),
        regime=data.get("regime", "OSHA"),
    )


def ventilation(data: JSON) -> JSON:
    """Answer POST /v1/ventilation."""
    system = data.get("units", "si")
    given = data["room"]
    where = place(given)
    outcome = room_estimate.ventilation(
        where, tuple(Segment(s["rate"], s["duration"]) for s in data["release"])
    )
    named: JSON = {"id": data["id"]} if "id" in data else {}
    return (
        named
        | {
            "model_version": stillpipe.MODEL_VERSION,
            "units": system,
            "inputs": {"room": room_inputs(where, given, system)},
            "verdict": outcome.verdict,
            "reasons": replies.notes(outcome.reasons),
            "cautions": replies.notes(outcome.cautions),
        }
        | air(outcome, system)
    )


def room_inputs(where: Room, given: JSON, system: str) -> JSON:
    """Return the inputs about the room as they were used, defaults marked."""

    def mark(name: str, shown: JSON) -> JSON:
        return shown | {"default": name not in given}

    q = replies.quantity
    return {
        "volume": mark("volume", q(where.volume, "volume", system)),
        "air_changes": mark("air_changes", q(where.changes, "air_changes", system)),
        "temperature": mark("temperature", q(where.temperature, "temperature", system)),
        "outdoor_carbon_dioxide": mark(
            "outdoor_carbon_dioxide", q(where.outdoor, "mole_fraction", system)
        ),
        "regime": mark("regime", {"value": where.regime}),
    }


def air(outcome: Ventilation, system: str) -> JSON:
    """Return the figures about the room's air."""

    def q(value: float, kind: str, system: str) -> JSON:
        return replies.quantity(value, kind, system, 4)

    def some(value: float | None, kind: str) -> JSON | None:
        return None if value is None else q(value, kind, system)

    def limit(r: LimitCheck) -> JSON:
        return {
            "quantity": r.quantity, "regime": r.regime,
            "limit": q(r.limit, "mole_fraction", system),
            "averaging_time": some(r.averaging, "time"),
            "worst": q(r.worst, "mole_fraction", system),
            "passed_at": some(r.passed_at, "time"),
            "air_changes_needed": some(r.changes_needed, "air_changes"), "source": r.source,
        }  # fmt: skip

    def series(values: tuple[float, ...], kind: str) -> Any:
        return replies.series(values, kind, system, list(range(0, len(values), 2)))

    return {
        "released": q(outcome.released, "mass", system),
        "peak": q(outcome.peak, "mole_fraction", system),
        "least_oxygen": q(outcome.least_oxygen, "oxygen", system),
        "sealed": q(outcome.sealed, "mole_fraction", system),
        "limits": [limit(r) for r in outcome.limits],
        "binding": outcome.binding,
        "air_changes_needed": some(outcome.changes_needed, "air_changes"),
        "course": {
            "time": series(outcome.time, "time"),
            "carbon_dioxide": series(outcome.carbon_dioxide, "mole_fraction"),
            "oxygen": series(outcome.oxygen, "oxygen"),
        },
    }
