"""Freezes, groups and plans laid down by hand: a hundred draws whose percentiles can be read off.

Draws that rise evenly from one figure to the next: the 5th, 50th and 95th percentile of
``rising(0.0, 1.0)`` are 5, 50 and 95, since the draws are 1, 2, ..., 100.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import chances
from stillpipe.estimates.job.plan import Group, Kind, Plan
from stillpipe.model.figures import Range
from stillpipe.model.job import Job

Array = NDArray[np.float64]

DRAWS = 100


def rising(begin: float, step: float) -> Array:
    """Draws that rise by ``step`` from ``begin`` on: the 50th percentile is 50 steps beyond it."""
    return np.asarray(begin + step * np.arange(1.0, DRAWS + 1.0))


def every() -> NDArray[np.bool_]:
    """All of the draws."""
    return np.ones(DRAWS, dtype=bool)


@dataclass(eq=False)
class Frozen:
    """What a solved freeze tells, laid down: arrays of the draws, times [s], lengths [m]."""

    name: str = "frozen"
    closures: Array = field(default_factory=lambda: rising(0.0, 1.0))
    readies: Array = field(default_factory=lambda: rising(100.0, 1.0))
    survivals: Array = field(default_factory=lambda: rising(1000.0, 1.0))
    thaws: Array = field(default_factory=lambda: rising(3000.0, 1.0))
    lengths: Array = field(default_factory=lambda: rising(0.05, 0.001))
    holds: NDArray[np.bool_] = field(default_factory=every)
    planned_ready: float | None = 195.0
    hold: float = 600.0
    hopeless: bool = False
    point: Any = None
    flow_limit: Range | None = None

    @property
    def sample(self) -> Array:
        """The draws, of which only the number counts."""
        return self.closures

    @property
    def is_planned(self) -> bool:
        """Whether there is a plug to hold."""
        return self.planned_ready is not None

    @property
    def plan_end(self) -> float:
        """When its hold ends [s]."""
        return (self.planned_ready or 0.0) + self.hold

    def range(self, values: Array) -> Range | None:
        """The 5th, 50th and 95th percentile."""
        return chances.range_of(values)

    def at_most(self, values: Array) -> float | None:
        """The 95th percentile."""
        return chances.percentile(values, 0.95)

    def grown(self, _of: Any, time: float) -> Array:
        """The lengths, at the end of the hold alone."""
        return self.lengths if time == self.plan_end else np.zeros(DRAWS)

    @property
    def closure(self) -> Range | None:
        """The range of closures."""
        return self.range(self.closures)

    @property
    def ready(self) -> Range | None:
        """The range of readies."""
        return self.range(self.readies)

    def chance_of_ready_by(self, time: float | None) -> float | None:
        """How many draws are ready by then."""
        return None if time is None else chances.chance(self.readies <= time)

    @property
    def survival(self) -> Range | None:
        """The range of survivals."""
        return self.range(self.survivals[self.holds])

    @property
    def thaw(self) -> Range | None:
        """The range of thaws."""
        return self.range(self.thaws[self.holds])

    @property
    def plug_length(self) -> Range | None:
        """The range of lengths."""
        return self.range(self.lengths[self.holds])

    held_pressure: Range | None = None


def kind_of(request: Job, solution: Any, *names: str, group: int = 1) -> Kind:
    """Freeze points of a job that are alike, by ``names``, with what is laid down of them."""
    found = next(p.request for p in request.each if p.name == names[0])
    return Kind(group=group, names=names, request=found, solution=solution)


def group_of(*kinds: Kind, feed: float, ready: float, stop: float) -> Group:
    """A group of freeze points: fed, ready and stopped so long after arrival [s]."""
    return Group(number=kinds[0].group, kinds=kinds, feed=feed, ready=ready, stop=stop)


def plan_of(request: Job, *groups: Group) -> Plan:
    """A plan whose groups are laid down and whose freezes are not solved."""
    plan = Plan(request)
    plan.__dict__["groups"] = groups
    laid = {id(k.request): k.solution for g in groups for k in g.kinds}
    plan.solutions = {r: laid.get(id(r), s) for r, s in plan.solutions.items()}
    return plan
