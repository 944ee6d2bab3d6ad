"""What the README shows is what the service does."""

import json
import re
from pathlib import Path

import pytest
from flask.testing import FlaskClient

README = (Path(__file__).parents[2] / "README.md").read_text()


def test_the_shown_question_gets_the_shown_answer(client: FlaskClient) -> None:
    body = re.search(r"/v1/plug-time .*? -d '(\{.*?\n\})'", README, re.DOTALL)
    shown = re.search(r"```json\n(.*?)```", README, re.DOTALL)
    assert body
    assert shown
    reply = client.post("/v1/plug-time", data=body[1], content_type="application/json").json
    assert reply is not None
    expected = json.loads(shown[1])
    assert reply["verdict"] == expected["verdict"]
    for figure in ("closure", "ready"):
        for end in ("low", "likely", "high"):
            assert reply[figure][end] == pytest.approx(expected[figure][end], rel=2e-3)
    assert expected["cautions"][0]["code"] in {c["code"] for c in reply["cautions"]}


def test_the_shown_addresses_are_the_described_ones(client: FlaskClient) -> None:
    described = client.get("/openapi.json").json
    assert described is not None
    shown = set(re.findall(r"`(?:POST |GET )?(/[a-z0-9/.{}-]+)`", README)) | set(
        re.findall(r", `(/[a-z0-9/.{}-]+)`", README)
    )
    assert shown == set(described["paths"])
