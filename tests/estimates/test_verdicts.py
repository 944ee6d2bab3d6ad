"""Verdicts that do not contradict their cautions: each reason at its edge, over the catalogue."""

import itertools

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, ZERO_C, point_of, request_of, solution_of
from stillpipe.estimates import assess, cautions
from stillpipe.estimates.hold_time import hold_time
from stillpipe.estimates.plug_time import plug_time
from stillpipe.estimates.solution import Solution
from stillpipe.model.figures import Caution, Severity, Verdict, verdict_of
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.model.options import JobEstimateRequest
from stillpipe.model.pipe import Pipe
from stillpipe.model.requests import HoldTimeRequest
from stillpipe.tables import materials, pipes

ON_CONDITION = {"pvc", "cpvc", "pex", "cast_iron"}
"""Pipes that dry ice takes where their maker or the trade advises against."""
PVC = pipes.find("ASTM D1785", "1", "40")
PEX = next(p for p in pipes.catalogue() if p.material == "pex")
ORDER = [Verdict.GO, Verdict.CONDITIONAL, Verdict.NO_GO]


def of_line(point: FreezePoint) -> dict[str, str]:
    """The reasons that are known of a line before solving: code to sentence."""
    return {r.code: r.text for r in assess.of_line(Solution(point))}


def test_the_catalogue_has_pipes_of_each_of_these_materials() -> None:
    assert {p.material for p in pipes.catalogue()} >= ON_CONDITION


@pytest.mark.parametrize("pipe", pipes.catalogue(), ids=lambda p: p.id)
def test_a_pipe_whose_caution_forbids_it_is_never_a_plain_go(pipe: pipes.Pipe) -> None:
    point = point_of(pipe)
    reasons = assess.of_line(Solution(point))
    told = {c.code for c in cautions.of_freeze(point)}
    assert ("pipe-material" in {r.code for r in reasons}) is (pipe.material in ON_CONDITION)
    if pipe.material in ON_CONDITION:
        assert verdict_of(reasons) is not Verdict.GO
        assert f"cold-{pipe.material}".replace("_", "-") in told


@pytest.mark.parametrize("pipe", [PVC, PEX], ids=lambda p: p.id)
def test_plastic_is_conditional_with_the_reason_in_the_answer(pipe: pipes.Pipe) -> None:
    answer = plug_time(point_of(pipe))
    assert answer.verdict is Verdict.CONDITIONAL
    assert [r.text for r in answer.reasons if r.code == "pipe-material"] == [
        materials.find(pipe.material).condition
    ]


@pytest.mark.parametrize("pipe", [PEX, PVC, HALF_INCH], ids=lambda p: p.id)
def test_a_line_pressure_above_the_rating_is_a_stop(pipe: pipes.Pipe) -> None:
    assert pipe.rating is not None
    for factor, over in ((0.999, False), (1.001, True)):
        found = of_line(point_of(pipe, line_pressure=factor * pipe.rating))
        assert ("over-rating" in found) is over
    answer = plug_time(point_of(pipe, line_pressure=1.001 * pipe.rating))
    assert answer.verdict is Verdict.NO_GO


def test_a_pipe_without_a_rating_is_judged_by_its_allowable_stress() -> None:
    """Barlow, 2 S t / D: 2 x 110.3 MPa x 3.912 mm / 60.325 mm = 14.30 MPa, ASME B31.3's stress.

    A thin tube of the same: 2 x 110.3 x 0.2 / 60 = 0.735 MPa = 7.35 bar.
    """
    assert point_of(TWO_INCH).pressure_rating == pytest.approx(14.30e6, rel=1e-3)
    thin = Pipe(outside_diameter=0.060, wall=0.0002, material="carbon_steel")
    for bar, over in ((7.3, False), (7.4, True)):
        found = of_line(point_of(TWO_INCH, 20.0, 20.0, bar, pipe=thin))
        assert ("over-rating" in found) is over
    assert "7.35 bar" in found["over-rating"]


@pytest.mark.parametrize(
    ("room", "fluid", "below"),
    [(0.1, None, False), (0.0, None, True), (-10.0, None, True), (-2.0, 0.10, False),
     (-3.0, 0.10, True)],
)  # fmt: skip
def test_a_room_below_the_freezing_point_is_a_reason(
    room: float, fluid: float | None, below: bool
) -> None:
    """Water at 0 C; propylene glycol of 10 % at -2.9 C (CoolProp MPG)."""
    changes = {} if fluid is None else {"fluid": solution_of("propylene_glycol", fluid)}
    point = point_of(HALF_INCH, 20.0, room, **changes)
    assert ("room-below-freezing" in of_line(point)) is below
    assert ("freezing-room" in {c.code for c in cautions.of_freeze(point)}) is below


def test_a_freezing_room_is_conditional_with_its_reasons() -> None:
    answer = hold_time(request_of(HoldTimeRequest, HALF_INCH, 20.0, -10.0, hold=600.0))
    assert answer.verdict is Verdict.CONDITIONAL
    assert {"room-below-freezing", "does-not-thaw"} <= {r.code for r in answer.reasons}


@pytest.mark.parametrize("fluid", ["propylene_glycol", "ethylene_glycol"])
def test_the_more_glycol_the_worse_the_verdict(fluid: str) -> None:
    """A plug needs anything from 60 to 95 % of ice, each as likely.

    Ice at most is 1 - c / 60 %, by the lever rule to the last point of the freezing curve, of which
    all but a hundredth may be asked for: 94 % at 3 %, 82 % at 10 %, 79 % at 12 %, 74 % at 15 % of
    glycol. Chances of it: (82 - 60) / 35 = 64 %, 54 % and 40 %; of a plug in four hours a little
    less, so that 12 % stand just at the half.
    """
    found = {c: plug_time(point_of(fluid=solution_of(fluid, c / 100.0))) for c in
             (2.0, 5.0, 10.0, 14.9, 15.0, 20.0, 40.0)}  # fmt: skip
    ranks = [ORDER.index(a.verdict) for a in found.values()]
    assert ranks == sorted(ranks)
    chances = [a.figures.chance_of_closing for a in found.values()]
    assert chances == sorted(chances, reverse=True)
    assert [found[c].figures.chance_of_closing for c in (10.0, 15.0)] == pytest.approx(
        [0.64, 0.40], abs=0.06
    )
    half = plug_time(point_of(fluid=solution_of(fluid, 0.12)))
    assert half.verdict is not Verdict.GO
    assert half.figures.chance_of_closing == pytest.approx(0.51, abs=0.03)
    assert "may-stay-slush" in {r.code for r in half.reasons}
    assert chances[-1] == 0.0 < found[15.0].figures.chance_of_closing < 0.5
    assert [found[c].verdict.value for c in (2.0, 10.0, 15.0, 20.0)] == [
        "go", "conditional", "no-go", "no-go",
    ]  # fmt: skip
    for concentration, answer in found.items():
        codes = {r.code for r in answer.reasons}
        assert codes <= {"may-stay-slush", "slush", "may-not-be-ready"}
        assert ("may-stay-slush" in codes) is (3.0 < concentration < 13.0)
        assert ("slush" in codes) is (answer.verdict is Verdict.NO_GO)


def test_what_cannot_be_reached_at_the_worst_is_named() -> None:
    answer = plug_time(point_of(fluid=solution_of("propylene_glycol", 0.12)))
    (reason,) = [r for r in answer.reasons if r.code == "may-stay-slush"]
    for told in ("80 %", "62 to 93 %", "54 %"):
        assert told in reason.text


def test_a_thaw_that_may_not_come_is_said_by_its_own_reason() -> None:
    """2 in steel, the warmer the room: never, perhaps not, surely within a day."""
    codes = [
        {r.code for r in hold_time(
            request_of(HoldTimeRequest, TWO_INCH, 8.0, room, hold=2700.0)
        ).reasons}
        for room in (-1.0, *np.arange(1.0, 9.0, 0.5), 12.0)
    ]  # fmt: skip
    rank = [0 if "does-not-thaw" in c else 1 if "may-not-thaw" in c else 2 for c in codes]
    assert rank == sorted(rank)
    assert set(rank) == {0, 1, 2}


@pytest.mark.parametrize("pipe", [HALF_INCH, PVC, TWO_INCH], ids=lambda p: p.id)
@pytest.mark.parametrize("room", [-5.0, 20.0])
def test_an_answer_has_each_caution_once(pipe: pipes.Pipe, room: float) -> None:
    point = request_of(JobEstimateRequest, pipe, 35.0, room)
    for found in (
        cautions.of_freeze(point), cautions.of_feeding(point), cautions.of_job(point), cautions.AIR,
    ):  # fmt: skip
        codes = [c.code for c in found]
        assert len(codes) == len(set(codes))
    assert set(cautions.AIR) <= set(cautions.of_job(point))


def test_a_cold_cylinder_is_cautioned() -> None:
    point = request_of(JobEstimateRequest)
    for celsius, cold in ((-0.1, True), (0.1, False)):
        cylinder = type(point.cylinder)(temperature=ZERO_C + celsius)
        codes = {c.code for c in cautions.of_cylinder(point_of(cylinder=cylinder))}
        assert ("cold-cylinder" in codes) is cold


def test_two_cautions_never_say_the_same() -> None:
    every: set[Caution] = {*cautions.GENERAL, *cautions.AIR, *cautions.CYLINDER, *cautions.WORK}
    for one, other in itertools.combinations(sorted(every, key=lambda c: c.code), 2):
        assert one.code != other.code
        assert one.text != other.text
    assert {c.severity for c in every} <= {Severity.WARN, Severity.INFO}
