"""What is said of each cause of a frost that does not come, with figures of the freeze itself."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, known, likely, request_of, solution_of, water
from stillpipe.estimates import feeding
from stillpipe.estimates.advice import ADVICE, Adviser
from stillpipe.estimates.co2_mass import co2_mass
from stillpipe.estimates.plug_time import plug_time
from stillpipe.estimates.solution import Solution
from stillpipe.model.requests import Co2MassRequest, FrostCheckRequest, PlugTimeRequest
from stillpipe.physics.stream import drips
from stillpipe.tables import pipes


def adviser(
    elapsed: float, latest: float | None = 400.0, warmth: float | None = None,
    pipe: pipes.Pipe = HALF_INCH, *, seen: bool = False, **changes: Any,
) -> Adviser:  # fmt: skip
    """Of a line at 20 C, frost seen or not ``elapsed`` [s] after the first feed."""
    request = request_of(FrostCheckRequest, pipe, elapsed=elapsed, frost_seen=seen, **changes)
    return Adviser(request, Solution(request), latest, warmth)


def test_a_warmth_that_explains_an_overdue_frost_is_told() -> None:
    """Only once it is overdue, and only where none was seen."""
    assert "Water at 35 degC would explain the delay" in adviser(401.0, 400.0, 308.15).text(
        "warm-water"
    )
    assert "No warmth that was tried" in adviser(401.0, 400.0, None).text("warm-water")
    usual = "The water is warmer than stated."
    for early in (adviser(400.0, 400.0, 308.15), adviser(401.0, None, 308.15),
                  adviser(401.0, 400.0, 308.15, seen=True)):  # fmt: skip
        assert early.text("warm-water") == usual


@pytest.mark.parametrize("size", ["1/4", "2"])
def test_the_flow_that_keeps_a_plug_open_is_told_by_the_hour(size: str) -> None:
    """Two figures of the likely limit; in drips a minute where somebody can count them."""
    pipe = pipes.find("ASTM B88", size, "L")
    limit = likely(plug_time(request_of(PlugTimeRequest, pipe)).figures.residual_flow_limit)
    text = adviser(100.0, pipe=pipe).text("flow")
    told = float(text.split("moving: ")[1].split(" kg/h")[0])
    assert told == pytest.approx(3600.0 * limit, rel=0.05)
    assert len(f"{told:g}".strip("0.").replace(".", "")) <= 2
    falling = limit * drips.PER_MINUTE
    assert (f"({falling:.0f} drips a minute)" in text) is (falling <= 600.0)
    assert text.endswith("are enough.")


def test_where_slush_is_all_that_comes_no_flow_is_told() -> None:
    slush = solution_of("propylene_glycol", 0.30)
    found = adviser(100.0, fluid=slush)
    assert found.text("flow") == "Water is moving."
    assert found.tells("cylinder-empty", None).startswith("Weigh the cylinder: an empty one")


def test_what_a_sound_freeze_has_drawn_by_now_is_told() -> None:
    """At the planned ready it is the CO2 of the freeze; before anything is fed nothing is said."""
    figures = co2_mass(request_of(Co2MassRequest, TWO_INCH)).figures
    ready = known(plug_time(request_of(PlugTimeRequest, TWO_INCH)).figures.planned_ready)
    told = adviser(ready, pipe=TWO_INCH).tells("cylinder-empty", "flow")
    assert f", of which {likely(figures.freeze):.1f} kg is gone by now" in told
    begun = adviser(0.0, pipe=TWO_INCH).tells("cylinder-empty", "flow")
    assert begun.startswith("Weigh the cylinder: an empty one")


def test_of_two_causes_the_one_that_is_looked_at_sooner_tells_them_apart() -> None:
    """By rank, whichever is the likelier; what nothing is wrong with cannot be looked at."""
    found = adviser(500.0)
    assert found.tells("smaller-pipe", "warm-water") == found.tells("warm-water", "smaller-pipe")
    assert "20 degC as stated" in found.tells("smaller-pipe", "warm-water")
    assert "15.9 mm as stated" in found.tells("smaller-pipe", None)
    for code in set(ADVICE) - {"nothing-wrong"}:
        alone = found.tells(code, None)
        assert alone == found.tells(code, "nothing-wrong") == found.tells("nothing-wrong", code)
        assert alone.endswith(".")
        assert "{" not in alone
        assert "{" not in found.text(code)


@pytest.mark.parametrize(
    ("elapsed", "latest", "seen", "waits"),
    [(300.0, 400.0, False, True), (400.0, 400.0, False, True), (401.0, 400.0, False, False),
     (300.0, None, False, False), (300.0, 400.0, True, False)],
)  # fmt: skip
def test_a_frost_that_may_be_sound_is_looked_for_again(
    elapsed: float, latest: float | None, seen: bool, waits: bool
) -> None:
    """Until it is overdue, where a sound freeze has a latest time at all."""
    found = adviser(elapsed, latest, seen=seen)
    again = "Look again 400 s after the first feed"
    for other in ("flow", None):
        assert (again in found.tells("nothing-wrong", other)) is waits
    assert (found.tells("nothing-wrong", None) == "") is not waits
    assert again not in found.tells("flow", "jacket")


def test_what_a_freeze_that_never_closes_has_drawn_is_not_told() -> None:
    """A flow of 360 kg/h; and a moment after the first feed it is told, however little."""
    flowing = adviser(100.0, fluid=water(flow=0.1)).tells("cylinder-empty", None)
    assert flowing.startswith("Weigh the cylinder: an empty one")
    assert ", of which 0." in adviser(0.5).tells("cylinder-empty", None)


@pytest.mark.parametrize(
    ("slush", "hopeless", "told"),
    [(False, False, ", of which 2.0 kg is gone"), (True, False, ": an"), (False, True, ": an")],
)
def test_what_is_drawn_is_told_only_of_what_closes(
    monkeypatch: pytest.MonkeyPatch, slush: bool, hopeless: bool, told: str
) -> None:
    """Though of any other it is known too."""
    before = SimpleNamespace(stays_slush=slush, hopeless=hopeless)
    monkeypatch.setattr(
        feeding, "drawn_by", lambda *given: np.full(9, 2.0) if given == (before, 100.0) else None
    )
    request = request_of(FrostCheckRequest, elapsed=100.0, frost_seen=False)
    solution: Any = SimpleNamespace(before=before)
    text = Adviser(request, solution, 400.0, None).tells("cylinder-empty", None)
    assert text.startswith(f"Weigh the cylinder{told}")
