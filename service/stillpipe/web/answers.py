"""Body in, body out, for each estimate; repeated bodies are answered from memory."""

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import orjson
from marshmallow import Schema

from stillpipe.estimates import hold_time as hold_time_estimate
from stillpipe.estimates import plug_time as plug_time_estimate
from stillpipe.web import bodies, replies, schemas

REMEMBERED = 2048
"""Answers kept by each worker; the service is stateless, so an equal body has an equal answer."""

_PLUG_TIME = schemas.PlugTimeSchema()
_HOLD_TIME = schemas.HoldTimeSchema()


def _plug_time(asked: schemas.Asked) -> dict[str, Any]:
    return replies.plug_time(asked, plug_time_estimate.plug_time(asked.job))


def _hold_time(asked: schemas.Asked) -> dict[str, Any]:
    return replies.hold_time(asked, hold_time_estimate.hold_time(asked.job, asked.hold))


ESTIMATES: dict[str, tuple[Schema, Callable[[schemas.Asked], dict[str, Any]]]] = {
    "plug-time": (_PLUG_TIME, _plug_time),
    "hold-time": (_HOLD_TIME, _hold_time),
}


@lru_cache(maxsize=REMEMBERED)
def answer(name: str, body: bytes) -> bytes:
    """Return the reply's body of estimate ``name`` to a request's ``body``.

    Raises
    ------
    RequestError, ValidationError, StillpipeError
        for a body that cannot be answered; errors are not remembered
    """
    schema, estimate = ESTIMATES[name]
    return orjson.dumps(estimate(schemas.asked(schema.load(bodies.read(body)))))
