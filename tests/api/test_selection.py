"""Less or more of a reply is asked for by name, and what keeps people safe is never left out."""

from typing import Any

import orjson
import pytest

from api.examples import NAMES, SINGLE, example
from stillpipe.api import registry, selection
from stillpipe.api.answers import Answers
from stillpipe.api.problems import RequestError
from stillpipe.api.selection import KEPT, Selection

BODY = orjson.dumps(example("plug-time-request"))


@pytest.fixture(scope="module")
def answers() -> Answers:
    return Answers(registry.ENDPOINTS, orjson.loads)


def asked(answers: Answers, **query: str) -> dict[str, Any]:
    chosen = selection.read(query, ("plug-time",))
    reply: dict[str, Any] = orjson.loads(answers.answer("plug-time", BODY, asked=chosen).body)
    return reply


def test_history_and_bands_come_only_where_they_are_asked_for(answers: Answers) -> None:
    usual = asked(answers)
    assert not {"history", "bands", "profile"} & set(usual)
    assert set(asked(answers, include="history")) == {*usual, "history"}
    assert set(asked(answers, include="history,bands")) == {*usual, "history", "bands"}
    assert set(asked(answers, fields="bands")) == {*KEPT, "bands"}
    assert set(asked(answers, fields="closure", include="history")) == {
        *KEPT, "closure", "history",
    }  # fmt: skip


def test_a_member_of_a_member_keeps_its_unit(answers: Answers) -> None:
    whole = asked(answers)
    part = asked(answers, fields="closure,ready.likely,drivers.name,inputs.pipe")
    assert part["closure"] == whole["closure"]
    assert part["ready"] == {k: whole["ready"][k] for k in ("likely", "unit")}
    assert part["drivers"] == [{"name": d["name"]} for d in whole["drivers"]]
    assert part["inputs"] == {"pipe": whole["inputs"]["pipe"]}
    assert asked(answers, fields="ready.likely,ready")["ready"] == whole["ready"]


@pytest.mark.parametrize("file", SINGLE, ids=[f.stem for f in SINGLE])
def test_nobody_can_leave_out_the_safety(file: Any, answers: Answers) -> None:
    """Whichever single member is asked for, verdict, reasons and cautions are as they were."""
    name = NAMES[file.stem]
    whole, _ = answers.reply(name, example(file.stem))
    whole = orjson.loads(orjson.dumps(whole))
    for field in selection.fields(name):
        part = selection.chosen(whole, Selection((field,)), ())
        assert {k: part[k] for k in KEPT} == {k: whole[k] for k in KEPT}
        assert set(part) <= {*KEPT, field.partition(".")[0]}


@pytest.mark.parametrize("file", SINGLE, ids=[f.stem for f in SINGLE])
def test_every_member_of_a_reply_can_be_asked_for(file: Any, answers: Answers) -> None:
    name = NAMES[file.stem]
    whole, _ = answers.reply(name, example(file.stem))
    known = set(selection.fields(name))
    for member, value in whole.items():
        inner = value if isinstance(value, list) else [value]
        parts = {f"{member}.{k}" for part in inner if isinstance(part, dict) for k in part}
        assert {member, *parts} <= known


@pytest.mark.parametrize(
    ("query", "parameters"),
    [
        ({"fields": "colour"}, ["fields"]),
        ({"fields": "ready.colour,closure, ready,ready.likely.value"}, ["fields"] * 3),
        ({"fields": ""}, ["fields"]),
        ({"fields": "Ready", "include": "closure"}, ["fields", "include"]),
        ({"include": ""}, ["include"]),
        ({"fields": ",".join(["ready"] * 51)}, ["fields"]),
    ],
)
def test_every_name_that_there_is_not_is_named(
    query: dict[str, str], parameters: list[str]
) -> None:
    with pytest.raises(RequestError) as raised:
        selection.read(query, ("plug-time",))
    assert raised.value.slug == "invalid-parameter"
    assert [e["parameter"] for e in raised.value.errors] == parameters


def test_a_name_beside_the_wrong_one_is_told() -> None:
    with pytest.raises(RequestError) as raised:
        selection.read({"fields": "ready.median"}, ("plug-time",))
    assert "ready.likely" in raised.value.errors[0]["detail"]


def test_what_is_remembered_is_not_mixed(answers: Answers) -> None:
    answers.remembered.clear()
    queries = [{}, {"fields": "ready"}, {"fields": "ready.likely"}, {"include": "history"},
               {"fields": "history"}]  # fmt: skip
    first = [asked(answers, **query) for query in queries]
    assert [asked(answers, **query) for query in reversed(queries)] == first[::-1]
    assert len({orjson.dumps(reply) for reply in first}) == len(queries)
    chosen = selection.read(queries[1], ("plug-time",))
    assert answers.answer("plug-time", BODY, asked=chosen).effort is None


def test_the_order_of_names_makes_no_other_answer() -> None:
    queries = ("ready,closure", "closure,ready", "closure,ready,closure")
    assert len({selection.read({"fields": q}, ("plug-time",)).text for q in queries}) == 1


def test_a_picture_is_made_of_all_whatever_was_asked_for_before(answers: Answers) -> None:
    answers.remembered.clear()
    asked(answers, fields="ready")
    drawn = answers.answer("plug-time", BODY, registry.SVG)
    assert (drawn.effort, b"ice" in drawn.body) == (None, True)
