"""Body in, body out, remembered."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from marshmallow import ValidationError

from api.examples import EFFORT, estimate, example
from stillpipe.api.answers import Answers
from stillpipe.api.registry import SVG, Endpoint
from stillpipe.model.figures import Answer
from stillpipe.model.requests import PlugTimeRequest

BODY = json.dumps(example("plug-time-request")).encode()


class Counted:
    """An estimate that counts how often it is made."""

    def __init__(self) -> None:
        self.times = 0

    def __call__(self, request: PlugTimeRequest) -> Answer[Any]:
        self.times += 1
        return estimate(request)


def drawn(reply: dict[str, Any]) -> bytes:
    """The verdict as a picture."""
    return f"<svg>{reply['verdict']}</svg>".encode()


@pytest.fixture
def counted() -> Counted:
    return Counted()


@pytest.fixture
def answers(counted: Counted) -> Answers:
    return Answers(
        {"made-up": Endpoint(PlugTimeRequest, counted, pictures={"drawn": drawn})}, json.loads
    )


def test_an_equal_body_is_estimated_once(answers: Answers, counted: Counted) -> None:
    first, effort = answers.answer("made-up", BODY)
    again, remembered = answers.answer("made-up", BODY)
    assert (first, effort, remembered, counted.times) == (again, EFFORT, None, 1)
    assert (json.loads(first), EFFORT) == answers.reply("made-up", json.loads(BODY))


def test_another_form_is_made_from_the_same_estimate(answers: Answers, counted: Counted) -> None:
    answers.answer("made-up", BODY)
    picture, effort = answers.answer("made-up", BODY, SVG)
    assert (picture, effort, counted.times) == (b"<svg>conditional</svg>", None, 1)


def test_a_form_alone_is_estimated_and_keeps_the_json_too(
    answers: Answers, counted: Counted
) -> None:
    assert answers.answer("made-up", BODY, SVG).effort == EFFORT
    assert answers.answer("made-up", BODY).effort is None
    assert counted.times == 1


def test_faults_are_not_remembered(answers: Answers) -> None:
    for _ in range(2):
        with pytest.raises(ValidationError):
            answers.answer("made-up", b"{}")
    assert (len(answers.remembered), answers.remembered.size) == (0, 0)


def test_only_an_estimate_needs_admission(answers: Answers) -> None:
    admitted = []

    @contextmanager
    def admission() -> Iterator[None]:
        admitted.append("in")
        yield
        admitted.append("out")

    with pytest.raises(ValidationError):
        answers.answer("made-up", b"{}", admission=admission)
    assert admitted == []
    for form in (SVG, "application/json", SVG):
        answers.answer("made-up", BODY, form, admission)
    assert admitted == ["in", "out"]
