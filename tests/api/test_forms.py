"""Pictures say what the reply says, and need nothing else."""

import itertools
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from typing import Any

import orjson
import pytest

from api.examples import example, request_of
from stillpipe.api.forms import canvas, pictures
from stillpipe.api.inputs import echo, schemas

SPACE = "{http://www.w3.org/2000/svg}"
NAME = "harbour-lane-baths/filter-room/<point> $1$"


def span(low: float, likely: float, high: float | None, unit: str = "s") -> dict[str, Any]:
    return {"low": low, "likely": likely, "high": high, "unit": unit}


def series(unit: str, *values: float) -> dict[str, Any]:
    return {"unit": unit, "values": list(values)}


def head(stem: str, verdict: str = "go", **changes: Any) -> dict[str, Any]:
    loaded = schemas.load(request_of(stem), example(stem) | changes)
    return {
        "id": NAME, "model_version": "1.0.1", "units": loaded.request.units.value,
        "inputs": echo.inputs(loaded.request, loaded.given), "verdict": verdict, "reasons": [],
        "cautions": [{"code": "cold", "text": "Dry ice is <very> cold.", "severity": "warn"}],
    }  # fmt: skip


def freeze(units: str = "si") -> dict[str, Any]:
    length = "mm" if units == "si" else "in"
    return head("plug-time-request", units=units) | {
        "closure": span(200.0, 240.0, 300.0), "ready": span(210.0, 270.0, None),
        "frost_by": None, "plug_length": span(18.0, 20.0, 25.0, length),
        "planned_ready": {"value": 300.0, "unit": "s"},
        "history": {
            "time": series("s", 0.0, 120.0, 240.0, 270.0),
            "plug_length": series(length, 0.0, 0.0, 5.0, 20.0),
            "bonded_length": series(length, 0.0, 40.0, 60.0, 90.0),
            "liquid_radius": series(length, 6.9, 4.0, 0.0, 0.0),
        },
        "bands": {
            "time": series("s", 0.0, 150.0, 300.0),
            "liquid_radius_low": series(length, 6.9, 1.0, 0.0),
            "liquid_radius_high": series(length, 6.9, 5.0, 0.0),
            "plug_length_low": series(length, 0.0, 0.0, 9.0),
            "plug_length_high": series(length, 0.0, 8.0, 30.0),
        },
    }  # fmt: skip


def refusal() -> dict[str, Any]:
    reason = {"code": "slush", "text": "It stays slush & water.", "severity": "stop"}
    empty, bands = ({k: series("s") for k in freeze()[n]} for n in ("history", "bands"))
    return head("plug-time-slush", "no-go") | {
        "reasons": [reason], "closure": None, "ready": None, "frost_by": None,
        "plug_length": None, "planned_ready": None, "history": empty, "bands": bands,
    }  # fmt: skip


def event(code: str, at: float, latest: float | None) -> dict[str, Any]:
    def quantity(value: float) -> dict[str, Any]:
        return {"value": value, "unit": "s"}

    last = None if latest is None else quantity(latest)
    return {
        "code": code, "at": quantity(at), "earliest": quantity(at - 60.0), "latest": last,
        "text": f"What to do when {code}.",
    }  # fmt: skip


def job() -> dict[str, Any]:
    line = {"item": "labour", "quantity": "2.5", "unit": "h", "rate": "62.00", "amount": "155.00"}
    return head("job-estimate-request", "conditional") | {
        "timeline": [event("feed", 1800.0, 1800.0), event("ready", 2400.0, 2700.0),
                     event("thawed", 9000.0, None)],
        "co2": {"job_total": span(2.0, 3.5, 5.0, "kg")},
        "chance": 0.9499, "planned_ready": {"value": 600.0, "unit": "s"},
        "promises": [
            {"chance": 0.5, "by": {"value": 9000.0, "unit": "s"}},
            {"chance": 0.9, "by": {"value": 10800.0, "unit": "s"}},
        ],
        "cylinders": {"count": span(1.0, 2.0, None, "1"), "planned_count": 4},
        "air": None,
        "quote": {"currency": "EUR", "lines": [line], "total": "155.00", "drain_down": [],
                  "drain_down_total": "820.00"},
    }  # fmt: skip


def drawn(picture: bytes) -> ET.Element:
    return ET.fromstring(picture)


def words(tree: ET.Element) -> str:
    return " ".join("".join(t.itertext()) for t in tree.iter(f"{SPACE}text"))


def test_a_freeze_says_in_words_what_it_shows() -> None:
    tree = drawn(pictures.plug_time(freeze()))
    assert tree.findtext(f"{SPACE}title") == f"{NAME}: go"
    assert tree.findtext(f"{SPACE}desc") == (
        "closed after 4.0 min (3.3 to 5.0); ready after 4.5 min (3.5 to never); "
        "planned ready 5.0 min"
    )
    assert NAME in words(tree)
    assert "closed" in words(tree)
    assert "frost" not in words(tree)


@pytest.mark.parametrize(("units", "label"), [("si", "[mm]"), ("us", "[in]")])
def test_axes_are_in_the_units_of_the_reply(units: str, label: str) -> None:
    assert label in words(drawn(pictures.plug_time(freeze(units))))


def test_a_refusal_shows_its_reason() -> None:
    tree = drawn(pictures.plug_time(refusal()))
    assert "It stays slush & water." in words(tree)
    assert tree.findtext(f"{SPACE}desc") == "It stays slush & water."


def test_a_timeline_has_every_event_and_says_what_may_never_come() -> None:
    tree = drawn(pictures.job(job()))
    assert {"feed", "ready", "thawed"} <= set(words(tree).split())
    assert "or never" in words(tree)
    assert tree.findtext(f"{SPACE}desc") == "feed at 30 min; ready at 40 min; thawed at 150 min"


def test_nothing_of_one_picture_is_left_in_the_next() -> None:
    """Axes are kept from picture to picture."""
    first, other = freeze(), freeze("us") | {"id": "other", "frost_by": span(9.0, 60.0, 90.0)}
    course, timeline = pictures.plug_time(first), pictures.job(job())
    longer = job()
    longer["timeline"] += [event("again", 9900.0, 9999.0)]
    pictures.job(longer)
    pictures.plug_time(other)
    assert pictures.plug_time(first) == course
    assert pictures.job(job()) == timeline


def paths(reply: dict[str, Any], *styles: str) -> list[str]:
    """What is drawn in that style, each as its path."""
    every = (p.attrib for p in drawn(pictures.plug_time(reply)).iter(f"{SPACE}path"))
    return [p["d"] for p in every if all(s in p.get("style", "") for s in styles)]


def dashed(reply: dict[str, Any]) -> float:
    """How far down the dashed line of a sound plug is drawn [pt]."""
    return float(paths(reply, "stroke-dasharray", canvas.STOP)[0].split()[2])


def test_the_dashed_line_is_at_the_sound_plug_when_ready() -> None:
    short, long = freeze(), freeze()
    long["plug_length"]["likely"] = 60.0
    assert dashed(short) > dashed(long), "20 mm lie below 60 mm, and SVG counts downwards"
    never = freeze() | {"ready": None, "plug_length": None, "planned_ready": None}
    assert "sound plug at ready" not in words(drawn(pictures.plug_time(never)))


def test_bands_are_drawn_about_the_likely_course() -> None:
    """Two dashed fronts and an area; the axis of time is as long as the longer of both."""
    fronts = paths(freeze(), "stroke-dasharray", canvas.INK)
    assert len(fronts) == 2
    ends = [float(front.split()[-2]) for front in fronts]
    assert ends[0] == ends[1], "both end with the band, at 300 s"
    likely = paths(freeze(), "stroke-width: 2.2", canvas.ICE)[0].split()
    assert float(likely[-2]) < ends[0], "the likely course ends at 270 s"
    said = words(drawn(pictures.plug_time(freeze())))
    assert "dashed: 5th and 95th percentile" in said
    assert "planned ready" in said


def test_a_plug_that_is_not_expected_to_get_ready_has_no_bands() -> None:
    never = freeze() | {"ready": None, "plug_length": None, "planned_ready": None}
    never["bands"] = {k: series("s") for k in never["bands"]}
    tree = drawn(pictures.plug_time(never))
    assert "closed" in words(tree)
    assert "planned ready" not in words(tree)
    assert "percentile" not in words(tree)


def test_matplotlib_is_imported_when_a_picture_is_first_asked_for() -> None:
    code = (
        "import sys, orjson; from stillpipe.api import registry;"
        "form = registry.ENDPOINTS['plug-time'].forms[registry.SVG];"
        "assert 'matplotlib' not in sys.modules;"
        "assert form(orjson.loads(sys.stdin.read())).startswith(b'<?xml');"
        "assert 'matplotlib' in sys.modules"
    )
    subprocess.run(
        [sys.executable, "-c", code], check=True, timeout=120, input=orjson.dumps(freeze())
    )


def test_a_job_that_flow_prevents_is_drawn_as_a_refusal() -> None:
    reason = {"code": "flowing", "text": "Stop the flow.", "severity": "stop"}
    reply = head("job-estimate-request", "no-go") | {
        "reasons": [reason], "timeline": [event("arrive", 0.0, 0.0)],
    }  # fmt: skip
    drawn = pictures.job(reply).decode()
    assert "Stop the flow." in drawn
    assert "time from arrival" not in drawn


def sight(kind: str, at: float, fits: bool = True, **stated: Any) -> tuple[Any, Any]:
    """An observation as the reply has it, learned and echoed."""
    elapsed = {"value": at, "unit": "s"}
    echoed = {"kind": {"value": kind, "default": False}, "elapsed": elapsed | {"default": False}}
    return {"kind": kind, "elapsed": elapsed, "fits": fits}, echoed | stated


def learned(*sights: tuple[Any, Any], used: bool = True, late: float | None = 420.0) -> Any:
    """A freeze of which something was seen."""
    reply = freeze()
    reply["learned"] = {
        "used": used, "observations": [held for held, _ in sights],
        "before": {"closure": span(120.0, 210.0, late), "ready": span(130.0, 220.0, late)},
    }  # fmt: skip
    reply["inputs"]["observations"] = [echoed for _, echoed in sights]
    return reply


def amount(value: float, unit: str) -> dict[str, Any]:
    return {"value": value, "unit": unit, "default": False}


EVERY = (
    sight("no-frost", 60.0), sight("frost", 90.0, False),
    sight("surface-temperature", 100.0, value=amount(12.0, "degC")),
    sight("weight-drawn", 200.0, value=amount(0.8, "kg")), sight("flow-stopped", 290.0),
    sight("pressure-held", 360.0, value=amount(300.0, "kPa")),
)  # fmt: skip
WORDS = ("no frost yet", "frost, does not fit", "12 degC", "0.8 kg drawn", "flow stopped",
         "300 kPa held")  # fmt: skip


def texts(tree: ET.Element) -> list[str]:
    return ["".join(t.itertext()) for t in tree.iter(f"{SPACE}text")]


def marks(reply: dict[str, Any]) -> list[tuple[float, float]]:
    """Where dots are drawn [pt], from left to right."""
    tree = drawn(pictures.plug_time(reply))
    used = [u.attrib for u in tree.iter(f"{SPACE}use") if canvas.STOP in u.get("style", "")]
    return sorted((float(u["x"]), float(u["y"])) for u in used)


def test_every_observation_is_marked_at_its_time_with_a_word() -> None:
    reply = learned(*EVERY)
    tree = drawn(pictures.plug_time(reply))
    assert [word for word in texts(tree) if word in WORDS] == list(WORDS)
    at, found = [60.0, 90.0, 100.0, 200.0, 290.0, 360.0], marks(reply)
    scale = (found[-1][0] - found[0][0]) / (at[-1] - at[0])
    assert [x for x, _ in found] == pytest.approx([found[0][0] + scale * (t - 60.0) for t in at])
    assert [y for _, y in found] == sorted(y for _, y in found), "each in a row of its own"
    assert len({y for _, y in found}) == len(at)
    said = str(tree.findtext(f"{SPACE}desc"))
    assert "frost, does not fit at 1.5 min" in said
    assert "before anything was seen: closed after 3.5 min (2.0 to 7.0)" in said


def bars(reply: dict[str, Any], color: str, width: str) -> list[tuple[float, float]]:
    """From where to where the bars of closed and ready are drawn [pt]."""
    found = paths(reply, f"stroke: {color}", f"stroke-width: {width}")
    ends = [[float(x) for x in path.replace("M", "").replace("L", "").split()] for path in found]
    return [(end[0], end[2]) for end in ends]


def test_bars_are_the_ranges_before_and_after() -> None:
    """Light from 2.0 to 7.0 min, dark from 3.3 to 5.0: in proportion, on one axis."""
    reply = learned(sight("frost", 90.0))
    (light, _), (dark, _) = bars(reply, canvas.WATER, "12"), bars(reply, canvas.AFTER, "6")[-2:]
    scale = (light[1] - light[0]) / (420.0 - 120.0)
    assert dark == pytest.approx(
        (light[0] + scale * (200.0 - 120.0), light[0] + scale * (300.0 - 120.0)), abs=0.01
    )


def test_what_was_not_used_is_not_drawn_as_known() -> None:
    reply = learned(sight("no-frost", 900.0, False), used=False)
    tree = drawn(pictures.plug_time(reply))
    assert "cannot be explained: nothing is learned from it" in texts(tree)
    assert "5 to 95 % now" not in texts(tree)
    assert paths(reply, canvas.AFTER) == []
    assert "nothing is learned from what cannot be explained" in str(tree.findtext(f"{SPACE}desc"))
    assert "5 to 95 % now" in texts(drawn(pictures.plug_time(learned(sight("frost", 90.0)))))


def test_what_was_never_to_close_is_drawn_to_the_end() -> None:
    reply = learned(sight("frost", 90.0), late=None)
    (_, end), _ = bars(reply, canvas.WATER, "12")
    (_, known), _ = bars(learned(sight("frost", 90.0)), canvas.WATER, "12")
    right = (canvas.WIDTH - 0.15) * 72.0
    assert end == pytest.approx(right)
    assert known < right
    assert "(2.0 to never)" in str(drawn(pictures.plug_time(reply)).findtext(f"{SPACE}desc"))


def test_what_was_seen_long_afterwards_is_marked_at_the_end_with_its_time() -> None:
    """An hour is no reason to draw a freeze of seven minutes in a ninth of the picture."""
    reply = learned(sight("frost", 90.0), sight("flow-stopped", 3600.0))
    assert "flow stopped, after 60 min" in texts(drawn(pictures.plug_time(reply)))
    assert marks(reply)[-1][0] == pytest.approx((canvas.WIDTH - 0.15) * 72.0)
    assert marks(reply)[-1][0] < 7.0 * marks(reply)[0][0]


def corners(reply: dict[str, Any], color: str) -> list[tuple[float, float]]:
    """The corners of the first area that is filled with a colour [pt]."""
    tree, link = drawn(pictures.plug_time(reply)), "{http://www.w3.org/1999/xlink}href"
    used = (u.attrib for u in tree.iter(f"{SPACE}use"))
    name = next(u[link][1:] for u in used if u.get("style") == f"fill: {color}")
    path = next(p.attrib["d"] for p in tree.iter(f"{SPACE}path") if p.get("id") == name)
    numbers = [float(x) for x in re.findall(r"-?[\d.]+", path)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def test_the_ice_front_before_is_the_likely_one_stretched_to_closure_then() -> None:
    """Closed after 240 s, before from 120 to 420 s: the band's foot is as wide as that."""
    points = corners(learned(sight("frost", 90.0)), canvas.WATER)
    ground = max(y for _, y in points)
    feet = sorted(x for x, y in points if y == ground)
    (light, _) = bars(learned(sight("frost", 90.0)), canvas.WATER, "12")[0]
    assert feet[0] == pytest.approx(light, abs=5.0), "the moments drawn are 3.6 s apart"


def test_a_solution_that_keeps_liquid_is_drawn_with_it() -> None:
    """What closes at a share of ice never comes to a radius of nothing."""
    reply = learned(sight("frost", 90.0))
    reply["history"]["liquid_radius"] = series("mm", 6.9, 5.0, 3.0, 2.9)
    water = [y for _, y in corners(learned(sight("frost", 90.0)), canvas.WATER)]
    slush = [y for _, y in corners(reply, canvas.WATER)]
    assert min(slush) == pytest.approx(min(water))
    share = (max(slush) - min(slush)) / (max(water) - min(water))
    assert share == pytest.approx((6.9 - 2.9) / 6.9, abs=0.01)


def test_words_of_many_observations_lie_on_no_other() -> None:
    """The most there may be, at all times of the axis: each in its row, inside the picture."""
    every = [sight("pressure-held", 20.0 * i, False, value=amount(3999.9, "kPa"))
             for i in range(1, 21)]  # fmt: skip
    tree = drawn(pictures.plug_time(learned(*every)))
    told = [t for t in tree.iter(f"{SPACE}text") if "does not fit" in "".join(t.itertext())]
    assert len(told) == 20
    heights = sorted(float(t.attrib["y"]) for t in told)
    assert min(b - a for a, b in itertools.pairwise(heights)) > 10.0
    for each in told:
        x, long = float(each.attrib["x"]), canvas.CHARACTER * 72.0 * len("".join(each.itertext()))
        anchor = "end" if "text-anchor: end" in each.attrib["style"] else "start"
        assert (x + long if anchor == "start" else x) <= canvas.WIDTH * 72.0
        assert (x if anchor == "start" else x - long) >= 0.0


def test_an_observation_leaves_nothing_in_the_next_picture() -> None:
    plain, one = pictures.plug_time(freeze()), pictures.plug_time(learned(*EVERY[:1]))
    pictures.plug_time(learned(*EVERY))
    assert pictures.plug_time(learned(*EVERY[:1])) == one
    assert pictures.plug_time(freeze()) == plain


def test_the_key_lies_above_how_long_the_plug_lasts() -> None:
    """The band of survival ends below what is said in the uppermost 22 % of the axes."""
    reply = head("hold-time-request") | {
        "survival": span(600.0, 900.0, 1500.0), "ready": None, "planned_ready": None,
        "course": {
            "time": series("s", 300.0, 600.0, 900.0), "low": series("s", 300.0, 400.0, 600.0),
            "likely": series("s", 500.0, 700.0, 900.0), "high": series("s", 900.0, 1200.0, 1500.0),
        },
    }  # fmt: skip
    tree = drawn(pictures.hold_time(reply))
    defined = next(p.attrib["d"] for p in tree.iter(f"{SPACE}path") if p.get("id", "")[:1] == "m")
    moved = next(u.attrib for u in tree.iter(f"{SPACE}use") if canvas.WATER in u.get("style", ""))
    heights = [float(x) + float(moved["y"]) for x in re.findall(r"-?[\d.]+", defined)[1::2]]
    top, height = 0.5 * 72.0, (4.0 - 0.5 - 0.55) * 72.0
    assert min(heights) > top + 0.22 * height
