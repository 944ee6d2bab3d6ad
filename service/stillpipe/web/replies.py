"""Outcomes to JSON: units chosen, figures rounded, inputs echoed with their defaults marked."""

from collections.abc import Iterable
from typing import Any, Protocol

import numpy as np

import stillpipe
from stillpipe.estimates.job import Driver, Note, Range
from stillpipe.estimates.outcomes import History, HoldTime, PlugTime
from stillpipe.physics import residual
from stillpipe.web import units
from stillpipe.web.schemas import Asked

POINTS = 60
"""Most points of a history in a reply."""

JSON = dict[str, Any]


class Outcome(Protocol):
    """What every estimate's answer has."""

    @property
    def verdict(self) -> str:
        """``go | conditional | no-go``."""

    @property
    def reasons(self) -> tuple[Note, ...]:
        """Why."""

    @property
    def cautions(self) -> tuple[Note, ...]:
        """What to mind in any case."""


def unit_of(kind: str, system: str) -> str:
    """Return the unit label of answers of ``kind`` in ``system``, ``si`` or ``us``."""
    chosen = units.KINDS[kind]
    return chosen.us if system == "us" else chosen.si


def quantity(value: float, kind: str, system: str, digits: int = 6) -> JSON:
    """Return an SI float as a quantity of so many significant digits."""
    unit = unit_of(kind, system)
    return {"value": units.rounded(units.KINDS[kind].from_si(value, unit), digits), "unit": unit}


def span(figure: Range | None, kind: str, system: str) -> JSON | None:
    """Return a range as ``{low, likely, high, unit}``, None where there is no figure."""
    if figure is None:
        return None
    unit = unit_of(kind, system)
    ends = {"low": figure.low, "likely": figure.likely, "high": figure.high}
    convert = units.KINDS[kind].from_si
    shown: JSON = {
        k: None if v is None else units.rounded(convert(v, unit)) for k, v in ends.items()
    }
    return shown | {"unit": unit}


def notes(found: Iterable[Note]) -> list[JSON]:
    """Return coded notes as objects."""
    return [{"code": n.code, "severity": n.severity, "text": n.text} for n in found]


def series(values: tuple[float, ...], kind: str, system: str, picked: list[int]) -> JSON:
    """Return the ``picked`` places of a series with its unit."""
    unit = unit_of(kind, system)
    convert = units.KINDS[kind].from_si
    return {
        "unit": unit,
        "values": [units.rounded(convert(values[i], unit)) for i in picked],
    }


def _history(h: History, system: str) -> JSON:
    count = len(h.time)
    picked = sorted({round(i) for i in np.linspace(0, count - 1, min(POINTS, count))})
    return {
        "time": series(h.time, "time", system, picked),
        "plug_length": series(h.plug_length, "length", system, picked),
        "bonded_length": series(h.bonded_length, "length", system, picked),
        "holding_pressure": series(h.holding_pressure, "pressure", system, picked),
        "heat": series(h.heat, "energy", system, picked),
        "liquid_radius": series(h.front_radius, "length", system, picked),
    }


def _driver(d: Driver, system: str) -> JSON:
    kind = "conductance" if d.unit == "W/(m2.K)" else "factor"
    times = [
        None if t is None else quantity(t, "time", system) for t in (d.closure_low, d.closure_high)
    ]
    return {
        "name": d.name,
        "low": quantity(d.low, kind, system),
        "high": quantity(d.high, kind, system),
        "closure_at_low": times[0],
        "closure_at_high": times[1],
    }


def inputs(asked: Asked) -> JSON:
    """Return the effective inputs, each with ``default`` telling whether the caller left it out."""
    job, system, given = asked.job, asked.units, asked.given

    def q(name: str, value: float, kind: str) -> JSON:
        return quantity(value, kind, system) | {"default": name not in given}

    def plain(name: str, value: str | float) -> JSON:
        return {"value": value, "default": name not in given}

    pipe: JSON = {
        "outside_diameter": q("pipe", job.outside_diameter, "length"),
        "wall": q("pipe", job.wall, "length"),
        "material": {"value": job.material.key, "default": False},
    }
    if asked.pipe:
        pipe["id"] = asked.pipe.id
    fluid = {
        "type": plain("fluid.type", job.fluid.key),
        "concentration": q("fluid.concentration", job.concentration, "fraction"),
        "temperature": q("fluid.temperature", job.fluid_temperature, "temperature"),
        "flow": q("fluid.flow", job.flow, "mass_flow"),
    }
    jacket = {
        "length": q("jacket.length", job.jacket_length, "length"),
        "conductance": q("jacket.conductance", job.jacket_conductance, "conductance"),
    }
    ambient = q("ambient.temperature", job.ambient_temperature, "temperature")
    cylinder = q("cylinder.temperature", job.cylinder_temperature, "temperature")
    return {
        "pipe": pipe, "lining_thickness": q("lining", job.lining_thickness, "length"),
        "insulation_thickness": q("insulation", job.insulation_thickness, "length"),
        "fluid": fluid, "ambient": {"temperature": ambient},
        "line_pressure": q("line_pressure", job.line_pressure, "pressure"),
        "orientation": plain("orientation", job.orientation), "jacket": jacket,
        "adhesion": q("adhesion", job.adhesion, "pressure"),
        "safety_factor": plain("safety_factor", job.safety_factor),
        "cylinder": {"temperature": cylinder},
    }  # fmt: skip


def head(asked: Asked, outcome: Outcome) -> JSON:
    """Return what every reply begins with."""
    named = {"id": asked.id} if asked.id is not None else {}
    return named | {
        "model_version": stillpipe.MODEL_VERSION,
        "units": asked.units,
        "inputs": inputs(asked),
        "verdict": outcome.verdict,
        "reasons": notes(outcome.reasons),
        "cautions": notes(outcome.cautions),
    }


def plug_time(asked: Asked, outcome: PlugTime) -> JSON:
    """Return the reply of POST /v1/plug-time."""
    system, flow = asked.units, outcome.residual_flow_limit
    drips = None
    if flow is not None:
        factor = 60.0 * residual.DROPS_PER_CUBIC_METRE / residual.DENSITY
        high = None if flow.high is None else flow.high * factor
        drips = span(Range(flow.low * factor, flow.likely * factor, high), "factor", system)
    return head(asked, outcome) | {
        "closure": span(outcome.closure, "time", system),
        "ready": span(outcome.ready, "time", system),
        "frost_by": span(outcome.frost_by, "time", system),
        "plug_length": span(outcome.plug_length, "length", system),
        "holding_pressure": span(outcome.holding_pressure, "pressure", system),
        "residual_flow_limit": span(flow, "mass_flow", system),
        "residual_drips_per_minute": drips,
        "heat_removed": span(outcome.heat_removed, "energy", system),
        "drivers": [_driver(d, system) for d in outcome.drivers],
        "history": _history(outcome.history, system),
    }


def hold_time(asked: Asked, outcome: HoldTime) -> JSON:
    """Return the reply of POST /v1/hold-time."""
    system = asked.units
    reply = head(asked, outcome)
    hold = quantity(asked.hold, "time", system) | {"default": "hold" not in asked.given}
    reply["inputs"]["hold"] = hold
    return reply | {
        "ready": span(outcome.ready, "time", system),
        "survival_at_closure": span(outcome.survival_at_closure, "time", system),
        "survival": span(outcome.survival, "time", system),
        "thaw": span(outcome.thaw, "time", system),
        "plug_length": span(outcome.plug_length, "length", system),
        "holding_pressure": span(outcome.holding_pressure, "pressure", system),
    }
