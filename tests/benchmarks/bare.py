"""A bare Flask and marshmallow endpoint: what a request costs before any estimate."""

import orjson
from flask import Flask, Response, request
from marshmallow import Schema, fields

ANSWER = {f"figure_{i}": {"low": 1.5, "likely": 2.5, "high": 3.5, "unit": "s"} for i in range(60)}


class Quantity(Schema):
    """A number with its unit."""

    value = fields.Float(required=True)
    unit = fields.String(required=True)


class Pipe(Schema):
    """A pipe by its standard."""

    standard = fields.String(required=True)
    size = fields.String(required=True)
    schedule = fields.String(required=True)


class Fluid(Schema):
    """A fluid."""

    type = fields.String()
    temperature = fields.Nested(Quantity, required=True)


class Room(Schema):
    """The room."""

    temperature = fields.Nested(Quantity, required=True)


class Body(Schema):
    """The same body as a plug-time request."""

    id = fields.String()
    pipe = fields.Nested(Pipe, required=True)
    fluid = fields.Nested(Fluid, required=True)
    ambient = fields.Nested(Room, required=True)
    line_pressure = fields.Nested(Quantity, required=True)


schema = Body()


def create_app() -> Flask:
    """Return the application."""
    app = Flask("bare")

    @app.post("/v1/plug-time")
    def plug_time() -> Response:
        schema.load(request.get_json())
        return Response(orjson.dumps(ANSWER), content_type="application/json")

    @app.get("/readyz")
    def ready() -> str:
        return "ready"

    return app
