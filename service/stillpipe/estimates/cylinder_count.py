"""Cylinders: what each delivers, how many, when each is exchanged, and the best of a stock."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from stillpipe.estimates import co2_mass, course, plug_time
from stillpipe.estimates.co2_mass import Co2Mass, Draw, Feeding
from stillpipe.estimates.job import Freeze, Note, Range
from stillpipe.physics import co2, freeze

EXCHANGE = 120.0
"""How long an exchange leaves the jacket unfed [s]; common practice says within 7 min."""
RESERVE = 0.1
"""Share of the usable liquid kept back [-]: an assumption."""
MOST = 200
"""Most cylinders that are planned."""


@dataclass(frozen=True)
class Bottle:
    """A cylinder as it is used: ``net_mass`` [kg], ``fill`` mass over volume [kg/m3]."""

    name: str
    net_mass: float
    fill: float
    dip_tube: bool = True


@dataclass(frozen=True)
class Plan:
    """How the cylinders are used: ``jackets`` on one, ``exchange`` [s], ``reserve`` share [-]."""

    jackets: int = 1
    exchange: float = EXCHANGE
    reserve: float = RESERVE


@dataclass(frozen=True)
class Exchange:
    """One exchange: ``number`` of the emptied cylinder, ``at`` and ``survival`` [s], its verdict.

    ``survival`` is that of the likely plug at that moment, unfed; ``margin`` [s] is what is left
    of it after the exchange.
    """

    number: int
    at: float
    survival: float | None
    margin: float | None
    verdict: str
    advice: str


@dataclass(frozen=True)
class Mix:
    """The best mix of a stock: how many of each bottle, their usable and net masses [kg]."""

    counts: tuple[int, ...]
    usable: float
    net_mass: float
    enough: bool
    shortfall: float


@dataclass(frozen=True)
class CylinderCount:
    """Answer of the cylinder estimate; masses [kg]."""

    verdict: str
    reasons: tuple[Note, ...]
    usable: Range | None
    count: Range | None
    exchanges: tuple[Exchange, ...]
    mix: Mix | None
    need: Co2Mass
    cautions: tuple[Note, ...]


def usable(bottle: Bottle, temperature: float) -> Range:
    """Liquid that a cylinder delivers [kg] at ``temperature`` [K]: likely between two ends.

    Low: drawn so slowly that it stays at it; high: so fast that it takes no heat in. The plan
    is made on the low end, because a cylinder that ends early cannot be helped.
    """
    slow = 1.0 - co2.left_isothermal(temperature, bottle.fill)
    fast = 1.0 - co2.left_adiabatic(temperature, bottle.fill)
    low, high = sorted((slow, fast))
    return Range(*(bottle.net_mass * v for v in (low, 0.5 * (low + high), high)))


def best_mix(
    need: float, bottles: tuple[Bottle, ...], stock: tuple[int, ...], temperature: float
) -> Mix:
    """Fewest cylinders of a ``stock`` for ``need`` [kg] at ``temperature`` [K], then least mass.

    Exact: two integer programmes solved by branch and bound (HiGHS through scipy).
    """
    each = np.array([usable(b, temperature).low if b.dip_tube else 0.0 for b in bottles])
    net = np.array([b.net_mass for b in bottles])
    have = np.array(stock, dtype=float)
    total = float(each @ have)
    if total < need:
        return Mix(stock, total, float(net @ have), False, need - total)
    limits = Bounds(0.0, have)
    enough = LinearConstraint(each[None, :], need, np.inf)
    whole = np.ones(len(bottles))
    first = milp(whole, constraints=[enough], bounds=limits, integrality=whole)
    fewest = round(float(first.fun))
    exactly = LinearConstraint(whole[None, :], fewest, fewest)
    second = milp(net, constraints=[enough, exactly], bounds=limits, integrality=whole)
    counts = tuple(round(v) for v in second.x)
    taken = np.array(counts, dtype=float)
    return Mix(counts, float(each @ taken), float(net @ taken), True, 0.0)


def cylinder_count(
    job: Freeze, feeding: Feeding, bottle: Bottle, plan: Plan,
    bottles: tuple[Bottle, ...] = (), stock: tuple[int, ...] = (),
) -> CylinderCount:  # fmt: skip
    """Estimate the cylinders of ``job`` and check every exchange.

    Raises
    ------
    OutOfValidityError
        naming every input outside what the model covers
    """
    course.check(job)
    stops = plug_time.obstacles(job)
    if any(n.severity == "stop" for n in stops):
        need = co2_mass.from_courses(job, feeding, (), tuple(stops))
        return _refused(need, bottle)
    runs = course.all_three(job, 3600.0 + feeding.hold)
    reasons = (*stops, *plug_time.judge(job, plug_time.flow_limit(job), list(runs)))
    need = co2_mass.from_courses(job, feeding, runs, reasons)
    return planned(job, runs, need, bottle, plan, bottles, stock)


def planned(
    job: Freeze, runs: tuple[freeze.FreezeRun, ...], need: Co2Mass, bottle: Bottle, plan: Plan,
    bottles: tuple[Bottle, ...] = (), stock: tuple[int, ...] = (),
) -> CylinderCount:  # fmt: skip
    """Return the answer from solved courses and the CO2 they need."""
    if not need.draws or not bottle.dip_tube:
        return _refused(need, bottle)
    each = usable(bottle, job.cylinder_temperature)
    assert need.job is not None
    assert need.total is not None
    points = need.job.likely / need.total.likely
    groups = math.ceil(points / plan.jackets - 1e-9)
    share = min(plan.jackets, points)
    kept = each.low * (1.0 - plan.reserve)
    ends = [need.total.low, need.total.likely, need.total.high or need.total.likely]
    counts = [float(groups * math.ceil(share * m / kept - 1e-9)) for m in ends]
    count = Range(counts[0], counts[1], counts[2])
    notes = list(need.reasons)
    swaps = exchanges(job, runs[1], need.draws[0], kept / share, plan)
    if counts[1] > MOST:
        notes.append(Note("too-many-cylinders", f"More than {MOST} cylinders.", "stop"))
    for code, level in (("early-exchange", "warn"), ("exchange-not-survived", "stop")):
        hit = [s for s in swaps if s.verdict == code]
        if hit:
            notes.append(Note(code, hit[0].advice, level))
    mix = None
    if bottles:
        mix = best_mix(need.job.likely / (1.0 - plan.reserve), bottles, stock,
                       job.cylinder_temperature)  # fmt: skip
        if not mix.enough:
            notes.append(Note("stock-too-small", "The stock does not hold enough CO2.", "stop"))
    return CylinderCount(
        plug_time.verdict(tuple(notes)), tuple(notes), each, count, swaps, mix, need, need.cautions
    )


def exchanges(
    job: Freeze, run: freeze.FreezeRun, likely: Draw, per_jacket: float, plan: Plan
) -> tuple[Exchange, ...]:
    """Every exchange on the likely course; ``per_jacket`` [kg] is what a cylinder gives to one."""
    end = likely.ready + (likely.hold / likely.rate if likely.rate > 0.0 else 0.0)
    found: list[Exchange] = []
    drawn = per_jacket
    while drawn < likely.freeze + likely.hold - 1e-9 and len(found) < MOST:
        if drawn <= likely.freeze:
            at = likely.ready * drawn / likely.freeze
        else:
            at = likely.ready + (drawn - likely.freeze) / likely.rate
        found.append(_exchange(job, run, len(found) + 1, min(at, end), likely.ready, plan))
        drawn += per_jacket
    return tuple(found)


def _exchange(
    job: Freeze, run: freeze.FreezeRun, number: int, at: float, ready: float, plan: Plan
) -> Exchange:
    if at < ready:
        advice = (
            f"Cylinder {number} ends before the plug is ready: use a larger one, or two on a "
            "manifold, so that the first exchange comes on a consolidated plug."
        )
        return Exchange(number, at, None, None, "early-exchange", advice)
    lost = job.line_pressure * job.bore / (4.0 * job.adhesion)
    survival = run.stop(run.fed_to(at), lost).survival
    if survival is None or survival > 2.0 * plan.exchange:
        margin = None if survival is None else survival - plan.exchange
        return Exchange(number, at, survival, margin, "survived", "The plug outlives the exchange.")
    margin = survival - plan.exchange
    if margin > 0.0:
        advice = "The plug outlives the exchange by little: be quick, or use a manifold."
        return Exchange(number, at, survival, margin, "early-exchange", advice)
    advice = (
        f"The plug lasts {survival:.0f} s unfed, the exchange {plan.exchange:.0f} s: use two "
        "cylinders on a manifold."
    )
    return Exchange(number, at, survival, margin, "exchange-not-survived", advice)


def _refused(need: Co2Mass, bottle: Bottle) -> CylinderCount:
    notes = need.reasons
    if not bottle.dip_tube:
        text = "Without a dip tube the cylinder gives gas, not liquid: no dry ice forms."
        notes = (*notes, Note("no-dip-tube", text, "stop"))
    return CylinderCount(
        plug_time.verdict(notes), notes, None, None, (), None, need,
        need.cautions,
    )  # fmt: skip
