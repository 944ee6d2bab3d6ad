"""Loaded by the schemathesis command: batches as JSON only.

What makes text lines of JSON or a table is beyond JSON Schema; those have tests of their own.
"""

from typing import Any

import schemathesis


@schemathesis.hook
def before_load_schema(_context: schemathesis.HookContext, raw_schema: dict[str, Any]) -> None:
    """Leave JSON as the only form of a batch."""
    content = raw_schema["paths"]["/v1/batch"]["post"]["requestBody"]["content"]
    for kind in [k for k in content if k != "application/json"]:
        del content[kind]
