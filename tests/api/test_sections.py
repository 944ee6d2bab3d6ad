"""Sections, ends and air: they say what the reply says, to scale, in grey, whatever names are."""

import copy
import itertools
import re
import xml.etree.ElementTree as ET
from typing import Any

import orjson
import pytest

from api.examples import example
from stillpipe.api.answers import ANSWERS
from stillpipe.api.forms import air, canvas, ends, pictures, section
from stillpipe.api.forms.run import draw, picture, read
from stillpipe.api.registry import ENDPOINTS, PICTURES
from stillpipe.api.selection import Selection

SPACE = "{http://www.w3.org/2000/svg}"
HOSTILE = '</text><script>alert(1)</script> & "$x$" \u202e'
EXAMPLES = {
    "plug-time": "plug-time-request", "hold-time": "hold-time-request",
    "spacing-validation": "spacing-validation-request", "ventilation": "ventilation-request",
    "job-estimate": "job-estimate-request",
}  # fmt: skip
EVERY = [(name, which) for name, drawn in PICTURES.items() for which in drawn]


def reply(name: str, **changes: Any) -> dict[str, Any]:
    """The whole reply to an example, made once."""
    body = orjson.dumps(example(EXAMPLES[name]) | changes)
    whole = Selection(include=ENDPOINTS[name].on_request)
    found: dict[str, Any] = orjson.loads(ANSWERS.answer(name, body, asked=whole).body)
    return found


def texts(svg: bytes) -> list[str]:
    return ["".join(t.itertext()) for t in ET.fromstring(svg).iter(f"{SPACE}text")]


def description(svg: bytes) -> str:
    return str(ET.fromstring(svg).findtext(f"{SPACE}desc"))


def place(name: str, kind: str, at: float) -> dict[str, Any]:
    return {"name": name, "kind": kind, "at": {"value": at, "unit": "m"}}


@pytest.mark.parametrize(("name", "which"), EVERY)
def test_a_callers_words_stay_words_in_every_picture(name: str, which: str) -> None:
    changes: dict[str, Any] = {"id": HOSTILE}
    if "places" in example(EXAMPLES[name]):
        changes["places"] = [
            place(HOSTILE, "freeze-point", 0), place(HOSTILE + "2", "cut", 1),
            place(HOSTILE + "3", "freeze-point", 2),
        ]  # fmt: skip
    svg = PICTURES[name][which](reply(name, **changes))
    tree = ET.fromstring(svg)
    assert str(tree.findtext(f"{SPACE}title")).startswith(HOSTILE)
    assert not [each for each in tree.iter() if each.tag.endswith("script")]
    assert b"<script" not in svg


@pytest.mark.parametrize(("name", "which"), EVERY)
def test_words_are_on_the_page(name: str, which: str) -> None:
    tree = ET.fromstring(PICTURES[name][which](reply(name)))
    height = float(str(tree.get("height")).removesuffix("pt"))
    for each in tree.iter(f"{SPACE}text"):
        if "y" in each.attrib and "rotate(-90" not in each.get("transform", ""):
            assert 0.0 <= float(each.attrib["y"]) <= height
            assert -1.0 <= float(each.attrib["x"]) <= canvas.WIDTH * 72.0 + 1.0


def test_one_picture_leaves_nothing_in_the_next() -> None:
    first = [PICTURES[name][which](reply(name)) for name, which in EVERY]
    for name, which in EVERY:
        PICTURES[name][which](reply(name, units="us"))
    again = [PICTURES[name][which](reply(name)) for name, which in reversed(EVERY)]
    assert again[::-1] == first


def luminance(color: str) -> float:
    """How light a colour is in grey [-] (the weights of ITU-R BT.709, on linear values)."""
    parts = (int(color[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    linear = [x / 12.92 if x <= 0.04045 else ((x + 0.055) / 1.055) ** 2.4 for x in parts]
    return sum(w * x for w, x in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize(
    "tones",
    [(*section.SHADES, section.LIQUID), (draw.AT_READY, draw.AT_END, draw.WATER),
     (canvas.ICE, canvas.AFTER, canvas.WATER)],
)  # fmt: skip
def test_tones_are_apart_in_grey(tones: tuple[str, ...]) -> None:
    """Side by side at 1.2 to 1 at least (contrast as in WCAG 2)."""
    for dark, light in itertools.pairwise(map(luminance, tones)):
        assert (light + 0.05) / (dark + 0.05) > 1.2


def areas(svg: bytes, color: str) -> list[list[tuple[float, float]]]:
    """The corners of all areas of a colour [pt]."""
    tree, link = ET.fromstring(svg), "{http://www.w3.org/1999/xlink}href"
    known = {p.get("id"): str(p.get("d")) for p in tree.iter(f"{SPACE}path")}
    found = []
    for each in tree.iter():
        if f"fill: {color}" not in each.get("style", ""):
            continue
        if each.tag == f"{SPACE}use":
            dx, dy, path = (
                float(each.attrib["x"]),
                float(each.attrib["y"]),
                known[each.attrib[link][1:]],
            )
        else:
            dx, dy, path = 0.0, 0.0, str(each.get("d"))
        numbers = [float(x) for x in re.findall(r"-?[\d.]+", path)]
        pairs = zip(numbers[::2], numbers[1::2], strict=True)
        found.append([(x + dx, y + dy) for x, y in pairs])
    return found


def width(area: list[tuple[float, float]]) -> float:
    return max(x for x, _ in area) - min(x for x, _ in area)


def test_the_section_is_to_scale() -> None:
    """The jacket is as wide as it is long, beside the ice and the pipe's outside."""
    found = reply("plug-time")
    svg = section.plug_time(found)
    jacket = width(areas(svg, canvas.JACKET)[-1])
    youngest = width(areas(svg, section.SHADES[-1])[0])
    stated = found["inputs"]["jacket"]["length"]["value"]
    assert youngest / jacket == pytest.approx(
        2.0 * found["profile"]["position"]["values"][-1] / stated, rel=1e-3
    )  # fmt: skip
    assert "drawn 2 times larger across than along" in " ".join(texts(svg))


def test_the_section_says_when_the_ice_was_so() -> None:
    found = reply("plug-time")
    svg = section.plug_time(found)
    for moment in found["profile"]["moments"]:
        assert f"{moment['time']['value'] / 60:.1f} min" in texts(svg)
        assert f"after {moment['time']['value'] / 60:.1f} min ice reaches" in description(svg)
    assert "planned ready" in texts(svg)


def test_ends_say_how_long_the_plug_is_and_when_it_lets_go() -> None:
    found = reply("hold-time")
    said = description(ends.hold_time(found))
    assert "unfed from then on it lets go after" in said
    assert f"{found['plug_length']['likely']:.0f} mm" in said


def test_what_may_never_let_go_is_open_at_its_end() -> None:
    never = copy.deepcopy(reply("hold-time"))
    never["survival"]["high"] = None
    assert any("or never" in text for text in texts(ends.hold_time(never)))
    assert "to never" in description(ends.hold_time(never))
    assert not any("never" in text for text in texts(ends.hold_time(reply("hold-time"))))


def test_a_plug_that_does_not_let_go_at_the_median_is_open_too() -> None:
    room = {"temperature": {"value": -5, "unit": "degC"}}
    found = reply("hold-time", ambient=room)
    assert found["survival"] is None
    svg = ends.hold_time(found)
    assert "it may never let go" in description(svg)
    assert any("it may never let go" in text for text in texts(svg))
    assert "a day or more, or never" in texts(pictures.hold_time(found))
    assert "a day or more, or never" not in texts(pictures.hold_time(reply("hold-time")))


def points(*names: str, run: str = "run") -> dict[str, Any]:
    """A job with freeze points of their own on a run, half a metre apart."""
    found = copy.deepcopy(reply("job-estimate"))
    own = {k: found[k] for k in ("growth", "planned_ready", "survival", "plug_length")}
    found["freeze_points"] = [
        own | {"name": name, "run": run, "at": {"value": 500.0 * n, "unit": "mm"}}
        for n, name in enumerate(names)
    ]
    found["spacing"] = {"rules": [], "trapped_water": []}
    found["inputs"]["places"] = []
    return found


def test_plugs_that_grow_differently_are_drawn_each() -> None:
    found = points("boiler", "riser", "attic")
    assert description(ends.job(found)).count("the plug is") == 1, "all alike"
    values = found["freeze_points"][1]["growth"]["high"]
    found["freeze_points"][1]["growth"] = copy.deepcopy(found["freeze_points"][1]["growth"])
    found["freeze_points"][1]["growth"]["high"]["values"] = [2.0 * x for x in values["values"]]
    assert {" boiler", " riser"} <= set(texts(ends.job(found)))


def test_a_job_on_two_runs_is_drawn_as_two() -> None:
    found = points("boiler", "riser")
    found["freeze_points"][1]["run"] = "north"
    rules = [
        rule | {"between": ["boiler", "boiler"]}
        for rule in reply("job-estimate")["spacing"]["rules"]
    ]
    found["spacing"]["rules"] = [rules[0] | {"run": "run"}]
    one, other = read.of_job(found)
    assert (len(one.rules), len(other.rules)) == (1, 0)
    said = texts(picture.job(found))
    assert {"run run", "run north", "boiler, 0 mm", "riser, 500 mm"} <= set(said)


def test_a_freeze_point_on_a_pipe_of_its_own_is_drawn_as_wide_as_that_is() -> None:
    found = points("boiler", "riser")
    pipe = {"outside_diameter": {"value": 33.4, "unit": "mm"}, "wall": {"value": 3.4, "unit": "mm"}}
    jacket = {"length": {"value": 58.4, "unit": "mm"}}
    found["inputs"]["freeze_points"] = [
        {"name": {"value": "boiler"}, "pipe": None, "jacket": None},
        {"name": {"value": "riser"}, "pipe": pipe, "jacket": jacket},
    ]
    (run,) = read.of_job(found)
    assert [plug.outside for plug in run.plugs.values()] == [15.875, 33.4]
    assert [plug.jacket for plug in run.plugs.values()] == [40.875, 58.4]
    assert {" boiler", " riser"} <= set(texts(ends.job(found)))


def test_a_run_has_every_place_its_distance_and_the_water_between() -> None:
    found = reply("spacing-validation")
    svg = picture.spacing(found)
    said = texts(svg)
    for name in ("point 1, 0 mm", "vent: drain cock, 900 mm", "cut: cut, 1.00 m",
                 "fitting: elbow, 2.40 m"):  # fmt: skip
        assert name in said
    rule = next(r for r in found["rules"] if r["rule"] == "cut")
    assert f"cut: 1.00 m, needs {rule['required']['value']:.0f} mm" in said
    assert "keep the vent open" in " ".join(said)
    assert "between point 1 and point 2: 2.00 m, needs" in description(svg)


def test_bare_pipe_that_is_left_out_is_said() -> None:
    far = [place("a", "freeze-point", 0), place("c", "cut", 15), place("b", "freeze-point", 30)]
    said = texts(picture.spacing(reply("spacing-validation", places=far)))
    assert sum(bool(re.fullmatch(r"14\.\d\d m", text)) for text in said) == 2


def test_points_too_near_are_said_to_be() -> None:
    near = [place("a", "freeze-point", 0), place("c", "cut", 0.2), place("b", "freeze-point", 0.4)]
    pipe = {"standard": "ASTM B88", "size": "1/2", "schedule": "L"}
    said = texts(picture.spacing(reply("spacing-validation", places=near, pipe=pipe)))
    assert any("TOO NEAR" in text for text in said)


def test_places_of_one_name_are_told_apart_by_their_distance() -> None:
    twice = [place("a", "freeze-point", 0), place("c", "cut", 1), place("c", "cut", 3)]
    found = reply("spacing-validation", places=twice)
    (run,) = read.of_spacing(found)
    assert len(run.places) == 3
    assert len([t for t in texts(picture.spacing(found)) if t.startswith("cut: 3.00 m")]) == 1


def test_of_many_distances_the_tightest_are_drawn() -> None:
    many = [place(f"p{n}", "freeze-point", 4 * n) for n in range(6)]
    said = texts(picture.spacing(reply("spacing-validation", places=many)))
    assert "22 more distances are not drawn; they are no tighter." in said


@pytest.mark.parametrize("places", [[place("c", "cut", 1)], None], ids=["no point", "slush"])
def test_a_run_without_a_plug_shows_the_reason(places: Any) -> None:
    slush = {"type": "propylene_glycol", "concentration": {"value": 30, "unit": "%"},
             "temperature": {"value": 18, "unit": "degC"}}  # fmt: skip
    changes = {"fluid": slush} if places is None else {"places": places}
    found = reply("spacing-validation", **changes)
    assert found["reasons"][-1]["text"] in " ".join(texts(picture.spacing(found)))


def test_the_air_has_every_limit_and_how_much_of_it_is_reached() -> None:
    found = reply("ventilation")
    said = " ".join(texts(air.ventilation(found)))
    for limit in found["limits"]:
        assert f"{limit['worst']['value']:,.0f} of {limit['limit']['value']:,.0f} ppm" in said
    assert "least oxygen" in description(air.ventilation(found))


def test_a_limit_that_is_passed_is_said_and_oxygen_in_percent() -> None:
    room = example("ventilation-request")["room"] | {"volume": {"value": 5, "unit": "m3"}}
    found = reply("ventilation", room=room)
    said = " ".join(texts(air.ventilation(found)))
    assert "passed after" in said
    assert "OSHA oxygen 19.5 %" in said


def test_a_job_without_a_room_says_why_there_is_no_air() -> None:
    body = example("job-estimate-request")
    del body["room"]
    found = orjson.loads(ANSWERS.answer("job-estimate", orjson.dumps(body)).body)
    assert "No room was stated" in description(air.job(found))


def test_moments_of_a_freeze_point_stand_together_under_its_name() -> None:
    found = copy.deepcopy(reply("job-estimate"))
    feed, ready = found["timeline"][1], found["timeline"][4]
    found["timeline"] = [
        feed | {"point": None}, ready | {"point": "riser"}, ready | {"point": HOSTILE},
        feed | {"points": ["riser"]}, ready | {"points": []},
    ]  # fmt: skip
    rows = [each if isinstance(each, str) else each["code"]
            for each in pictures.grouped(found["timeline"])]  # fmt: skip
    assert rows == [
        feed["code"],
        ready["code"],
        "riser",
        ready["code"],
        feed["code"],
        HOSTILE,
        ready["code"],
    ]
    assert "riser" in texts(pictures.job(found))
    assert f"{ready['code']} of riser at" in description(pictures.job(found))
