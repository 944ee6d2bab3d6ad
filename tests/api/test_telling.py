"""Figures are told to what their range allows, and never to the good side."""

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stillpipe.api import units
from stillpipe.api.forms.sheets import telling
from stillpipe.api.forms.sheets.telling import Clock, Way


def words(text: str) -> str:
    return text.replace(telling.TIED, " ").replace(telling.THIN, " ")


def seconds(low: float, likely: float, high: float | None) -> dict[str, object]:
    return {"low": low, "likely": likely, "high": high, "unit": "s"}


@pytest.mark.parametrize(
    ("low", "likely", "high", "said"),
    [
        (4.1 * 60, 5.3 * 60, 6.9 * 60, "about 5 min (4 to 7)"),
        (192.5, 297.1, 462.1, "about 5 min (3 to 8)"),
        (2222.0, 3230.0, 4774.0, "about 55 min (35 to 80)"),
        (50.0, 62.0, 81.0, "about 60 s (50 to 85)"),
        (100.0, 118.0, 131.0, "about 120 s (100 to 140)"),
        (5000.0, 9000.0, 15000.0, "about 2 h 30 min (80 min to 4 h 10 min)"),
        (250.0, 300.0, None, "about 5 min (4 min to never)"),
        (300.0, 300.0, 300.0, "5 min"),
    ],
)
def test_a_range_of_time(low: float, likely: float, high: float | None, said: str) -> None:
    assert words(telling.time_span(seconds(low, likely, high))) == said


@given(st.floats(1.0, 3e4), st.floats(0.0, 1.0), st.floats(0.0, 3e4))
def test_a_told_range_of_time_holds_what_was_estimated(
    low: float, share: float, width: float
) -> None:
    high = low + width
    step = telling.time_step(low, high)
    assert step in telling.STEPS
    assert telling.to(low, step, Way.DOWN) <= low + 1e-6 * step
    assert telling.to(high, step, Way.UP) >= high - 1e-6 * step
    assert telling.time_span(seconds(low, low + share * width, high))


@pytest.mark.parametrize(
    ("time", "way", "said"),
    [
        (476.6, Way.UP, "8 min"), (480.0, Way.UP, "8 min"), (180.1, Way.DOWN, "3 min"),
        (179.9, Way.DOWN, "2 min"), (119.0, Way.DOWN, "115 s"), (3.0, Way.DOWN, "less than 5 s"),
        (9730.0, Way.UP, "2 h 43 min"), (7200.0, Way.NEAR, "2 h"),
    ],
)  # fmt: skip
def test_a_time_to_rely_on_goes_to_its_unfavourable_side(time: float, way: Way, said: str) -> None:
    assert words(telling.time(time, way)) == said


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ({"low": 1.813, "likely": 2.484, "high": 3.775, "unit": "kg"}, "about 2.4 kg (1.8 to 3.8)"),
        ({"low": 210.6, "likely": 276.4, "high": 339.7, "unit": "mm"}, "about 280 mm (200 to 340)"),
        ({"low": 2.0, "likely": 2.0, "high": 2.0, "unit": "kg"}, "2 kg"),
        ({"low": 2.0, "likely": 3.0, "high": None, "unit": "lb"}, "about 3 lb (2 to never)"),
    ],
)
def test_a_range_of_another_kind(found: dict[str, object], said: str) -> None:
    assert words(telling.span(found)) == said


@given(st.floats(0.001, 1e5), st.floats(0.001, 10.0))
def test_a_range_is_told_to_between_a_tenth_and_a_quarter_of_it(low: float, wide: float) -> None:
    high = low * (1.0 + wide)
    step = telling._step(high - low)
    assert 0.0999 * (high - low) <= step <= 0.25 * (high - low) * (1.0 + 1e-6)


def test_what_comes_into_the_air_is_never_told_as_less() -> None:
    for value, said in ((14740.0, "15 000 ppm"), (116300.0, "120 000 ppm"), (2536.0, "2600 ppm")):
        assert words(telling.ppm({"value": value, "unit": "ppm"})) == said


def test_lengths_are_as_a_rule_has_them() -> None:
    for value, unit, way, said in (
        (263.1, "mm", Way.UP, "264 mm"), (1345.2, "mm", Way.UP, "1.35 m"),
        (40.875, "mm", Way.NEAR, "41 mm"), (10.36, "in", Way.UP, "10.4 in"),
    ):  # fmt: skip
        assert words(telling.length({"value": value, "unit": unit}, way)) == said


def test_a_pressure_in_kilopascals_is_told_in_bar_too() -> None:
    assert words(telling.pressure({"value": 300.0, "unit": "kPa"})) == "3 bar (300 kPa)"
    assert words(telling.pressure({"value": 43.51, "unit": "psi"})) == "43.5 psi"


def test_the_units_of_answers_have_signs() -> None:
    shown = ("length", "temperature", "mass", "mass_flow", "pressure", "volume", "mole_fraction",
             "oxygen", "air_changes", "fraction", "volume_flow")  # fmt: skip
    for kind in shown:
        assert {units.KINDS[kind].si, units.KINDS[kind].us} <= set(telling.UNITS)


def test_times_are_told_since_arrival_or_by_the_clock() -> None:
    assert Clock(None).at(4977.0) == "1:23"
    assert Clock(None).begins == ""
    evening = Clock(datetime.fromisoformat("2026-11-30T23:10:00+01:00"))
    assert evening.at(1800.0) == "23:40"
    assert evening.at(3001.0, Way.UP) == "00:01 +1 d"
    assert evening.begins == "30 Nov 2026, 23:10"


def test_the_clock_begins_where_the_caller_says() -> None:
    start = {"value": "2026-11-30T08:00:00+01:00", "default": False}
    assert telling.clock({"inputs": {"start": start}}).at(0.0) == "08:00"
    assert telling.clock({"inputs": {}}).start is None
