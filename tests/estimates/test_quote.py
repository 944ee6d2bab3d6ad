"""Quotes: one by hand, what always holds of any, and what a job hands to its quote."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.jobs import HALF_INCH, TWO_INCH, known, likely
from estimates.test_job_estimate import codes, job, moment, quote_of
from stillpipe.estimates.job import quote_costed
from stillpipe.estimates.job.job_estimate import job_estimate
from stillpipe.estimates.job.plan import Plan
from stillpipe.estimates.job.quote import Cheaper, Quote, quote
from stillpipe.estimates.job.quote_bill import Bill, Line, Sums, money, quantity
from stillpipe.estimates.job.quote_costed import Costed, Spent, Taken
from stillpipe.model.cylinder import Cylinder, Stock
from stillpipe.model.figures import Verdict
from stillpipe.model.money import (
    Co2Basis,
    DrainDown,
    HireBasis,
    LabourBasis,
    Rates,
    RoundingStep,
    Tax,
    Travel,
    TravelBasis,
)
from stillpipe.tables import currencies

D = Decimal
HOUR = 3600.0
MOST = D("999999999.99")
"""Greatest amount that a caller may state."""

SPENT = Spent(labour=2.5 * HOUR, waiting=1.0 * HOUR, shut=2.0 * HOUR, co2=2.5, assisted=False)
LATE = Spent(labour=4.0 * HOUR, waiting=2.0 * HOUR, shut=3.5 * HOUR, co2=3.4, assisted=True)
JOB = Costed(
    likely=SPENT, seldom=LATE, promised=True, setup=0.5 * HOUR, repair=0.75 * HOUR, points=2,
    jackets=2, crew=2, exchanges=1,
    cylinders=(Taken(net_mass=9.1, count=2), Taken(net_mass=6.3, count=1)), enough=True,
)  # fmt: skip
RATES = Rates(
    currency="EUR", labour_per_hour=D("46.00"), labour_basis=LabourBasis.PERSON,
    waiting_per_hour=D("30.00"), co2_per_kg=D("3.40"), co2_basis=Co2Basis.CYLINDER,
    cylinder_hire=D("8.50"), jacket=D("12.00"), exchange=D("25.00"), assisted_thaw=D("30.00"),
    travel=Travel(
        fixed=D("5.00"), distance=36e3, per_distance=D("0.70"), time=2400.0
    ),
    call_out=D("40.00"), taxes=(Tax(name="Value added tax", percent=D("19")),),
    rounding_step=RoundingStep.FIVE_HUNDREDTHS,
)  # fmt: skip
DRAIN = DrainDown(
    volume=0.9, drain_rate=0.25e-3, fill_rate=0.25e-3, venting=1800.0,
    inhibitor_per_litre=D("0.45"), water_per_litre=D("0.01"), disposal_per_litre=D("0.05"),
    venting_charge=D("15.00"), downtime_per_hour=D("30.00"),
)  # fmt: skip


def amounts(lines: tuple[Line, ...]) -> list[tuple[str, str]]:
    return [(x.item, str(x.amount)) for x in lines]


def test_a_freeze_by_hand() -> None:
    """Two persons at 46.00 and, while the ice thaws, at 30.00 an hour each.

    Labour 2 x (2.5 - 1.0) h x 46.00 = 138.00; waiting 2 x 1.0 h x 30.00 = 60.00; second point
    2 x 0.25 h x 46.00 = 23.00; CO2 2 x 9.1 kg x 3.40 = 61.88 and 6.3 kg x 3.40 = 21.42; hire
    3 x 8.50 = 25.50; jackets 2 x 12.00 = 24.00; one exchange 25.00; travel 5.00, 36 km x 0.70 =
    25.20 and 2 x 0.67 h x 46.00 = 61.64; call-out 40.00: 510.64. Of that 19 % = 97.0216, 97.02:
    607.66, rounded to 607.65. Lost use 2 h x 30.00 = 60.00: 667.65 in all.
    """
    found = quote(RATES, JOB, DRAIN)
    assert amounts(found.lines) == [
        ("labour", "138.00"), ("waiting", "60.00"), ("further-points", "23.00"),
        ("co2", "61.88"), ("co2", "21.42"), ("cylinder-hire", "25.50"), ("jackets", "24.00"),
        ("exchanges", "25.00"), ("travel", "5.00"), ("travel-distance", "25.20"),
        ("travel-time", "61.64"), ("call-out", "40.00"), ("tax", "97.02"), ("rounding", "-0.01"),
        ("downtime", "60.00"),
    ]  # fmt: skip
    assert found.sums == Sums(
        net=D("510.64"), tax=D("97.02"), rounding=D("-0.01"), payable=D("607.65"),
        lost_use=D("60.00"), total=D("667.65"),
    )  # fmt: skip
    assert str(found.total) == "667.65"


def test_the_same_freeze_at_90_percent_by_hand() -> None:
    """Half an hour later than at 50 % in work, an hour in waiting, and the thaw is helped.

    Labour 2 x (4.0 - 2.0) h x 46.00 = 184.00 (+46.00); waiting 2 x 2.0 h x 30.00 = 120.00
    (+60.00); help for two points 60.00 (+60.00): 510.64 + 166.00 = 676.64. 19 % = 128.5616,
    128.56: 805.20, as it is a multiple of 0.05. Lost use 3.5 h x 30.00 = 105.00: 910.20.
    """
    found = known(quote(RATES, JOB, DRAIN).at_90)
    lines = dict(amounts(found.lines))
    assert (lines["labour"], lines["waiting"], lines["assisted-thaw"]) == (
        "184.00", "120.00", "60.00",
    )  # fmt: skip
    assert "rounding" not in lines
    assert (found.sums.net, found.sums.tax) == (D("676.64"), D("128.56"))
    assert (found.sums.payable, found.sums.total) == (D("805.20"), D("910.20"))


def test_draining_by_hand() -> None:
    """900 L at 15 L/min: 1 h out, 1 h in, 0.5 h venting, 0.75 h repair, 0.5 h to set up: 3.75 h.

    Labour 2 x 3.75 h x 46.00 = 345.00; water 9.00; inhibitor 405.00; disposal 45.00; venting
    15.00; travel 5.00 + 25.20 + 61.64; call-out 40.00: 950.84. 19 % = 180.6596, 180.66: 1131.50.
    Lost use 3.25 h x 30.00 = 97.50: 1229.00, which is 561.35 more than freezing at 50 %, 318.80 at
    90 %. To be paid 1131.50 - 607.65 = 523.85 more.
    """
    found = quote(RATES, JOB, DRAIN)
    assert amounts(found.drain_down) == [
        ("labour", "345.00"), ("refill-water", "9.00"), ("inhibitor", "405.00"),
        ("disposal", "45.00"), ("venting", "15.00"), ("travel", "5.00"),
        ("travel-distance", "25.20"), ("travel-time", "61.64"), ("call-out", "40.00"),
        ("tax", "180.66"), ("downtime", "97.50"),
    ]  # fmt: skip
    assert str(found.drain_down_total) == "1229.00"
    comparison = known(found.comparison)
    rulings = (comparison.total, known(comparison.total_at_90), comparison.payable)
    assert [str(r.by) for r in rulings] == ["561.35", "318.80", "523.85"]
    assert {r.cheaper for r in rulings} == {Cheaper.FREEZE}
    assert comparison.text == (
        "In all, freezing costs 667.65 EUR, draining 1229.00 EUR: freezing is cheaper by 561.35 "
        "EUR. At 90 %, freezing costs 910.20 EUR, draining 1229.00 EUR: freezing is cheaper by "
        "318.80 EUR. By what is to be paid, without lost use, freezing costs 607.65 EUR, draining "
        "1131.50 EUR: freezing is cheaper by 523.85 EUR."
    )
    assert any("no range" in note for note in found.notes)


def test_a_quote_in_yen_has_no_decimals() -> None:
    """2.50 kg at 512.5 JPY = 1281.25, 1281; labour 1.55 h at 3000 = 4650; 10 % of 5931 = 593.1."""
    spent = replace(SPENT, labour=1.55 * HOUR)
    rates = Rates(
        currency="JPY", labour_per_hour=D("3000"), co2_per_kg=D("512.5"),
        taxes=(Tax(name="Consumption tax", percent=D("10")),),
        rounding_step=RoundingStep.FIVE_HUNDREDTHS,
    )  # fmt: skip
    found = quote(rates, replace(JOB, likely=spent, points=1))
    assert amounts(found.lines) == [("labour", "4650"), ("co2", "1281"), ("tax", "593")]
    assert str(found.total) == "6524"
    assert "each amount to 1 JPY" in found.notes[0]


def test_decimals_of_currencies_are_those_of_iso_4217() -> None:
    """Most have two; a handful checked by name, three of them three, one of them four."""
    known_ones = {"JPY": 0, "KRW": 0, "ISK": 0, "KWD": 3, "TND": 3, "CLF": 4, "EUR": 2, "HUF": 2}
    for code, places in known_ones.items():
        assert currencies.smallest(code) == D(1).scaleb(-places), code
    assert all(len(code) == 3 and places != 2 for code, places in currencies.listed().items())


def test_halves_go_away_from_zero() -> None:
    """Where the banker's way would go to the even neighbour."""
    assert [str(money(D(x))) for x in ("0.125", "0.135", "-0.125")] == ["0.13", "0.14", "-0.13"]
    assert str(money(D("2.5"), currencies.smallest("JPY"))) == "3"
    assert str(quantity(0.125)) == "0.13"


@pytest.mark.parametrize(
    ("step", "payable", "by"),
    [("none", "100.03", None), ("0.05", "100.05", "0.02"), ("0.10", "100.00", "-0.03"),
     ("1", "100.00", "-0.03")],
)  # fmt: skip
def test_rounding_has_its_own_line(step: str, payable: str, by: str | None) -> None:
    rates = Rates(currency="CHF", call_out=D("100.03"), rounding_step=RoundingStep(step))
    found = quote(rates, JOB)
    assert str(found.sums.payable) == str(found.total) == payable
    assert dict(amounts(found.lines)).get("rounding") == by


def test_a_minimum_charge_is_before_taxes_and_counts_no_lost_use() -> None:
    """40.00 are made 250.00, of which 20 % are 50.00; lost use of 2 h x 30.00 comes on top."""
    rates = Rates(
        currency="EUR", call_out=D(40), minimum_charge=D(250), taxes=(Tax(name="T", percent=D(20)),)
    )
    found = quote(rates, JOB, DRAIN)
    assert amounts(found.lines) == [
        ("call-out", "40.00"), ("minimum-charge", "210.00"), ("tax", "50.00"),
        ("downtime", "60.00"),
    ]  # fmt: skip
    above = quote(replace(rates, call_out=D(250)), JOB, DRAIN)
    assert "minimum-charge" not in dict(amounts(above.lines))
    assert above.total == found.total


def test_several_taxes_are_each_named_and_not_on_one_another() -> None:
    """5 % and 9.975 % of 200.00: 10.00 and 19.95."""
    taxes = (Tax(name="Federal", percent=D("5")), Tax(name="Provincial", percent=D("9.975")))
    found = quote(Rates(currency="CAD", call_out=D(200), taxes=taxes), JOB)
    said = [(x.text, str(x.amount)) for x in found.lines if x.item == "tax"]
    assert said == [
        ("Federal, 5 % of 200.00 CAD", "10.00"), ("Provincial, 9.975 % of 200.00 CAD", "19.95"),
    ]  # fmt: skip
    assert str(found.total) == "229.95"


@pytest.mark.parametrize(
    ("basis", "labour", "days"),
    [(HireBasis.JOB, 2.5, 1), (HireBasis.DAY, 2.5, 1), (HireBasis.DAY, 24.0, 1),
     (HireBasis.DAY, 24.1, 2)],
)  # fmt: skip
def test_hire_is_by_the_job_or_by_each_day_begun(
    basis: HireBasis, labour: float, days: int
) -> None:
    """Three cylinders at 8.50."""
    rates = Rates(currency="EUR", cylinder_hire=D("8.50"), hire_basis=basis)
    found = quote(rates, replace(JOB, likely=replace(SPENT, labour=labour * HOUR)))
    assert amounts(found.lines) == [("cylinder-hire", str(D("25.50") * days))]


def test_travel_by_the_mile() -> None:
    """16.09344 km are 10 miles, at 0.50."""
    travel = Travel(distance=16093.44, per_distance=D("0.50"), distance_basis=TravelBasis.MILE)
    (line,) = quote(Rates(currency="USD", travel=travel), JOB).lines
    assert (str(line.quantity), line.unit, str(line.amount)) == ("10.00", "mi", "5.00")


def test_a_rate_of_the_crew_is_not_multiplied_by_its_persons() -> None:
    crew = replace(RATES, labour_basis=LabourBasis.CREW)
    each, whole = (dict(amounts(quote(r, JOB).lines)) for r in (RATES, crew))
    for item in ("labour", "waiting", "further-points", "travel-time"):
        assert D(each[item]) == 2 * D(whole[item])


def test_a_draw_is_said() -> None:
    """Draining 100 L with nothing but a call-out costs as much as freezing."""
    found = known(
        quote(Rates(currency="EUR", call_out=D(40)), JOB, DrainDown(volume=0.1)).comparison
    )
    assert (found.total.cheaper, found.total.by) == (Cheaper.NEITHER, 0)
    assert "neither is cheaper" in found.text


def test_draining_may_be_cheaper_and_what_has_no_rate_is_said() -> None:
    found = quote(Rates(currency="EUR", co2_per_kg=D("4")), JOB, DrainDown(volume=0.1))
    comparison = known(found.comparison)
    assert (comparison.total.cheaper, str(comparison.total.by)) == (Cheaper.DRAIN_DOWN, "10.00")
    assert found.unpriced == ("labour", "downtime")
    assert found.drain_down_unpriced == ("labour", "refill-water", "downtime")
    assert "no line for: labour, refill water, lost use." in comparison.text


def test_without_draining_nothing_is_said_of_it() -> None:
    found = quote(RATES, JOB)
    assert (found.drain_down, found.drain_down_total, found.drain_down_sums) == ((), None, None)
    assert (found.comparison, found.drain_down_unpriced) == (None, ())
    assert "downtime" not in {x.item for x in found.lines}
    assert "raining" not in " ".join(found.notes)


def test_what_is_not_promised_has_no_total_and_a_note() -> None:
    found = quote(RATES, replace(JOB, seldom=None, promised=False, enough=False), DRAIN)
    assert found.at_90 is None
    assert known(found.comparison).total_at_90 is None
    notes = " ".join(found.notes)
    assert "less than half of all cases" in notes
    assert "no total at 90 %" in notes
    assert "stock is too small" in notes


RATED: dict[str, set[str]] = {
    "labour_per_hour": {"labour", "further-points", "travel-time"}, "waiting_per_hour": {"waiting"},
    "co2_per_kg": {"co2"}, "cylinder_hire": {"cylinder-hire"}, "jacket": {"jackets"},
    "exchange": {"exchanges"}, "call_out": {"call-out"}, "travel": {
        "travel", "travel-distance", "travel-time"
    }, "taxes": {"tax"}, "rounding_step": {"rounding"}, "assisted_thaw": {"assisted-thaw"},
}  # fmt: skip


@pytest.mark.parametrize("member", RATED)
def test_a_rate_that_is_left_out_makes_no_line(member: str) -> None:
    default = Rates.__dataclass_fields__[member].default
    found = quote(replace(RATES, **{member: default}), replace(JOB, likely=LATE), DRAIN)
    whole = quote(RATES, replace(JOB, likely=LATE), DRAIN)
    assert {x.item for x in found.lines}.isdisjoint(RATED[member] - {"rounding"})
    assert RATED[member] - {"rounding"} <= {x.item for x in whole.lines}
    assert {x.item for x in quote(Rates(currency="EUR"), JOB, DrainDown(volume=1.0)).lines} == set()


AMOUNTS = st.one_of(
    st.just(D(0)), st.decimals(0, MOST, places=2), st.decimals(0, 500, places=2)
)  # fmt: skip
SECONDS = st.floats(0.0, 72.0 * HOUR)
TAXES = st.lists(
    st.builds(Tax, name=st.just("Tax"), percent=st.decimals(0, 100, places=4)), max_size=10
).map(tuple)  # fmt: skip
TRAVELS = st.builds(
    Travel, fixed=AMOUNTS, distance=st.floats(0.0, 5e6), per_distance=AMOUNTS,
    distance_basis=st.sampled_from(TravelBasis), time=st.floats(0.0, 24.0 * HOUR),
)  # fmt: skip
MANY_RATES = st.builds(
    Rates, currency=st.sampled_from(["EUR", "JPY", "KWD", "CLF"]), labour_per_hour=AMOUNTS,
    labour_basis=st.sampled_from(LabourBasis), waiting_per_hour=AMOUNTS,
    co2_per_kg=AMOUNTS, co2_basis=st.sampled_from(Co2Basis), cylinder_hire=AMOUNTS,
    hire_basis=st.sampled_from(HireBasis), jacket=AMOUNTS, exchange=AMOUNTS, assisted_thaw=AMOUNTS,
    travel=TRAVELS, call_out=AMOUNTS, minimum_charge=AMOUNTS, taxes=TAXES,
    rounding_step=st.sampled_from(RoundingStep),
)  # fmt: skip
DRAINS = st.builds(
    DrainDown, volume=st.floats(1e-4, 1000.0), drain_rate=st.floats(1e-6, 0.1),
    fill_rate=st.floats(1e-6, 0.1), venting=st.floats(0.0, 8.0 * HOUR), inhibitor_per_litre=AMOUNTS,
    water_per_litre=AMOUNTS, disposal_per_litre=AMOUNTS, venting_charge=AMOUNTS,
    downtime_per_hour=AMOUNTS,
)  # fmt: skip


@st.composite
def many_spent(draw: st.DrawFn) -> Spent:
    labour = draw(SECONDS)
    return Spent(
        labour=labour, waiting=labour * draw(st.floats(0.0, 1.0)), shut=draw(SECONDS),
        co2=draw(st.floats(0.0, 2000.0)), assisted=draw(st.booleans()),
    )  # fmt: skip


JOBS = st.builds(
    Costed, likely=many_spent(), seldom=st.one_of(st.none(), many_spent()), promised=st.booleans(),
    setup=st.floats(0.0, 8.0 * HOUR), repair=st.floats(0.0, 8.0 * HOUR), points=st.integers(1, 30),
    jackets=st.integers(1, 30), crew=st.integers(1, 20), exchanges=st.integers(0, 200),
    cylinders=st.lists(
        st.builds(Taken, net_mass=st.floats(0.5, 100.0), count=st.integers(1, 200)), max_size=6
    ).map(tuple),
    enough=st.booleans(),
)  # fmt: skip


def bills(found: Quote) -> list[Bill]:
    """The freeze at 50 and at 90 %, and draining."""
    every = [Bill(lines=found.lines, sums=found.sums, unpriced=found.unpriced)]
    every += [] if found.at_90 is None else [found.at_90]
    if found.drain_down_sums is not None:
        every.append(Bill(lines=found.drain_down, sums=found.drain_down_sums, unpriced=()))
    return every


@settings(max_examples=150, deadline=None, derandomize=True)
@given(MANY_RATES, JOBS, st.one_of(st.none(), DRAINS))
def test_lines_add_up_to_the_total_and_nothing_is_below_zero(
    rates: Rates, costed: Costed, drained: DrainDown | None
) -> None:
    smallest = currencies.smallest(rates.currency)
    found = quote(rates, costed, drained)
    assert found.total == found.sums.total
    for each in bills(found):
        sums = each.sums
        assert sum(x.amount for x in each.lines) == sums.total
        assert sums.net + sums.tax + sums.rounding == sums.payable
        assert sums.payable + sums.lost_use == sums.total
        assert sums.net >= money(rates.minimum_charge, smallest)
        step = rates.rounding_step.value
        if step != "none":
            assert sums.payable % D(step) == 0
            assert abs(sums.rounding) <= D(step) / 2
        for line in each.lines:
            assert line.amount == line.amount.quantize(smallest)
            assert line.amount == money(line.quantity * line.rate, smallest) != 0
            assert line.item == "rounding" or line.amount > 0
            assert line.text


@settings(max_examples=100, deadline=None, derandomize=True)
@given(MANY_RATES, JOBS, DRAINS, st.floats(0.0, 24.0 * HOUR), st.booleans())
def test_more_hours_are_never_cheaper(
    rates: Rates, costed: Costed, drained: DrainDown, more: float, waited: bool
) -> None:
    spent = costed.likely
    longer = replace(
        spent, labour=spent.labour + more, waiting=spent.waiting + (more if waited else 0.0),
        shut=spent.shut + more,
    )  # fmt: skip
    one, other = (quote(rates, replace(costed, likely=x), drained) for x in (spent, longer))
    assert other.total >= one.total
    assert other.sums.payable >= one.sums.payable
    slower = quote(rates, replace(costed, setup=costed.setup + more), drained)
    assert known(slower.drain_down_total) >= known(one.drain_down_total)


def test_the_greatest_of_all_that_is_accepted() -> None:
    """Every rate, time and quantity at its end: the amounts still add up to the last decimal.

    Labour alone is 20 persons x 72 h x 999,999,999.99.
    """
    rates = Rates(
        currency="CLF", labour_per_hour=MOST, labour_basis=LabourBasis.PERSON,
        co2_per_kg=MOST, cylinder_hire=MOST, jacket=MOST, exchange=MOST, assisted_thaw=MOST,
        travel=Travel(fixed=MOST, distance=5e6, per_distance=MOST, time=24.0 * HOUR),
        call_out=MOST, minimum_charge=MOST,
        taxes=tuple(Tax(name=str(n), percent=D("99.9999")) for n in range(10)),
        rounding_step=RoundingStep.WHOLE,
    )  # fmt: skip
    drained = DrainDown(
        volume=1000.0, drain_rate=1e-6, fill_rate=1e-6, venting=8.0 * HOUR,
        inhibitor_per_litre=MOST, water_per_litre=MOST, disposal_per_litre=MOST,
        venting_charge=MOST, downtime_per_hour=MOST,
    )  # fmt: skip
    spent = Spent(labour=72.0 * HOUR, waiting=0.0, shut=72.0 * HOUR, co2=2000.0, assisted=True)
    found = quote(rates, replace(JOB, likely=spent, crew=20), drained)
    assert dict(amounts(found.lines))["labour"] == str(20 * 72 * MOST.quantize(D("0.0001")))
    for each in bills(found):
        assert sum(x.amount for x in each.lines) == each.sums.total
        assert each.sums.payable == each.sums.payable.to_integral_value()


def test_a_job_hands_its_promises_to_its_quote() -> None:
    """Hours are those of the promises, CO2 of all points at 50 and at 90 %."""
    request = job(TWO_INCH)
    answer = job_estimate(request)
    found, bill = quote_of(answer.figures), known(quote_of(answer.figures).at_90)
    half, most = answer.figures.promises
    for lines, by in ((found.lines, half.by), (bill.lines, most.by)):
        labour = next(x for x in lines if x.item == "labour")
        assert float(labour.quantity) == pytest.approx(by / HOUR, abs=0.0051)
    mass = [
        float(next(x for x in b if x.item == "co2").quantity) for b in (found.lines, bill.lines)
    ]
    co2 = known(answer.figures.co2.job_total)
    assert mass[0] == pytest.approx(co2.likely, abs=0.0051)
    assert co2.likely < mass[1] < known(co2.high)
    assert bill.sums.total > found.total


def test_a_job_that_seldom_goes_well_is_quoted_by_its_timeline() -> None:
    """An exchange of an hour outlasts the plug: no promise, and the quote says so."""
    answer = job_estimate(
        job(TWO_INCH, cylinder=Cylinder(net_mass=6.3), repair=6 * HOUR, exchange_duration=HOUR)
    )
    assert (answer.verdict, answer.figures.promises) == (Verdict.NO_GO, ())
    found = quote_of(answer.figures)
    labour = next(x for x in found.lines if x.item == "labour")
    thawed = moment(answer.figures, "thawed")
    assert float(labour.quantity) == pytest.approx(thawed / HOUR, abs=0.0051)
    assert found.at_90 is None


def test_waiting_is_the_thaw_until_it_is_helped() -> None:
    """From the stop on; where help is planned the two hours before it."""
    for celsius, room, assisted in ((20.0, 20.0, False), (8.0, -5.0, True)):
        request = job(HALF_INCH, celsius, room)
        plan = Plan(request)
        ready = known(plan.lead.planned_ready)
        done = quote_costed.as_planned(plan)
        found = quote_costed.spent(plan, done, 1.0)
        thaw = likely(job_estimate(request).figures.planned_thaw)
        assert found.assisted is assisted
        assert found.waiting == pytest.approx(7200.0 if assisted else thaw)
        assert found.labour == done
        assert found.labour - found.waiting >= request.setup + ready + request.repair - 1e-6


def test_a_stock_is_charged_by_its_mix() -> None:
    """Two points of half an inch take 1.3 kg each: two of the smallest, 12.6 kg at 3.40 = 42.84."""
    changes: dict[str, Any] = {
        "rates": Rates(currency="EUR", co2_per_kg=D("3.40"), co2_basis=Co2Basis.CYLINDER,
                       cylinder_hire=D("10.00"), exchange=D("25.00")),
        "stock": (Stock(id="co2-34kg", count=5), Stock(id="co2-6.3kg", count=5)),
    }  # fmt: skip
    figures = job_estimate(job(**changes)).figures
    assert {c.id: c.count for c in known(figures.mix).cylinders} == {"co2-6.3kg": 2}
    assert amounts(quote_of(figures).lines)[:2] == [("co2", "42.84"), ("cylinder-hire", "20.00")]
    assert "exchanges" not in dict(amounts(quote_of(figures).lines))


def test_a_stock_too_small_stops_the_job_and_the_quote_says_so() -> None:
    """One cylinder for two jackets that do not share it, however large it is."""
    answer = job_estimate(job(stock=(Stock(id="co2-34kg", count=1),)))
    assert (answer.verdict, "stock-too-small" in codes(answer)) == (Verdict.NO_GO, True)
    assert not known(answer.figures.mix).enough
    assert any("stock is too small" in note for note in quote_of(answer.figures).notes)
    shared = job_estimate(job(stock=(Stock(id="co2-34kg", count=1),), jackets_per_cylinder=2))
    assert "stock-too-small" not in codes(shared)
    assert job_estimate(job()).figures.mix is None
