"""Bodies become requests: strict, complete, every fault named at once."""

import copy
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from marshmallow import ValidationError

from api.examples import NAMES, SINGLE, example, request_of
from stillpipe.api import problems, reading
from stillpipe.api.inputs import schemas
from stillpipe.errors import OutOfValidityError, StillpipeError, UnknownEntryError
from stillpipe.model.freeze_point import Orientation
from stillpipe.model.options import JobEstimateRequest
from stillpipe.model.requests import PlugTimeRequest, UnitSystem
from stillpipe.model.site import PlaceKind, Regime


def body(**changes: Any) -> dict[str, Any]:
    sound: dict[str, Any] = example("plug-time-request")
    return sound | changes


def faults(tree: Any, request: type[Any] = PlugTimeRequest) -> dict[str, Any]:
    with pytest.raises(ValidationError) as caught:
        schemas.load(request, tree)
    messages = caught.value.messages
    assert isinstance(messages, dict)
    return messages


@pytest.mark.parametrize("file", SINGLE, ids=[f.stem for f in SINGLE])
def test_every_example_makes_a_request(file: Path) -> None:
    assert file.stem in NAMES, "every example belongs to an estimate"
    tree = example(file.stem)
    loaded = schemas.load(request_of(file.stem), tree)
    assert loaded.request.id == tree["id"]
    assert set(tree) <= loaded.given


def test_members_are_si_enums_and_money() -> None:
    tree = example("job-estimate-request") | {
        "units": "us", "orientation": "vertical", "line_pressure": {"value": 2, "unit": "bar"},
    }  # fmt: skip
    tree["places"] = [{"name": "A", "kind": "cut", "at": {"value": 10, "unit": "cm"}}]
    tree["rates"] = {"currency": "EUR", "labour_per_hour": "62.50", "co2_per_kg": "4"}
    made = schemas.load(JobEstimateRequest, tree).request
    assert made.line_pressure == pytest.approx(2e5)
    assert made.units is UnitSystem.US
    assert made.orientation is Orientation.VERTICAL
    assert made.places[0].kind is PlaceKind.CUT
    assert made.places[0].at == pytest.approx(0.1)
    assert made.rates is not None
    assert made.rates.labour_per_hour == Decimal("62.50")
    assert made.rates.call_out == Decimal(0)
    assert made.room is None or made.room.regime in Regime


@pytest.mark.parametrize(
    ("amount", "percent"), [(62.5, 8.875), (62, 8), (None, None), ("62,50", "8 %"), (True, [])]
)
def test_money_and_percents_say_how_they_are_written(amount: Any, percent: Any) -> None:
    tree = example("job-estimate-request")
    tree["rates"] = {"currency": "EUR", "labour_per_hour": amount}
    tree["rates"]["taxes"] = [{"name": "VAT", "percent": percent}]
    found = faults(tree, JobEstimateRequest)["rates"]
    null = ["must not be null"]
    told = null if amount is None else ['must be a decimal amount as text, like "62.50"']
    assert found["labour_per_hour"] == told
    told = null if percent is None else ['must be a decimal from 0 to 100 as text, like "8.875"']
    assert found["taxes"][0]["percent"] == told


def test_a_start_may_have_a_fraction_of_a_second_which_is_dropped() -> None:
    """As browsers write a moment."""
    tree = example("job-estimate-request")
    found = [
        schemas.load(JobEstimateRequest, tree | {"start": f"2031-03-04T06:30:00{tail}"}).request
        for tail in ("Z", ".000Z", ".999999999+00:00")
    ]
    assert {made.start for made in found} == {datetime(2031, 3, 4, 6, 30, tzinfo=UTC)}
    for wrong in ("2031-03-04T06:30:00.Z", "2031-03-04T06:30:00", 1930372200):
        told = ['must be a date and time like "2031-03-04T07:30:00+01:00"']
        assert faults(tree | {"start": wrong}, JobEstimateRequest)["start"] == told


def test_what_is_left_out_is_worked_out() -> None:
    made = schemas.load(PlugTimeRequest, body()).request
    assert made.pipe.outside_diameter == pytest.approx(0.015875)
    assert made.jacket.length == pytest.approx(0.015875 + 0.025)
    assert made.fluid.concentration == 0.0


def test_given_names_members_of_members_and_entries_of_lists() -> None:
    tree = example("job-estimate-request")
    tree["places"] = [{"name": "A", "kind": "cut", "at": {"value": 1, "unit": "m"}}]
    given = schemas.load(JobEstimateRequest, tree).given
    assert {"pipe", "pipe.size", "fluid.temperature", "places", "places.0.at"} <= given
    assert not {"jacket", "jacket.length", "places.0.at.unit", "pipe.wall"} & given


def test_every_fault_is_named_at_once() -> None:
    tree = body(
        pipe={"standard": "ASTM B88", "wall": 1, "x": 2},
        fluid={"temperature": {"value": "20", "unit": "degC"}},
        ambient={"temperature": {"value": 500, "unit": "degF"}},
        units="metric",
        id=None,
        zz=1,
    )
    del tree["line_pressure"]
    assert faults(tree) == {
        "pipe": {
            "wall": ['must be an object {"value": number, "unit": text}',
                     "give either standard, size and schedule or measures"],
            "x": ["unknown member"],
        },
        "fluid": {"temperature": {"value": ["must be a number"]}},
        "ambient": {"temperature": {"value": ["must be from -4 to 122 degF"]}},
        "units": ["must be one of si, us"],
        "id": ["must not be null"],
        "zz": ["unknown member"],
        "line_pressure": ["required"],
    }  # fmt: skip


def test_a_conflict_stands_beside_the_faults_within_a_member() -> None:
    wall = {"value": 1, "unit": "mile"}
    found = faults(body(pipe={"standard": "ASTM B88", "wall": wall}))["pipe"]["wall"]
    assert set(found) == {"unit", "_schema"}
    assert found["_schema"] == ["give either standard, size and schedule or measures"]


@pytest.mark.parametrize("tree", [None, [], "x", 1, True])
def test_a_body_is_an_object(tree: Any) -> None:
    assert faults(tree) == {"_schema": ["must be an object"]}


@pytest.mark.parametrize("group", ["pipe", "fluid", "jacket", "cylinder"])
@pytest.mark.parametrize("value", [[], "x", 1])
def test_a_group_is_an_object(group: str, value: Any) -> None:
    assert faults(body(**{group: value})) == {group: ["must be an object"]}


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("5", "must be a number"), (True, "must be a number"), (None, "must be a number"),
        (float("nan"), "must be a finite number"), (10**400, "must be a finite number"),
        (41, "must be from 0 to 40 bar"), (-0.1, "must be from 0 to 40 bar"),
    ],
)  # fmt: skip
def test_a_quantity_is_a_number_within_its_range(value: Any, says: str) -> None:
    found = faults(body(line_pressure={"value": value, "unit": "bar"}))
    assert found == {"line_pressure": {"value": [says]}}


def test_a_quantity_has_a_unit_of_its_kind_and_no_more() -> None:
    found = faults(body(line_pressure={"unit": "m", "x": 1}))["line_pressure"]
    assert found == {
        "value": ["required"], "unit": ["must be one of Pa, kPa, MPa, bar, psi"],
        "x": ["unknown member"],
    }  # fmt: skip


def test_faults_of_entries_have_their_index() -> None:
    tree = example("spacing-validation-request")
    tree["places"].append({"name": "", "kind": "pump"})
    last = len(tree["places"]) - 1
    found = faults(tree, request_of("spacing-validation-request"))
    assert set(found["places"]) == {last}
    assert set(found["places"][last]) == {"name", "kind", "at"}


@pytest.mark.parametrize("value", [[], {}, [{}] * 51, None])
def test_a_list_has_one_to_fifty_entries(value: Any) -> None:
    tree = example("spacing-validation-request") | {"places": value}
    detail = "must not be null" if value is None else "must be an array of 1 to 50 members"
    assert faults(tree, request_of("spacing-validation-request")) == {"places": [detail]}


@pytest.mark.parametrize(
    ("text", "code"),
    [("a\x00", "U+0000"), ("\x1f", "U+001F"), ("\x7f", "U+007F"), ("x\x9fx", "U+009F"),
     ("\ud800", "U+D800"), ("\ufffe", "U+FFFE"), ("\uffff", "U+FFFF")],
)  # fmt: skip
def test_a_name_has_no_control_characters(text: str, code: str) -> None:
    says = [f"must not contain control characters; there is {code}"]
    assert faults(body(id=text)) == {"id": says}
    pipe = {"standard": "ASTM B88", "size": text, "schedule": "L"}
    assert faults(body(pipe=pipe)) == {"pipe": {"size": says}}
    tree = example("spacing-validation-request")
    tree["places"][0]["name"] = text
    found = faults(tree, request_of("spacing-validation-request"))
    assert found == {"places": {0: {"name": says}}}


def test_a_name_may_be_in_any_script() -> None:
    name = "Hafengasse 3 · 港 \U0001f9ca é"
    assert schemas.load(PlugTimeRequest, body(id=name)).request.id == name


@pytest.mark.parametrize(
    ("cylinder", "found"),
    [
        ({"id": "co2-9.1kg", "net_mass": {"value": 9, "unit": "kg"}}, {"net_mass"}),
        ({"fill_ratio": {"value": 0.6, "unit": "kg/L"}}, {"fill_ratio"}),
    ],
)
def test_members_that_do_not_go_together_are_refused(cylinder: Any, found: set[str]) -> None:
    tree = example("cylinder-count-request") | {"cylinder": cylinder}
    assert set(faults(tree, request_of("cylinder-count-request"))["cylinder"]) == found


@pytest.mark.parametrize(
    ("value", "sound"),
    [("0", True), ("62.5", True), ("62.50", True), ("999999999.99", True), ("1e3", False),
     ("-1", False), ("1.234", False), (".5", False), ("", False), (62.5, False), ("٣", False)],
)  # fmt: skip
def test_money_is_a_decimal_amount_as_text(value: Any, sound: bool) -> None:
    tree = example("job-estimate-request")
    tree["rates"] = {"currency": "EUR", "labour_per_hour": value, "co2_per_kg": "4"}
    if sound:
        schemas.load(JobEstimateRequest, tree)
    else:
        assert set(faults(tree, JobEstimateRequest)["rates"]) == {"labour_per_hour"}


def test_whole_numbers_and_flags_are_strict() -> None:
    tree = example("cylinder-count-request") | {"points": 1.5}
    tree["cylinder"]["dip_tube"] = 1
    found = faults(tree, request_of("cylinder-count-request"))
    assert found["points"] == ["must be a whole number"]
    assert found["cylinder"]["dip_tube"] == ["must be true or false"]
    tree = copy.deepcopy(tree) | {"points": 31}
    found = faults(tree, request_of("cylinder-count-request"))
    assert found["points"] == ["must be from 1 to 30"]


def test_a_whole_number_may_be_written_with_a_point() -> None:
    tree = example("cylinder-count-request") | {"points": 2.0}
    points = schemas.load(request_of("cylinder-count-request"), tree).request.points
    assert (points, type(points)) == (2, int)


def test_what_the_catalogues_lack_is_named_with_its_choices() -> None:
    tree = body(pipe={"standard": "ASTM B88", "size": "9", "schedule": "Q"})
    with pytest.raises(UnknownEntryError) as caught:
        schemas.load(PlugTimeRequest, tree)
    assert {f.path for f in caught.value.faults} == {("pipe", "size"), ("pipe", "schedule")}
    assert "1-1/4" in str(caught.value)


def test_a_fluid_already_frozen_is_out_of_validity() -> None:
    with pytest.raises(OutOfValidityError) as caught:
        schemas.load(PlugTimeRequest, body(fluid={"temperature": {"value": -5, "unit": "degC"}}))
    assert [f.path for f in caught.value.faults] == [("fluid", "temperature")]


def test_catalogue_and_model_speak_together() -> None:
    tree = body(
        pipe={"standard": "ASTM B88", "size": "9", "schedule": "L"},
        fluid={"type": "propylene_glycol", "temperature": {"value": 18, "unit": "degC"}},
    )
    with pytest.raises(StillpipeError) as caught:
        schemas.load(PlugTimeRequest, tree)
    assert {f.path[0] for f in caught.value.faults} == {"pipe", "fluid"}


def test_what_is_out_of_validity_is_named_beside_what_is_out_of_range() -> None:
    """Water that is ice already and a pressure below nothing: both in one answer."""
    tree = body(
        pipe={"standard": "ASTM B88", "size": "9", "schedule": "L"},
        fluid={"temperature": {"value": -5, "unit": "degC"}},
        line_pressure={"value": -1, "unit": "bar"},
    )
    with pytest.raises(ValidationError) as caught:
        schemas.load(PlugTimeRequest, tree)
    problem = problems.of(caught.value)
    assert {e["pointer"] for e in problem["errors"]} == {
        "#/line_pressure/value", "#/fluid/temperature", "#/pipe/size",
    }  # fmt: skip
    assert problem["type"] == "/v1/problems/invalid-request"
    assert "freezing point" in next(
        e["detail"] for e in problem["errors"] if e["pointer"] == "#/fluid/temperature"
    )


def test_a_bore_that_a_lining_closes_is_named_beside_what_is_out_of_range() -> None:
    wall = {"value": 2, "unit": "mm"}
    pipe = {"outside_diameter": {"value": 10, "unit": "mm"}, "wall": wall, "material": "pvc"}
    below = {"value": -1, "unit": "bar"}
    wide, narrow = (
        body(
            pipe=pipe, line_pressure=below,
            lining={"material": "iron_oxide_scale", "thickness": {"value": mm, "unit": "mm"}},
        )
        for mm in (2.0, 2.1)
    )  # fmt: skip
    assert set(faults(wide)) == {"line_pressure"}
    assert faults(narrow)["pipe"] == {"_schema": ["the free bore must be at least 2 mm"]}


def test_a_group_that_cannot_be_read_is_not_judged_further() -> None:
    tree = body(fluid={"temperature": {"value": 500, "unit": "degC"}}, units="metric")
    assert faults(tree) == {
        "fluid": {"temperature": {"value": ["must be from -20 to 40 degC"]}},
        "units": ["must be one of si, us"],
    }


@pytest.mark.parametrize(
    ("value", "says"),
    [
        (0.9, "must be an array of 1 to 20 members"),
        ("0.9", "must be an array of 1 to 20 members"),
        ({}, "must be an array of 1 to 20 members"),
        ([], "must be an array of 1 to 20 members"),
        ([n / 100 for n in range(10, 31)], "must be an array of 1 to 20 members"),
        ([0.5, "0.9"], {1: ["must be a number"]}),
        ([True, None], {0: ["must be a number"], 1: ["must be a number"]}),
        ([0.0, 0.5, 1.0], {0: ["must be from 0.01 to 0.99"], 2: ["must be from 0.01 to 0.99"]}),
        ([0.5, 0.9, 0.5], {2: ["must not be there twice"]}),
        ([float("nan")], {0: ["must be a finite number"]}),
    ],
)
def test_numbers_are_an_array_of_different_numbers(value: Any, says: Any) -> None:
    found = faults(body(percentiles=value))
    assert found == {"percentiles": [says] if isinstance(says, str) else says}


def test_every_number_that_is_wrong_is_pointed_at() -> None:
    with pytest.raises(ValidationError) as caught:
        schemas.load(PlugTimeRequest, body(percentiles=[2, 0.5, "x"], decision_probability=1))
    problem = problems.of(caught.value)
    pointers = {e["pointer"] for e in problem["errors"]}
    assert pointers == {"#/percentiles/0", "#/percentiles/2", "#/decision_probability"}


def test_numbers_keep_their_order() -> None:
    made = schemas.load(PlugTimeRequest, body(percentiles=[0.9, 0.1, 0.5])).request
    assert made.percentiles == (0.9, 0.1, 0.5)
    assert schemas.load(PlugTimeRequest, body()).request.percentiles == ()


@pytest.mark.parametrize("stem", ["hold-time-request", "co2-mass-request", "frost-check-request"])
def test_a_time_of_ones_own_is_no_member_where_nothing_is_told_of_it(stem: str) -> None:
    tree = example(stem) | {"ready_by": {"value": 10, "unit": "min"}}
    assert faults(tree, request_of(stem)) == {"ready_by": ["unknown member"]}


@pytest.mark.parametrize(
    ("sent", "says"),
    [
        (b"", "the body is empty"),
        (b" \r\n", "the body is empty"),
        (b'{"pipe": {"size": "1", "wall": 1, "size": "2"}}', 'a member is given twice: "size"'),
        (b'{"\xc3\xa9": 1, "\xc3\xa9": 2}', 'a member is given twice: "\\u00e9"'),
        (b'{"%b": 1, "%b": 2}' % ((b"a" * 99,) * 2), f'a member is given twice: "{"a" * 64}"'),
    ],
)
def test_what_is_no_json_says_what_is_wrong(sent: bytes, says: str) -> None:
    with pytest.raises(problems.RequestError) as caught:
        reading.read(sent)
    assert str(caught.value) == says
