"""The catalogues and published limits, each rendered once."""

import hashlib
from functools import lru_cache
from typing import Any

import orjson

import stillpipe
from stillpipe.api import limits, units
from stillpipe.api.problems import TYPES
from stillpipe.api.registry import ENDPOINTS, REQUESTS
from stillpipe.physics import freeze
from stillpipe.tables import cylinders, exposure, fluids, materials, pipes


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


@lru_cache(maxsize=16)
def page(name: str) -> tuple[bytes, str]:
    """Return the body of catalogue ``name`` and its entity tag."""
    made = _MAKERS[name]()
    body = orjson.dumps({"items": made} if isinstance(made, list) else made)
    return body, hashlib.sha256(body).hexdigest()[:20]
