"""How remedies are looked for and confirmed, on changes that are laid down."""

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest

from stillpipe.errors import TooCostlyError
from stillpipe.estimates import hold_time
from stillpipe.estimates.job import changes, remedies
from stillpipe.estimates.job.remedies import FINDERS, Remedy
from stillpipe.model.figures import Amount, Reason, Severity, Verdict

STOP, WARN, INFO = Severity.STOP, Severity.WARN, Severity.INFO


def reason(code: str, severity: Severity = STOP) -> Reason:
    return Reason(code, "So it is.", severity)


class Made:
    """A job with so many changes made to it, in order."""

    def __init__(self, *names: str) -> None:
        self.names = names

    def completed(self) -> tuple[str, ...]:
        return self.names


def change(name: str, to: float = 1.0, points: tuple[str, ...] = ()) -> Any:
    return SimpleNamespace(
        name=name, was=Amount(2.0, "time"), to=Amount(to, "time"), points=points,
        apply=lambda job: Made(*job.names, name),
    )  # fmt: skip


def remedy(of: str, made: Any) -> Remedy:
    return Remedy(
        reason=of, change=made.name, points=made.points, was=made.was, to=made.to,
        verdict=Verdict.GO,
    )  # fmt: skip


def judged_of(*reasons: Reason, again: Any = None, kinds: Any = ()) -> Any:
    """A job that has these reasons; ``again`` says what is found of a changed one."""
    plan = SimpleNamespace(request="request", kinds=kinds)
    return SimpleNamespace(
        reasons=reasons, verdict=Verdict.NO_GO, plan=plan, again=again, codes={"a"}
    )  # fmt: skip


@pytest.fixture(autouse=True)
def _stated(monkeypatch: pytest.MonkeyPatch) -> None:
    """A job as its caller states it has no changes."""
    monkeypatch.setattr(changes, "stated", lambda given: Made() if given == "request" else None)


def finds(monkeypatch: pytest.MonkeyPatch, *found: Any, costly: bool = False) -> None:
    """Let these be found, of pairs of a reason and a change, and then none for its cost."""

    def each(judged: Any) -> Iterator[Any]:
        assert judged.verdict is Verdict.NO_GO
        yield from ((remedy(of, made), made) for of, made in found)
        if costly:
            raise TooCostlyError

    monkeypatch.setattr(remedies, "_found", each)


ONE, TWO, THREE = change("one"), change("two"), change("three")


def test_the_first_changes_of_every_reason_are_judged_together(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What is left then is told once, in order, but for what only informs."""
    asked = []

    def again(job: tuple[str, ...]) -> Any:
        asked.append(set(job))
        left = (reason("c", WARN), reason("i", INFO), reason("d"), reason("c"))
        return SimpleNamespace(verdict=Verdict.CONDITIONAL, reasons=left)

    finds(monkeypatch, ("a", ONE), ("a", TWO), ("b", THREE))
    found = remedies.remedies(judged_of(reason("a"), reason("b"), again=again))
    assert asked == [{"one", "three"}]
    assert [(r.reason, r.change) for r in found.each] == [
        ("a", "one"), ("a", "two"), ("b", "three"),
    ]  # fmt: skip
    assert (found.verdict, found.left, found.complete) == (Verdict.CONDITIONAL, ("c", "d"), True)


@pytest.mark.parametrize(
    ("second", "kept"),
    [
        (change("one"), False), (change("one", 1.5), True), (change("one", points=("p",)), True),
        (change("other"), True),
    ],
)  # fmt: skip
def test_the_same_change_is_told_once_though_it_takes_away_two_reasons(
    monkeypatch: pytest.MonkeyPatch, second: Any, kept: bool
) -> None:
    """The same input at the same points to the same amount."""
    again = SimpleNamespace(verdict=Verdict.GO, reasons=())
    finds(monkeypatch, ("a", ONE), ("b", second))
    found = remedies.remedies(judged_of(again=lambda _: again))
    assert [r.reason for r in found.each] == (["a", "b"] if kept else ["a"])


def test_where_nothing_is_found_the_job_stays_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is not judged again; what only informs is no reason that stays."""
    finds(monkeypatch)
    found = remedies.remedies(judged_of(reason("a"), reason("i", INFO), reason("b", WARN)))
    assert (found.each, found.verdict, found.left) == ((), Verdict.NO_GO, ("a", "b"))
    assert found.complete is True


def test_what_was_found_before_it_cost_too_much_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the verdict of the job as it is."""
    finds(monkeypatch, ("a", ONE), costly=True)
    found = remedies.remedies(judged_of(reason("a")))
    assert [r.change for r in found.each] == ["one"]
    assert (found.verdict, found.left, found.complete) == (Verdict.NO_GO, ("a",), False)


def test_a_job_that_costs_too_much_with_all_changes_is_told_as_it_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def again(_job: Any) -> Any:
        raise TooCostlyError

    finds(monkeypatch, ("a", ONE))
    found = remedies.remedies(judged_of(reason("a"), again=again))
    assert [r.change for r in found.each] == ["one"]
    assert (found.verdict, found.left, found.complete) == (Verdict.NO_GO, ("a",), False)


def test_every_finder_of_a_reason_is_asked_for_every_kind_concerned(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What only informs is passed over, and what no finder knows; what is not confirmed too."""
    judged = judged_of(reason("i", INFO), reason("unknown"), reason("b", WARN), reason("a"))
    for code, finders in (("i", ("never",)), ("a", ("one", "two")), ("b", ("three",))):
        monkeypatch.setitem(FINDERS, code, finders)
    concerned = {"i": ["x"], "unknown": ["x"], "b": [None], "a": ["p", "q"]}

    def confirmed(given: Any, code: str, finder: Any, kind: Any) -> Any:
        assert given is judged
        return None if (finder, kind) == ("two", "p") else (code, finder, kind)

    def of(given: Any, code: str) -> Any:
        assert given is judged
        return concerned[code]

    monkeypatch.setattr(remedies, "_concerned", of)
    monkeypatch.setattr(remedies, "_confirmed", confirmed)
    found: Any = list(remedies._found(judged))
    assert found == [
        ("b", "three", None), ("a", "one", "p"), ("a", "one", "q"), ("a", "two", "q"),
    ]  # fmt: skip


def kind(*names: str, code: str = "") -> Any:
    return SimpleNamespace(names=names, solution=code)


@pytest.fixture
def _each_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """A freeze has the reason that it stands for."""
    monkeypatch.setattr(hold_time, "reasons", lambda solution: (reason(solution),))


@pytest.mark.usefixtures("_each_its_own")
def test_the_kinds_that_have_a_reason_are_concerned_or_else_the_job() -> None:
    kinds = (kind("p", code="a"), kind("q", code="b"), kind("r", code="a"))
    judged = judged_of(kinds=kinds)
    assert remedies._concerned(judged, "a") == [kinds[0], kinds[2]]
    assert remedies._concerned(judged, "c") == [None]


@pytest.mark.usefixtures("_each_its_own")
def test_a_reason_is_gone_where_the_points_named_no_longer_have_it() -> None:
    """Whatever others have; or where the job has it no longer."""
    changed = judged_of(kinds=(kind("p", "q", code="a"), kind("r", code="b")))
    assert not remedies._gone(changed, "a", {"p"})
    assert not remedies._gone(changed, "a", {"q", "r"})
    assert remedies._gone(changed, "a", {"r"})
    assert remedies._gone(changed, "b", {"p"})
    assert not remedies._gone(changed, "a", set())
    assert remedies._gone(changed, "b", set())


@pytest.mark.parametrize("whose", [kind("p", "q"), None])
def test_the_first_change_that_takes_a_reason_away_is_told(
    monkeypatch: pytest.MonkeyPatch, whose: Any
) -> None:
    """The second of three, with the verdict of the job as changed by it alone."""
    names = set() if whose is None else {"p", "q"}
    tried: list[tuple[str, ...]] = []

    def again(job: tuple[str, ...]) -> Any:
        tried.append(job)
        return SimpleNamespace(verdict=Verdict.CONDITIONAL, made=job)

    def gone(changed: Any, *given: Any) -> bool:
        assert given == ("a", names)
        return bool(changed.made == ("two",))

    monkeypatch.setattr(remedies, "_gone", gone)
    judged = judged_of(again=again)
    each = (ONE, change("two", 1.5, ("p",)), THREE)

    def finder(*given: Any) -> Iterator[Any]:
        assert given == (judged, whose)
        yield from each

    found = remedies._confirmed(judged, "a", finder, whose)
    assert tried == [("one",), ("two",)]
    told = Remedy(
        reason="a", change="two", points=("p",), was=Amount(2.0, "time"), to=Amount(1.5, "time"),
        verdict=Verdict.CONDITIONAL,
    )  # fmt: skip
    assert found == (told, each[1])


def test_where_no_change_takes_a_reason_away_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(remedies, "_gone", lambda *_: False)
    judged = judged_of(again=lambda job: job)
    assert remedies._confirmed(judged, "a", lambda *_: iter((ONE, TWO)), None) is None
