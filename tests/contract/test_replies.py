"""Every answer that the description shows is what the service answers today."""

import json
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest
from flask.testing import FlaskClient

from contract import make_replies
from contract.shown import check
from stillpipe.api import description

SPEC = description.tree()
SHOWN = {"application/json", "application/problem+json", "application/x-ndjson", "text/csv"}


@pytest.fixture(scope="module")
def made(client: FlaskClient) -> dict[str, dict[str, Any]]:
    return make_replies.made(client)


@pytest.mark.parametrize("name", ["estimates", "batches", "pages", "problems"])
def test_what_is_shown_is_what_is_answered(name: str, made: dict[str, dict[str, Any]]) -> None:
    shown = json.loads((make_replies.REPLIES / f"{name}.json").read_text())
    check(shown, made[name], "run tests/contract/make_replies.py: ")


def responses() -> Iterator[tuple[str, dict[str, Any]]]:
    """Every response of every operation, and the named ones."""
    for path, item in SPEC["paths"].items():
        for method, operation in item.items():
            for status, response in operation["responses"].items():
                yield f"{method} {path} {status}", response
    yield from SPEC["components"]["responses"].items()


def test_every_answer_and_every_refusal_is_shown_as_its_schema_says() -> None:
    missing, shown = [], 0
    for where, response in responses():
        for kind, content in response.get("content", {}).items():
            if kind not in SHOWN or content["schema"] == {"type": "object"}:
                continue
            if "example" not in content:
                missing.append(f"{where} {kind}")
                continue
            shown += 1
            schema = content["schema"] | {"components": SPEC["components"]}
            jsonschema.validate(content["example"], schema, jsonschema.Draft202012Validator)
    assert missing == []
    assert shown >= 35
