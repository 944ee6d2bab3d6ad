"""One freeze point solved once: what becomes of it in every draw of the uncertain inputs.

Nothing is solved before it is asked for, and nothing twice. What comes after closure is told of
the draws that close. The hold is planned from the time by which the plug is ready at the chance
that decides; that and the exchanges are planned times, common to all draws.
"""

import math
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import chances, course
from stillpipe.estimates.course import Curves, Knots, Of
from stillpipe.estimates.ensemble import Ensemble
from stillpipe.estimates.sampled import LONG_HOLD, Array, Sampled
from stillpipe.estimates.seen import Evidence, evidence
from stillpipe.lazy import cached_property
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.physics import freeze
from stillpipe.physics.column import work
from stillpipe.physics.column.march import FULL_BOND
from stillpipe.physics.fading import LONGEST_THAW, Fading
from stillpipe.uncertainty import draws, surface

SHARES = np.array([0.0, 0.003, 0.01, 0.025, 0.045, 0.07, 0.1, 0.15, 0.22, 0.33, 0.5, 0.7, 0.9])
"""Shares of its grip down to which an unfed plug is followed [-]."""
ANCHORS = (0.0, 0.07, 0.3, 1.0)
"""Moments of a hold at which a coolant's stop is solved where many are asked for [-]."""
SLOWEST = 50.0 * LONGEST_THAW
"""Time until no ice is left that comes to never [s]: thaws beyond a day are told as never, but how
far beyond they are tells of the draws that are not."""
HARDLY = 1e-3
"""How long what holds nothing is taken to last between moments at which that is solved [s]."""
ROUNDED = 1e-9
"""So near the logarithm of that, or of never, a time that lies between is the same [-]."""
JUST_CLOSED = 1.01
"""A likely plug is not stopped before so many times its closure [-]."""
SLOW_THAW = (
    ("ambient", "temperature"),
    "state a warmer room, or one below freezing: a thaw as slow as in this one",
)
"""What is too costly where a plug hardly thaws: the member, and what to change."""
SLOW_MUSH = (
    ("fluid", "concentration"),
    "state a weaker solution or a lower line pressure: what becomes of so weak a plug of so strong "
    "a solution",
)
"""The same of a solution, whose ice melts over a range of temperatures in many small steps."""
SHORTER = 0.6
"""A plug stopped after such a share of the time since closure tells how that time counts [-]."""
YOUNGEST = 0.2
"""No draw counts as closed for less than such a share of what the likely plug is [-]."""
Stopped = Callable[[freeze.FreezeRun | None, float], Array]
"""Reads what becomes of a freeze whose coolant stops at a time [s]: logarithms [log s]."""


class Drawn(Sampled):
    """A freeze point, fed until ready and on for ``hold`` [s]: figures as arrays, one value a draw.

    What it takes is added to that of ``shares``, a solution asked for the same answer.
    """

    def __init__(
        self,
        point: FreezePoint,
        hold: float = 0.0,
        shares: "Drawn | None" = None,
        *,
        member: str = "hold",
    ) -> None:
        """Solve nothing yet; ``member`` of the request says how long the hold is."""
        super().__init__(point, shares, member)
        self.hold = hold
        self._stopped: dict[float, surface.Single] = {}

    def held_for(self, hold: float) -> Self:
        """Return the same freeze point, fed on for another ``hold`` [s]; solves nothing anew."""
        found = type(self)(self.point, hold, self, member=self._member)
        for known in ("before", "evidence", "planned_ready"):
            found.__dict__[known] = getattr(self, known)
        return found

    def under(self, pressure: float) -> Self:
        """Return the same freezes under another line ``pressure`` [Pa]; solves nothing anew."""
        found = type(self)(
            replace(self.point, line_pressure=pressure), self.hold, self, member=self._member
        )
        for known in ("ensemble", "sample"):
            found.__dict__[known] = getattr(self, known)
        found.__dict__["evidence"] = None
        return found

    @cached_property
    def before(self) -> Sampled:
        """The freeze point before anything was seen."""
        return Sampled(self.point, self, self._member)

    @cached_property
    def evidence(self) -> Evidence | None:
        """What was seen, and what is known then; None where nothing was, or no plug is expected."""
        told = self.point.observations
        return evidence(told, self.before) if told and not self.before.hopeless else None

    @cached_property
    def ensemble(self) -> Ensemble:
        """The freezes on which it rests."""
        return self.before.ensemble if self.evidence is None else self.evidence.ensemble

    @cached_property
    def sample(self) -> draws.Sample:
        """The draws, as likely as what was seen leaves them."""
        return self.before.sample if self.evidence is None else self.evidence.learned.sample

    @cached_property
    def freezing_chance(self) -> float:
        """Chance that the fluid can hold the ice that a plug needs [-], by what was seen too."""
        if self.evidence is None:
            return self.cases.freezing_chance
        return chances.chance(self.ensemble.possible(self.sample))

    @cached_property
    def likely_ready(self) -> float | None:
        """When the likely plug is ready [s], None where that does not come."""
        run, knots = self.fine, self.ensemble.knots
        if run.closure is None:
            return None
        grown = course.of_run(run, knots).astype(np.float32)
        wanted = ((Of.GRIP, max(self.likely_need, course.TINY)), (Of.SOUND, self.point.bore))
        since = max(
            float(Curves(of, knots, grown[[of]]).where(np.log([need]))[0]) for of, need in wanted
        )
        found = run.closure + since
        return found if found <= freeze.LONGEST_FREEZE else None

    @cached_property
    def ready_chance(self) -> float:
        """Chance that the plug gets ready [-]."""
        return chances.chance(np.isfinite(self.readies))

    @cached_property
    def planned_ready(self) -> float | None:
        """The time by which the plug is ready at the chance that decides [s].

        Where that chance is not reached, that of the plugs that get ready, and never before the
        median of all; None where the likely one does not.
        """
        chance, wanted = self.ready_chance, self.point.decision_probability
        if chance < 0.5:
            return None
        p = wanted if chance >= wanted else max(wanted * chance, 0.5)
        return chances.percentile(self.readies, p)

    def at_ready(self, of: Of) -> Array:
        """Return what has grown when the plug is ready, of the draws that get ready [its own]."""
        known = np.isfinite(self.readies)
        curves = self.curves_of(of, self.ensemble.knots).among(known)
        return curves.at(self._since[known])

    @property
    def heats_at_ready(self) -> Array:
        """Heat drawn from the pipe until ready, of the draws that get ready [J]."""
        known = np.isfinite(self.readies)
        return np.asarray(np.exp(self.at_closure[known, 1]) + self.at_ready(Of.HEAT))

    # planned times

    @cached_property
    def plan_end(self) -> float:
        """When the hold is planned to end [s]."""
        return (self.planned_ready or 0.0) + self.hold

    @cached_property
    def knots(self) -> Knots:
        """Times since closure up to the planned end of the hold."""
        return self.knots_until(self.plan_end)

    @cached_property
    def holds(self) -> NDArray[np.bool_]:
        """Which draws are closed by the planned end."""
        return np.asarray(self.closures < self.plan_end)

    def curves(self, of: Of) -> Curves:
        """Return what has grown up to the planned end, of the draws."""
        return self.curves_of(of, self.knots)

    def grown(self, of: Of, time: float | Array) -> Array:
        """Return what has grown at ``time`` [s] since the first feed, of all draws; 0 until closed.

        ``time`` is one for all, or one for each.
        """
        if isinstance(time, np.ndarray):
            return self._grown(self.curves(of), time)
        if (of, time) not in self._at_times:
            self._at_times[of, time] = self._grown(self.curves(of), time)
        return self._at_times[of, time]

    @cached_property
    def _at_times(self) -> dict[tuple[Of, float], Array]:
        return {}

    # after the coolant's stop

    def _unfed(
        self, run: freeze.FreezeRun | None, time: float, convection: float | None = None
    ) -> Fading | None:
        """Return what becomes of a plug fed until ``time`` [s]; None where none is known.

        In liquid that circulates by ``convection``, if not as ``run`` does itself [-].
        """
        if run is None or run.closure is None or self.ensemble.is_brief(run):
            return None
        if run in (self.fine, self.ensemble.centre):
            time = max(time, JUST_CLOSED * run.closure)
        if run.closure >= time:
            return None
        with work.blamed((self._member,), LONG_HOLD):
            moment = run.fed_to(time)
        with self._slow_thaw:
            return run.fading(moment, convection)

    @property
    def _slow_thaw(self) -> AbstractContextManager[None]:
        """What to name where following a plug that is not fed is too costly."""
        return work.blamed(*(SLOW_THAW if self.cases.is_water else SLOW_MUSH))

    def _fading(self, run: freeze.FreezeRun | None, time: float) -> Array:
        """Return logarithms of how long the plug keeps ``SHARES`` of its grip [log s]."""
        left = self._unfed(run, time)
        return np.full(len(SHARES), np.nan) if left is None else _log(left.lasts(SHARES))

    def _thawing(self, run: freeze.FreezeRun | None, time: float) -> Array:
        """Return the logarithm of how long it is until no ice is left [log s]."""
        left = self._unfed(run, time) or self._stirred(run, time)
        with self._slow_thaw:
            return _log(np.array([np.nan if left is None else left.melts]), SLOWEST)

    def _stirred(self, run: freeze.FreezeRun | None, time: float) -> Fading | None:
        """Return the likely plug fed until ``time`` [s] in liquid that circulates as in ``run``.

        None where that is no brief freeze, followed to closure only, of other convection.
        """
        likely = self.ensemble.centre
        if run is None or likely is None or not self.ensemble.is_brief(run):
            return None
        if run.case.convection == likely.case.convection:
            return None
        return self._unfed(likely, time, run.case.convection)

    def stopped(self, time: float) -> surface.Single:
        """Return how long plugs fed until ``time`` [s] keep ``SHARES`` of their grip, once.

        Logarithms, shape (draws, shares) [log s], as solved.
        """
        if time not in self._stopped:
            solved = time / self._usual
            found = self.single(lambda run: self._fading(run, solved), ("stopped", solved))
            found += self._fed_for(self._fading, time)
            self._stopped[time] = found
        return self._stopped[time]

    def _fed_for(self, read: Stopped, time: float) -> surface.Single:
        """Return by how much what is ``read`` of plugs fed until ``time`` [s] is more for that.

        All freezes are stopped at one time as solved, where a draw whose times are longer than
        solved has by then come less far: by the likely freeze, in logarithms of the time since
        closure. Shape (draws, figures) [log s].
        """
        run, solved = self.ensemble.centre, time / self._usual
        if run is None or run.closure is None or solved <= JUST_CLOSED * run.closure:
            return np.zeros((1, 1), dtype=np.float32)
        since = solved - run.closure
        more = read(run, solved) - read(run, run.closure + SHORTER * since)
        slope = np.where(np.isfinite(more), more, 0.0) / -np.log(SHORTER)
        least = YOUNGEST * since
        own, common = (np.maximum(t - self.closed, least) for t in (time / self.model, solved))
        shift = np.log(own / common).astype(np.float32)
        return np.asarray((slope.astype(np.float32)[:, None] * shift).T)

    @cached_property
    def _usual(self) -> float:
        """Times as they are over times as solved, the median [-]."""
        return 1.0 if self.evidence is None else float(np.median(self.model))

    def lasting_at(self, times: list[float]) -> list[Array]:
        """Return how long plugs fed until each of ``times`` [s] hold, as :meth:`lasting` does.

        A few are solved at most, the others lie on a monotone cubic between, in logarithms.
        Times may be in any order; those of the same tenth of a second are one.
        """
        tenths = np.round(times, 1)
        _, first, places = np.unique(tenths, return_index=True, return_inverse=True)
        found = self._lasting_along(np.asarray(times)[first])
        return [found[place] for place in places]

    def _lasting_along(self, times: Array) -> list[Array]:
        """Return how long plugs fed until each of different, rising ``times`` [s] hold [s]."""
        few = len(times) <= len(ANCHORS)
        anchors = times if few else np.interp(ANCHORS, (0.0, 1.0), (times[0], times[-1]))
        lasts = [self.lasting(float(time)) for time in anchors]
        if few:
            return lasts
        least, most = math.log(HARDLY), math.log(LONGEST_THAW)
        known = [np.log(np.clip(last, HARDLY, LONGEST_THAW)) for last in lasts]
        since = np.log(np.append(anchors, times) - min(self.fine.closure or 0.0, 0.9 * times[0]))
        count = len(ANCHORS)
        logs = surface.monotone(since[:count], np.array(known), since[count:])
        found = np.where(logs > most - ROUNDED, np.inf, np.exp(logs))
        return list(np.where(logs < least + ROUNDED, 0.0, found))

    def lasting(self, time: float) -> Array:
        """Return how long plugs fed until ``time`` [s] hold the line pressure unfed, of the draws.

        0 where it is not closed or does not hold at all; infinite beyond a day [s].
        """
        if time not in self._lastings:
            self._lastings[time] = self._lasting(time, self.stopped(time))
        return self._lastings[time]

    @cached_property
    def _lastings(self) -> dict[float, Array]:
        return {}

    def lasting_beside(self, time: float, solved: tuple[float, float]) -> Array:
        """Return how long plugs fed until ``time`` [s] hold, as :meth:`lasting` does.

        From stops at two times that are ``solved`` [s]: how long shares of the grip are kept goes
        straight, in logarithms, with the grip, which is that of ``time`` itself.
        """
        at, first, last = (
            np.log(np.maximum(self.grown(Of.GRIP, each), course.TINY)) for each in (time, *solved)
        )
        grown = np.maximum(last - first, course.FLAT)
        part = np.clip((at - first) / grown, -1.0, 1.0).astype(np.float32)[:, None]
        begin, end = (self.stopped(each) for each in solved)
        return self._lasting(time, begin + part * (end - begin))

    def _lasting(self, time: float, stopped: surface.Single) -> Array:
        """Return :meth:`lasting` at ``time`` [s], ``stopped`` as :meth:`stopped` has it [log s]."""
        grip = self.grown(Of.GRIP, time)
        share = np.clip(self.lost(self.strength) / np.maximum(grip, course.TINY), 0.0, 1.0)
        found = np.where(share < self._cold, np.inf, course.kept(SHARES, stopped, share))
        found = np.where(grip > 0.0, found, 0.0)
        return np.where(found > LONGEST_THAW, np.inf, found * self.model)

    @cached_property
    def _cold(self) -> Array:
        """Share of its full strength that a bond has for ever in the room, of the draws [-].

        In a room below freezing it comes to rest at the room's temperature, and nothing melts.
        """
        moved = self.cases.input("ambient_temperature").at(self.sample.of("ambient_temperature"))
        below = self.point.fluid.freezing_point - self.point.ambient.temperature - moved
        return np.asarray(np.clip(below / FULL_BOND, 0.0, 1.0))

    @cached_property
    def survivals(self) -> Array:
        """How long the plug lasts unfed after its hold, of the draws [s]."""
        return self.lasting(self.plan_end)

    @cached_property
    def thaws(self) -> Array:
        """From the coolant's stop after the hold until no ice is left, of the draws [s]."""
        found = self.melted(self.plan_end)
        return np.where(found > LONGEST_THAW, np.inf, found * self.model)

    def melted(self, time: float) -> Array:
        """Return how long plugs fed until ``time`` [s] take to thaw, as solved [s]."""
        solved = time / self._usual
        logs = self.logs(lambda run: self._thawing(run, solved), ("thawed", solved))
        found = np.exp((logs + self._fed_for(self._thawing, time))[:, 0])
        return np.where(self._cold > 0.0, np.inf, found)

    @cached_property
    def survivals_at_closure(self) -> Array:
        """How long the plug stays bonded where feeding stops at closure, of the draws [s]."""
        found = np.exp(self.logs(self._left_at_closure, "left-at-closure")[:, 0])
        never = (found > LONGEST_THAW) | (self._cold > 0.0)
        return np.where(never, np.inf, found * self.model)

    def _left_at_closure(self, run: freeze.FreezeRun | None) -> Array:
        if run is None or self.ensemble.is_brief(run) or run.at_closure is None:
            return np.array([np.nan])
        with self._slow_thaw:
            last = run.fading(run.at_closure).lasts(np.zeros(1))
        return _log(last)


def _log(time: Array, never: float = 2.0 * LONGEST_THAW) -> Array:
    """Return the logarithms of times [s], between a moment and what comes to ``never`` [s]."""
    return np.asarray(np.log(np.clip(time, 0.1, never)))
