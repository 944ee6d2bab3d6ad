"""The OpenAPI description as served."""

import os
from functools import lru_cache
from pathlib import Path
from typing import Any

import orjson
import yaml

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_DUMPER = getattr(yaml, "CSafeDumper", yaml.SafeDumper)


class DescriptionError(RuntimeError):
    """The description or one of its examples cannot be read."""


def path() -> Path:
    """Return where the description lies: STILLPIPE_OPENAPI, or beside the source tree."""
    given = os.environ.get("STILLPIPE_OPENAPI")
    return Path(given) if given else Path(__file__).parents[3] / "openapi" / "openapi.yaml"


@lru_cache(maxsize=1)
def tree() -> dict[str, Any]:
    """Return the description as a tree, the examples in their places.

    Raises
    ------
    DescriptionError
        where it or an example cannot be read; it is tried again at the next call
    """
    try:
        loaded: dict[str, Any] = yaml.load(path().read_bytes(), _LOADER)  # noqa: S506 - a safe one
        if not isinstance(loaded, dict) or "paths" not in loaded:
            raise DescriptionError(f"{path()} is no description")
        _inline(loaded)
    except (OSError, ValueError, yaml.YAMLError) as error:
        raise DescriptionError(str(error)) from error
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
    dumped: bytes = yaml.dump(
        tree(), Dumper=_DUMPER, sort_keys=False, allow_unicode=True, encoding="utf-8"
    )
    return dumped


@lru_cache(maxsize=1)
def json() -> bytes:
    """Return the description as JSON."""
    return orjson.dumps(tree())
