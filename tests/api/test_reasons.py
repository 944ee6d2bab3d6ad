"""Every reason says what, how much and when, and what to do; its figures are those of the reply."""

import ast
from pathlib import Path
from typing import Any

import pytest

import stillpipe
from stillpipe.api import units
from stillpipe.api.answers import ANSWERS
from stillpipe.server.warm import JOB

Tree = dict[str, Any]

ESTIMATES = sorted((Path(stillpipe.__file__).parent / "estimates").rglob("*.py"))
MADE_BY = {"assess.stop", "assess.warn", "stop", "warn", "reason", "told", "Reason"}
"""What reasons are made by."""
PLAIN = {
    "pipe-material", "no-dip-tube", "no-freeze-point", "air-not-judged", "observations-not-used",
    "no-frost-no-plug", "one-plug",
}  # fmt: skip
"""Codes of reasons with no number in them."""
NEVER = {"never-closes", "does-not-thaw", "no-frost-after-two-hours"}
"""Codes of what may never come: they have a limit, and a figure only where it comes."""
ABOVE = {
    "no-liquid-co2", "cylinder-near-critical", "over-rating", "flowing", "cool-first", "over-twa",
    "over-stel", "trapped-water", "frost-overdue", "may-stay-slush", "slush",
}  # fmt: skip
"""Codes of reasons whose figure is above its limit."""
BELOW = {
    "room-below-freezing", "may-not-close", "never-ready",
    "may-not-be-ready", "may-not-thaw", "frost-too-early", "frost-early", "oxygen-deficient",
    "exchange-not-survived", "early-exchange", "stock-too-small", "near", "alone",
    "places-not-judged", "too-few-hands",
}  # fmt: skip
"""Codes of reasons whose figure is below its limit; too-near-... too."""


def of(value: float, unit: str) -> Tree:
    return {"value": value, "unit": unit}


def pipe(standard: str, size: str, schedule: str) -> Tree:
    return {"pipe": {"standard": standard, "size": size, "schedule": schedule}}


def fluid(celsius: float = 20.0, **members: Any) -> Tree:
    return {"fluid": {"temperature": of(celsius, "degC"), **members}}


def placed(*places: tuple[str, str, float]) -> Tree:
    return {"places": [{"name": n, "kind": k, "at": of(at, "m")} for n, k, at in places]}


POINT = {k: v for k, v in JOB.items() if k != "room"}
CROWDED = placed(
    ("A", "freeze-point", 0.0), ("elbow", "fitting", 0.1), ("new tee", "cut", 0.17),
    ("B", "freeze-point", 0.34), ("C", "freeze-point", 1.5),
)  # fmt: skip
FOUR_INCH = pipe("ASME B36.10M", "4", "40")
SMALL = {"hold": of(8, "h"), "cylinder": {"net_mass": of(0.5, "kg")}}
SLOW = {"exchange_duration": of(30, "min"), "stock": [{"id": "co2-9.1kg", "count": 1}]}
CASES: list[tuple[str, Tree, set[str]]] = [
    ("plug-time", {"cylinder": {"temperature": of(35, "degC")}}, {"no-liquid-co2"}),
    ("plug-time", {"cylinder": {"temperature": of(28, "degC")}}, {"cylinder-near-critical"}),
    ("plug-time", fluid(type="propylene_glycol", concentration=of(20, "%")), {"slush"}),
    ("plug-time", fluid(type="propylene_glycol", concentration=of(35, "%")), {"slush"}),
    ("plug-time", {"ambient": {"temperature": of(-5, "degC")}}, {"room-below-freezing"}),
    ("plug-time", fluid(flow=of(6, "kg/h")), {"flowing"}),
    ("plug-time", FOUR_INCH | {"line_pressure": of(40, "bar")}, {"never-ready"}),
    ("plug-time", FOUR_INCH | {"line_pressure": of(16, "bar")}, {"may-not-be-ready"}),
    (
        "plug-time",
        pipe("ASTM D1785", "2", "40") | {"line_pressure": of(30, "bar")},
        {"pipe-material", "over-rating"},
    ),
    ("hold-time", {"ambient": {"temperature": of(1, "degC")}}, {"does-not-thaw"}),
    ("frost-check", {"elapsed": of(30, "min"), "frost_seen": False}, {"frost-overdue"}),
    ("frost-check", {"elapsed": of(30, "s"), "frost_seen": False}, {"frost-too-early"}),
    ("frost-check", {"elapsed": of(5, "s"), "frost_seen": True}, {"frost-early"}),
    ("cylinder-count", {"cylinder": {"dip_tube": False}}, {"no-dip-tube"}),
    ("cylinder-count", SMALL, {"early-exchange", "exchange-not-survived"}),
    (
        "cylinder-count",
        SMALL | {"cylinder": {"net_mass": of(6, "kg")}} | SLOW,
        {"exchange-not-survived", "stock-too-small"},
    ),
    ("spacing-validation", CROWDED, {"too-near-cut", "too-near-plugs", "near", "trapped-water"}),
    ("job-estimate", fluid(38.0) | {"crew": 1} | CROWDED,
     {"cool-first", "air-not-judged", "alone", "trapped-water"}),
    ("job-estimate", {"room": {"volume": of(5, "m3")}}, {"over-twa", "over-stel", "air-dangerous"}),
]  # fmt: skip


def calls() -> list[tuple[str, ast.Call]]:
    """Every call in the estimates that makes a reason, by where it stands."""
    found = []
    for file in ESTIMATES:
        for node in ast.walk(ast.parse(file.read_text())):
            if not isinstance(node, ast.Call):
                continue
            called = node.func
            made = {ast.unparse(called)}
            if isinstance(called, ast.IfExp):
                made = {ast.unparse(called.body), ast.unparse(called.orelse)}
            if made & MADE_BY:
                found.append((f"{file.stem}:{node.lineno}", node))
    return found


def test_every_reason_that_is_made_says_what_to_do() -> None:
    found = calls()
    assert len(found) >= 30
    silent = [where for where, call in found if "action" not in {k.arg for k in call.keywords}]
    assert silent == []


def sought(reply: Any, path: str) -> Any:
    """What stands in a reply at a ``path`` joined by points; None where there is nothing."""
    for name in path.split("."):
        if isinstance(reply, list):
            reply = reply[int(name)] if name.isdigit() and int(name) < len(reply) else None
        elif isinstance(reply, dict):
            reply = reply.get(name)
    return reply


def check(reason: Tree, reply: Tree, system: str) -> None:
    """Hold a reason against the reply that it stands in."""
    code, value, limit = reason["code"], reason["value"], reason["limit"]
    assert reason["action"].endswith(".")
    assert reason["text"].endswith(".")
    if code in PLAIN:
        assert value is limit is None
        return
    assert limit is not None, code
    assert limit["unit"] in {getattr(k, system) for k in units.KINDS.values()}
    if code in NEVER:
        return
    assert value is not None, code
    assert value["unit"] == limit["unit"], code
    if code in ABOVE:
        assert value["value"] >= limit["value"], code
    if code in BELOW or code.startswith("too-near"):
        assert value["value"] <= limit["value"], code
    named = sought(reply, reason["figure"])
    if isinstance(named, dict) and named.get("unit") == value["unit"] and "value" in named:
        assert named["value"] == pytest.approx(value["value"], rel=1e-3), reason["figure"]


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c[0]}-{min(c[2])}")
def test_a_reason_has_its_figures_in_the_units_of_the_answer(
    case: tuple[str, Tree, set[str]],
) -> None:
    name, changes, wanted = case
    si, us = (ANSWERS.reply(name, POINT | changes | {"units": u})[0] for u in ("si", "us"))
    assert wanted <= {r["code"] for r in si["reasons"]}
    for system, reply in (("si", si), ("us", us)):
        assert reply["verdict"] != "go"
        for reason in reply["reasons"]:
            check(reason, reply, system)
    assert [r["text"] for r in us["reasons"]] == [r["text"] for r in si["reasons"]]


def test_figures_of_a_job_are_found_where_the_reason_says() -> None:
    for changes in (fluid(38.0) | CROWDED, {"room": {"volume": of(5, "m3")}}):
        reply, _ = ANSWERS.reply("job-estimate", POINT | changes)
        named = [r["figure"] for r in reply["reasons"] if r["code"] != "air-not-judged"]
        assert [path for path in named if sought(reply, path) is None] == []
