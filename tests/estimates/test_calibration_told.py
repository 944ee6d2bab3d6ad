"""What a calibration tells, figure by figure, of records whose sayings are made up."""

import math
from typing import Any

import numpy as np
import pytest

import stillpipe
from estimates.jobs import HALF_INCH, TWO_INCH, request_of
from stillpipe.estimates import calibration, cautions
from stillpipe.estimates.calibration import Outlier, Uninformative
from stillpipe.estimates.learned import Percentiles
from stillpipe.model.calibration import Factor
from stillpipe.model.figures import Amount, AnyAnswer, Effort, Severity
from stillpipe.model.observations import (
    AnyObservation,
    Frost,
    Seen,
    SurfaceTemperature,
    WeightDrawn,
)
from stillpipe.model.requests import CalibrationRequest, Record
from stillpipe.tables import pipes
from stillpipe.uncertainty import draws

NAMES = ("jacket_conductance", "jacket_filling", "capture")
Z95 = 1.6448536269514722


class Known:
    """What records say together: each input's own at its percentiles, wider in the next freeze."""

    deviations = (0.25, 0.9, 1.2)
    """Of the set's own conductance, filling and capture [-]."""

    def own(self, i: int, p: Any) -> np.ndarray:
        assert p == (0.05, 0.5, 0.95)
        return (1.0 + i) * np.array([-0.1, 0.0, 0.1])

    def next(self, i: int, p: Any) -> np.ndarray:
        assert p == (0.05, 0.5, 0.95)
        return (1.0 + i) * np.array([-0.2, 0.0, 0.3])

    def deviation(self, i: int) -> float:
        return self.deviations[i]


class Past:
    """A record of which this was read, foretold so by all draws alike and by the other records."""

    index: int

    def __init__(
        self, read: list[tuple[AnyObservation, float, float]] | None = None,
        pipe: pipes.Pipe = HALF_INCH, why: str = "", name: str | None = None,
    ) -> None:  # fmt: skip
        self.record = request_of(Record, pipe, id=name)
        self.why_nothing = why
        self._read = read or []
        self.read = [o for o, _, _ in self._read]

    def foretold(self, weight: Any) -> list[float]:
        if isinstance(weight, str):
            assert weight == f"without {self.index}"
            return [after for _, _, after in self._read]
        assert np.array_equal(weight, np.full(draws.COUNT, 1.0 / draws.COUNT))
        return [before for _, before, _ in self._read]


class Set:
    """A set of jackets whose records are as likely by the others as is given."""

    effort = Effort(7, 1234)

    def __init__(self, past: list[Past], chances: dict[int, float], used: set[int]) -> None:
        self.past, self.chances, self.used = past, chances, used
        self.teaching = list(chances)
        self.common = Known()
        for index, each in enumerate(past):
            each.index = index

    def without(self, index: int, used: set[int]) -> str:
        assert used == self.used
        return f"without {index}"


def answered(
    monkeypatch: pytest.MonkeyPatch, past: list[Past], chances: dict[int, float] | None = None,
    used: set[int] | None = None,
) -> AnyAnswer:  # fmt: skip
    """The answer to these records, all of them used and as likely as not where nothing is said."""
    everyone = dict.fromkeys(range(len(past)), 0.5)
    records = tuple(p.record for p in past)
    made = Set(
        past, everyone if chances is None else chances, set(everyone) if used is None else used
    )

    def of(given: tuple[Record, ...]) -> Set:
        assert given is records
        return made

    monkeypatch.setattr(calibration, "Set", of)
    return calibration.calibration(CalibrationRequest(records=records))


def near(value: float) -> Any:
    return pytest.approx(value)


def at(name: str, *z: float) -> Percentiles:
    """An input at deviates: 165 W/(m2 K) and 30 s lognormal, 0.6 of capture normal."""
    default, kind, spread = {
        "jacket_conductance": (165.0, "conductance", math.log(1.507 / 0.6635) / (2.0 * Z95)),
        "jacket_filling": (30.0, "time", math.log(3.002 / 0.3332) / (2.0 * Z95)),
        "capture": (0.6, "factor", 0.333 / Z95),
    }[name]
    values = [1.0 + spread * x if name == "capture" else math.exp(spread * x) for x in z]
    p05, p50, p95 = (Amount(near(default * v), kind) for v in values)
    return Percentiles(p05=p05, p50=p50, p95=p95)


def test_each_input_is_told_by_the_table_for_the_set_and_for_the_next_freeze(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The own one is narrower by what its deviation lacks of 1, and never by less than nothing."""
    found = answered(monkeypatch, [Past()]).figures.jackets
    assert [each.name for each in found] == list(NAMES)
    for i, each in enumerate(found):
        by = 1.0 + i
        assert each.before == at(each.name, -Z95, 0.0, Z95)
        assert each.own == at(each.name, -0.1 * by, 0.0, 0.1 * by)
        assert each.next == at(each.name, -0.2 * by, 0.0, 0.3 * by)
    assert [each.narrowed for each in found] == pytest.approx([0.75, 0.1, 0.0])


def test_what_is_stored_are_factors_of_the_next_freeze_to_four_digits(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """And the thinnest and thickest pipe among the records that are used."""
    wide = pipes.find("ASME B36.10M", "4", "40")
    past = [Past(pipe=HALF_INCH), Past(pipe=TWO_INCH), Past(pipe=wide)]
    found = answered(monkeypatch, past, used={0, 1}).figures.calibration
    assert found.records == 2
    assert (found.least_diameter, found.greatest_diameter) == (
        HALF_INCH.outside_diameter, TWO_INCH.outside_diameter,
    )  # fmt: skip
    assert found.model_version == stillpipe.MODEL_VERSION
    low, high = (
        math.exp(z * math.log(1.507 / 0.6635) / (2.0 * Z95)) for z in (-0.2, 0.3)
    )  # fmt: skip
    assert found.jacket_conductance == Factor(p05=round(low, 4), p50=1.0, p95=round(high, 3))
    assert found.capture.p95 == round(1.0 + 0.9 * 0.333 / Z95, 3)
    assert found.jacket_filling.p05 == round(math.exp(-0.4 * math.log(3.002 / 0.3332) / 2 / Z95), 4)


def test_what_does_not_fit_the_others_is_told_whether_used_or_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Less likely than one in fifty."""
    past = [Past(), Past(name="b"), Past(name="c"), Past()]
    chances = {0: 0.5, 1: 0.019, 2: 0.0002, 3: 0.02}
    found = answered(monkeypatch, past, chances, used={0, 1, 3})
    assert found.figures.outliers == (
        Outlier(index=1, id="b", probability=0.019, used=True),
        Outlier(index=2, id="c", probability=0.0002, used=False),
    )
    (reason,) = found.reasons
    assert (reason.code, reason.severity) == ("records-do-not-fit", Severity.WARN)
    assert reason.text.startswith("2 of 4 records do not fit the others: record 2 is as likely as ")
    assert "0.0002 or less" in reason.text
    assert reason.figure == "outliers.1.probability"
    assert (reason.value, reason.chance) == (Amount(0.0002, "factor"), 0.0002)
    assert reason.limit == Amount(0.02, "factor")
    assert len(reason.action) > 20


def test_a_chance_of_nothing_is_told_as_one_in_ten_thousand(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    found = answered(monkeypatch, [Past(), Past()], {0: 0.5, 1: 0.0}, used={0})
    (reason,) = found.reasons
    assert "0.0001 or less" in reason.text
    assert reason.value == Amount(0.0, "factor")


def test_where_all_fits_there_is_no_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    found = answered(monkeypatch, [Past(), Past()])
    assert found.reasons == ()
    assert found.figures.outliers == ()
    assert found.effort == Effort(7, 1234)
    assert found.cautions == (calibration.ASSUMED, cautions.LICENSED)


def test_where_no_record_is_used_there_is_no_calibration(monkeypatch: pytest.MonkeyPatch) -> None:
    past = [Past(why="Nothing was seen.", name="a"), Past(), Past(why="No plug.")]
    found = answered(monkeypatch, past, {1: 0.0001}, used=set())
    assert found.figures.calibration is None
    assert found.figures.uninformative == (
        Uninformative(index=0, id="a", why="Nothing was seen."),
        Uninformative(index=2, id=None, why="No plug."),
    )
    (reason,) = found.reasons
    assert (reason.code, reason.severity) == ("nothing-learned", Severity.STOP)
    assert "None of 3 records" in reason.text
    assert (reason.figure, reason.chance) == ("calibration", None)
    assert (reason.value, reason.limit) == (Amount(0.0, "factor"), Amount(1.0, "factor"))
    assert "uninformative" in reason.action


def frost(elapsed: float) -> Frost:
    return Frost(kind=Seen.FROST, elapsed=elapsed)


def test_how_far_off_each_kind_was_foretold_is_its_root_mean_square(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Times and masses by the logarithm of their ratio, temperatures by their difference."""
    cold = SurfaceTemperature(kind=Seen.SURFACE_TEMPERATURE, elapsed=100.0, value=270.0)
    drawn = WeightDrawn(kind=Seen.WEIGHT_DRAWN, elapsed=240.0, value=0.5)
    past = [
        Past([(frost(200.0), 200.0 * math.exp(0.3), 200.0), (cold, 273.0, 268.0)]),
        Past([(drawn, 0.5 * math.exp(-0.2), 0.5 * math.exp(0.1))]),
        Past([(frost(300.0), 300.0 * math.exp(-0.4), 300.0 * math.exp(0.2))]),
        Past([(frost(100.0), 9000.0, 9000.0)]),
    ]
    found = answered(monkeypatch, past, used={0, 1, 2}).figures.errors
    assert [(e.kind, e.count) for e in found] == [
        (Seen.FROST, 2), (Seen.SURFACE_TEMPERATURE, 1), (Seen.WEIGHT_DRAWN, 1)
    ]  # fmt: skip
    told = {e.kind: (e.before, e.after) for e in found}
    assert told[Seen.FROST] == (
        Amount(near(math.sqrt((0.09 + 0.16) / 2.0)), "factor"),
        Amount(near(0.2 / math.sqrt(2.0)), "factor"),
    )
    difference = "temperature_difference"
    assert told[Seen.SURFACE_TEMPERATURE] == (
        Amount(near(3.0), difference), Amount(near(2.0), difference)
    )  # fmt: skip
    assert told[Seen.WEIGHT_DRAWN] == (
        Amount(near(0.2), "factor"), Amount(near(0.1), "factor")
    )  # fmt: skip


@pytest.mark.parametrize(("before", "after"), [(math.inf, 200.0), (200.0, math.inf)])
def test_what_was_foretold_never_to_come_is_not_counted(
    monkeypatch: pytest.MonkeyPatch, before: float, after: float
) -> None:
    past = [Past([(frost(200.0), before, after)]), Past([(frost(200.0), 220.0, 200.0)])]
    (found,) = answered(monkeypatch, past).figures.errors
    assert found.count == 1
    assert found.before.value == pytest.approx(math.log(1.1))
    alone = answered(monkeypatch, past[:1]).figures.errors
    assert alone == ()
