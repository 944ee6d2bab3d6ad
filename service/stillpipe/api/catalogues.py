"""The catalogues and published limits, each rendered once."""

import hashlib
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

import orjson

import stillpipe
from stillpipe.api import limits, units
from stillpipe.api.problems import TYPES, RequestError
from stillpipe.api.registry import ENDPOINTS, REQUESTS
from stillpipe.physics import freeze
from stillpipe.tables import cylinders, exposure, fluids, materials, pipes, spellings


def _pipes() -> list[dict[str, Any]]:
    return [
        {
            "id": p.id, "standard": p.standard, "size": p.size, "schedule": p.schedule,
            "material": p.material,
            "outside_diameter_mm": units.rounded(p.outside_diameter * 1e3, 6),
            "wall_mm": units.rounded(p.wall * 1e3, 6),
            "rating_kPa": None if p.rating is None else units.rounded(p.rating / 1e3, 5),
        }
        for p in pipes.catalogue()
    ]  # fmt: skip


def _materials() -> list[dict[str, Any]]:
    return [
        {
            "key": m.key, "name": m.name, "conductivity_W_m_K": units.rounded(m.conductivity),
            "density_kg_m3": m.density, "specific_heat_J_kg_K": m.specific_heat,
            "service_min_degC": units.rounded(m.service_min - 273.15),
            "service_max_degC": units.rounded(m.service_max - 273.15),
            "caution_code": m.caution_code or None, "caution": m.caution or None,
            "source": m.source,
        }
        for m in materials.catalogue()
    ]  # fmt: skip


def _fluids() -> list[dict[str, Any]]:
    return [
        {
            "key": f.key, "name": f.name, "basis": f.basis,
            "concentration_min": f.concentration_min, "concentration_max": f.concentration_max,
            "concentration_typical": f.concentration_typical, "source": f.source,
        }
        for f in fluids.catalogue()
    ]  # fmt: skip


def _cylinders() -> list[dict[str, Any]]:
    return [
        {
            "id": c.id, "net_mass_kg": c.net_mass,
            "water_volume_L": units.rounded(c.water_volume * 1e3),
            "fill_ratio_kg_L": c.fill_ratio / 1e3, "dip_tube": c.dip_tube,
        }
        for c in cylinders.catalogue()
    ]  # fmt: skip


def _limits() -> dict[str, Any]:
    found = limits.published(REQUESTS)
    return {
        "body_bytes": limits.BODY_BYTES,
        "batch_bytes": limits.BATCH_BYTES,
        "batch_items": limits.BATCH_ITEMS,
        "batch_lines": limits.BATCH_LINES,
        "batch_table_bytes": limits.TABLE_BYTES,
        "batch_columns": limits.BATCH_COLUMNS,
        "batch_row_characters": limits.ROW_LENGTH,
        "workbook_bytes": limits.WORKBOOK_BYTES,
        "workbook_parts": limits.WORKBOOK_PARTS,
        "workbook_cells": limits.WORKBOOK_CELLS,
        "object_members": limits.MEMBERS,
        "id_characters": found["texts"]["id"]["maximum"],
        "safety_factor": found["numbers"]["safety_factor"],
        "longest_freeze_s": freeze.LONGEST_FREEZE,
        "longest_thaw_s": freeze.LONGEST_THAW,
        **found,
        "exposure": [
            {"regime": e.regime, "substance": e.substance, "quantity": e.quantity,
             "bound": e.bound, "mole_fraction": e.mole_fraction,
             "averaging_time_s": e.averaging_time, "source": e.source}
            for e in exposure.catalogue()
        ],
    }  # fmt: skip


def _meta() -> dict[str, Any]:
    return {
        "service": "stillpipe",
        "version": stillpipe.__version__,
        "model_version": stillpipe.MODEL_VERSION,
        "problems": [f"/v1/problems/{slug}" for slug in TYPES],
    }


def _index() -> dict[str, Any]:
    return {
        "service": "stillpipe",
        "version": stillpipe.__version__,
        "estimates": [f"/v1/{name}" for name in ENDPOINTS],
        "batch": "/v1/batch",
        "catalogues": [f"/v1/{name}" for name in _MAKERS if name != "index"],
        "problems": [f"/v1/problems/{slug}" for slug in TYPES],
        "description": ["/openapi.json", "/openapi.yaml"],
        "documentation": "/docs",
        "probes": ["/livez", "/readyz", "/metrics"],
    }


_MAKERS = {
    "index": _index,
    "pipes": _pipes,
    "materials": _materials,
    "fluids": _fluids,
    "cylinders": _cylinders,
    "limits": _limits,
    "meta": _meta,
}


FILTERS: Mapping[str, tuple[str, ...]] = {
    "pipes": ("standard", "size", "schedule", "material"),
    "materials": ("key", "caution_code"),
    "fluids": ("key", "basis"),
    "cylinders": ("id",),
}
"""Members by which the items of a catalogue may be chosen; all are text."""
SHOWN = 40
"""Choices that a refusal lists."""

Item = dict[str, Any]


@lru_cache(maxsize=128)
def page(name: str, query: tuple[tuple[str, str], ...] = ()) -> tuple[bytes, str]:
    """Return the body of catalogue ``name`` and its entity tag.

    Parameters
    ----------
    name : str
        of the catalogue
    query : tuple
        pairs of a member that is in its ``FILTERS``, and the value that items have there; a pipe's
        may be written as in a request

    Raises
    ------
    RequestError
        ``invalid-parameter``, naming every value that no item has
    """
    made = _MAKERS[name]()
    if isinstance(made, list):
        made = {"items": _chosen(name, made, query)}
    body = orjson.dumps(made)
    return body, hashlib.sha256(body).hexdigest()[:20]


def _chosen(name: str, items: list[Item], query: tuple[tuple[str, str], ...]) -> list[Item]:
    """Return the items that have all the values of ``query``."""
    kept, errors = items, []
    for member, value in query:
        found = [item for item in items if _has(item, member, value)]
        if not found:
            known = choices(name, member)
            more = f" and {len(known) - SHOWN} more" if len(known) > SHOWN else ""
            detail = f"no item has {value[:64]!r}; there are {', '.join(known[:SHOWN])}{more}"
            errors.append({"detail": detail, "parameter": member})
        kept = [item for item in kept if item in found]
    if errors:
        raise RequestError("invalid-parameter", f"{len(errors)} value(s) cannot be used", errors)
    return kept


def choices(name: str, member: str) -> list[str]:
    """Return what the items of catalogue ``name`` have as ``member``, each once."""
    made = _MAKERS[name]()
    items = made if isinstance(made, list) else []
    return list(dict.fromkeys(item[member] for item in items if item[member] is not None))


def _has(item: Item, member: str, value: str) -> bool:
    """Return whether ``value`` is what an item has, or a spelling of it."""
    if item[member] is None:
        return False
    asked = spellings.key(value)
    spelled = SPELLED.get(member)
    if spelled is not None and "standard" in item and spelled(item["standard"]).get(asked):
        return bool(spelled(item["standard"])[asked] == item[member])
    return asked == spellings.key(item[member])


SPELLED: Mapping[str, Callable[[str], dict[str, str]]] = {
    "standard": lambda _: spellings.standards(pipes.standards()),
    "size": lambda standard: spellings.sizes(standard, pipes.sizes(standard)),
    "schedule": lambda standard: spellings.schedules(standard, pipes.schedules(standard)),
}
"""What each spelling of a pipe's member means in a standard."""
