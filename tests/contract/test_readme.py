"""What README and guide show is what the service does; whatever the README links is there."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text()
BOTH = README + (ROOT / "openapi" / "guide" / "GUIDE.md").read_text()
QUESTIONS = re.findall(r"/v1/plug-time .*? -d '(\{.*?\n\})'", BOTH, re.DOTALL)
ANSWERS = [json.loads(shown) for shown in re.findall(r"```json\n(.*?)```", BOTH, re.DOTALL)]


def check(shown: Any, found: Any) -> None:
    """Hold what is shown, which is shortened, against what is answered."""
    if isinstance(shown, dict):
        for name, value in shown.items():
            check(value, found[name])
    elif isinstance(shown, list):
        for one, other in zip(shown, found, strict=True):
            check(one, other)
    elif isinstance(shown, float):
        assert found == pytest.approx(shown, rel=2e-3)
    else:
        assert found == shown


@pytest.mark.parametrize(
    ("question", "answer"), list(zip(QUESTIONS, ANSWERS, strict=True)), ids=["asked", "frost seen"]
)
def test_the_shown_question_gets_the_shown_answer(
    question: str, answer: dict[str, Any], client: FlaskClient
) -> None:
    reply = client.post("/v1/plug-time", data=question, content_type="application/json").json
    assert reply is not None
    cautions = answer.pop("cautions", [])
    assert {c["code"] for c in cautions} <= {c["code"] for c in reply["cautions"]}
    check(answer, reply)


def test_the_shown_addresses_are_the_described_ones(client: FlaskClient) -> None:
    described = client.get("/openapi.json").json
    assert described is not None
    shown = set(re.findall(r"`(?:POST |GET )?(/[a-z0-9/.{}-]*)`", README)) | set(
        re.findall(r", `(/[a-z0-9/.{}-]*)`", README)
    )
    assert shown == set(described["paths"])


def test_the_readme_fits_two_screens_and_its_links_lead_somewhere() -> None:
    assert len(README.splitlines()) <= 110
    linked = re.findall(r"\]\(([^)]+)\)", README)
    assert len(linked) >= 5
    assert [link for link in linked if not (ROOT / link).is_file()] == []


def test_the_readme_names_what_the_test_command_installs() -> None:
    script = (ROOT / "deploy" / "test.sh").read_text()
    packages = " ".join(re.findall(r"missing\+=\(([^)]*)\)", script)).split()
    assert packages
    assert [name for name in packages if f"`{name}`" not in README] == []
