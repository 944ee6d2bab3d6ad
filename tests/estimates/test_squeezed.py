"""Water between two plugs by hand: of ice that grows as laid down."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from estimates.by_hand import DRAWS, rising
from estimates.jobs import HALF_INCH, point_of
from stillpipe.estimates import trapped_water
from stillpipe.estimates.trapped_water import Growth, Judged, Squeezed, judge
from stillpipe.model.figures import Verdict
from stillpipe.physics import trapped

Array = NDArray[np.float64]

LINE, RATING = 3e5, 4e6
END = 1000.0
SECTION = 0.25 * np.pi * HALF_INCH.inside_diameter**2


def solved(**changes: Any) -> Any:
    """Half-inch copper that is good for 40 bar; a chance of 95 % decides."""
    point = point_of()
    rated = replace(point, pipe=replace(point.pipe, rating=RATING))
    given: dict[str, Any] = {
        "point": rated, "at_most": lambda x: float(np.sort(x)[94]), "range": lambda _: None,
        "at_least": lambda x: float(np.sort(x)[4]), "is_sure": lambda chance: chance >= 0.95,
        "hopeless": False, "closures": rising(0.0, 1.0),
    }  # fmt: skip
    return SimpleNamespace(**(given | changes))


def growing(most: float, holds: Array | None = None, iced: float = 1e-4, **changes: Any) -> Any:
    """Plugs of 0.1 m that grow by so much ice a second [m] and are pushed out by ``most`` [Pa].

    Beyond the line; their own bond holds 9 MPa, or as said.
    """
    every = np.ones(DRAWS)
    bond = 9e6 * every if holds is None else holds
    return SimpleNamespace(
        solution=solved(), ready=0.5 * END * every, end=END * every, model=every,
        first=0.1 * every, holds_ready=bond, holds_end=bond,
        iced=lambda time: iced * time, most=lambda time: most + 0.0 * time,
        reaches=lambda length: length / iced, **changes,
    )  # fmt: skip


def test_ice_grows_from_closure_on() -> None:
    found = Growth(
        solution=solved(), ready=np.zeros(3), end=np.zeros(3), model=np.ones(3), first=np.zeros(3),
        strongest=1.0, holds_ready=np.zeros(3), holds_end=np.zeros(3),
    )  # fmt: skip
    found.__dict__["_iced"] = SimpleNamespace(at=lambda time: 1e-6 * (time + 1.0))
    iced = found.iced(np.array([0.0, 0.5, 2.0]))
    assert iced == pytest.approx(np.array([0.0, 1.5e-6, 3e-6]) / SECTION)


def test_water_that_just_pushes_the_strongest_plug_out_comes_to_that_pressure() -> None:
    """The pipe's rating is 37 bar beyond the line, and the bond holds that, or a pascal less."""
    found = Squeezed(growth=growing(RATING - LINE), apart=1.1)
    point = found.growth.solution.point
    widens = trapped.widening(
        point.pipe.outside_diameter, point.pipe.wall, point.material.youngs_modulus,
        point.material.poisson_ratio,
    )  # fmt: skip
    share = (RATING - LINE) / trapped.rise(1.0, widens)
    time = share * 1.0 / trapped.ICE_TO_WATER / 1e-4
    assert time < END
    assert found.reaches(RATING) == pytest.approx(np.full(DRAWS, time))
    weaker = Squeezed(growth=growing(RATING - LINE - 1.0), apart=1.1)
    assert np.isinf(weaker.reaches(RATING)).all()


def test_water_that_comes_to_the_rating_and_no_further_is_held() -> None:
    """In every draw, by the pipe and by its plugs; the weakest hold nothing in ten of a hundred."""
    found = judge(solved(), growing(RATING - LINE), ("a", "b"), 0.2, False, 100.0)
    assert found.pressure == RATING
    assert (found.chance, found.verdict) == (1.0, Verdict.CONDITIONAL)
    assert found.weakest_holds == 9e6
    loose = np.where(np.arange(DRAWS) < 10, 0.0, 9e6)
    some = judge(solved(), growing(RATING - LINE, loose), ("a", "b"), 0.2, False, 100.0)
    assert (some.chance, some.verdict, some.weakest_holds) == (0.9, Verdict.NO_GO, 0.0)


def test_where_no_plug_closes_it_is_said_that_none_traps_water() -> None:
    for hopeless, says in (
        (True, "No plug closes, so no water is trapped."),
        (False, "No plug is"),
    ):
        found = judge(solved(hopeless=hopeless), None, ("a", "b"), 0.2, False, None)
        assert found.advice.startswith(says)
        assert found.verdict is (Verdict.GO if hopeless else Verdict.CONDITIONAL)


@pytest.mark.parametrize(
    ("earliest", "says"),
    [
        (0.99, "and may come to that as soon as both plugs close."),
        (1.0, "and may come to that within 1 s of both plugs closing."),
        (None, "and the weakest plug holds 0.49 MPa."),
    ],
)  # fmt: skip
def test_how_soon_the_pipe_comes_to_its_rating_is_told(earliest: float | None, says: str) -> None:
    judged = Judged(pressure=1e6, from_=0.0, earliest=earliest, slips=False, holds=0.499e6)
    told = " ".join(trapped_water._pressures(1e6, judged))
    assert told == (
        f"Without a vent it may come to 1.0 MPa by the hold's end; the pipe is good for 1.0 MPa "
        f"{says}"
    )
