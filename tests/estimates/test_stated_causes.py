"""What may be wrong as likely as what is stated makes it, by hand, before anything is weighed."""

from typing import Any

import pytest

from estimates.jobs import HALF_INCH, ZERO_C, known, request_of, solution_of
from stillpipe.estimates import causes
from stillpipe.estimates.causes import Probable
from stillpipe.model.freeze_point import Insulation, Lining
from stillpipe.model.requests import FrostCheckRequest
from stillpipe.uncertainty import faults
from stillpipe.uncertainty.faults import Fault
from stillpipe.uncertainty.table import Z95, Distribution

WOOL = Insulation(material="mineral_wool", thickness=0.02)
RUST = Lining(material="iron_oxide_scale", thickness=0.001)


def asked(room: float = 20.0, /, **changes: Any) -> FrostCheckRequest:
    """Is there frost, after 200 s, in a room [C]; none so far."""
    given: dict[str, Any] = {"elapsed": 200.0, "frost_seen": False}
    return request_of(FrostCheckRequest, HALF_INCH, 20.0, room, **(given | changes))


def fault(cause: str, way: str = "") -> Fault:
    """A row of the table."""
    return next(f for f in faults.catalogue() if (f.cause, f.way) == (cause, way))


def priors(request: FrostCheckRequest) -> dict[tuple[str, str], float]:
    return {(f.cause, f.way): f.prior for f in causes.stated(request)}


TABLE = {(f.cause, f.way): f.prior for f in faults.catalogue()}
WRONG, DRY = ("nothing-wrong", ""), ("dry-air", "")


def test_a_line_of_which_nothing_is_stated_is_wrong_as_often_as_by_the_table() -> None:
    assert priors(asked()) == pytest.approx(TABLE)
    assert causes.stated(asked()) == faults.catalogue()


def test_insulation_that_is_stated_hides_frost_in_four_of_five_sound_freezes() -> None:
    """0.48 of the table: 0.384 go over to the insulation's 0.01, 0.096 are left."""
    moved = TABLE | {WRONG: 0.096, ("insulated", ""): 0.394}
    assert priors(asked(insulation=WOOL)) == pytest.approx(moved)


@pytest.mark.parametrize(("room", "humidity"), [(20.0, 0.2), (5.0, 0.6), (20.0, 0.24)])
def test_air_that_is_stated_as_dry_keeps_frost_away_in_four_of_five(
    room: float, humidity: float
) -> None:
    """Of a dew point below 0 C: -3.6, -2.1 and -1.2 C. Dry by so much, give or take a twentieth."""
    request = asked(room, relative_humidity=humidity)
    assert priors(request) == pytest.approx(TABLE | {WRONG: 0.096, DRY: 0.404})
    found = {f.cause: f.severity for f in causes.stated(request)}
    severity = known(found["dry-air"])
    assert severity.distribution is Distribution.NORMAL
    assert (severity.low, severity.likely, severity.high) == pytest.approx(
        (humidity - 0.05, humidity, humidity + 0.05)
    )
    assert severity.value(Z95) == pytest.approx(humidity + 0.05)
    assert (severity.name, severity.of, severity.source) == ("dry-air", "", "as stated")
    assert found["flow"] == fault("flow").severity


@pytest.mark.parametrize(("room", "humidity"), [(20.0, 0.3), (5.0, 0.8)])
def test_air_whose_dew_point_is_above_freezing_is_not_dry(room: float, humidity: float) -> None:
    request = asked(room, relative_humidity=humidity)
    assert priors(request) == pytest.approx(TABLE)
    assert causes.stated(request) == faults.catalogue()


def test_air_whose_frost_point_is_just_freezing_is_not_dry(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(causes.film, "frost_point", lambda *_: ZERO_C)
    assert priors(asked()) == pytest.approx(TABLE)


def test_dry_air_about_insulation_takes_its_share_of_what_that_left() -> None:
    """Four of five of 0.096: 0.0768."""
    found = priors(asked(insulation=WOOL, relative_humidity=0.2))
    moved = {WRONG: 0.0192, ("insulated", ""): 0.394, DRY: 0.0968}
    assert found == pytest.approx(TABLE | moved)


def test_who_states_a_lining_has_half_as_often_missed_one() -> None:
    """0.0075 for either way of 0.015: all of it makes 0.985."""
    halved = dict.fromkeys((("lined-pipe", "larger"), ("lined-pipe", "lining")), 0.0075)
    expected = {k: p / 0.985 for k, p in (TABLE | halved).items()}
    assert priors(asked(lining=RUST)) == pytest.approx(expected)


def test_a_line_of_glycol_holds_more_of_it_more_often_than_water_any() -> None:
    """2.5 times 0.02: 0.05, of 1.03."""
    expected = {k: p / 1.03 for k, p in (TABLE | {("wrong-fluid", ""): 0.05}).items()}
    assert priors(asked(fluid=solution_of("propylene_glycol", 0.1))) == pytest.approx(expected)


def chances(found: tuple[Probable, ...]) -> dict[str, float]:
    return {p.code: p.probability for p in found}


def test_by_the_table_the_ways_of_a_cause_add_up_and_the_likeliest_comes_first() -> None:
    told = chances(causes.by_table(asked()))
    assert told["lined-pipe"] == pytest.approx(0.03)
    assert told["flow"] == pytest.approx(0.14)
    assert sum(told.values()) == pytest.approx(1.0)
    assert list(told.values()) == sorted(told.values(), reverse=True)
    assert list(told)[:3] == ["nothing-wrong", "flow", "jacket"]


def test_by_the_table_some_causes_share_all_of_it() -> None:
    found = chances(causes.by_table(asked(), ("pipe-empty", "smaller-pipe", "colder")))
    assert found == pytest.approx({"pipe-empty": 0.6, "smaller-pipe": 0.2, "colder": 0.2})
