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
from stillpipe.api.selection import Selection
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
    reply = answered(NAMES[file.stem], example(file.stem))
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


def answered(name: str, body: dict[str, Any]) -> dict[str, Any]:
    whole = Selection(include=registry.ENDPOINTS[name].on_request)
    made = ANSWERS.answer(name, orjson.dumps(body), asked=whole).body
    reply: dict[str, Any] = orjson.loads(made)
    return reply


def asked(**changes: Any) -> dict[str, Any]:
    return answered("plug-time", example("plug-time-request") | changes)


def every_range(found: Any) -> list[dict[str, Any]]:
    """All ranges of a reply."""
    if isinstance(found, list):
        return [r for entry in found for r in every_range(entry)]
    if not isinstance(found, dict):
        return []
    return [found] if "likely" in found else every_range(list(found.values()))


def test_percentiles_that_are_asked_for_stand_in_every_range_and_agree_with_its_ends() -> None:
    """The ends of a range are percentiles of their own, so that either way tells the same."""
    reply = answered("hold-time", example("hold-time-request") | {
        "percentiles": [0.95, 0.05, 0.5, 0.25],
    })  # fmt: skip
    del reply["ranges"], reply["course"], reply["growth"]
    ranges = every_range(reply)
    assert len(ranges) == 6
    for found in ranges:
        told = {p["probability"]: p["value"] for p in found["percentiles"]}
        assert list(told) == [0.95, 0.05, 0.5, 0.25], "in the order asked for"
        assert [told[p] for p in (0.05, 0.5, 0.95)] == [found[n] for n in ("low", "likely", "high")]
        assert found["low"] <= told[0.25] <= found["likely"]


@pytest.mark.parametrize("probability", [0.5, 0.8, 0.99])
def test_what_is_planned_is_the_percentile_that_decides(probability: float) -> None:
    reply = asked(decision_probability=probability, percentiles=[probability])
    assert reply["chance_of_ready"] == 1.0
    (told,) = reply["ready"]["percentiles"]
    assert reply["planned_ready"]["value"] == told["value"]
    assert reply["history"]["time"]["values"][-1] == told["value"]
    assert reply["bands"]["time"]["values"][-1] == told["value"]


def test_the_chance_of_a_time_grows_with_it_and_is_that_of_the_percentiles() -> None:
    plain = asked()
    assert plain["chance_of_ready_by"] is None
    ready = plain["ready"]
    chances = [
        asked(ready_by={"value": t, "unit": "s"})["chance_of_ready_by"]
        for t in (1.0, ready["low"], ready["likely"], ready["high"], 28800.0)
    ]
    assert chances == pytest.approx([0.0, 0.05, 0.5, 0.95, 1.0], abs=0.003), "ends are rounded"
    assert chances == sorted(chances)


def test_a_plug_that_never_forms_is_never_ready_by_any_time() -> None:
    slush = example("plug-time-slush") | {"ready_by": {"value": 8, "unit": "h"}}
    reply = answered("plug-time", slush)
    assert reply["chance_of_ready_by"] == reply["chance_of_closing"] == 0.0
    assert reply["planned_ready"] is None


def test_drivers_share_all_of_the_variance() -> None:
    drivers = asked()["drivers"]
    shares = [d["share"] for d in drivers]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(1.0, abs=1e-4 * len(shares)), "each rounded down"
    assert drivers[0]["name"] == "jacket_conductance"
    assert drivers[0]["closure_at_low"]["value"] > drivers[0]["closure_at_high"]["value"]
    model = next(d for d in drivers if d["name"] == "model")
    assert model["low"] == {"value": 0.862, "unit": "1"}


WEAK = {
    "line_pressure": {"value": 40, "unit": "bar"}, "adhesion": {"value": 0.05, "unit": "MPa"},
    "safety_factor": 10, "jacket": {"length": {"value": 20, "unit": "mm"}},
}  # fmt: skip


def test_a_plug_that_closes_and_never_gets_ready_has_a_course_without_bands_and_is_drawn() -> None:
    body = example("plug-time-request") | WEAK
    reply = answered("plug-time", body)
    assert reply["closure"]["high"] is not None
    assert [r["code"] for r in reply["reasons"]] == ["never-ready"]
    assert reply["planned_ready"] is reply["ready"] is None
    assert reply["bands"]["time"]["values"] == []
    assert reply["history"]["time"]["values"]
    drawn = ANSWERS.answer("plug-time", orjson.dumps(body), registry.SVG).body.decode()
    assert "closed" in drawn


def test_what_may_not_get_ready_is_planned_no_earlier_than_the_median() -> None:
    """With a chance of ready just above one half, 95 % of those lie below the median of all."""
    two_inch = {"standard": "ASME B36.10M", "size": "2", "schedule": "40"}
    for pressure in (36, 37, 38, 39, 40):
        line = {"value": pressure, "unit": "bar"}
        reply = asked(pipe=two_inch, line_pressure=line, safety_factor=3.3)
        if 0.5 <= reply["chance_of_ready"] < 0.526:
            assert reply["planned_ready"]["value"] == reply["ready"]["likely"]
            assert "may-not-be-ready" in [r["code"] for r in reply["reasons"]]
            return
    pytest.fail("no pressure with such a chance")


def test_a_promise_is_made_only_where_everything_goes_as_planned_so_likely() -> None:
    """The joint chance bounds what is promised; a time at 90 % is later than one at 50 %."""
    body = example("job-estimate-request")
    sound = answered("job-estimate", body)
    assert sound["chance"] >= 0.9
    half, most = sound["promises"]
    assert (half["chance"], most["chance"]) == (0.5, 0.9)
    stop = next(e for e in sound["timeline"] if e["code"] == "stop")
    assert stop["at"]["value"] < half["by"]["value"] < most["by"]["value"]
    even = answered("job-estimate", body | {"decision_probability": 0.6})
    assert 0.5 < even["chance"] <= 0.6
    assert [p["chance"] for p in even["promises"]] == [0.5]
    never = answered("job-estimate", body | WEAK)
    assert (never["chance"], never["promises"]) == (0.0, [])


def test_a_freeze_that_closes_only_with_some_inputs_is_answered() -> None:
    """The likely freeze on the coarse grid stays open, and another of the star closes."""
    reply = asked(
        pipe={
            "material": "carbon_steel", "outside_diameter": {"value": 60.3, "unit": "mm"},
            "wall": {"value": 3.91, "unit": "mm"},
        },
        lining={"material": "iron_oxide_scale", "thickness": {"value": 0.5, "unit": "mm"}},
        insulation={"material": "mineral_wool", "thickness": {"value": 1, "unit": "mm"}},
        ambient={"temperature": {"value": 18, "unit": "degC"}},
        line_pressure={"value": 2, "unit": "bar"}, adhesion={"value": 0.05, "unit": "MPa"},
        orientation="vertical",
        jacket={
            "conductance": {"value": 50, "unit": "W/(m2.K)"}, "length": {"value": 20, "unit": "mm"},
            "fill_time": {"value": 1, "unit": "s"},
        },
    )  # fmt: skip
    assert reply["verdict"] == "no-go"


def test_figures_that_leave_all_bounds_are_no_error() -> None:
    """Next to no glycol and next to no flow: a surface that is far from straight."""
    little = {"value": 4.6e-26, "unit": "g/kg"}
    fluid = {
        "type": "propylene_glycol", "concentration": little,
        "temperature": {"value": 18, "unit": "degC"}, "flow": {"value": 2.1e-159, "unit": "g/s"},
        "head": {"value": 1.29e6, "unit": "Pa"},
    }  # fmt: skip
    reply, _ = ANSWERS.reply(
        "job-estimate",
        {
            "pipe": {"id": "astm-f876/3-4/SDR-9", "material": "pvc"},
            "fluid": fluid, "ambient": {"temperature": {"value": 0.0, "unit": "degC"}},
            "line_pressure": {"value": 5.97, "unit": "kPa"},
        },
    )  # fmt: skip
    assert reply["verdict"] == "no-go"
