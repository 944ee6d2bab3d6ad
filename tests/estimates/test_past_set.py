"""What records of past freezes say together: whose freezes are solved, who fits the others."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import TWO_INCH, request_of
from estimates.test_past import FROST, NONE_YET, Stood, by_conductance, record
from stillpipe.errors import CancelledError, Fault, OutOfValidityError, TooCostlyError
from stillpipe.estimates import past, seen
from stillpipe.estimates.past import Set
from stillpipe.model.figures import Effort
from stillpipe.model.observations import AnyObservation
from stillpipe.model.requests import Record
from stillpipe.physics.column.work import Work
from stillpipe.uncertainty import draws


def test_points_alike_are_solved_once_and_each_record_keeps_its_place(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What was seen and how it is called make no other freeze; two of them took five runs."""
    made: list[tuple[Record, Work]] = []

    def freezes(point: Record, spent: Work) -> Stood:
        made.append((point, spent))
        spent.counts[0] += 100
        figures = by_conductance(300.0, 100.0)
        return Stood({FROST: np.full(2, 240.0)}, figures, solves=1 + len(made))

    monkeypatch.setattr(past, "Freezes", freezes)
    first, wide = record(FROST, id="a"), request_of(Record, TWO_INCH, observations=(FROST,))
    records = (first, wide, record(NONE_YET, FROST), record(id="nothing seen"))
    monkeypatch.setattr(Stood, "values", lambda _self, _o: np.full(2, 240.0))
    found = Set(records)
    assert [p.record for p in found.past] == list(records)
    assert [p.index for p in found.past] == [0, 1, 2, 3]
    assert [point for point, _ in made] == [replace(r, id=None, observations=())
                                            for r in (first, wide)]  # fmt: skip
    assert all(spent is found.work for _, spent in made)
    assert not any(hasattr(p, "freezes") for p in found.past)
    assert found.teaching == [0, 1, 2]
    assert found.effort == Effort(2 + 3, 200)
    assert found.work.counts[1] == 7_200_000


def test_freezes_that_are_known_are_not_solved_again(monkeypatch: pytest.MonkeyPatch) -> None:
    known = Stood({FROST: np.full(2, 240.0)}, by_conductance(300.0, 100.0), solves=4)
    monkeypatch.setattr(past, "Freezes", None)
    found = Set((record(FROST, id="a"),), {record(): known})  # type: ignore[dict-item]
    assert found.solves == 4
    assert found.teaching == [0]


@pytest.mark.parametrize("index", [0, 1])
def test_what_cannot_be_answered_names_its_record(index: int) -> None:
    """With the member at fault below it, and the same kind of error."""

    class Failing(Stood):
        def values(self, _o: AnyObservation) -> Any:
            raise OutOfValidityError(Fault(("pipe", "size"), "too wide"))

    figures = by_conductance(300.0, 100.0)
    good = Stood({FROST: np.full(2, 240.0)}, figures)
    points = [record(), request_of(Record, TWO_INCH)]
    stood = dict.fromkeys(points, good) | {points[index]: Failing({}, figures)}
    records = tuple(replace(point, observations=(FROST,)) for point in points)
    with pytest.raises(OutOfValidityError) as caught:
        Set(records, stood)  # type: ignore[arg-type]
    assert caught.value.faults == (Fault(("records", index, "pipe", "size"), "too wide"),)
    assert isinstance(caught.value.__cause__, OutOfValidityError)


def test_records_that_take_too_much_are_told_to_be_fewer() -> None:
    with pytest.raises(TooCostlyError) as caught, past._of_record(4):
        raise TooCostlyError(Fault(("jacket", "length"), "shorten it"))
    (fault,) = caught.value.faults
    assert fault.path == ("records", 4)
    assert fault.detail.startswith("send fewer records at once")
    assert fault.detail.endswith("more than 7,200,000 units of solver work")
    with pytest.raises(CancelledError) as left, past._of_record(4):
        raise CancelledError(Fault((), "nobody waits"))
    assert left.value.faults[0].path == ("records", 4)


class Others:
    """What records say together: the records themselves."""

    def __init__(self, logs: dict[int, Any]) -> None:
        self.known = tuple(logs)
        self.logs = logs

    def common(self, used: set[int]) -> SimpleNamespace:
        return SimpleNamespace(of=set(used), weights=lambda z: (frozenset(used), z))


def judged(
    chances: dict[int, dict[frozenset[int], float]], unexplained: tuple[int, ...] = ()
) -> Set:
    """A set whose records are as likely by some others as is said, those before it 0.5."""

    def one(index: int) -> SimpleNamespace:
        def chance(weight: tuple[frozenset[int], np.ndarray]) -> float:
            others, z = weight
            assert z is draws.prior().of_all(("jacket_conductance", "jacket_filling", "capture"))
            assert index not in others
            return chances[index].get(others, 0.5)

        return SimpleNamespace(
            why_nothing="", is_explained=index not in unexplained, chance=chance, logs=f"of {index}"
        )

    found = Set(())
    found.past = [one(index) for index in range(len(chances))]  # type: ignore[misc]
    found.teaching = list(range(len(chances)))
    return found


@pytest.fixture
def _others(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(past, "Records", Others)


@pytest.mark.usefixtures("_others")
def test_the_least_likely_is_left_out_and_the_others_are_looked_at_anew() -> None:
    """1 and 2 are absurd beside one another; once 2 is out, 1 is not any more."""
    found = judged({
        0: {}, 1: {frozenset({0, 2}): 0.0005, frozenset({0}): 0.3},
        2: {frozenset({0, 1}): 0.0001},
    })  # fmt: skip
    assert found.used == {0, 1}
    assert found.chances == {0: 0.5, 1: 0.3, 2: 0.0001}
    assert found.common.of == {0, 1}  # type: ignore[attr-defined]
    assert found.chance(1, {0, 1, 2}) == 0.0005
    assert found.without(1, {0, 1, 2})[0] == frozenset({0, 2})


@pytest.mark.usefixtures("_others")
def test_what_is_just_likely_enough_stays() -> None:
    found = judged({0: {frozenset({1}): seen.ABSURD}, 1: {}})
    assert found.used == {0, 1}


@pytest.mark.usefixtures("_others")
def test_where_none_fits_none_is_used() -> None:
    alone = frozenset[int]()
    found = judged({0: {alone: 1e-6}, 1: {frozenset({0}): 1e-7, alone: 1e-5}})
    assert found.used == set()
    assert found.chances == {0: 1e-6, 1: 1e-5}


@pytest.mark.usefixtures("_others")
def test_what_is_not_explained_is_judged_by_the_others_and_not_used() -> None:
    found = judged({0: {}, 1: {frozenset({0}): 0.0}}, unexplained=(1,))
    assert found._records.logs == {0: "of 0"}  # type: ignore[attr-defined]
    assert found.used == {0}
    assert found.chances == {0: 0.5, 1: 0.0}
