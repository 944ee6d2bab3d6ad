"""What a frost check tells, on freezes whose frost and closure are laid down."""

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.by_hand import rising
from estimates.jobs import ZERO_C, point_of, request_of
from estimates.test_reasons import check
from stillpipe.estimates import assess, causes, cautions, frost_check, learned
from stillpipe.estimates.causes import Probable
from stillpipe.estimates.frost_check import FrostState, NoFrost
from stillpipe.model.cylinder import CylinderTemperature
from stillpipe.model.figures import Amount, Effort, Range, Reason, Severity
from stillpipe.model.freeze_point import Ambient, Jacket, Lining
from stillpipe.model.requests import FrostCheckRequest
from stillpipe.physics import film, freeze
from stillpipe.physics.constants import DRY_ICE
from stillpipe.tables import materials, pipes

STOP, WARN = Severity.STOP, Severity.WARN
BY, LATER = Range(105.0, 150.0, 195.0), Range(110.0, 150.0, 195.0)
PVC = pipes.find("ASTM D1785", "1", "40")


def frozen(*, slush: bool = False, prevented: bool = False, **changes: Any) -> Any:
    """A freeze whose frost comes after 101 to 200 s, one draw a second."""
    before = SimpleNamespace(stays_slush=slush, prevented=prevented, frosts=rising(100.0, 1.0))
    given = {"before": before, "stays_slush": slush, "closure": BY, "point": point_of()}
    return SimpleNamespace(**(given | changes))


def asked(elapsed: float = 150.0, *, seen: bool = False, **changes: Any) -> FrostCheckRequest:
    return request_of(FrostCheckRequest, elapsed=elapsed, frost_seen=seen, **changes)


def test_frost_is_expected_when_the_draws_have_it() -> None:
    """After 150 s half of them have none yet."""
    assert frost_check._expected(frozen(), 150.0) == (BY, 0.5)
    assert frost_check._expected(frozen(), 0.0) == (BY, 1.0)


@pytest.mark.parametrize(("slush", "prevented"), [(True, False), (False, True), (True, True)])
def test_no_frost_is_expected_of_slush_or_of_what_a_flow_keeps_open(
    slush: bool, prevented: bool
) -> None:
    found = frost_check._expected(frozen(slush=slush, prevented=prevented), 150.0)
    assert found == (None, 1.0)


@pytest.mark.parametrize(
    ("by", "point", "coldest", "changes", "why"),
    [
        (BY, 233.15, 250.0, {}, None),
        (BY, 233.14, 250.0, {}, NoFrost.DRY_AIR),
        (None, 270.0, 280.0, {"slush": True}, NoFrost.NO_PLUG),
        (None, 270.0, 280.0, {"closure": None}, NoFrost.NO_PLUG),
        (None, 200.0, 273.16, {}, NoFrost.WARM_WALL),
        (None, 200.0, 273.15, {}, NoFrost.AFTER_TWO_HOURS),
    ],
)
def test_why_there_is_no_frost(
    monkeypatch: pytest.MonkeyPatch, by: Range | None, point: float, coldest: float,
    changes: dict[str, Any], why: NoFrost | None,
) -> None:  # fmt: skip
    """Of a plug that closes, the pipe 10 mm beside the jacket ends above 0 degC or comes late."""
    solution = frozen(**changes)

    def beside(given: Any, distance: float) -> float:
        assert (given, distance) == (solution, 0.01)
        return coldest

    monkeypatch.setattr(frost_check, "coldest_beside", beside)
    assert frost_check._why_none(solution, by, point) is why


@pytest.mark.parametrize("distance", [0.0, 0.01, 0.1])
def test_the_pipe_beside_the_jacket_by_two_fins_that_meet_at_its_edge(distance: float) -> None:
    """Under the jacket a cosh, beyond it an exp: both as warm and as steep where they meet.

    A lined pipe of PVC; 9 W/(m2 K) from the room at 25 C.
    """
    lining = Lining(material="iron_oxide_scale", thickness=0.001)
    point = point_of(PVC, lining=lining, ambient=Ambient(temperature=ZERO_C + 25.0))
    outer, bore, wall = PVC.outside_diameter, point.bore, PVC.wall
    plastic, inner = materials.find(PVC.material), outer - 2.0 * wall
    layers = ((outer / inner, plastic), (inner / bore, lining))
    through = 0.5 * outer * sum(math.log(r) / layer.conductivity for r, layer in layers)
    section = 0.25 * math.pi * (plastic.conductivity * (outer**2 - inner**2) + 2.68 * bore**2)
    fed, warmed = (
        math.sqrt(math.pi * outer / (1.0 / h + through) / section)
        for h in (point.jacket.conductance, 9.0)
    )
    half, apart = 0.5 * point.jacket.length, ZERO_C + 25.0 - DRY_ICE
    rows = [[math.cosh(fed * half), 1.0], [fed * math.sinh(fed * half), -warmed]]
    _, below = np.linalg.solve(rows, [apart, 0.0])
    heat = below * math.exp(-warmed * distance) / (1.0 / 9.0 + through)
    solution: Any = frozen(point=point, room_film=np.full(film.TABLE_N, 9.0))
    found = frost_check.coldest_beside(solution, distance)
    assert found == pytest.approx(ZERO_C + 25.0 - heat / 9.0, abs=1e-6)


def figures_of(state: FrostState, chance: float = 0.25, point: float = 268.0) -> Any:
    return SimpleNamespace(state=state, chance_of_no_frost=chance, frost_point=point)


def reasons_of(
    state: FrostState, by: Range | None, why: NoFrost | None = None, elapsed: float = 150.0
) -> tuple[Reason, ...]:
    return frost_check._reasons(asked(elapsed), frozen(), figures_of(state), by, why)


@pytest.mark.parametrize(
    ("state", "elapsed", "by", "code", "severity", "limit"),
    [
        (FrostState.OVERDUE, 400.0, BY, "frost-overdue", STOP, 195.0),
        (FrostState.OVERDUE, 400.0, Range(105.0, 150.0, None), "frost-overdue", STOP, 150.0),
        (FrostState.TOO_EARLY, 120.0, BY, "frost-too-early", WARN, 195.0),
        (FrostState.EARLY, 80.0, LATER, "frost-early", WARN, 110.0),
        (FrostState.EARLY, 55.0, LATER, "frost-early", WARN, 110.0),
        (FrostState.EARLY, 54.0, LATER, "frost-early", STOP, 55.0),
    ],
)
def test_a_state_is_told_with_what_it_is_held_against(
    state: FrostState, elapsed: float, by: Range, code: str, severity: Severity, limit: float
) -> None:
    """Frost before half of the 5th percentile stops the job."""
    (reason,) = reasons_of(state, by, elapsed=elapsed)
    check(
        reason, code, severity, figure="inputs.elapsed", value=Amount(elapsed, "time"),
        limit=Amount(limit, "time"), chance=0.25, at=elapsed,
    )  # fmt: skip
    says, does = {
        "frost-overdue": (f"by now, {limit:.0f} s after the first feed", "Do not cut; look for"),
        "frost-too-early": ("it may take until 195 s.", "Keep feeding, and look again 195 s"),
        "frost-early": (
            ("Frost before 55 s, half of", "Do not cut; prove that") if severity is STOP else
            (f"Frost {elapsed:.0f} s after the first feed is sooner", "Prove that the line is full")
        ),
    }[code]  # fmt: skip
    assert says in reason.text
    assert reason.action.startswith(does)


def test_what_is_as_expected_is_no_reason_though_the_air_is_dry() -> None:
    for why in (None, NoFrost.DRY_AIR):
        assert reasons_of(FrostState.AS_EXPECTED, BY, why) == ()


@pytest.mark.parametrize(
    ("why", "figure", "value", "limit"),
    [
        (NoFrost.NO_PLUG, None, None, None),
        (NoFrost.WARM_WALL, None, Amount(277.0, "temperature"), Amount(ZERO_C, "temperature")),
        (NoFrost.AFTER_TWO_HOURS, "frost_by", None, Amount(freeze.LATEST_FROST, "time")),
        (
            NoFrost.DRY_AIR, "frost_point", Amount(268.0, "temperature"),
            Amount(233.15, "temperature"),
        ),
    ],
)  # fmt: skip
@pytest.mark.parametrize("state", [FrostState.UNEXPECTED, FrostState.NO_FROST_POSSIBLE])
def test_frost_or_none_where_none_is_expected_is_told_with_what_keeps_it_away(
    monkeypatch: pytest.MonkeyPatch, state: FrostState, why: NoFrost, figure: str | None,
    value: Amount | None, limit: Amount | None,
) -> None:  # fmt: skip
    asked_of: list[Any] = []

    def beside(solution: Any, distance: float) -> float:
        asked_of.append((solution.closure, distance))
        return 277.0

    monkeypatch.setattr(frost_check, "coldest_beside", beside)
    (reason,) = reasons_of(state, BY if why is NoFrost.DRY_AIR else None, why)
    seen = state is FrostState.UNEXPECTED
    code = "frost-unexpected" if seen else f"no-frost-{why}"
    check(reason, code, WARN, figure=figure, value=value, limit=limit)
    assert reason.text.startswith("Frost is seen" if seen else "No frost is to be expected")
    assert reason.action.startswith("Prove the plug by venting the section")
    assert reason.action.endswith("temperatures." if seen else "section.")
    assert asked_of == ([(BY, 0.01)] if why is NoFrost.WARM_WALL else [])


@pytest.mark.parametrize(
    ("seen", "elapsed", "by", "why", "unseen", "state"),
    [
        (True, 300.0, None, NoFrost.NO_PLUG, 1.0, FrostState.UNEXPECTED),
        (True, 105.0, BY, None, 0.9, FrostState.AS_EXPECTED),
        (True, 104.9, BY, None, 0.9, FrostState.EARLY),
        (True, 150.0, BY, NoFrost.DRY_AIR, 0.01, FrostState.AS_EXPECTED),
        (False, 300.0, None, None, 0.0, FrostState.NO_FROST_POSSIBLE),
        (False, 300.0, BY, NoFrost.DRY_AIR, 0.0, FrostState.NO_FROST_POSSIBLE),
        (False, 300.0, BY, None, 0.049, FrostState.OVERDUE),
        (False, 300.0, BY, None, 0.05, FrostState.TOO_EARLY),
    ],
)
def test_the_state_is_what_is_seen_against_what_is_expected(
    seen: bool, elapsed: float, by: Range | None, why: NoFrost | None, unseen: float,
    state: FrostState,
) -> None:  # fmt: skip
    """Overdue where one sound freeze in twenty has no frost yet, or fewer."""
    assert frost_check._state(asked(elapsed, seen=seen), by, why, unseen) is state


class Adviser:
    """Says of a cause what it was asked, and with what it was made."""

    made: tuple[Any, ...] = ()

    def __init__(self, *given: Any) -> None:
        Adviser.made = given

    def text(self, code: str) -> str:
        return f"text of {code}"

    def tells(self, code: str, other: str | None) -> str:
        return f"{code} or {other}"


def probable(**found: float) -> tuple[Probable, ...]:
    return tuple(Probable(code=c.replace("_", "-"), probability=p) for c, p in found.items())


@pytest.fixture
def weighed(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Causes weighed as laid down, with what was asked of them."""
    told: dict[str, Any] = {"ranked": probable(flow=0.6, jacket=0.4)}

    class Weighed:
        def __init__(self, *given: Any) -> None:
            told["made"] = given
            self.ranked = told["ranked"]

        def warmth(self, longer: float) -> float:
            told["longer"] = longer
            return 300.0

    monkeypatch.setattr(causes, "Weighed", Weighed)
    monkeypatch.setattr(frost_check, "Adviser", Adviser)
    return told


@pytest.mark.parametrize(
    ("elapsed", "seen", "by", "longer"),
    [
        (390.0, False, BY, 2.0), (195.0, False, BY, None), (390.0, True, BY, None),
        (390.0, False, Range(105.0, 150.0, None), None), (390.0, False, None, None),
        (100.0, False, BY, None),
    ],
)  # fmt: skip
def test_what_warmth_explains_is_asked_once_frost_is_overdue(
    weighed: dict[str, Any], elapsed: float, seen: bool, by: Range | None, longer: float | None
) -> None:
    """After twice the latest time: how warm water makes it take twice as long."""
    request, solution = asked(elapsed, seen=seen), frozen()
    frost_check._causes(request, solution, by)
    assert weighed.get("longer") == longer
    assert weighed["made"] == (request, solution.before)
    warmth = None if longer is None else 300.0
    assert Adviser.made == (request, solution, None if by is None else by.high, warmth)


@pytest.mark.parametrize(
    ("ranked", "tells"),
    [
        ({"flow": 0.6, "jacket": 0.395, "colder": 0.005},
         ["flow or jacket", "jacket or flow", "colder or flow"]),
        ({"flow": 0.995, "jacket": 0.005}, ["flow or jacket", "jacket or flow"]),
        ({"flow": 0.996, "jacket": 0.0049}, ["flow or None"]),
    ],
)  # fmt: skip
def test_causes_are_told_from_the_likeliest_other_one_that_is_worth_a_word(
    weighed: dict[str, Any], ranked: dict[str, float], tells: list[str]
) -> None:
    """Down to half a per cent."""
    weighed["ranked"] = probable(**ranked)
    found = frost_check._causes(asked(), frozen(), BY)
    assert [c.tells for c in found] == tells
    assert [c.code for c in found] == [t.split(" or ")[0] for t in tells]
    assert [c.probability for c in found] == [ranked[c.code] for c in found]
    assert [c.text for c in found] == [f"text of {c.code}" for c in found]
    assert found[0].first.startswith("Close the valves on both sides; listen")


@pytest.mark.parametrize(
    ("certain", "texts"),
    [
        ({"flow": 1.0}, ["The flow, as stated, carries in more heat than the jacket takes out."]),
        ({"pipe_empty": 0.7, "colder": 0.3}, ["text of pipe-empty", "text of colder"]),
    ],
)  # fmt: skip
def test_where_what_is_stated_decides_nothing_is_weighed(
    monkeypatch: pytest.MonkeyPatch, weighed: dict[str, Any], certain: dict[str, float],
    texts: list[str],
) -> None:  # fmt: skip
    request, solution = asked(900.0), frozen()

    def decided(*given: Any) -> tuple[Probable, ...]:
        assert given == (request, solution)
        return probable(**certain)

    monkeypatch.setattr(frost_check, "_certain", decided)
    found = frost_check._causes(request, solution, BY)
    assert [c.text for c in found] == texts
    assert "made" not in weighed
    assert Adviser.made == (request, solution, 195.0, None)


WARM = CylinderTemperature(temperature=ZERO_C + 40.0)


@pytest.mark.parametrize(
    ("seen", "cylinder", "lost", "code"),
    [
        (False, WARM, {"slush": True}, "cylinder-empty"), (False, WARM, {}, "cylinder-empty"),
        (False, None, {"slush": True}, "wrong-fluid"), (False, None, {"prevented": True}, "flow"),
        (False, None, {}, None), (True, WARM, {}, None),
    ],
)  # fmt: skip
def test_what_is_stated_may_leave_no_doubt(
    seen: bool, cylinder: Any, lost: dict[str, bool], code: str | None
) -> None:
    request = asked(seen=seen, **({} if cylinder is None else {"cylinder": cylinder}))
    found = frost_check._certain(request, frozen(**lost))
    assert found == (() if code is None else (Probable(code=code, probability=1.0),))


@pytest.mark.parametrize("lost", [{"slush": True}, {"prevented": True}])
def test_frost_on_what_cannot_freeze_is_weighed_by_the_table(
    monkeypatch: pytest.MonkeyPatch, lost: dict[str, bool]
) -> None:
    monkeypatch.setattr(causes, "by_table", lambda *given: given)
    request: Any = asked(seen=True)
    found: Any = frost_check._certain(request, frozen(**lost))
    assert found == (request, ("pipe-empty", "smaller-pipe", "colder"))


def test_the_answer_is_put_together_of_what_was_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each part is asked for what it is about; reasons of the freeze come before those of frost."""
    request = asked(390.0, jacket=Jacket(length=0.05), relative_humidity=0.3)
    solution = frozen(frost_by="by", effort=Effort(3, 4))

    def told(found: Any, *wanted: Any) -> Any:
        def of(*given: Any) -> Any:
            assert given == wanted
            return found

        return of

    parts: dict[str, Any] = {"state": "state", "frost_by": "by", "causes": "causes"}
    expected = frost_check.FrostCheckFigures(**parts, frost_point=271.0, chance_of_no_frost=0.25)
    monkeypatch.setattr(frost_check, "Solution", told(solution, request))
    for module, name, found, *wanted in (
        (frost_check, "_expected", (BY, 0.25), solution, 390.0),
        (film, "frost_point", 271.0, ZERO_C + 20.0, 0.3),
        (frost_check, "_why_none", "why", solution, BY, 271.0),
        (frost_check, "_state", "state", request, BY, "why", 0.25),
        (frost_check, "_causes", "causes", request, solution, BY),
        (assess, "reasons", ("freeze",), solution),
        (frost_check, "_reasons", ("frost",), request, solution, expected, BY, "why"),
        (cautions, "of_freeze", ("cautions",), request),
        (learned, "told", "learned", solution),
    ):
        monkeypatch.setattr(module, name, told(found, *wanted))
    answer = frost_check.frost_check(request)
    assert answer.figures == expected
    assert answer.reasons == ("freeze", "frost")
    assert answer.cautions == ("cautions",)
    assert (answer.effort, answer.learned) == (Effort(3, 4), "learned")
