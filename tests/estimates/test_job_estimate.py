"""One whole job by hand: a valve swap in the plant room of Harbour Lane Baths (invented).

Two freeze points on 1/2 in type L copper at 20 C and 3 bar; half an hour to set up, 45 min of
repair; a room of 60 m3 with two air changes; 62.00 an hour, 3.40 a kilogram, 40.00 to come.
"""

import math
from dataclasses import replace
from decimal import Decimal

import pytest

from estimates.jobs import HALF_INCH
from stillpipe.estimates.co2_mass import Feeding
from stillpipe.estimates.cylinder_count import Bottle, Plan
from stillpipe.estimates.job_estimate import (
    DrainDown,
    JobEstimate,
    Rates,
    Whole,
    Work,
    job_estimate,
    money,
)
from stillpipe.estimates.spacing import Place
from stillpipe.estimates.ventilation import Room

RATES = Rates("EUR", Decimal("62.00"), Decimal("3.40"), Decimal("25.00"), Decimal("40.00"))
DRAIN = DrainDown(900.0, 0.25, 0.25, 1800.0, Decimal("0.45"), Decimal("30.00"))
JOB = Whole(
    HALF_INCH, Work(1800.0, 2700.0), Feeding(hold=2700.0, points=2), Bottle("9.1 kg", 9.1, 680.0),
    Plan(), Room(60.0, 2.0 / 3600.0), RATES, DRAIN,
)  # fmt: skip


@pytest.fixture(scope="module")
def found() -> JobEstimate:
    return job_estimate(JOB)


def likely(found: JobEstimate, code: str) -> float:
    return next(e.at for e in found.timeline if e.code == code)


def test_the_clock_by_hand(found: JobEstimate) -> None:
    """Feeding begins at 30:00. Closed 260 s later, ready 266 s later, stop 45 min after that."""
    assert likely(found, "feed") == 1800.0
    assert found.plug.ready is not None
    assert likely(found, "closed") == pytest.approx(1800.0 + 260.0, abs=3.0)
    assert likely(found, "ready") == pytest.approx(1800.0 + found.plug.ready.likely)
    assert likely(found, "stop") == pytest.approx(likely(found, "ready") + 2700.0)
    assert found.hold.thaw is not None
    assert likely(found, "thawed") == pytest.approx(likely(found, "stop") + found.hold.thaw.likely)
    times = [e.at for e in found.timeline]
    assert times == sorted(times)


def test_the_carbon_dioxide_by_hand(found: JobEstimate) -> None:
    """One point: 6.6 kJ from the pipe, 17.7 kJ for the jacket, 17.7 W x 266 s = 4.7 kJ of leak.

    (6.6 + 17.7 + 4.7) kJ / (166.7 kJ/kg x 0.6) = 0.29 kg to ready. In the hold some 13-17 W come
    along the pipe and 17.7 W through the jacket: about 31-35 W x 2,700 s / 100 kJ/kg = 0.9 kg.
    Two points: about 2.3 kg.
    """
    assert found.co2.freeze is not None
    assert found.co2.job is not None
    assert found.co2.total is not None
    assert found.co2.freeze.likely == pytest.approx(29.0e3 / (166.7e3 * 0.6), rel=0.02)
    assert found.co2.total.likely == pytest.approx(0.29 + 33.0 * 2700.0 / 100.0e3, rel=0.08)
    assert found.co2.job.likely == pytest.approx(2.0 * found.co2.total.likely)


def test_the_cylinders_by_hand(found: JobEstimate) -> None:
    """9.1 kg x (1 - 0.2856) x 0.9 = 5.85 kg to a jacket that needs 1.15 kg: one each, no swap."""
    assert found.cylinders.count is not None
    assert found.cylinders.count.likely == 2.0
    assert found.cylinders.exchanges == ()


def test_the_air_by_hand(found: JobEstimate) -> None:
    """Freezing: 2 x 0.29 kg in 266 s = 2.18 g/s = 1.18 L/s at 1.84 kg/m3 into 60 m3.

    Fresh air is 33 L/s. After 266 s: x = 3.45 % (1 - exp(-266 x 0.0345 / 60)) + 0.04 % = 0.53 %;
    in the hold 2 x 0.32 g/s = 0.34 L/s would settle at 1.0 %.
    """
    assert found.air is not None
    gas = 2.0 * 0.29 / 266.0 / 1.839
    out = 60.0 * 2.0 / 3600.0 + gas
    first = gas / out * (1.0 - math.exp(-266.0 * out / 60.0)) + 420e-6
    assert found.air.peak > 0.97 * first
    assert found.air.peak < 0.0115
    assert found.air.least_oxygen > 0.205


def test_the_quote_by_hand(found: JobEstimate) -> None:
    """Labour from arrival to thaw at 62.00, CO2 at 3.40, call-out 40.00; to the cent."""
    quote = found.quote
    assert quote is not None
    hours = Decimal(str(round(likely(found, "thawed") / 3600.0, 2)))
    assert found.co2.job is not None
    mass = Decimal(str(round(found.co2.job.likely, 2)))
    lines = {x.item: x.amount for x in quote.lines}
    assert lines == {
        "labour": money(hours * Decimal("62.00")),
        "co2": money(mass * Decimal("3.40")),
        "call-out": Decimal("40.00"),
    }
    assert quote.total == sum(lines.values())


def test_draining_down_by_hand(found: JobEstimate) -> None:
    """900 L at 15 L/min: 60 min out, 60 min in, 30 min venting, 45 min repair, 30 min to set up.

    Labour 3.75 h x 62.00 = 232.50; inhibitor 900 x 0.45 = 405.00; downtime 3.25 h x 30.00 = 97.50;
    call-out 40.00: 775.00 in all.
    """
    quote = found.quote
    assert quote is not None
    assert quote.drain_down_total == Decimal("775.00")
    assert [str(x.amount) for x in quote.drain_down] == ["232.50", "405.00", "97.50", "40.00"]


def test_every_caution_of_the_trade_is_there(found: JobEstimate) -> None:
    codes = {n.code for n in found.cautions}
    assert codes >= {
        "licensed-practice", "not-a-positive-isolation", "prove-before-cutting", "asphyxiation",
        "cold-burns", "vent-the-jacket", "trapped-water", "cylinder-upright", "noise", "no-blows",
        "hot-pipe", "plug-failure-plan",
    }  # fmt: skip


def test_a_warm_line_is_cooled_first() -> None:
    warm = replace(JOB, job=replace(HALF_INCH, fluid_temperature=308.15))
    assert "cool-first" in {n.code for n in job_estimate(warm).reasons}


def test_a_warm_line_cools_as_a_lump_by_hand() -> None:
    """1/2 in copper from 35 to 25 C in a room at 20 C.

    Heat per metre: water 4.18 MJ/m3K x 150.5 mm2 = 629 J/mK, copper some 3.4 MJ/m3K x 47.4 mm2 =
    161 J/mK. Film about 6 to 11 W/m2K over 49.9 mm: time constant 24 to 44 min; times ln 3.
    """
    warm = replace(JOB, job=replace(HALF_INCH, fluid_temperature=308.15))
    cooled = next(e for e in job_estimate(warm).timeline if e.code == "cooled")
    low, high = (790.0 / (h * 0.04987) * math.log(3.0) for h in (11.0, 6.0))
    assert low < cooled.at < high
    assert cooled.earliest < cooled.at
    assert likely(job_estimate(warm), "feed") == pytest.approx(max(1800.0, cooled.at))


def test_a_warm_room_never_cools_the_line() -> None:
    hot = replace(HALF_INCH, fluid_temperature=308.15, ambient_temperature=306.15)
    cooled = next(e for e in job_estimate(replace(JOB, job=hot)).timeline if e.code == "cooled")
    assert cooled.latest is None


def test_the_worst_of_all_verdicts_is_the_jobs() -> None:
    tight = replace(JOB, place=Room(5.0))
    assert job_estimate(tight).verdict == "no-go"
    gas_only = replace(JOB, bottle=Bottle("gas", 9.1, 680.0, dip_tube=False))
    assert job_estimate(gas_only).verdict == "no-go"


def test_a_run_that_is_too_tight_stops_the_job() -> None:
    """Two plugs 1 m apart without a vent between them trap their water."""
    ends = (Place("one", "freeze-point", 0.0), Place("two", "freeze-point", 1.0))
    shut = job_estimate(replace(JOB, run=ends))
    assert (shut.verdict, "trapped-water" in {n.code for n in shut.reasons}) == ("no-go", True)
    vented = job_estimate(replace(JOB, run=(*ends, Place("cock", "vent", 0.5))))
    assert vented.verdict == "go"
    assert vented.spacing is not None


def test_halves_of_a_cent_are_rounded_up() -> None:
    assert money(Decimal("1.005")) == Decimal("1.01")
