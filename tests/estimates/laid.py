"""Stand-ins for the freezes of one freeze point and their surfaces: every figure is given."""

from collections.abc import Hashable
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import numpy as np

from estimates.jobs import point_of
from stillpipe.errors import Fault, TooCostlyError
from stillpipe.estimates import course
from stillpipe.estimates.course import Knots, Of
from stillpipe.estimates.drawn import Drawn
from stillpipe.uncertainty import draws

KNOTS = Knots(np.array([10.0, 20.0, 50.0, 100.0]))
"""Times since closure at which the stand-ins are compared [s]."""


TERMS = np.array([[1.0, -3.0], [-2.0, 2.0]])
"""What surfaces are made of that are laid down."""


class Laid:
    """A surface whose figures are given: of every draw, or the same of all."""

    def __init__(self, figures: Any, count: int) -> None:
        self.figures, self.count = np.asarray(figures, dtype=np.float32), count

    def over(self, terms: np.ndarray) -> np.ndarray:
        assert terms is TERMS
        return np.array(np.broadcast_to(self.figures, (self.count, self.figures.shape[-1])))

    def farthest(self, largest: np.ndarray) -> float:
        assert largest.tolist() == [2.0, 3.0]
        return float(np.max(np.abs(self.figures)))


class Frozen:
    """An ensemble of which nothing is solved: what grows is given, and what is read is laid."""

    def __init__(self, count: int, grown: dict[Of, Any] | None = None, **known: Any) -> None:
        self.count, self.given = count, grown or {}
        self.knots, self.fine = KNOTS, SimpleNamespace(closure=100.0)
        self.laid: dict[Hashable, Laid] = {}
        self.asked: list[Any] = []
        self.__dict__.update(known)

    def terms(self, sample: draws.Sample) -> np.ndarray:
        assert len(sample) == self.count
        return TERMS

    def surface(self, read: course.Read, key: Hashable) -> Laid:
        """What is read of the likely freeze, the first time that the key is asked for."""
        if key not in self.laid:
            self.laid[key] = Laid(read(self.fine), self.count)  # type: ignore[arg-type]
        return self.laid[key]

    def curves(self, of: Of, knots: Knots) -> Laid:
        """In proportion to the time since closure, unless logarithms are given."""
        self.asked.append((of, knots))
        found = self.given[of]
        return Laid(np.log(found * knots.time) if isinstance(found, float) else found, self.count)

    def possible(self, sample: draws.Sample) -> np.ndarray:
        assert len(sample) == self.count
        return np.ones(self.count, dtype=bool)


@dataclass(eq=False)
class Left:
    """A plug unfed: it keeps a share of its grip for so much less, and melts in twice the time."""

    whole: float
    too_costly: bool = False

    def lasts(self, share: np.ndarray) -> np.ndarray:
        return self.whole * (1.0 - share)

    @property
    def melts(self) -> float:
        if self.too_costly:
            raise TooCostlyError(Fault((), "too much"))
        return 2.0 * self.whole


@dataclass(eq=False)
class Run:
    """A freeze that closes then [s]; its plug lasts unfed as long as it has been closed.

    The less the more the liquid circulates. ``costly`` is what takes too much of it.
    """

    closure: float | None = 100.0
    convection: float = 1.0
    costly: str = ""
    fed: list[float] = field(default_factory=list)

    @property
    def case(self) -> SimpleNamespace:
        return SimpleNamespace(convection=self.convection)

    @property
    def at_closure(self) -> float | None:
        return None if self.closure is None else self.closure + 0.5

    def fed_to(self, time: float) -> float:
        if self.costly == "feeding":
            raise TooCostlyError(Fault((), "too much"))
        self.fed.append(time)
        return time

    def fading(self, moment: float, convection: float | None = None) -> Left:
        if self.costly == "fading":
            raise TooCostlyError(Fault((), "too much"))
        assert self.closure is not None
        stirred = self.convection if convection is None else convection
        return Left((moment - self.closure) / stirred, self.costly == "melting")


class Freezes(Frozen):
    """An ensemble of which the likely freeze on either grid, and which are brief, is given."""

    def __init__(self, count: int, fine: Run, centre: Run | None, *brief: Run) -> None:
        super().__init__(count, {Of.GRIP: 1e-4, Of.HEAT: 2.0}, fine=fine, centre=centre)
        self.brief = brief

    def is_brief(self, run: Run) -> bool:
        return run in self.brief


def held(
    count: int = 1, *brief: Run, fine: Run | None = None, centre: Run | None = None,
    hold: float = 600.0, member: str = "hold", point: dict[str, Any] | None = None, **known: Any,
) -> Drawn:  # fmt: skip
    """A half-inch pipe in so many draws, likely closed after 100 s, and what else is ``known``."""
    found = Drawn(point_of(**(point or {})), hold, member=member)
    likely = fine or Run()
    found.__dict__.update(
        ensemble=Freezes(count, likely, centre or likely, *brief), evidence=None,
        sample=draws.Sample(np.zeros((count, len(draws.NAMES)))), model=np.ones(count),
        closed=np.full(count, 100.0), _cold=np.zeros(count),
    )  # fmt: skip
    found.__dict__.update(known)
    return found


def patched(found: Drawn, **methods: Any) -> Drawn:
    """The same with some of its methods given."""
    found.__dict__.update(methods)
    return found
