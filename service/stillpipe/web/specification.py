"""The OpenAPI description as served."""

import os
from functools import lru_cache
from pathlib import Path
from typing import Any

import orjson
import yaml


def path() -> Path:
    """Return where the description lies: STILLPIPE_OPENAPI, or beside the source tree."""
    given = os.environ.get("STILLPIPE_OPENAPI")
    return Path(given) if given else Path(__file__).parents[3] / "openapi" / "openapi.yaml"


@lru_cache(maxsize=1)
def tree() -> dict[str, Any]:
    """Return the description as a tree, the examples in their places."""
    loaded: dict[str, Any] = yaml.safe_load(path().read_bytes())
    _inline(loaded)
    return loaded


def _inline(node: Any) -> None:
    """Replace the names of example files by their contents."""
    if isinstance(node, list):
        for item in node:
            _inline(item)
    elif isinstance(node, dict):
        name = node.get("externalValue")
        if isinstance(name, str):
            text = (path().parent / name).read_text(encoding="utf-8")
            del node["externalValue"]
            node["value"] = orjson.loads(text) if name.endswith(".json") else text
            return
        for item in node.values():
            _inline(item)


@lru_cache(maxsize=1)
def text() -> bytes:
    """Return the description as YAML."""
    dumped: bytes = yaml.safe_dump(tree(), sort_keys=False, allow_unicode=True, encoding="utf-8")
    return dumped


@lru_cache(maxsize=1)
def json() -> bytes:
    """Return the description as JSON."""
    return orjson.dumps(tree())
