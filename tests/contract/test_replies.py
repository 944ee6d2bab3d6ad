"""Every answer that the description shows is what the service answers today."""

import json
import re
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest
from flask.testing import FlaskClient

from contract import make_replies
from stillpipe.api import description

SPEC = description.tree()
SHOWN = {"application/json", "application/problem+json", "application/x-ndjson", "text/csv"}


NUMBER = re.compile(r"\d[\d,]*(?:\.\d+)?")
CLOSE = 0.01
"""How near a figure must be [-]: another processor rounds otherwise, takes another step here and
there, and lays the surface of the draws through other solutions (0.3 % seen)."""


def near(shown: float, found: float, path: str, least: float = 0.0) -> None:
    assert found == pytest.approx(shown, rel=CLOSE, abs=least), path


def check_text(shown: str, found: str, path: str) -> None:
    """Hold text against text: its words are the same, its figures near or one off as shown."""
    if shown == found:
        return
    assert NUMBER.sub("#", shown) == NUMBER.sub("#", found), path
    for one, other in zip(NUMBER.findall(shown), NUMBER.findall(found), strict=True):
        last = 10.0 ** -len(one.partition(".")[2])
        near(float(one.replace(",", "")), float(other.replace(",", "")), path, 1.001 * last)


def check(shown: Any, found: Any, path: str = "") -> None:
    """Hold what is shown against what is answered."""
    assert type(shown) is type(found), path
    if isinstance(shown, dict):
        assert list(shown) == list(found), path
        for name, value in shown.items():
            check(value, found[name], f"{path}/{name}")
    elif isinstance(shown, list):
        assert len(shown) == len(found), path
        for index, (one, other) in enumerate(zip(shown, found, strict=True)):
            check(one, other, f"{path}/{index}")
    elif isinstance(shown, float):
        near(shown, found, path)
    elif isinstance(shown, str):
        check_text(shown, found, path)
    else:
        assert shown == found, path


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
