"""Answers to JSON: units chosen, figures rounded, every member as it is declared."""

import math
from dataclasses import is_dataclass
from typing import Any

import stillpipe
from stillpipe.api import units
from stillpipe.api.inputs import echo
from stillpipe.api.inputs.echo import JSON
from stillpipe.api.inputs.schemas import Loaded
from stillpipe.errors import Fault, SolverError
from stillpipe.model.declare import Figure, members
from stillpipe.model.figures import Amount, Answer, Range

DIGITS = 4
"""Of a figure whose kind is known only with it."""


def reply(loaded: Loaded[Any], answer: Answer[Any]) -> JSON:
    """Return the reply to a request: what every reply begins with, and the figures."""
    request = loaded.request
    head: JSON = {} if request.id is None else {"id": request.id}
    head |= {
        "model_version": stillpipe.MODEL_VERSION,
        "units": request.units.value,
        "inputs": echo.inputs(request, loaded.given),
        "verdict": answer.verdict.value,
        "reasons": [figures(r, request.units) for r in answer.reasons],
        "cautions": [figures(c, request.units) for c in answer.cautions],
    }
    return head | figures(answer.figures, request.units)


def figures(found: Any, system: str) -> JSON:
    """Return the declared members of the dataclass ``found``, in the units of ``system``."""
    return {
        name: _figure(member.declaration, getattr(found, name), system)
        if isinstance(member.declaration, Figure)
        else _plain(getattr(found, name), system)
        for name, member in members(type(found)).items()
    }


def _figure(declared: Figure, value: Any, system: str) -> JSON | None:
    """Return a quantity, a range or a series with its unit; None where there is no figure."""
    if value is None:
        return None
    if isinstance(value, tuple):
        return units.series(value, declared.kind, system, declared.digits)
    if not isinstance(value, Range):
        return units.quantity(value, declared.kind, system, declared.digits)
    ends = {"low": value.low, "likely": value.likely, "high": value.high}
    shown: JSON = {
        name: None if end is None else units.shown(end, declared.kind, system, declared.digits)
        for name, end in ends.items()
    }
    return shown | {"unit": units.unit_of(declared.kind, system)}


def _plain(value: Any, system: str) -> Any:
    """Return a member that is shown as it is, and what it is made of.

    Raises
    ------
    SolverError
        where a number is not finite: no such figure leaves the service
    """
    if isinstance(value, tuple):
        return [_plain(v, system) for v in value]
    if isinstance(value, Amount):
        return units.quantity(value.value, value.kind, system, DIGITS)
    if is_dataclass(value):
        return figures(value, system)
    if isinstance(value, float) and not math.isfinite(value):
        raise SolverError(Fault((), "a figure is not finite"))
    return echo.scalar(value)
