"""One freeze point solved once: what becomes of it in every draw of the uncertain inputs.

Nothing is solved before it is asked for, and nothing twice. What comes after closure is told of
the draws that close. The hold is planned from the time by which the plug is ready at the chance
that decides; that and the exchanges are planned times, common to all draws.
"""

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import chances, course, moving
from stillpipe.estimates.cases import Cases
from stillpipe.estimates.course import Curves, Knots, Of
from stillpipe.estimates.ensemble import Ensemble
from stillpipe.model.figures import Effort
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.physics import freeze
from stillpipe.physics.column import work
from stillpipe.physics.fading import LONGEST_THAW
from stillpipe.uncertainty import draws, surface

Array = NDArray[np.float64]

SOLUTION_BOND = 0.5
"""Strength of the bond of ice from sea water or glycol over that of pure ice [-]: an assumption."""
SHARES = np.array([0.0, 0.03, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9])
"""Shares of its grip down to which an unfed plug is followed [-]."""
WEAK = 2.5
"""A bond so many times weaker than likely is followed closely until it is ready [-]: the 5th
percentile of adhesion."""
ANCHORS = (0.0, 0.07, 0.3, 1.0)
"""Moments of a hold at which a coolant's stop is solved where many are asked for [-]."""
HELD_KNOTS = 4
"""Times in the hold at which freezes are compared."""

LONG_HOLD = "shorten it: so long a hold of so small a plug"
COLD_ROOM = "state a warmer room, or one below freezing: a thaw as slow as in this one"
MANY_EXCHANGES = "use a larger cylinder: so many exchanges"


class Drawn:
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
        self.point, self.hold, self._member = point, hold, member
        self.work: work.Work = work.Work() if shares is None else shares.work
        self.cases = Cases(point)
        self.ensemble = Ensemble(self.cases, WEAK * self.likely_need, self.work)
        if shares is not None:
            self.ensemble.solves = shares.ensemble.solves
        self._stopped: dict[float, Array] = {}

    @property
    def effort(self) -> Effort:
        """What solving took so far."""
        return Effort(len(self.ensemble.solves), self.work.taken)

    @property
    def fine(self) -> freeze.FreezeRun:
        """The likely freeze."""
        return self.ensemble.fine

    # what is drawn beside the freeze

    @cached_property
    def model(self) -> Array:
        """Times as they are over times as solved, of the draws [-]."""
        return self.cases.input("model").at(draws.of("model"))

    @cached_property
    def strength(self) -> Array:
        """Shear strength of the bond, cold enough, of the draws [Pa]."""
        factor = self.cases.input("adhesion").at(draws.of("adhesion"))
        return np.asarray(self.likely_strength * factor)

    @property
    def likely_strength(self) -> float:
        """The likely strength [Pa]."""
        return self.point.adhesion * (1.0 if self.cases.is_water else SOLUTION_BOND)

    @property
    def likely_need(self) -> float:
        """Grip with which the likely plug is ready [m]."""
        return float(self.lost(np.array([self.likely_strength]))[0]) * self.point.safety_factor

    def lost(self, strength: Array) -> Array:
        """Grip below which line pressure pushes the plug out [m].

        Shear balance 4 tau L / D = p, the shear as even along the plug as its bond: of a long plug
        the end under pressure carries more than its share, so this is the most that it holds.
        """
        return np.asarray(self.point.line_pressure * self.point.bore / (4.0 * strength))

    def carries(self, grip: Array, strength: Array | float) -> Array:
        """Pressure that plugs of this ``grip`` [m] carry [Pa], safety factor taken off.

        ``strength`` of their bond [Pa].
        """
        return np.asarray(4.0 * strength * grip / (self.point.bore * self.point.safety_factor))

    # until the plug is closed and ready

    @property
    def stays_slush(self) -> bool:
        """Whether the fluid never holds enough ice for a plug."""
        return self.cases.freezing_chance <= 0.0

    @cached_property
    def prevented(self) -> bool:
        """Whether the stated flow keeps the likely plug from closing."""
        point, likely = self.point, self.cases.likely
        if point.fluid.flow <= 0.0:
            return False
        beyond = moving.prevents(point, self.cases.case(likely), likely, surely=True)
        return beyond or self.fine.closure is None

    @property
    def hopeless(self) -> bool:
        """Whether no figure of a plug can be told."""
        return self.stays_slush or self.prevented or self.fine.closure is None

    @cached_property
    def at_closure(self) -> Array:
        """Logarithms of closure [s], heat [J] and ice [m3] until then, of the draws, as solved."""
        return self.ensemble.logs(course.closing)

    @cached_property
    def closed(self) -> Array:
        """Closure as solved, of the draws [s]; infinite where that does not come."""
        if self.hopeless:
            return np.full(draws.COUNT, np.inf)
        found = np.exp(self.at_closure[:, 0])
        late = (found > freeze.LONGEST_FREEZE) | ~self.ensemble.possible
        if self.point.fluid.flow > 0.0:
            late |= self.point.fluid.flow > self.flow_limits
        return np.where(late, np.inf, found)

    @cached_property
    def closures(self) -> Array:
        """Closure of the draws [s]; infinite where that does not come."""
        return np.asarray(self.closed * self.model)

    @cached_property
    def closing_chance(self) -> float:
        """Chance that the bore freezes shut [-].

        Where the likely flow prevents it, that of a limit beyond the flow.
        """
        if not self.stays_slush and self.prevented:
            return min(chances.chance(self.flow_limits >= self.point.fluid.flow), 0.49)
        return chances.chance(np.isfinite(self.closed))

    def _curves(self, of: Of, knots: Knots) -> Curves:
        """Return what has grown at ``knots``, of the draws: all but the wall's cold never falls."""
        key = (of, len(knots.time))
        if key not in self._known_curves:
            early = len(self.ensemble.knots.time)
            if len(knots.time) > early:
                late = Knots(knots.time[early:])
                parts = [self._curves(of, self.ensemble.knots), self._curves(of, late)]
                value = np.hstack([part.value for part in parts])
            else:
                value = self.ensemble.logs(lambda run: self._course(run, knots)[of])
            if of is not Of.WALL:
                value = np.maximum.accumulate(value, axis=1)
            self._known_curves[key] = Curves(of, knots, value)
        return self._known_curves[key]

    @cached_property
    def _known_curves(self) -> dict[tuple[Of, int], Curves]:
        return {}

    @cached_property
    def _courses(self) -> dict[tuple[int, int], Array]:
        return {}

    def _course(self, run: freeze.FreezeRun | None, knots: Knots) -> Array:
        """Return what is read of ``run``, once."""
        if run is None or self.ensemble.is_brief(run):
            return np.full((len(Of), len(knots.time)), np.nan)
        key = (id(run), len(knots.time))
        if key not in self._courses:
            with work.blamed((self._member,), LONG_HOLD):
                self._courses[key] = course.of_run(run, knots)
        return self._courses[key]

    @cached_property
    def _since(self) -> Array:
        """From closure until ready as solved, of the draws [s]; infinite where that never comes."""
        knots = self.ensemble.knots
        need = np.maximum(self.lost(self.strength) * self.point.safety_factor, course.TINY)
        firm = self._curves(Of.GRIP, knots).where(np.log(need))
        bore = np.full(len(need), math.log(self.point.bore))
        long = self._curves(Of.SOUND, knots).where(bore)
        since = np.maximum(firm, long)
        late = ~(self.closed + since < freeze.LONGEST_FREEZE)
        return np.where(late, np.inf, since)

    @cached_property
    def readies(self) -> Array:
        """When the plug carries the line pressure with the safety factor, of the draws [s]."""
        if self.hopeless:
            return self.closures
        return np.asarray((self.closed + self._since) * self.model)

    @cached_property
    def likely_ready(self) -> float | None:
        """When the likely plug is ready [s], None where that does not come."""
        run, knots = self.fine, self.ensemble.knots
        if run.closure is None:
            return None
        grown = course.of_run(run, knots)
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

        Where that chance is not reached, of those plugs that get ready, and never before the
        median; None where the likely one does not.
        """
        if self.ready_chance < 0.5:
            return None
        p = self.point.decision_probability * self.ready_chance
        return chances.percentile(self.readies, max(p, 0.5))

    def at_ready(self, of: Of) -> Array:
        """Return what has grown when the plug is ready, of the draws that get ready [its own]."""
        known = np.isfinite(self.readies)
        curves = self._curves(of, self.ensemble.knots).among(known)
        return curves.at(self._since[known])

    @property
    def heats_at_ready(self) -> Array:
        """Heat drawn from the pipe until ready, of the draws that get ready [J]."""
        known = np.isfinite(self.readies)
        return np.asarray(np.exp(self.at_closure[known, 1]) + self.at_ready(Of.HEAT))

    @cached_property
    def frosts(self) -> Array:
        """When the pipe beside the jacket is at 0 degC, of the draws [s]."""
        found = np.exp(self.ensemble.logs(course.frost)[:, 0])
        return np.where(found > freeze.LATEST_FROST, np.inf, found * self.model)

    # planned times

    @cached_property
    def plan_end(self) -> float:
        """When the hold is planned to end [s]."""
        return (self.planned_ready or 0.0) + self.hold

    @cached_property
    def knots(self) -> Knots:
        """Times since closure up to the planned end of the hold."""
        early = self.ensemble.knots.time
        end = self.plan_end - 0.5 * (self.fine.closure or 0.0)
        if end <= 1.2 * early[-1]:
            return self.ensemble.knots
        late = np.geomspace(early[-1], end, HELD_KNOTS + 1)[1:]
        return Knots(np.concatenate((early, late)))

    @cached_property
    def holds(self) -> NDArray[np.bool_]:
        """Which draws are closed by the planned end."""
        return np.asarray(self.closures < self.plan_end)

    def curves(self, of: Of) -> Curves:
        """Return what has grown up to the planned end, of the draws."""
        return self._curves(of, self.knots)

    def since(self, time: float | Array) -> Array:
        """Return how long each draw is closed at ``time`` [s], as solved; at least a moment."""
        return np.asarray(np.maximum(time / self.model - self.closed, course.SOON))

    def grown(self, of: Of, time: float | Array) -> Array:
        """Return what has grown at ``time`` [s] since the first feed, of all draws; 0 until closed.

        ``time`` is one for all, or one for each.
        """
        found = self.curves(of).at(self.since(time))
        return np.where(self.closures < time, found, 0.0)

    def drawn(self, time: float) -> Array:
        """Return the heat drawn from the pipe by ``time`` [s], of the draws [J]."""
        at_closure = np.exp(self.at_closure[:, 1])
        before = at_closure * np.minimum(time / self.closures, 1.0)
        return np.asarray(before + self.grown(Of.HEAT, time))

    # after the coolant's stop

    def _fading(self, run: freeze.FreezeRun | None, time: float) -> Array:
        """Return logarithms of how long the plug keeps ``SHARES`` of its grip, and of its thaw."""
        brief = run is None or self.ensemble.is_brief(run)
        if brief or run is None or run.closure is None or run.closure >= time:
            return np.full(len(SHARES) + 1, np.nan)
        with work.blamed((self._member,), LONG_HOLD):
            moment = run.fed_to(time)
        with work.blamed(("ambient", "temperature"), COLD_ROOM):
            left = run.fading(moment)
            found = np.append(left.lasts(SHARES), left.thaw or np.inf)
        return np.asarray(np.log(np.clip(found, 0.1, 2.0 * LONGEST_THAW)))

    def stopped(self, time: float) -> Array:
        """Return how long plugs fed until ``time`` [s] keep shares of their grip, and their thaw.

        Shape (draws, shares and one) [s], as solved.
        """
        if time not in self._stopped:
            self._stopped[time] = np.exp(self.ensemble.logs(lambda run: self._fading(run, time)))
        return self._stopped[time]

    def lasting_at(self, times: list[float]) -> list[Array]:
        """Return how long plugs fed until each of ``times`` [s] hold, as :meth:`lasting` does.

        A few are solved at most, the others lie on a monotone cubic between, in logarithms.
        """
        few = len(times) <= len(ANCHORS)
        anchors = np.array(times if few else np.interp(ANCHORS, (0.0, 1.0), (times[0], times[-1])))
        with work.blamed(("cylinder",), MANY_EXCHANGES):
            lasts = [self.lasting(float(time)) for time in anchors]
        if few:
            return lasts
        known = [np.log(np.clip(last, 1e-3, LONGEST_THAW)) for last in lasts]
        since = np.log(np.append(anchors, times) - min(self.fine.closure or 0.0, 0.9 * times[0]))
        count = len(ANCHORS)
        return list(np.exp(surface.monotone(since[:count], np.array(known), since[count:])))

    def lasting(self, time: float) -> Array:
        """Return how long plugs fed until ``time`` [s] hold the line pressure unfed, of the draws.

        0 where it is not closed or does not hold at all; infinite beyond a day [s].
        """
        grip = self.grown(Of.GRIP, time)
        share = np.clip(self.lost(self.strength) / np.maximum(grip, course.TINY), 0.0, 1.0)
        lasts = np.hstack((self.stopped(time)[:, :-1], np.zeros((draws.COUNT, 1))))
        found = np.where(grip > 0.0, course.between(np.append(SHARES, 1.0), lasts, share), 0.0)
        return np.where(found > LONGEST_THAW, np.inf, found * self.model)

    @cached_property
    def survivals(self) -> Array:
        """How long the plug lasts unfed after its hold, of the draws [s]."""
        return self.lasting(self.plan_end)

    @cached_property
    def thaws(self) -> Array:
        """From the coolant's stop after the hold until no ice is left, of the draws [s]."""
        found = self.stopped(self.plan_end)[:, -1]
        return np.where(found > LONGEST_THAW, np.inf, found * self.model)

    @cached_property
    def survivals_at_closure(self) -> Array:
        """How long the plug stays bonded where feeding stops at closure, of the draws [s]."""
        found = np.exp(self.ensemble.logs(self._left_at_closure)[:, 0])
        return np.where(found > LONGEST_THAW, np.inf, found * self.model)

    def _left_at_closure(self, run: freeze.FreezeRun | None) -> Array:
        if run is None or self.ensemble.is_brief(run) or run.at_closure is None:
            return np.array([np.nan])
        with work.blamed(("ambient", "temperature"), COLD_ROOM):
            last = run.fading(run.at_closure).lasts(np.zeros(1))
        return np.asarray(np.log(np.clip(last, 0.1, 2.0 * LONGEST_THAW)))

    @cached_property
    def flow_limits(self) -> Array:
        """Greatest flow that still freezes shut, of the draws [kg/s]."""
        return np.asarray(np.exp(self.ensemble.flow_logs[:, 0]))
