"""The first minute: the demo says its question and its answer in ten lines, or whole."""

import json
import subprocess
import sys

import pytest
from flask.testing import FlaskClient

from deploy.stack import ROOT

pytestmark = pytest.mark.server
QUESTION = json.loads((ROOT / "openapi" / "examples" / "plug-time-request.json").read_text())


def demo(*arguments: str) -> str:
    command = [sys.executable, "deploy/demo.py", *arguments]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    return done.stdout


def test_the_demo_answers_in_ten_lines(client: FlaskClient) -> None:
    reply = client.post("/v1/plug-time", json=QUESTION).get_json()
    lines = demo().splitlines()
    assert len(lines) == 10
    assert all(len(line) <= 160 for line in lines)
    known = {line[:18].strip(): line[18:] for line in lines[1:9]}
    assert known["verdict"] == reply["verdict"]
    for name, figure in (("closed", "closure"), ("ready", "ready")):
        for end in ("low", "likely", "high"):
            assert f"{reply[figure][end] / 60.0:.1f} min" in known[name]
    assert f"{reply['planned_ready']['value'] / 60.0:.1f} min" in known["cut no earlier"]
    for caution in reply["cautions"]:
        assert caution["code"] in known["mind"]


def test_the_whole_answer_is_that_of_the_service(client: FlaskClient) -> None:
    assert json.loads(demo("--whole")) == client.post("/v1/plug-time", json=QUESTION).get_json()
