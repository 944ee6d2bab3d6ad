"""Answers to JSON: units chosen, figures rounded, every member as it is declared."""

import math
from collections.abc import Callable, Container
from dataclasses import is_dataclass
from functools import partial
from typing import Any

import stillpipe
from stillpipe.api import units
from stillpipe.api.inputs import echo
from stillpipe.api.inputs.echo import JSON
from stillpipe.api.inputs.schemas import Loaded
from stillpipe.errors import Fault, SolverError
from stillpipe.model.declare import Chance, Figure, Quantity, members
from stillpipe.model.figures import COVERAGE, HIGH, LOW, MIDDLE, Amount, Answer, Range
from stillpipe.model.freeze_point import FreezePoint

DIGITS = 4
"""Of a figure whose kind is known only with it."""
AS_IT_IS = frozenset((str, int, bool, type(None)))
"""Types whose values JSON has as they are."""

RANGES: JSON = {
    "low": LOW, "likely": MIDDLE, "high": HIGH, "coverage_probability": COVERAGE,
    "coverage_interval": "probabilistically-symmetric",
}  # fmt: skip
"""What the members of a range are, in the words of JCGM 101:2008 (GUM, supplement 1)."""
Shown = Callable[[Any], Any]


def reply(loaded: Loaded[Any], answer: Answer[Any], left_out: Container[str] = ()) -> JSON:
    """Return the reply to a request: what every reply begins with, and the figures.

    Inputs and figures whose names are ``left_out`` are not shown.
    """
    request = loaded.request
    head: JSON = {} if request.id is None else {"id": request.id}
    head |= {"model_version": stillpipe.MODEL_VERSION, "units": request.units.value}
    if "inputs" not in left_out:
        head["inputs"] = echo.inputs(request, loaded.given)
    if isinstance(request, FreezePoint):
        head["ranges"] = RANGES
    if answer.learned is not None:
        head["learned"] = figures(answer.learned, request.units)
    head |= {
        "verdict": answer.verdict.value,
        "reasons": [figures(r, request.units) for r in answer.reasons],
        "cautions": [figures(c, request.units) for c in answer.cautions],
    }
    return head | figures(answer.figures, request.units, left_out)


def figures(found: Any, system: str, left_out: Container[str] = ()) -> JSON:
    """Return the declared members of the dataclass ``found``, in the units of ``system``.

    Those whose names are ``left_out`` are not shown.
    """
    return {
        name: show(getattr(found, name))
        for name, show in _members(type(found), system)
        if name not in left_out
    }


_known: dict[tuple[type[Any], str], tuple[tuple[str, Shown], ...]] = {}


def _members(declared: type[Any], system: str) -> tuple[tuple[str, Shown], ...]:
    """Return every declared member of a dataclass, with what shows it in ``system``."""
    found = _known.get((declared, system))
    if found is None:
        found = _known[declared, system] = tuple(
            (name, _figure(member.declaration, system))
            if isinstance(member.declaration, Figure)
            else (name, _chance)
            if isinstance(member.declaration, Chance)
            else (name, units.display(member.declaration.kind, system).quantity)
            if isinstance(member.declaration, Quantity)
            else (name, partial(_plain, system=system))
            for name, member in members(declared).items()
        )
    return found


def _chance(value: float | None) -> float | None:
    """Return a probability to four decimals, never rounded up."""
    return None if value is None else math.floor(value * 1e4 + 1e-9) / 1e4


def _figure(declared: Figure, system: str) -> Shown:
    """Return what shows a quantity, a range or a series; None where there is no figure."""
    display = units.display(declared.kind, system, declared.digits)

    def show(value: Any) -> JSON | None:
        if value is None:
            return None
        if isinstance(value, tuple):
            return display.series(value)
        if not isinstance(value, Range):
            return display.quantity(value)
        found: JSON = {
            "low": display.shown(value.low),
            "likely": display.shown(value.likely),
            "high": None if value.high is None else display.shown(value.high),
            "unit": display.unit,
        }
        if value.more:
            found["percentiles"] = [
                {"probability": p, "value": None if v is None else display.shown(v)}
                for p, v in value.more
            ]
        return found

    return show


def _plain(value: Any, system: str) -> Any:
    """Return a member that is shown as it is, and what it is made of.

    Raises
    ------
    SolverError
        where a number is not finite: no such figure leaves the service
    """
    if type(value) in AS_IT_IS:
        return value
    if isinstance(value, tuple):
        return [_plain(v, system) for v in value]
    if isinstance(value, Amount):
        return units.display(value.kind, system, DIGITS).quantity(value.value)
    if is_dataclass(value):
        return figures(value, system)
    if isinstance(value, float) and not math.isfinite(value):
        raise SolverError(Fault((), units.NOT_FINITE))
    return echo.scalar(value)
