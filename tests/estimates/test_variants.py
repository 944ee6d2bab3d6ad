"""Variants of a job side by side, by hand: what each is judged by, and what it shares."""

from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import known
from estimates.test_job_points import RETURN, stated
from stillpipe.estimates.job import options
from stillpipe.estimates.job.course import Chances, Promise
from stillpipe.estimates.job.plan import Plan
from stillpipe.model.figures import Range, Reason, Severity, Verdict
from stillpipe.model.options import JobOption

WELL = {60.0: 0.75, 120.0: 0.25}
"""How often all goes well, by the length of the repair [s]."""
OPTIONS = (JobOption(name="short", repair=60.0), JobOption(name="long", repair=120.0))


class Laid:
    """Estimates that are laid down by the repair of the plan that they are asked of."""

    def __init__(self) -> None:
        self.plans: list[Plan] = []
        self.quoted: list[tuple[Plan, Any, dict[float, float]]] = []

    def judge(self, plan: Plan) -> Any:
        self.plans.append(plan)
        severity = Severity.STOP if plan.request.repair > 100.0 else Severity.WARN
        mass = Range(1.0, plan.request.repair, 3.0)
        needed = SimpleNamespace(
            plan=plan, co2=SimpleNamespace(job_total=mass),
            figures=SimpleNamespace(planned_count=int(plan.request.repair)),
        )  # fmt: skip
        reasons = (Reason("so", "So it is.", severity),)
        verdict = Verdict.NO_GO if severity is Severity.STOP else Verdict.CONDITIONAL
        return SimpleNamespace(needed=needed, verdict=verdict, reasons=reasons)

    def chances_of(self, plan: Plan, needed: Any) -> Any:
        assert needed.plan is plan
        return np.arange(4) < 4 * WELL[plan.request.repair], Chances()

    def promises(self, plan: Plan, well: Any) -> tuple[Promise, ...]:
        return (Promise(chance=0.5, by=plan.request.repair + well.sum()),)

    def of_plan(self, plan: Plan, needed: Any, promised: dict[float, float]) -> Any:
        self.quoted.append((plan, needed, promised))
        total = Decimal(int(plan.request.repair))
        return SimpleNamespace(total=total) if plan.request.repair < 100.0 else None

    def planned_ready(self, plan: Plan) -> float:
        return 10.0 * plan.request.repair


@pytest.fixture
def laid(monkeypatch: pytest.MonkeyPatch) -> Laid:
    found = Laid()
    monkeypatch.setattr(options, "judge", found.judge)
    for name in ("chances_of", "promises", "planned_ready"):
        monkeypatch.setattr(options.course, name, getattr(found, name))
    monkeypatch.setattr(options.quote, "of_plan", found.of_plan)
    return found


def test_each_variant_is_told_what_it_comes_to_itself(laid: Laid) -> None:
    """In the caller's order; without rates there is no total."""
    request = stated(RETURN, options=OPTIONS)
    short, long = options.options(request, Plan(request))
    assert (short.name, long.name) == ("short", "long")
    assert (short.verdict, long.verdict) == (Verdict.CONDITIONAL, Verdict.NO_GO)
    assert (short.reasons[0].severity, long.reasons[0].severity) == (
        Severity.WARN, Severity.STOP,
    )  # fmt: skip
    assert (short.chance, long.chance) == (0.75, 0.25)
    assert (short.promises, long.promises) == (
        (Promise(chance=0.5, by=63.0),), (Promise(chance=0.5, by=121.0),),
    )  # fmt: skip
    assert (short.planned_ready, long.planned_ready) == (600.0, 1200.0)
    assert (known(short.co2).likely, known(long.co2).likely) == (60.0, 120.0)
    assert (short.cylinders, long.cylinders) == (60, 120)
    assert (short.total, long.total) == (Decimal(60), None)
    assert len(laid.plans) == 2


def test_a_variant_is_planned_by_itself_on_the_freezes_of_the_job(laid: Laid) -> None:
    """It is given work of its own, and quoted for what it promises itself."""
    request = stated(RETURN, options=OPTIONS)
    plan = Plan(request)
    options.options(request, plan)
    assert [p.request for p in laid.plans] == list(request.variants)
    assert all(p.pool is plan.pool for p in laid.plans)
    assert all(p._before is None for p in laid.plans)
    assert [(p, n.plan, at) for p, n, at in laid.quoted] == [
        (laid.plans[0], laid.plans[0], {0.5: 63.0}), (laid.plans[1], laid.plans[1], {0.5: 121.0}),
    ]  # fmt: skip


def test_a_job_without_options_has_no_variants(laid: Laid) -> None:
    request = stated(RETURN)
    assert options.options(request, Plan(request)) == ()
    assert laid.plans == []
