"""Records of past freezes move the inputs of a set of jackets where they should, and no further."""

import math
from dataclasses import replace
from typing import Any

import pytest

import stillpipe
from estimates.jobs import request_of, water
from stillpipe.estimates import assess
from stillpipe.estimates.calibration import CalibratedInput, CalibrationFigures, calibration
from stillpipe.estimates.co2_mass import co2_mass
from stillpipe.estimates.solution import Solution
from stillpipe.model.calibration import Calibration, Factor
from stillpipe.model.figures import AnyAnswer, Severity
from stillpipe.model.observations import (
    AnyObservation,
    FlowStopped,
    Frost,
    NoFrost,
    Seen,
    WeightDrawn,
)
from stillpipe.model.requests import CalibrationRequest, Co2MassRequest, PlugTimeRequest, Record
from stillpipe.tables import pipes

LIKELY = 179.0
"""Likely frost of half-inch copper [s], by the table."""


def frost(elapsed: float, off: float = 10.0) -> Frost:
    return Frost(kind=Seen.FROST, elapsed=elapsed, standard_uncertainty=off)


def record(*seen: AnyObservation, **changes: Any) -> Record:
    return request_of(Record, observations=seen, **changes)


def answer(*records: Record) -> AnyAnswer:
    return calibration(CalibrationRequest(records=records))


def figures(*records: Record) -> CalibrationFigures:
    found = answer(*records).figures
    assert isinstance(found, CalibrationFigures)
    return found


def likely(found: CalibrationFigures, name: str) -> CalibratedInput:
    (one,) = [i for i in found.jackets if i.name == name]
    return one


def width(of: Any) -> float:
    """Logarithm of the 95th over the 5th percentile."""
    return math.log(of.p95.value / of.p05.value)


def test_slow_frost_means_a_low_conductance_and_fast_frost_a_high_one() -> None:
    found = [
        likely(figures(*[record(frost(share * LIKELY))] * 4), "jacket_conductance").own.p50
        for share in (0.7, 1.0, 1.4)
    ]
    values = [each.value for each in found if each]
    assert values == sorted(values, reverse=True)
    assert values[0] > 1.15 * 165.0
    assert values[1] == pytest.approx(165.0, rel=0.06)
    assert values[2] < 0.9 * 165.0


def test_more_records_narrow_what_is_known() -> None:
    few, many = (
        likely(figures(*[record(frost(LIKELY))] * count), "jacket_conductance") for count in (2, 8)
    )
    assert width(many.before) == width(few.before)
    assert width(many.own) < 0.85 * width(few.own) < 0.85 * width(few.before)
    assert width(many.next) > width(many.own), "freezes differ from one another"
    assert many.narrowed > few.narrowed > 0.0


def test_weight_drawn_tells_the_capture() -> None:
    seen = [frost(LIKELY), WeightDrawn(
        kind=Seen.WEIGHT_DRAWN, elapsed=240.0, value=0.40, standard_uncertainty=0.02
    )]  # fmt: skip
    heavy = likely(figures(*[record(*seen)] * 5), "capture")
    assert heavy.own.p95 is not None
    assert heavy.own.p95.value < 0.5, "more CO2 than likely: less of it is captured"
    without = likely(figures(record(frost(LIKELY))), "capture")
    assert width(without.next) == pytest.approx(width(without.before), rel=0.02)


def test_a_record_that_does_not_fit_the_others_is_named_and_set_aside() -> None:
    fitting = [record(frost(LIKELY * share)) for share in (0.95, 1.0, 1.05, 1.0, 0.9)]
    odd = record(frost(3.2 * LIKELY, 5.0), id="the odd one")
    found = answer(*fitting, odd)
    (outlier,) = found.figures.outliers
    assert (outlier.index, outlier.id) == (5, "the odd one")
    assert outlier.probability < 0.001
    assert not outlier.used
    assert [r.code for r in found.reasons] == ["records-do-not-fit"]
    assert found.figures.calibration == answer(*fitting).figures.calibration
    assert answer(*fitting).reasons == ()


def test_records_that_teach_nothing_are_named() -> None:
    slush = record(frost(100.0), fluid=water(20.0, 2.0))
    early = record(NoFrost(kind=Seen.NO_FROST, elapsed=2.0, standard_uncertainty=1.0))
    found = answer(record(), slush, early, record(frost(LIKELY)))
    assert [u.index for u in found.figures.uninformative] == [0, 1, 2]
    assert len({u.why for u in found.figures.uninformative}) == 3
    assert found.figures.calibration.records == 1
    nothing = answer(record(), early)
    assert nothing.figures.calibration is None
    assert [(r.code, r.severity) for r in nothing.reasons] == [("nothing-learned", Severity.STOP)]
    for one in nothing.figures.jackets:
        assert width(one.next) == pytest.approx(width(one.before), rel=0.02)


def test_a_flow_that_had_stopped_soon_means_no_low_conductance() -> None:
    soon = FlowStopped(kind=Seen.FLOW_STOPPED, elapsed=220.0)
    found = likely(figures(*[record(soon)] * 3), "jacket_conductance")
    assert found.own.p05 is not None
    assert found.own.p05.value > 125.0


def test_observations_are_foretold_better_by_the_other_records() -> None:
    found = figures(*(record(frost(LIKELY * share)) for share in (1.35, 1.4, 1.45, 1.5)))
    (error,) = found.errors
    assert (error.kind, error.count) == (Seen.FROST, 4)
    # over the median of the draws, 184 s
    assert error.before.value == pytest.approx(math.log(1.42 * LIKELY / 184.0), abs=0.02)
    assert error.after.value < 0.4 * error.before.value


def test_the_order_of_records_hardly_matters() -> None:
    records = [record(frost(LIKELY * share)) for share in (0.8, 1.0, 1.1)]
    one, other = (
        likely(figures(*each), "jacket_conductance").own.p50
        for each in (records, list(reversed(records)))
    )
    assert one is not None
    assert other is not None
    assert one.value == pytest.approx(other.value, rel=0.02)


def test_the_object_holds_the_next_freeze_and_its_pipes() -> None:
    one_inch = pipes.find("ASTM B88", "1", "L")
    inch = request_of(Record, one_inch, observations=(frost(240.0, 20.0),))
    found = figures(record(frost(1.2 * LIKELY)), inch)
    known = found.calibration
    assert known is not None
    assert known.model_version == stillpipe.MODEL_VERSION
    assert (known.least_diameter, known.greatest_diameter) == pytest.approx((0.015875, 0.028575))
    following = likely(found, "jacket_conductance").next
    for end in ("p05", "p50", "p95"):
        factor = getattr(known.jacket_conductance, end)
        assert getattr(following, end).value == pytest.approx(165.0 * factor, rel=1e-3)


SLOW = Calibration(
    model_version=stillpipe.MODEL_VERSION, records=9,
    jacket_conductance=Factor(p05=0.65, p50=0.7, p95=0.75),
    jacket_filling=Factor(p05=0.8, p50=1.0, p95=1.25), capture=Factor(p05=0.65, p50=0.7, p95=0.75),
    least_diameter=0.012, greatest_diameter=0.020,
)  # fmt: skip


def test_a_calibration_stands_in_place_of_the_table() -> None:
    table = Solution(request_of(PlugTimeRequest))
    known = Solution(request_of(PlugTimeRequest, calibration=SLOW))
    assert table.closure is not None
    assert known.closure is not None
    assert known.closure.likely > 1.2 * table.closure.likely
    assert known.closure.longest / known.closure.low < 0.8 * (
        table.closure.longest / table.closure.low
    )
    stated = request_of(PlugTimeRequest)
    stated = replace(stated, jacket=replace(stated.jacket, conductance=0.7 * 165.0))
    alike = Solution(stated).closure
    assert alike is not None
    assert known.closure.likely == pytest.approx(alike.likely, rel=0.03)


def test_less_capture_takes_more_co2() -> None:
    whole = replace(SLOW, jacket_conductance=Factor(p05=0.66, p50=1.0, p95=1.5))
    table, known = (
        co2_mass(request_of(Co2MassRequest, calibration=c)).figures.total for c in (None, whole)
    )
    assert table is not None
    assert known is not None
    assert known.likely == pytest.approx(table.likely / 0.7, rel=0.05)


def test_a_pipe_far_from_those_of_the_records_is_warned_of() -> None:
    far = request_of(PlugTimeRequest, pipes.find("ASTM B88", "2", "L"), calibration=SLOW)
    near = request_of(PlugTimeRequest, calibration=SLOW)
    codes = [[r.code for r in assess.of_line(Solution(point))] for point in (far, near)]
    assert ["outside-calibration" in c for c in codes] == [True, False]
