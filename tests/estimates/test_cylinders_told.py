"""What cylinders come to, by hand: manifolds that are laid down, and their exchanges in words."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from estimates.by_hand import Frozen, rising
from estimates.jobs import request_of
from stillpipe.estimates import assess, cylinder_count, manifold, words
from stillpipe.estimates.cylinder_count import CylinderFigures
from stillpipe.estimates.manifold import EARLY, NOT_SURVIVED, SURVIVED, Exchange, ExchangedPoint
from stillpipe.model.figures import Amount, Range, Reason, Severity
from stillpipe.model.requests import CylinderCountRequest

USABLE = Range(6.0, 6.5, 7.0)
STOPS = (assess.stop("no-liquid-co2", "Empty."),)
NEEDED: Any = SimpleNamespace(drawn=SimpleNamespace(ready=600.0))


def planned(
    monkeypatch: pytest.MonkeyPatch, takes: dict[str, int | None], delivered: Any = (USABLE, ()),
    needed: Any = NEEDED,
) -> tuple[CylinderFigures, tuple[Reason, ...], list[Any]]:  # fmt: skip
    """The plan of manifolds by the names of what hangs on them, and what was asked for it.

    Each takes one to a hundred cylinders, draw by draw.
    """
    request = request_of(CylinderCountRequest, exchange_duration=90.0)
    solution: Any = Frozen()
    asked: list[Any] = []

    def supplied(given: Any, each: Any, usable: Any) -> Any:
        assert (given, usable) == (request, USABLE)
        asked.append(each.names)
        return SimpleNamespace(
            count=rising(0.0, 1.0), take=takes[each.names], exchanges=(f"of {each.names}",)
        )  # fmt: skip

    def of_exchanges(*given: Any) -> Any:
        asked.append(given)
        return iter(("swaps",))

    monkeypatch.setattr(cylinder_count, "delivered", lambda _: delivered)
    monkeypatch.setattr(
        cylinder_count, "alike", lambda *_: [SimpleNamespace(names=names) for names in takes]
    )
    monkeypatch.setattr(manifold, "supplied", supplied)
    monkeypatch.setattr(cylinder_count, "of_exchanges", of_exchanges)
    return *cylinder_count.plan(request, solution, needed), asked


def test_manifolds_that_are_alike_are_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two and one hang together, each takes its own; the exchanges are those of the first."""
    figures, reasons, asked = planned(monkeypatch, {"ab": 3, "cd": 3, "e": 2})
    assert figures == CylinderFigures(
        usable=USABLE, count=Range(15.0, 150.0, 285.0), planned_count=8, exchanges=("of ab",),
    )  # fmt: skip
    assert reasons == ("swaps",)
    assert sorted(asked[:-1]) == ["ab", "e"]
    assert asked[-1] == (("of ab",), {"a": 600.0, "b": 600.0}, 90.0)


@pytest.mark.parametrize(
    ("delivered", "needed"),
    [
        ((USABLE, ()), SimpleNamespace(drawn=None)), ((USABLE, STOPS), NEEDED),
        ((None, ()), NEEDED), ((None, STOPS), SimpleNamespace(drawn=None)),
    ],
)  # fmt: skip
def test_without_liquid_or_a_plug_no_cylinders_are_counted(
    monkeypatch: pytest.MonkeyPatch, delivered: Any, needed: Any
) -> None:
    figures, reasons, asked = planned(monkeypatch, {"a": 1}, delivered, needed)
    assert (figures, reasons, asked) == (CylinderFigures(usable=delivered[0]), delivered[1], [])


@pytest.mark.parametrize(
    ("takes", "value"), [((199, 2), 201.0), ((None, 2), None), ((3, None), None), ((198, 2), 200.0)]
)  # fmt: skip
def test_up_to_two_hundred_cylinders_are_planned(
    monkeypatch: pytest.MonkeyPatch, takes: tuple[int | None, ...], value: float | None
) -> None:
    figures, reasons, _ = planned(monkeypatch, dict(zip(("ab", "c"), takes, strict=True)))
    assert (figures.usable, figures.count) == (USABLE, Range(10.0, 100.0, 190.0))
    if value == 200.0:
        assert (figures.planned_count, reasons) == (200, ("swaps",))
        return
    (reason,) = reasons
    assert (reason.code, figures.planned_count, figures.exchanges) == (
        "too-many-cylinders", None, (),
    )  # fmt: skip
    assert reason.value == (None if value is None else Amount(value, "factor"))


def swap(cylinder: int, verdict: str, survival: float | None, names: str = "a") -> Exchange:
    chance = None if survival is None else 0.75
    points = tuple(
        ExchangedPoint(name=name, verdict=verdict, survival=survival, chance=chance)
        for name in names
    )
    return Exchange(
        manifold="1", cylinder=cylinder, at=300.0 * cylinder, verdict=verdict, advice="",
        survival=survival, chance=chance, points=points,
    )  # fmt: skip


GOOD = swap(1, SURVIVED, 9000.0)


def reasons_of(*swaps: Exchange, duration: float = 120.0) -> list[Reason]:
    """The reasons of exchanges, of plugs that are ready after 20, 15 and 40 min."""
    readies = {"a": 1200.0, "b": 900.0, "c": 2400.0}
    return list(cylinder_count.of_exchanges(swaps, readies, duration))


def test_a_cylinder_that_is_empty_before_the_plug_is_ready_is_told_with_both_times() -> None:
    (reason,) = reasons_of(GOOD, swap(2, EARLY, None), swap(3, EARLY, None))
    assert reason.text == (
        "Cylinder 2 is empty 10 min after the first feed, before the plug is ready, 20 min after "
        "it."
    )
    assert (reason.code, reason.severity) == ("early-exchange", Severity.WARN)
    assert reason.figure == "exchanges.1.at"
    assert (reason.value, reason.limit) == (Amount(600.0, "time"), Amount(1200.0, "time"))
    assert (reason.chance, reason.at) == (None, 600.0)


def test_of_several_plugs_the_last_that_hangs_on_the_cylinder_is_told() -> None:
    """Not one that hangs on another, which is ready later."""
    (reason,) = reasons_of(swap(1, EARLY, None, "ab"))
    assert reason.limit == Amount(1200.0, "time")
    (reason,) = reasons_of(swap(1, EARLY, None, "b"))
    assert reason.limit == Amount(900.0, "time")


def test_one_before_the_plug_is_ready_comes_before_one_that_is_outlived_by_little() -> None:
    found = reasons_of(swap(1, EARLY, 130.0), swap(2, EARLY, None, "c"))
    assert [r.figure for r in found] == ["exchanges.1.at"]


def test_an_end_just_before_ready_is_told_so_that_it_reads_as_before() -> None:
    """580 s and 600 s are both 10 min."""
    early = replace(swap(1, EARLY, None), at=580.0)
    (reason,) = cylinder_count.of_exchanges((early,), {"a": 600.0}, 60.0)
    assert "is empty 580 s after the first feed" in reason.text
    assert reason.text.endswith("before the plug is ready, 600 s after it.")


@pytest.mark.parametrize(
    ("verdict", "severity", "limit"),
    [(EARLY, Severity.WARN, 240.0), (NOT_SURVIVED, Severity.STOP, 120.0)],
)
def test_a_plug_that_hardly_lasts_or_does_not_is_told_beside_the_exchange(
    verdict: str, severity: Severity, limit: float
) -> None:
    """Held against twice the exchange, or against it."""
    (reason,) = reasons_of(swap(1, verdict, 130.0), GOOD)
    assert reason.text == (
        "Cylinder 1 is empty 5 min after the first feed: the plug may then last no more than 130 s "
        "unfed, the exchange takes 120 s."
    )
    assert (reason.code, reason.severity, reason.figure) == (
        verdict, severity, "exchanges.0.survival",
    )  # fmt: skip
    assert (reason.value, reason.limit) == (Amount(130.0, "time"), Amount(limit, "time"))
    assert reason.action.startswith("Use a larger cylinder, or two on a manifold")
    assert (reason.chance, reason.at) == (0.75, 300.0)


def test_both_kinds_of_exchange_are_told_once_each() -> None:
    found = reasons_of(
        swap(1, NOT_SURVIVED, 50.0), swap(2, EARLY, 150.0), swap(3, NOT_SURVIVED, 60.0)
    )
    assert [(r.code, r.figure) for r in found] == [
        (EARLY, "exchanges.1.survival"), (NOT_SURVIVED, "exchanges.0.survival"),
    ]  # fmt: skip
    assert reasons_of(GOOD) == []


@pytest.mark.parametrize(
    ("times", "told"),
    [
        ((140.0, 120.0), ["140 s", "120 s"]), ((599.0, 900.0), ["599 s", "900 s"]),
        ((900.0, 600.0), ["15 min", "10 min"]), ((640.0, 650.0), ["640 s", "650 s"]),
        ((109.75, 110.0), ["109.8 s", "110.0 s"]), ((52.49, 52.5), ["52.49 s", "52.50 s"]),
        ((700.0, 700.0), ["12 min", "12 min"]),
    ],
)  # fmt: skip
def test_times_side_by_side_are_told_so_that_they_can_be_held_against_each_other(
    times: tuple[float, ...], told: list[str]
) -> None:
    assert words.apart(*times) == told
