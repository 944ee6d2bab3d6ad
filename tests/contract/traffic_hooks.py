"""Loaded by the schemathesis command: batches as JSON only, and pipes that a catalogue has.

What makes text lines of JSON or a table is beyond JSON Schema; those have tests of their own. So
is which sizes a standard has: every second sound question is given a size of the catalogue
and a fluid above its freezing point, or hardly any would reach an estimate.
"""

import hashlib
import io
import json
from typing import Any

import openpyxl
import schemathesis

from stillpipe.tables import pipes


@schemathesis.hook
def before_load_schema(_context: schemathesis.HookContext, raw_schema: dict[str, Any]) -> None:
    """Leave JSON as the only form of a batch."""
    for path in [p for p in raw_schema["paths"] if p.startswith("/v1/batch/")]:
        del raw_schema["paths"][path]


@schemathesis.hook
def before_call(
    _context: schemathesis.HookContext, case: schemathesis.Case, _kwargs: dict[str, Any]
) -> None:
    """Give every second sound question a pipe of the catalogue, and a fluid that is not frozen.

    Of a calibration every record, or hardly any would have none that is wrong.

    Sound questions ask for whole replies, so that these can be held against their schema.
    """
    if case.meta is not None and case.meta.generation.mode.is_positive:
        (case.query or {}).pop("fields", None)
        questions = case.body if isinstance(case.body, list) else [{"request": case.body}]
        for item in filter(_is_object, questions):
            question = item.get("request")
            _in_catalogue(question)
            records = question.get("records") if _is_object(question) else None
            for record in records if isinstance(records, list) else ():
                _in_catalogue(record, every=True)


@schemathesis.deserializer("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
def workbook(_context: schemathesis.DeserializationContext, response: schemathesis.Response) -> str:
    """Return a workbook as the text that its bytes are described as; what is none is an error."""
    openpyxl.load_workbook(io.BytesIO(response.content), read_only=True)
    return response.content.decode("latin-1")


def _is_object(tree: Any) -> bool:
    return isinstance(tree, dict)


def _in_catalogue(question: Any, *, every: bool = False) -> None:
    pipe = question.get("pipe") if isinstance(question, dict) else None
    if not isinstance(pipe, dict) or "standard" not in pipe:
        return
    text = json.dumps(question, sort_keys=True, default=str).encode()
    number = int.from_bytes(hashlib.sha256(text).digest()[:8], "big")
    if number % 2 or every:
        known = pipes.catalogue()
        found = [p for p in known if p.standard == pipe["standard"]] or list(known)
        chosen = found[number // 2 % len(found)]
        pipe |= {"standard": chosen.standard, "size": chosen.size, "schedule": chosen.schedule}
        fluid = question.get("fluid")
        if isinstance(fluid, dict) and "temperature" in fluid:
            fluid["temperature"] = {"value": 1 + number % 38, "unit": "degC"}
