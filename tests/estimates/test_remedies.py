"""What would make a job go: each change takes its reason away, and a lesser one does not.

Variants of a job: each is what the job would be alone.
"""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from estimates.jobs import ZERO_C, known, named
from estimates.test_job_points import MAIN, RETURN, stated
from stillpipe.errors import StillpipeError
from stillpipe.estimates import job as job_package
from stillpipe.estimates.job import changes
from stillpipe.estimates.job import remedies as remedies_module
from stillpipe.estimates.job.job_estimate import job_estimate
from stillpipe.estimates.job.judged import judge
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.remedies import FINDERS, Remedies, Remedy
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.figures import Amount, Verdict
from stillpipe.model.freeze_point import Jacket
from stillpipe.model.job import Cooling, CoolingMethod, LineFluid
from stillpipe.model.options import JobEstimateRequest, JobOption
from stillpipe.model.site import Place, PlaceKind, Room
from stillpipe.tables import pipes

FOUR_INCH = pipes.find("ASME B36.10M", "4", "40")
PVC = pipes.find("ASTM D1785", "4", "40")


def told(request: JobEstimateRequest) -> Remedies:
    return known(job_estimate(replace(request, remedies=True)).figures.remedies)


def first(found: Remedies, reason: str, change: str) -> Remedy:
    return next(r for r in found.each if (r.reason, r.change) == (reason, change))


def amount(found: Amount | str | None) -> float:
    assert isinstance(found, Amount)
    return found.value


def codes(request: JobEstimateRequest) -> set[str]:
    return judge(Plan(request)).codes


def pressed(bar: float) -> JobEstimateRequest:
    return stated(points=1, pipe=named(FOUR_INCH), line_pressure=bar * 1e5)


def test_the_pressure_is_lowered_to_what_the_plug_carries() -> None:
    """4 in steel at 30 bar: no reason at what is told, one at 20 % more."""
    remedy = first(told(pressed(30.0)), "may-not-be-ready", "line_pressure")
    bar = amount(remedy.to) / 1e5
    assert 8.0 < bar < 25.0
    assert "may-not-be-ready" not in codes(pressed(bar))
    assert "may-not-be-ready" in codes(pressed(1.2 * bar))


def test_a_pressure_above_the_rating_is_lowered_to_it() -> None:
    request = stated(points=1, pipe=named(PVC), line_pressure=30e5)
    remedy = first(told(request), "over-rating", "line_pressure")
    rating = request.each[0].request.pressure_rating
    assert rating - 1e3 < amount(remedy.to) <= rating


def test_the_air_changes_told_keep_every_limit_and_a_tenth_less_do_not() -> None:
    room = Room(volume=15.0, air_changes=0.5 / 3600.0)
    request = stated(RETURN, MAIN, room=room)
    (remedy,) = [r for r in told(request).each if r.change == "room.air_changes"]
    for share, safe in ((1.0, True), (0.9, False)):
        changed = replace(room, air_changes=share * amount(remedy.to))
        found = codes(stated(RETURN, MAIN, room=changed))
        assert ({"over-twa", "over-stel", "air-dangerous"} & found) is not safe


def test_a_cylinder_is_cooled_to_where_it_holds_liquid() -> None:
    for celsius, code in ((35.0, "no-liquid-co2"), (28.0, "cylinder-near-critical")):
        bottle = Cylinder(net_mass=9.1, temperature=ZERO_C + celsius)
        found = told(stated(points=1, cylinder=bottle))
        assert amount(first(found, code, "cylinder.temperature").to) == ZERO_C + 26.5
        assert found.verdict is Verdict.GO


def test_a_flow_is_lowered_to_what_freezes_shut() -> None:
    def flowing(rate: float) -> JobEstimateRequest:
        return stated(points=1, fluid=LineFluid(temperature=ZERO_C + 20.0, flow=rate))

    remedy = first(told(flowing(20.0 / 3600.0)), "flowing", "fluid.flow")
    assert not codes(flowing(amount(remedy.to))) & {"flowing", "flow-near-limit"}
    assert codes(flowing(1.5 * amount(remedy.to))) & {"flowing", "flow-near-limit"}


def exchanged(bottle: Cylinder, duration: float = 600.0) -> JobEstimateRequest:
    return stated(points=1, cylinder=bottle, exchange_duration=duration, repair=4.0 * 3600.0)


def test_an_exchange_that_is_not_survived_is_made_quicker_or_not_at_all() -> None:
    small = Cylinder(net_mass=2.5)
    found = told(exchanged(small))
    larger = first(found, "exchange-not-survived", "cylinder.id")
    quicker = first(found, "exchange-not-survived", "exchange_duration")
    assert "exchange-not-survived" not in codes(exchanged(Cylinder(id=str(larger.to))))
    assert not codes(exchanged(small, amount(quicker.to))) & {
        "early-exchange", "exchange-not-survived",
    }  # fmt: skip
    assert "early-exchange" in codes(exchanged(small, 1.2 * amount(quicker.to)))


def placed(repair: float, *more: Place) -> JobEstimateRequest:
    places = (
        Place(name="a", kind=PlaceKind.FREEZE_POINT, at=0.0),
        Place(name="b", kind=PlaceKind.FREEZE_POINT, at=0.5),
        Place(name="c", kind=PlaceKind.CUT, at=0.2),
    )
    return stated(places=(*places, *more), repair=repair)


def test_a_repair_is_shortened_until_the_plug_leaves_room_for_the_cut() -> None:
    found = told(placed(2700.0))
    remedy = first(found, "too-near-cut", "repair")
    assert "too-near-cut" not in codes(placed(amount(remedy.to)))
    assert "too-near-cut" in codes(placed(1.5 * amount(remedy.to)))


def test_trapped_water_is_given_a_vent() -> None:
    found = told(placed(600.0))
    assert "trapped-water" in {r.reason for r in found.each}
    vent = Place(name="v", kind=PlaceKind.VENT, at=0.25)
    assert "trapped-water" not in codes(placed(600.0, vent))
    assert "trapped-water" not in found.left


def test_hands_and_jackets_are_told_for_a_run_that_needs_more() -> None:
    second = replace(RETURN, name="boiler flow", at=3.0)
    found = told(stated(RETURN, second, jackets=1))
    assert first(found, "too-few-hands", "jackets").to == "2"
    assert first(told(stated(points=1, crew=1)), "alone", "crew").to == "2"


def test_a_line_that_never_cools_is_flushed_with_colder_water() -> None:
    cooling = Cooling(method=CoolingMethod.FLUSH, water=ZERO_C + 28.0)
    request = stated(points=1, fluid=LineFluid(temperature=ZERO_C + 60.0), cooling=cooling)
    assert amount(first(told(request), "never-cools", "cooling.water").to) == ZERO_C + 20.0


def test_a_longer_jacket_is_told_where_it_helps_and_a_shorter_one_does_not() -> None:
    """4 in steel at 12 bar under a jacket of 60 mm: the plug may not be ready in four hours."""

    def jacketed(length: float) -> JobEstimateRequest:
        return stated(
            points=1, pipe=named(FOUR_INCH), line_pressure=12e5, jacket=Jacket(length=length)
        )

    request = jacketed(0.06)
    wanted = codes(request) & {"may-not-be-ready", "never-ready", "may-not-close", "never-closes"}
    assert wanted
    found = told(request)
    longer = [r for r in found.each if r.change == "jacket.length"]
    assert longer
    length = amount(longer[0].to)
    assert longer[0].reason not in codes(jacketed(length))
    assert longer[0].reason in codes(jacketed(0.8 * length))


def test_changes_at_one_of_two_points_leave_the_other_as_it_is() -> None:
    fast = replace(MAIN, fluid=LineFluid(temperature=ZERO_C + 20.0, flow=0.02))
    found = told(stated(RETURN, fast))
    remedy = first(found, "flowing", "fluid.flow")
    assert remedy.points == ("sprinkler main",)
    assert remedy.verdict is not Verdict.NO_GO
    assert "flowing" not in found.left


def test_a_job_that_goes_needs_nothing_and_one_that_was_not_asked_tells_nothing() -> None:
    found = told(stated(points=1))
    assert (found.each, found.verdict, found.left, found.complete) == ((), Verdict.GO, (), True)
    assert job_estimate(stated(points=1)).figures.remedies is None


def test_each_finder_is_for_a_reason_that_exists() -> None:
    """Every code with a finder stands in the estimates, those of limits and distances in part."""
    folder = Path(job_package.__path__[0]).parent
    text = "".join(
        f.read_text() for f in folder.rglob("*.py") if f.name not in ("remedies.py", "changes.py")
    )
    for code in FINDERS:
        part = next((p for p in ("too-near-", "over-") if code.startswith(p)), code)
        assert f'"{part}' in text, code


def option(name: str, **changes: Any) -> JobOption:
    return JobOption(name=name, **changes)


def test_each_option_is_the_job_that_it_stands_for() -> None:
    options = (
        option("long", repair=2.0 * 3600.0), option("colder", fluid=LineFluid(temperature=283.15)),
        option("larger", cylinder=Cylinder(id="co2-22.7kg")),
    )  # fmt: skip
    answer = job_estimate(stated(RETURN, MAIN, options=options))
    for found, made in zip(answer.figures.options, options, strict=True):
        alone = job_estimate(stated(RETURN, MAIN, **made.own))
        assert found.name == made.name
        assert found.verdict is alone.verdict
        assert found.reasons == alone.reasons
        assert found.chance == pytest.approx(alone.figures.chance, abs=1e-3)
        assert found.cylinders == alone.figures.cylinders.planned_count
        assert known(found.total) == known(alone.figures.quote).total
        assert found.planned_ready == pytest.approx(alone.figures.planned_ready)


def test_options_that_do_not_change_the_freeze_solve_no_other_freezes() -> None:
    options = (option("long", repair=3600.0), option("larger", cylinder=Cylinder(id="co2-22.7kg")))
    alone = job_estimate(stated(RETURN, MAIN)).effort.freezes
    assert job_estimate(stated(RETURN, MAIN, options=options)).effort.freezes == alone
    colder = (option("colder", fluid=LineFluid(temperature=283.15)),)
    assert job_estimate(stated(RETURN, MAIN, options=colder)).effort.freezes == 2 * alone


@pytest.mark.parametrize(
    ("options", "path"),
    [
        ((option("a"), option("a")), ("options", 1, "name")),
        ((option("a", fluid=LineFluid(type="ethylene_glycol", concentration=0.9,
                                      temperature=293.15)),),
         ("options", 0, "fluid", "concentration")),
    ],
)  # fmt: skip
def test_an_option_that_cannot_be_used_is_named(
    options: tuple[JobOption, ...], path: tuple[str | int, ...]
) -> None:
    with pytest.raises(StillpipeError) as caught:
        stated(RETURN, options=options)
    assert path in [f.path for f in caught.value.faults]


def test_job_and_options_have_so_many_points_at_the_most() -> None:
    many = [replace(RETURN, name=f"p{n}", run=None, at=None) for n in range(21)]
    two = (option("a"), option("b"))
    with pytest.raises(StillpipeError) as caught:
        stated(*many, options=two)
    assert [f.path for f in caught.value.faults] == [("options",)]
    assert len(stated(*many[:20], options=two).variants) == 2


@pytest.mark.parametrize(
    ("code", "sought"),
    [
        ("never-closes", ("jacket_length", "colder_water")),
        ("never-ready", ("jacket_length",)),
        ("over-twa", ("shorter_repair",)),
        ("too-near-valve", ("shorter_repair",)),
    ],
)
def test_a_finder_is_told_whose_reason_of_what_code_it_is(
    monkeypatch: pytest.MonkeyPatch, code: str, sought: tuple[str, ...]
) -> None:
    """What looks for a change is asked with the job, the freeze points and the code."""
    asked: list[tuple[Any, ...]] = []
    for name in sought:
        monkeypatch.setattr(changes, name, lambda *told, name=name: asked.append((name, *told)))
    job, kind = object(), object()
    for finder in FINDERS[code]:
        if finder.__module__ == remedies_module.__name__:
            finder(job, kind)  # type: ignore[arg-type]
    made = {
        "jacket_length": remedies_module._jacket, "colder_water": remedies_module._colder,
        "shorter_repair": remedies_module._shorter,
    }  # fmt: skip
    for name in sought:
        made[name](code)(job, kind)  # type: ignore[arg-type]
    whose = (job,) if sought == ("shorter_repair",) else (job, kind)
    assert asked == [(name, *whose, code) for name in sought] * 2
