"""Each line of a quote as the customer reads it: how much, of what, at which rate, in words."""

from dataclasses import replace
from decimal import Decimal

import pytest

from estimates.jobs import known, solution_of
from estimates.test_job_estimate import job
from estimates.test_quote import DRAIN, HOUR, JOB, LATE, RATES, SPENT
from stillpipe.estimates.job.job_estimate import job_estimate
from stillpipe.estimates.job.quote import Cheaper, quote
from stillpipe.estimates.job.quote_bill import Line
from stillpipe.estimates.job.quote_costed import Taken
from stillpipe.model.money import (
    Co2Basis,
    DrainDown,
    HireBasis,
    LabourBasis,
    Rates,
    RoundingStep,
    Tax,
    Travel,
)

D = Decimal


def shown(line: Line) -> tuple[str, str, str, str, str]:
    """A line without its amount, as text."""
    return line.item, str(line.quantity), line.unit, str(line.rate), line.text


def test_every_line_of_a_freeze_as_it_is_read() -> None:
    """Two persons for 2.5 h, of which one is waiting; two jackets, three cylinders, 36 km."""
    assert [shown(x) for x in quote(RATES, JOB, DRAIN).lines] == [
        ("labour", "3.00", "person-h", "46.00",
         "Labour on site, from arrival until the pipe is open again, without the wait for the "
         "thaw: 2 persons, 1.5 h each"),
        ("waiting", "2.00", "person-h", "30.00",
         "Waiting on site while the ice thaws by itself: 2 persons, 1 h each"),
        ("further-points", "0.50", "person-h", "46.00",
         "Fitting and taking off the jacket of 1 further freeze point: 2 persons, 0.25 h each"),
        ("co2", "18.20", "kg", "3.40", "CO2, 2 whole cylinders of 9.1 kg"),
        ("co2", "6.30", "kg", "3.40", "CO2, 1 whole cylinder of 6.3 kg"),
        ("cylinder-hire", "3", "1", "8.50", "Hire of 3 cylinders"),
        ("jackets", "2", "1", "12.00", "Use of 2 jackets"),
        ("exchanges", "1", "1", "25.00", "Exchange of empty cylinders for full ones"),
        ("travel", "1", "1", "5.00", "Travel to the site and back"),
        ("travel-distance", "36.00", "km", "0.70", "Distance to the site and back"),
        ("travel-time", "1.34", "person-h", "46.00",
         "Time to travel to the site and back: 2 persons, 0.67 h each"),
        ("call-out", "1", "1", "40.00", "Call-out"),
        ("tax", "510.64", "EUR", "0.19", "Value added tax, 19 % of 510.64 EUR"),
        ("rounding", "1", "1", "-0.01", "Rounded to 0.05 EUR"),
        ("downtime", "2.00", "h", "30.00",
         "Use of the line lost while it is shut; not part of what is to be paid"),
    ]  # fmt: skip


def test_every_line_of_draining_as_it_is_read() -> None:
    assert [shown(x) for x in quote(RATES, JOB, DRAIN).drain_down] == [
        ("labour", "7.50", "person-h", "46.00",
         "Labour on site: setting up, draining, repair, filling and venting: 2 persons, 3.75 h "
         "each"),
        ("refill-water", "900.00", "L", "0.01", "Water to fill the line"),
        ("inhibitor", "900.00", "L", "0.45", "Inhibitor or additive for the water filled in"),
        ("disposal", "900.00", "L", "0.05", "Disposal of what is drained"),
        ("venting", "1", "1", "15.00", "Venting and balancing"),
        ("travel", "1", "1", "5.00", "Travel to the site and back"),
        ("travel-distance", "36.00", "km", "0.70", "Distance to the site and back"),
        ("travel-time", "1.34", "person-h", "46.00",
         "Time to travel to the site and back: 2 persons, 0.67 h each"),
        ("call-out", "1", "1", "40.00", "Call-out"),
        ("tax", "950.84", "EUR", "0.19", "Value added tax, 19 % of 950.84 EUR"),
        ("downtime", "3.25", "h", "30.00",
         "Use of the line lost while it is shut; not part of what is to be paid"),
    ]  # fmt: skip


def test_one_person_on_one_jacket_is_told_so() -> None:
    """By the crew's hour, all of it at one rate, the CO2 by weight, the thaw helped."""
    rates = replace(
        RATES, labour_basis=LabourBasis.CREW, waiting_per_hour=D(0), co2_basis=Co2Basis.WEIGHT,
        hire_basis=HireBasis.DAY, minimum_charge=D(900), rounding_step=RoundingStep.NONE, taxes=(),
    )  # fmt: skip
    alone = replace(
        JOB, points=1, jackets=1, crew=1, likely=LATE, cylinders=(Taken(net_mass=9.1, count=1),)
    )
    said = {x.item: shown(x)[1:] for x in quote(rates, alone).lines}
    assert said["labour"] == (
        "4.00", "h", "46.00", "Labour on site, from arrival until the pipe is open again",
    )  # fmt: skip
    assert said["jackets"][3] == "Use of 1 jacket"
    assert said["co2"] == ("3.40", "kg", "3.40", "CO2, by the weight used")
    assert said["cylinder-hire"] == ("1", "cylinder-day", "8.50", "Hire of 1 cylinder for 1 day")
    assert said["assisted-thaw"] == (
        "1", "1", "30.00", "Helping the plugs thaw with warm water or warm air",
    )  # fmt: skip
    assert said["minimum-charge"][3] == "Up to the minimum charge of 900.00 EUR"
    assert not {"waiting", "further-points"} & set(said)
    each = quote(replace(rates, labour_basis=LabourBasis.PERSON), alone).lines[0]
    assert each.text.endswith(": 1 person, 4 h each")
    two = quote(rates, replace(alone, likely=replace(LATE, labour=25.0 * HOUR))).lines
    assert next(x.text for x in two if x.item == "cylinder-hire").endswith("for 2 days")


def test_co2_without_cylinders_is_by_weight() -> None:
    """Where no cylinder is planned, whatever the basis."""
    found = quote(RATES, replace(JOB, cylinders=()), None).lines
    assert [(x.item, str(x.quantity)) for x in found if x.item == "co2"] == [("co2", "2.50")]


def test_a_hire_by_the_day_is_at_least_one_day() -> None:
    rates = Rates(currency="EUR", cylinder_hire=D(10), hire_basis=HireBasis.DAY)
    found = quote(rates, replace(JOB, likely=replace(SPENT, labour=0.0, waiting=0.0)))
    assert [(str(x.quantity), str(x.amount)) for x in found.lines] == [("3", "30.00")]


@pytest.mark.parametrize(
    ("steps", "told"),
    [(RoundingStep.NONE, None), (RoundingStep.WHOLE, "rounded to 1 EUR in a line of its own")],
)
def test_how_the_figures_are_made_is_noted(steps: RoundingStep, told: str | None) -> None:
    """Each note where it belongs, and nowhere else."""
    plain = quote(Rates(currency="EUR", call_out=D(40), rounding_step=steps), JOB).notes
    assert plain[0].startswith("Quantities are rounded to 0.01, each amount to 0.01 EUR")
    assert any(told in note for note in plain) if told else len(plain) == 2
    assert "nine of ten cases" in plain[-1]
    taxed = Rates(currency="EUR", call_out=D(40), taxes=(Tax(name="T", percent=D(5)),))
    bad = replace(JOB, seldom=None, promised=False, enough=False)
    notes = quote(taxed, bad, DRAIN).notes
    for part in ("Each tax is on all", "less than half of all cases", "no total at 90 %",
                 "stock is too small", "Draining is worked out"):  # fmt: skip
        assert sum(part in note for note in notes) == 1, part
        assert not any(part in note for note in plain), part
    assert len(notes) == 6


def test_an_amount_of_nothing_has_no_line_and_a_need_without_a_rate_is_named() -> None:
    """In the order of the lines, each once; a rate that is given for nothing is none."""
    found = quote(Rates(currency="EUR", travel=Travel(distance=5e3)), JOB, DrainDown(volume=1.0))
    assert (found.lines, found.drain_down) == ((), ())
    assert found.unpriced == ("labour", "co2", "travel-distance", "downtime")
    assert found.drain_down_unpriced == (
        "labour", "refill-water", "travel-distance", "downtime",
    )  # fmt: skip
    assert (str(found.total), str(found.drain_down_total)) == ("0.00", "0.00")
    comparison = known(found.comparison)
    assert comparison.total.cheaper is Cheaper.NEITHER
    assert "By what is to be paid" not in comparison.text
    for said in (
        "For want of a rate freezing has no line for: labour, co2, travel distance, lost use.",
        "For want of a rate draining has no line for: labour, refill water, travel distance,",
    ):
        assert said in comparison.text
    assert quote(Rates(currency="EUR"), JOB).unpriced == ("labour", "co2")


def test_at_90_percent_nothing_is_said_where_that_is_not_known() -> None:
    found = quote(RATES, replace(JOB, seldom=None), DRAIN)
    comparison = known(found.comparison)
    assert (found.at_90, comparison.total_at_90) == (None, None)
    assert "At 90 % there is no total of freezing" in comparison.text
    assert (found.currency, found.unpriced) == ("EUR", ())


def test_lost_use_of_one_way_alone_is_told_apart() -> None:
    """Freezing shuts the line for no time, draining for 3.25 h: 97.50 that nobody pays."""
    never = replace(JOB, likely=replace(SPENT, shut=0.0))
    found = quote(RATES, never, DRAIN)
    comparison = known(found.comparison)
    assert str(found.sums.lost_use) == "0.00"
    assert str(known(found.drain_down_sums).lost_use) == "97.50"
    assert "By what is to be paid, without lost use," in comparison.text
    assert str(comparison.payable.by) == "523.85"
    assert str(comparison.total.by) == "621.35"


def test_half_a_step_is_rounded_up() -> None:
    """100.05 to 100.10 and not to the even 100.00."""
    for due, payable in (("100.05", "100.10"), ("100.15", "100.20"), ("100.04", "100.00")):
        rates = Rates(currency="CHF", call_out=D(due), rounding_step=RoundingStep.TENTH)
        assert str(quote(rates, JOB).sums.payable) == payable


def test_a_minimum_charge_is_in_the_currency_s_smallest_amount() -> None:
    """Half a euro short; 400 yen short, which have no decimals."""
    (_, cents) = quote(Rates(currency="EUR", call_out=D("9.5"), minimum_charge=D(10)), JOB).lines
    assert (cents.item, str(cents.amount)) == ("minimum-charge", "0.50")
    (_, yen) = quote(Rates(currency="JPY", call_out=D(600), minimum_charge=D(1000)), JOB).lines
    assert (str(yen.rate), str(yen.amount)) == ("400", "400")
    assert yen.text == "Up to the minimum charge of 1000 JPY"


def test_a_tax_has_a_line_where_it_comes_to_something() -> None:
    """5 % of 20.00 are 1.00, of nothing nothing."""
    taxes = (Tax(name="T", percent=D(5)),)
    for charge, told in ((D(20), ["1.00"]), (D(0), [])):
        lines = quote(Rates(currency="EUR", call_out=charge, taxes=taxes), JOB).lines
        assert [str(x.amount) for x in lines if x.item == "tax"] == told


def test_a_job_is_quoted_where_there_are_rates_and_a_plug() -> None:
    """And draining beside it, where that was asked."""
    asked = known(job_estimate(job()).figures.quote)
    assert known(asked.comparison).text.startswith("In all, freezing costs")
    assert asked.drain_down != ()
    alone = known(job_estimate(job(drain_down=None)).figures.quote)
    assert (alone.drain_down, alone.comparison) == ((), None)
    assert job_estimate(job(rates=None, drain_down=None)).figures.quote is None
    slush = solution_of("propylene_glycol", 0.30)
    assert job_estimate(job(fluid=slush)).figures.quote is None
