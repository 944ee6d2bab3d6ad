"""Every estimate, asked as in the description's examples, answers in JSON what it declares."""

import gc
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import orjson
import pytest

from api.examples import NAMES, SINGLE, example
from stillpipe.api import registry
from stillpipe.api.answers import Answers
from stillpipe.api.inputs import schemas
from stillpipe.model.declare import members
from stillpipe.physics.freeze import FreezeRun

ANSWERS = Answers(registry.ENDPOINTS, orjson.loads)
FORMS = [(f, form) for f in SINGLE for form in registry.ENDPOINTS[NAMES[f.stem]].forms]


def undeclared(found: Any, before: str = "") -> list[str]:
    """The members of a dataclass, and of what it is made of, which no answer would show."""
    if isinstance(found, tuple):
        return [name for entry in found for name in undeclared(entry, before)]
    if not is_dataclass(found) or type(found).__name__ in {"Range", "Amount"}:
        return []
    known = members(type(found))
    lost = [before + f.name for f in fields(found) if f.name not in known]
    for name in known:
        lost += undeclared(getattr(found, name), f"{before}{name}.")
    return lost


@pytest.mark.parametrize("file", SINGLE, ids=[f.stem for f in SINGLE])
def test_an_example_is_answered_with_every_figure(file: Path) -> None:
    endpoint = registry.ENDPOINTS[NAMES[file.stem]]
    loaded = schemas.load(endpoint.request, example(file.stem))
    figures = endpoint.estimate(loaded.request).figures
    assert undeclared(figures) == []
    reply = orjson.loads(ANSWERS.answer(NAMES[file.stem], file.read_bytes()).body)
    assert set(members(type(figures))) <= set(reply)
    assert reply["id"] == example(file.stem)["id"]
    assert reply["verdict"] in {"go", "conditional", "no-go"}


def freezes() -> int:
    """How many freezes there are in memory, waiting for the collector or not."""
    return sum(type(found) is FreezeRun for found in gc.get_objects())


@pytest.mark.parametrize("file", SINGLE, ids=[f.stem for f in SINGLE])
def test_no_freeze_waits_for_the_collector_once_it_is_answered(file: Path) -> None:
    """Each holds a quarter of a MiB, of which the collector, that counts objects, knows nothing."""
    gc.collect()
    gc.disable()
    try:
        before = freezes()
        ANSWERS.reply(NAMES[file.stem], example(file.stem))
        assert freezes() == before
    finally:
        gc.enable()


@pytest.mark.parametrize(("file", "form"), FORMS, ids=[f"{f.stem}-{m}" for f, m in FORMS])
def test_other_forms_are_made_of_the_reply(file: Path, form: str) -> None:
    made = ANSWERS.answer(NAMES[file.stem], file.read_bytes(), form).body.decode()
    assert example(file.stem)["id"] in made
    assert "<svg" in made
