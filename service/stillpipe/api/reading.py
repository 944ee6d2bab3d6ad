"""Request bodies: one JSON value, strictly read."""

import json
from typing import Any

from stillpipe.api.problems import RequestError


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is not JSON")


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a member is given twice")
    return found


def read(body: bytes) -> Any:
    """Return the JSON value in ``body``.

    Raises
    ------
    RequestError
        where it is not JSON in UTF-8, is nested too deeply, names a member twice or says NaN
    """
    try:
        return json.loads(
            body.decode("utf-8"), object_pairs_hook=_unique, parse_constant=_refuse_constant
        )
    except RecursionError:
        detail = "nested too deeply"
    except UnicodeDecodeError:
        detail = "not UTF-8"
    except ValueError as error:
        detail = str(error)
    raise RequestError("malformed-json", detail)
