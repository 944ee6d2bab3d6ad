"""Reasons of a plug that is not ready and of what was seen, on freezes that are laid down."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.by_hand import rising
from estimates.jobs import point_of
from estimates.test_freeze_reasons import codes, frozen, only
from estimates.test_reasons import check
from stillpipe.estimates import assess
from stillpipe.estimates.course import Of
from stillpipe.model.figures import Amount, Reason, Severity

STOP, WARN = Severity.STOP, Severity.WARN
CARRIED = ("holding_pressure", Amount(2e5, "pressure"), Amount(3e5, "pressure"))
LONG = ("plug_length", Amount(0.009, "length"), Amount(0.014, "length"))


def of_ready(
    monkeypatch: pytest.MonkeyPatch, closing: float, ready: float, short: Any = CARRIED
) -> list[Reason]:
    """The reasons of a plug that closes and gets ready with these chances, at 3 bar."""
    solution = frozen(closing_chance=closing, ready_chance=ready)

    def short_of(given: Any) -> Any:
        assert given is solution
        return short

    monkeypatch.setattr(assess, "_short_of", short_of)
    return assess._of_ready(solution)


@pytest.mark.parametrize(
    ("closing", "ready", "code"),
    [
        (0.499, 0.1, None), (0.5, 0.1, "never-ready"), (1.0, 0.95, None),
        (1.0, 0.949, "may-not-be-ready"), (1.0, 0.5, "may-not-be-ready"),
        (1.0, 0.499, "never-ready"), (0.8, 0.76, None), (0.8, 0.75, "may-not-be-ready"),
        (0.52, 0.5, None), (0.52, 0.499, "never-ready"), (0.96, 0.94, "may-not-be-ready"),
        (0.95, 0.94, "may-not-be-ready"),
    ],
)  # fmt: skip
def test_a_plug_that_may_not_be_ready_is_told_where_closing_does_not_say_it(
    monkeypatch: pytest.MonkeyPatch, closing: float, ready: float, code: str | None
) -> None:
    """It is said of closing where that is not sure either, and ready hardly less likely."""
    assert codes(of_ready(monkeypatch, closing, ready)) == ([] if code is None else [code])


@pytest.mark.parametrize(
    ("ready", "severity", "action"),
    [
        (0.4, STOP, "Lower the line pressure, or use a longer jacket."),
        (0.6, WARN, "Lower the line pressure, or use a longer jacket; prove the plug before cut"),
    ],
)
def test_a_plug_that_carries_too_little_is_told_with_what_it_carries(
    monkeypatch: pytest.MonkeyPatch, ready: float, severity: Severity, action: str
) -> None:
    reason = only(of_ready(monkeypatch, 1.0, ready))
    code = "never-ready" if severity is STOP else "may-not-be-ready"
    check(
        reason, code, severity, figure="holding_pressure", value=CARRIED[1], limit=CARRIED[2],
        chance=ready,
    )  # fmt: skip
    assert "the line pressure, 3.00 bar, with a safety factor of 2 within 4 h is " in reason.text
    assert reason.text.endswith("decides it then carries 2.00 bar with that factor.")
    assert reason.action.startswith(action)


def test_a_plug_that_is_too_short_is_told_with_its_length(monkeypatch: pytest.MonkeyPatch) -> None:
    reason = only(of_ready(monkeypatch, 1.0, 0.6, LONG))
    assert (reason.figure, reason.value, reason.limit) == LONG
    assert reason.text.endswith("decides it then is 9 mm long, and needs one bore, 14 mm.")


def grown(grip: Any, sound: Any, **changes: Any) -> Any:
    """A plug of a bond of 10 MPa for each metre that it grips, at 3 bar."""
    last = {Of.GRIP: grip, Of.SOUND: sound}
    return frozen(
        grown_at_last=last.__getitem__, strength=np.full(100, 1e7),
        carries=lambda of, strength: of * strength, **changes,
    )  # fmt: skip


def test_what_a_plug_is_short_of_is_first_the_pressure() -> None:
    """At the chance that decides, the 5th of a hundred draws: 5 mm carry 0.5 bar."""
    found = assess._short_of(grown(rising(0.0, 0.001), rising(0.0, 0.001)))
    name, value, limit = found
    assert (name, limit) == ("holding_pressure", Amount(3e5, "pressure"))
    assert value == Amount(pytest.approx(0.5e5), "pressure")


@pytest.mark.parametrize("carried", [3e5, 4e5])
def test_what_a_plug_is_short_of_is_its_length_where_it_carries_enough(carried: float) -> None:
    """Of at least the line pressure; a length of one bore is wanted."""
    found = assess._short_of(grown(np.full(100, carried / 1e7), rising(0.0, 0.001)))
    name, value, limit = found
    assert (name, limit) == ("plug_length", Amount(point_of().bore, "length"))
    assert value == Amount(pytest.approx(0.005), "length")


def test_what_never_grows_has_no_pressure_and_no_length() -> None:
    never = grown(np.zeros(100), np.zeros(100), at_least=lambda _: None)
    assert assess._short_of(never)[:2] == ("holding_pressure", Amount(0.0, "pressure"))
    bare = grown(
        np.full(100, 0.04), np.zeros(100), at_least=lambda x: 4e5 if x[0] > 0.0 else None
    )  # fmt: skip
    assert assess._short_of(bare)[:2] == ("plug_length", Amount(0.0, "length"))


def seen(*probabilities: float, least: float | None = None, used: bool = True) -> Any:
    """What is known of frosts at 100, 200, ... s that were as probable as this."""
    foretold = [
        SimpleNamespace(observation=SimpleNamespace(elapsed=100.0 * n, kind="frost"), probability=p)
        for n, p in enumerate(probabilities, start=1)
    ]
    worst = min(probabilities) if least is None else least
    return SimpleNamespace(least=worst, foretold=foretold, used=used)


@pytest.mark.parametrize(
    ("used", "severity", "limit"), [(True, WARN, 0.02), (False, STOP, 0.001)]
)  # fmt: skip
def test_what_is_seen_and_does_not_fit_is_told_by_the_worst_of_it(
    used: bool, severity: Severity, limit: float
) -> None:
    """The second of three."""
    evidence = seen(0.5, 0.012, 0.019, used=used)
    reason = only(assess._of_seen(frozen(evidence=evidence)))
    check(
        reason, "observations-do-not-fit", severity, figure="learned.observations.1.probability",
        value=Amount(0.012, "factor"), limit=Amount(limit, "factor"), chance=0.012, at=200.0,
    )  # fmt: skip
    assert "least of all what was seen 200 s after the first feed (frost)" in reason.text
    assert "as likely as 0.012 or less." in reason.text
    assert reason.text.endswith("from before anything was seen.") is not used
    assert reason.action.startswith("Do not cut before the cause is found")


def test_what_is_hardly_likely_at_all_is_told_as_one_in_ten_thousand() -> None:
    reason = only(assess._of_seen(frozen(evidence=seen(1e-7))))
    assert "as likely as 0.0001 or less." in reason.text
    assert reason.chance == 1e-7


def test_what_is_seen_and_fits_is_no_reason_nor_is_nothing() -> None:
    assert assess._of_seen(frozen(evidence=seen(0.02, 0.9))) == []
    assert assess._of_seen(frozen()) == []


def test_what_is_seen_where_nothing_can_be_known_of_it_is_not_used() -> None:
    point = replace(point_of(), observations=("frost",))  # type: ignore[arg-type]
    reason = only(assess._of_seen(frozen(point=point)))
    check(reason, "observations-not-used", WARN, figure="inputs.observations")
    assert reason.text.startswith("No plug is to be expected")
    assert reason.action.startswith("Look at the other reasons first")
