"""The plan of a job: each freeze point solved once, frozen in groups, on one clock.

Freeze points of one run of pipe are frozen together, since its cut lies between them; how many at
once hangs on the jackets and hands there are. Within a group all are fed from the same moment on,
work begins when the last of them is ready, and the others are held for so much longer. The next
group begins when the jackets of the one before have been moved.
"""

from collections.abc import Hashable, Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates.job import waits
from stillpipe.estimates.sampled import Array
from stillpipe.estimates.solution import Solution
from stillpipe.lazy import cached_property
from stillpipe.model.figures import Effort
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.model.job import Job, PlacedPoint

Pool = dict[Hashable, Solution]
"""Solutions by what the freeze depends on."""
FREEZING = tuple(f.name for f in fields(FreezePoint) if f.name != "cylinder")
"""Members of a request on which a freeze depends; of the cylinder its temperature does."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Kind:
    """Freeze points of one group that are alike: their ``names`` and what becomes of them."""

    group: int
    names: tuple[str, ...]
    request: Job
    solution: Solution

    @cached_property
    def cools(self) -> bool:
        """Whether the line ever comes to the temperature at which it is fed."""
        return waits.cooling(self.request, self.solution) is not None

    @property
    def closes(self) -> bool:
        """Whether there is a plug to plan with."""
        return self.cools and not self.solution.hopeless and self.solution.is_planned


@dataclass(frozen=True, kw_only=True, eq=False)
class Group:
    """Freeze points that are frozen at the same time; times since arrival [s].

    They are fed from ``feed`` on, the last is ready at ``ready``, feeding ends at ``stop``.
    ``apart`` where they are not all alike.
    """

    number: int
    kinds: tuple[Kind, ...]
    feed: float
    ready: float
    stop: float

    @property
    def apart(self) -> bool:
        """Whether its freeze points are not all alike."""
        return len(self.kinds) > 1

    @property
    def closes(self) -> bool:
        """Whether each of its freeze points has a plug to plan with: else nobody may cut."""
        return all(kind.closes for kind in self.kinds)


class Plan:
    """The plan of a job, worked out as far as it is asked for."""

    def __init__(
        self, request: Job, pool: Pool | None = None, before: "Plan | None" = None
    ) -> None:  # fmt: skip
        """Solve nothing yet; what is solved is kept in a ``pool`` for plans of other variants.

        Plans that are changed from the one ``before`` are together given as much work as that one,
        freeze point by freeze point.
        """
        self.request = request
        self.spare: dict[str, Solution] = {}
        self.pool: Pool = {} if pool is None else pool
        self._before = before
        self.solutions = {p.request: self._pooled(p) for p in request.each}

    def _pooled(self, placed: PlacedPoint) -> Solution:
        """Return the solution of a freeze point, the same for all that freeze alike."""
        request = placed.request
        stated = [getattr(request, name) for name in FREEZING]
        cylinder = request.cylinder.temperature
        key = (*stated, cylinder, request.capture_efficiency, request.jacket_loss)
        if key not in self.pool:
            spare = {} if self._before is None else self._before.spare
            found = Solution(request, request.repair, spare.get(placed.name), member="repair")
            spare.setdefault(placed.name, found)
            self.pool[key] = found
        return self.pool[key]

    def solution_of(self, name: str) -> Solution:
        """Return the solution of the freeze point called ``name``."""
        return next(self.solutions[p.request] for p in self.request.each if p.name == name)

    @property
    def most(self) -> int:
        """How many freeze points can be frozen at once."""
        return min(self.request.jackets, self.request.crew * self.request.points_each)

    @cached_property
    def sections(self) -> list[list[PlacedPoint]]:
        """Freeze points that are frozen together, since they lie on one run."""
        found: dict[object, list[PlacedPoint]] = {}
        for p in self.request.each:
            found.setdefault(p.point.section, []).append(p)
        return list(found.values())

    @property
    def too_many(self) -> int:
        """How many freeze points a run has where they cannot be frozen at once; else 0."""
        largest = max(map(len, self.sections))
        return largest if largest > self.most else 0

    @cached_property
    def _parted(self) -> list[list[PlacedPoint]]:
        """The freeze points of each group: as many whole runs as fit, in the caller's order."""
        found: list[list[PlacedPoint]] = []
        for section in self.sections:
            if found and len(found[-1]) + len(section) <= self.most:
                found[-1] += section
            else:
                found.append(list(section))
        return found

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """The groups in order."""
        found: list[Group] = []
        for number, points in enumerate(self._parted, start=1):
            free = found[-1].stop + self.request.move if found else self.request.setup
            found.append(self._group(number, points, free))
        return tuple(found)

    def _group(self, number: int, points: list[PlacedPoint], free: float) -> Group:
        """Return a group whose jackets and hands are ``free`` from then on [s] after arrival."""
        by_request: dict[Job, list[str]] = {}
        for p in points:
            by_request.setdefault(p.request, []).append(p.name)
        solved = {r: self.solutions[r] for r in by_request}
        times = [s.planned_ready for s in solved.values() if not s.hopeless]
        ready = max((t for t in times if t is not None), default=0.0)
        cooled = [waits.cooling(r, s) for r, s in solved.items()]
        feed = max(free, *(0.0 if c is None else c.likely for c in cooled))
        kinds = [
            Kind(group=number, names=tuple(names), request=r, solution=self._held(solved[r], ready))
            for r, names in by_request.items()
        ]
        stop = feed + ready + self.request.repair if ready else feed
        return Group(
            number=number, kinds=tuple(kinds), feed=feed, ready=feed + ready, stop=stop
        )  # fmt: skip

    def _held(self, solution: Solution, ready: float) -> Solution:
        """Return a solution held from its own planned ready until the repair after ``ready``."""
        if solution.hopeless or solution.planned_ready is None:
            return solution
        hold = ready - solution.planned_ready + self.request.repair
        return solution if hold == solution.hold else solution.held_for(hold)

    @property
    def kinds(self) -> Iterator[Kind]:
        """Every kind of freeze point of every group."""
        return (kind for group in self.groups for kind in group.kinds)

    def group_of(self, kind: Kind) -> Group:
        """Return the group of a kind of freeze point."""
        return self.groups[kind.group - 1]

    @cached_property
    def is_one(self) -> bool:
        """Whether all freeze points are alike."""
        return len(set(map(id, self.solutions.values()))) == 1

    @property
    def lead(self) -> Solution:
        """One of the solutions, for what is common to all: the draws, the chance that decides."""
        return next(iter(self.kinds)).solution

    @cached_property
    def closes(self) -> bool:
        """Whether every freeze point has a plug to plan with."""
        return all(group.closes for group in self.groups)

    @cached_property
    def holds(self) -> NDArray[np.bool_]:
        """Which draws are closed at every freeze point by the end of its hold."""
        return np.asarray(np.logical_and.reduce([k.solution.holds for k in self.kinds]))

    def last(self, name: str) -> Array:
        """Return the greatest of a figure of the solutions called ``name``, of the draws."""
        return np.asarray(np.maximum.reduce([getattr(k.solution, name) for k in self.kinds]))

    @property
    def effort(self) -> Effort:
        """What solving took so far."""
        spent = {id(s.work): s.effort for s in self.pool.values()}.values()
        return Effort(sum(e.freezes for e in spent), sum(e.units for e in spent))
