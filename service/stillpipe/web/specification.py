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
def text() -> bytes:
    """Return the description as YAML."""
    return path().read_bytes()


@lru_cache(maxsize=1)
def tree() -> dict[str, Any]:
    """Return the description as a tree."""
    loaded: dict[str, Any] = yaml.safe_load(text())
    return loaded


@lru_cache(maxsize=1)
def json() -> bytes:
    """Return the description as JSON."""
    return orjson.dumps(tree())
