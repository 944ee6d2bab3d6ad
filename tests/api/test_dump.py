"""Answers become JSON as their figures are declared."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated

import numpy as np
import orjson
import pytest

import stillpipe
from api.examples import Figures, Part, estimate, example
from stillpipe.api import dump
from stillpipe.api.inputs import schemas
from stillpipe.errors import SolverError
from stillpipe.model.declare import Chance, Figure, Plain
from stillpipe.model.figures import Amount, Range, Severity
from stillpipe.model.requests import PlugTimeRequest, VentilationRequest

TRIED = Amount(165.0, "conductance")


@dataclass(frozen=True)
class Loose:
    """Members of other kinds."""

    amount: Annotated[Decimal, Plain(says="Money.")] = Decimal("12.50")
    between: Annotated[tuple[str, str], Plain(says="Two names.")] = ("A", "B")
    weight: Annotated[float | None, Plain(says="A bare number.")] = 0.25
    limit: Annotated[Part | None, Plain(says="A group.")] = None
    gap: Annotated[float | None, Figure("length", says="A quantity.")] = None
    kept: Annotated[bool, Plain(says="A flag.")] = True
    tried: Annotated[Amount, Plain(says="A quantity of any kind.")] = TRIED


@dataclass(frozen=True)
class Likely:
    """Members that say how likely something is."""

    chance: Annotated[float | None, Chance(says="Of something.")] = None
    time: Annotated[Range | None, Figure("time", says="A range.")] = None


def test_a_reply_begins_with_its_head() -> None:
    loaded = schemas.load(PlugTimeRequest, example("plug-time-request"))
    reply = dump.reply(loaded, estimate(loaded.request))
    head = ["id", "model_version", "units", "inputs", "ranges", "verdict", "reasons", "cautions"]
    assert list(reply)[:8] == head
    assert reply["model_version"] == stillpipe.MODEL_VERSION
    assert reply["verdict"] == "conditional"
    assert reply["reasons"] == [
        {
            "code": "narrow",
            "text": "The pipe is narrow.",
            "severity": "warn",
            "figure": "inputs.pipe.outside_diameter",
            "value": {"value": 15.88, "unit": "mm"},
            "limit": {"value": 20.0, "unit": "mm"},
            "chance": None,
            "at": None,
            "action": "Take another.",
        }
    ]
    assert reply["inputs"]["pipe"]["id"] == "astm-b88/1-2/L"


def test_a_freeze_says_which_percentiles_its_ranges_are() -> None:
    """In the words of JCGM 101:2008, 3.12 to 3.16; of a room's air there are no ranges."""
    loaded = schemas.load(PlugTimeRequest, example("plug-time-request"))
    ranges = dump.reply(loaded, estimate(loaded.request))["ranges"]
    assert ranges == {
        "low": 0.05, "likely": 0.5, "high": 0.95, "coverage_probability": 0.9,
        "coverage_interval": "probabilistically-symmetric",
    }  # fmt: skip
    assert ranges["high"] - ranges["low"] == pytest.approx(ranges["coverage_probability"])
    room = schemas.load(VentilationRequest, example("ventilation-request"))
    assert "ranges" not in dump.reply(room, estimate(loaded.request))


def test_a_nameless_request_gets_a_nameless_reply() -> None:
    tree = example("plug-time-request")
    del tree["id"]
    loaded = schemas.load(PlugTimeRequest, tree)
    assert "id" not in dump.reply(loaded, estimate(loaded.request))


@pytest.mark.parametrize(
    ("system", "pressure", "length"),
    [("si", {"value": 123.0, "unit": "kPa"}, "mm"), ("us", {"value": 17.9, "unit": "psi"}, "in")],
)
def test_figures_are_shown_as_declared(
    system: str, pressure: dict[str, object], length: str
) -> None:
    loaded = schemas.load(PlugTimeRequest, example("plug-time-request"))
    shown = dump.figures(estimate(loaded.request).figures, system)
    assert shown["time"] == {"low": 60.0, "likely": 123.5, "high": None, "unit": "s"}
    assert shown["never"] is None
    assert shown["pressure"] == pressure
    assert shown["course"]["unit"] == shown["parts"][0]["length"]["unit"] == length
    assert shown["course"]["values"][1] == pytest.approx(15.875 if length == "mm" else 0.625, 1e-3)
    assert shown["severity"] == "stop"
    assert "unseen" not in shown
    assert orjson.loads(orjson.dumps(shown)) == shown


def test_plain_members_are_shown_as_they_are() -> None:
    assert dump.figures(Loose(), "si") == {
        "amount": "12.50", "between": ["A", "B"], "weight": 0.25, "limit": None, "gap": None,
        "kept": True, "tried": {"value": 165.0, "unit": "W/(m2.K)"},
    }  # fmt: skip
    inner = dump.figures(Loose(limit=Part("x", 0.5), gap=0.0), "si")
    assert inner["limit"] == {"name": "x", "length": {"value": 500.0, "unit": "mm"}}
    assert inner["gap"] == {"value": 0.0, "unit": "mm"}


def test_numbers_of_numpy_become_numbers_of_python() -> None:
    found = Figures(
        time=Range(np.float64(1.0), np.float64(2.0), np.float64(3.0)), never=None,
        pressure=np.float64(5.0), course=tuple(np.linspace(0.0, 1.0, 3)), severity=Severity.INFO,
        parts=(),
    )  # fmt: skip
    shown = dump.figures(found, "si")
    assert {type(v) for v in shown["course"]["values"]} == {float}
    assert orjson.loads(orjson.dumps(shown)) == shown


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
@pytest.mark.parametrize("member", ["weight", "gap"])
def test_what_is_not_finite_never_leaves(member: str, value: float) -> None:
    with pytest.raises(SolverError):
        dump.figures(Loose(**{member: value}), "si")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("chance", "shown"),
    [(1.0, 1.0), (0.0, 0.0), (8191 / 8192, 0.9998), (0.94999, 0.9499), (0.95, 0.95), (0.29, 0.29),
     (1.0 / 8192, 0.0001), (None, None), (np.float64(0.5), 0.5)],
)  # fmt: skip
def test_a_chance_is_never_rounded_up(chance: float | None, shown: float | None) -> None:
    """What is not sure is never shown as sure, and 0.95 not as less than it is."""
    assert dump.figures(Likely(chance=chance), "si")["chance"] == shown


def test_a_range_tells_the_percentiles_that_were_asked_for() -> None:
    asked = Range(60.0, 123.456789, None, ((0.25, 98.7654321), (0.99, None)))
    shown = dump.figures(Likely(time=asked), "si")["time"]
    assert shown["percentiles"] == [
        {"probability": 0.25, "value": 98.77}, {"probability": 0.99, "value": None},
    ]  # fmt: skip
    assert shown["high"] is None
    plain = dump.figures(Likely(time=Range(1.0, 2.0, 3.0)), "si")["time"]
    assert "percentiles" not in plain
