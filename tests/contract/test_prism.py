"""Prism between caller and service: no example is refused, no answer is off its schema.

Its packages are not installed by deploy/test.sh: ``bash deploy/long.sh prism``.
"""

import json
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import requests
import yaml

from deploy.stack import PATIENCE, Server, free_port, until
from stillpipe.api import description

PRISM = Path(__file__).with_name("prism") / "node_modules/.bin/prism"
EXAMPLES = {
    f"{path}-{name}": (path, kind, example["value"])
    for path, item in description.tree()["paths"].items()
    if "post" in item
    for kind, content in item["post"]["requestBody"]["content"].items()
    for name, example in content.get("examples", {}).items()
}
PAGES = [
    path for path, item in description.tree()["paths"].items()
    if "get" in item and "{" not in path
    and "application/json" in item["get"]["responses"]["200"]["content"]
]  # fmt: skip

pytestmark = [
    pytest.mark.server,
    pytest.mark.skipif(not PRISM.exists(), reason="takes longer: bash deploy/long.sh prism"),
]


@pytest.fixture(scope="module")
def service() -> Iterator[str]:
    with Server() as server:
        yield server.address


@contextmanager
def prism(service: str, file: Path, log: Path) -> Iterator[str]:
    """Give the address of a proxy that holds requests and answers against a description."""
    port = free_port()
    with log.open("wb") as out:
        process = subprocess.Popen(
            [PRISM, "proxy", file, service, "--errors", "--port", str(port)],
            stdout=out, stderr=out,
        )  # fmt: skip
    try:
        until(lambda: process.poll() is not None or b"listening" in log.read_bytes(), "Prism")
        assert process.poll() is None, log.read_text()
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(timeout=PATIENCE)


@pytest.fixture(scope="module")
def proxy(service: str, described: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with prism(service, described, tmp_path_factory.mktemp("prism") / "log") as address:
        yield address


def post(address: str, path: str, kind: str, value: Any) -> requests.Response:
    body = value if isinstance(value, str) else json.dumps(value)
    heads = {"Content-Type": kind}
    return requests.post(f"{address}{path}", body.encode(), headers=heads, timeout=PATIENCE)


@pytest.mark.parametrize("example", list(EXAMPLES))
def test_no_example_is_refused_and_no_answer_is_off_its_schema(proxy: str, example: str) -> None:
    reply = post(proxy, *EXAMPLES[example])
    assert reply.status_code == 200, reply.text


@pytest.mark.parametrize("path", PAGES)
def test_no_page_is_off_its_schema(proxy: str, path: str) -> None:
    reply = requests.get(f"{proxy}{path}", timeout=PATIENCE)
    assert reply.status_code == 200, reply.text


def test_a_refusal_of_the_service_passes(proxy: str) -> None:
    """What the description allows, and the tables do not have."""
    path, kind, value = EXAMPLES["/v1/plug-time-plug-time-request"]
    reply = post(proxy, path, kind, value | {"pipe": {"id": "none"}})
    assert (reply.status_code, reply.json()["type"]) == (422, "/v1/problems/unknown-entry")


def test_prism_finds_what_is_off(service: str, tmp_path: Path) -> None:
    """A request with a member too many; an answer without a member that is asked for."""
    tree = json.loads(description.json())
    tree["components"]["schemas"]["HoldTime"]["required"].append("colour")
    file = tmp_path / "off.yaml"
    file.write_text(yaml.dump(tree, Dumper=yaml.CSafeDumper, sort_keys=False))
    with prism(service, file, tmp_path / "log") as address:
        path, kind, value = EXAMPLES["/v1/plug-time-plug-time-request"]
        request = post(address, path, kind, value | {"colour": "red"})
        answer = post(address, *EXAMPLES["/v1/hold-time-hold-time-request"])
    assert request.json()["title"] == "Invalid request"
    assert answer.json()["title"] == "Request/Response not valid"
    assert "colour" in answer.text
