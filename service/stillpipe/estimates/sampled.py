"""One freeze point in draws of the uncertain inputs: closure, frost, heat, what has grown since.

Nothing is solved before it is asked for, and nothing twice. The freezes are those of an ensemble;
other draws of the same inputs are looked up on its surfaces without a further freeze.
"""

import math
from collections.abc import Hashable

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import chances, course, moving
from stillpipe.estimates.cases import Cases
from stillpipe.estimates.course import Curves, Knots, Of
from stillpipe.estimates.ensemble import Ensemble
from stillpipe.lazy import cached_property
from stillpipe.model.figures import Effort
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.physics import freeze
from stillpipe.physics.column import work
from stillpipe.physics.constants import DRY_ICE
from stillpipe.physics.frosting import FrostRun
from stillpipe.uncertainty import draws, surface

Array = NDArray[np.float64]

SOLUTION_BOND = 0.5
"""Strength of the bond of ice from sea water or glycol over that of pure ice [-]: an assumption."""
WEAK = 2.5
"""A bond so many times weaker than likely is followed closely until it is ready [-]: the 5th
percentile of adhesion."""
TOLD = ("jacket_conductance", "jacket_filling")
"""Inputs on which most of what can be seen hangs."""
FARTHEST = 50.0
"""Largest logarithm of a figure, either way: a surface far from straight may leave all bounds."""
MISS = 0.1
"""How far the surface of a length may lie from that of another that it is equal to, as a
logarithm [-]; found up to 0.03."""
HELD_KNOTS, HELD_KNOTS_SOLUTION = 4, 6
"""Times beyond ready at which freezes are compared: between them figures are taken for straight,
which a solution's are less."""
LONG_HOLD = "shorten it: so long a hold of so small a plug"


class Sampled:
    """A freeze point: figures as arrays, one value a draw.

    ``member`` of the request says how long it is held.
    """

    def __init__(
        self, point: FreezePoint, shares: "Sampled | None" = None, member: str = "hold"
    ) -> None:  # fmt: skip
        """Solve nothing yet; what it takes is added to that of ``shares``."""
        self.point, self._member = point, member
        self.work: work.Work = work.Work() if shares is None else shares.work
        self.solves: list[freeze.FreezeRun | FrostRun] = [] if shares is None else shares.solves
        known = None if shares is None or shares.point is not point else shares.cases
        self.cases: Cases = known or Cases(point)

    @cached_property
    def ensemble(self) -> Ensemble:
        """The freezes on which it rests."""
        return Ensemble(self.cases, WEAK * self.likely_need, self.work, self.solves)

    def about(self, z: Array | None, asked: tuple[str, ...] = TOLD) -> Ensemble:
        """Return freezes about deviates ``z`` of the inputs [-], None for the likely ones.

        They tell most of the inputs that are ``asked`` about.
        """
        like = self.ensemble if z is None else None
        return Ensemble(self.cases, WEAK * self.likely_need, self.work, self.solves, z, asked, like)

    def among(self, sample: draws.Sample, ensemble: Ensemble | None = None) -> "Sampled":
        """Return the freeze point in the draws of ``sample``, with the same or other freezes."""
        found = Sampled(self.point, self, self._member)
        found.__dict__["ensemble"] = ensemble or self.ensemble
        found.__dict__["sample"] = sample
        return found

    @cached_property
    def sample(self) -> draws.Sample:
        """The draws."""
        return draws.prior()

    @property
    def effort(self) -> Effort:
        """What solving took so far."""
        return Effort(len(self.solves), self.work.taken)

    @property
    def fine(self) -> freeze.FreezeRun:
        """The likely freeze."""
        return self.ensemble.fine

    @cached_property
    def _terms(self) -> surface.Single:
        return self.ensemble.terms(self.sample)

    @cached_property
    def _largest_terms(self) -> Array:
        return np.asarray(np.max(np.abs(self._terms), axis=0), dtype=float)

    def logs(self, read: course.Read, key: Hashable = None) -> Array:
        """Return what ``read`` reads of a freeze, for every draw: (draws, figures) [logarithms].

        ``key`` tells it from anything else that is read, where ``read`` itself does not.
        """
        return self.single(read, key).astype(float)

    def single(self, read: course.Read, key: Hashable = None) -> surface.Single:
        """Return :meth:`logs` in single precision."""
        return self._over(self.ensemble.surface(read, key or read))

    def _over(self, laid: surface.Surface) -> surface.Single:
        """Return the figures of a surface for every draw, shape (draws, figures) [logarithms]."""
        found = laid.over(self._terms)
        if laid.farthest(self._largest_terms) > FARTHEST:
            np.clip(found, -FARTHEST, FARTHEST, out=found)
        return found

    # what is drawn beside the freeze

    @cached_property
    def model(self) -> Array:
        """Times as they are over times as solved, of the draws [-]."""
        return self.cases.input("model").at(self.sample.of("model"))

    @cached_property
    def strength(self) -> Array:
        """Shear strength of the bond, cold enough, of the draws [Pa]."""
        factor = self.cases.input("adhesion").at(self.sample.of("adhesion"))
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
        return self.logs(course.closing)

    @property
    def _solved(self) -> Array:
        """Closure as solved, of the draws [s], however late and whether or not it comes."""
        return np.asarray(np.exp(self.at_closure[:, 0]))

    @cached_property
    def closed(self) -> Array:
        """Closure as solved, of the draws [s]; infinite where that does not come."""
        if self.hopeless:
            return np.full(len(self.sample), np.inf)
        found = self._solved
        late = (found > freeze.LONGEST_FREEZE) | ~self.ensemble.possible(self.sample)
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

    def knots_until(self, time: float) -> Knots:
        """Return times since closure up to ``time`` [s] since the first feed, or to ready."""
        early = self.ensemble.knots.time
        end = time - 0.5 * (self.fine.closure or 0.0)
        if end <= 1.2 * early[-1]:
            return self.ensemble.knots
        count = HELD_KNOTS if self.cases.is_water else HELD_KNOTS_SOLUTION
        late = np.geomspace(early[-1], end, count + 1)[1:]
        return Knots(np.concatenate((early, late)))

    def curves_of(self, of: Of, knots: Knots) -> Curves:
        """Return what has grown at ``knots``, of the draws: all but the wall's cold never falls.

        Of a solution, whose surfaces are far from straight, no plug grips or is sound over more
        than what is closed or bonded of it, and as much as surfaces may miss.
        """
        key = (of, float(knots.time[-1]))
        if key not in self._known_curves:
            with work.blamed((self._member,), LONG_HOLD):
                laid = self.ensemble.curves(of, knots)
            value = self._over(laid)
            if of in (Of.SOUND, Of.GRIP) and not self.cases.is_water:
                np.minimum(value, self.curves_of(Of.REACH, knots).value + MISS, out=value)
            if of is not Of.WALL:
                course.keep_rising(value)
            self._known_curves[key] = Curves(of, knots, value)
        return self._known_curves[key]

    @cached_property
    def _known_curves(self) -> dict[tuple[Of, float], Curves]:
        return {}

    @cached_property
    def _since(self) -> Array:
        """From closure until ready as solved, of the draws [s]; infinite where that never comes."""
        knots = self.ensemble.knots
        need = np.maximum(self.lost(self.strength) * self.point.safety_factor, course.TINY)
        firm = self.curves_of(Of.GRIP, knots).where(np.log(need))
        bore = np.full(len(need), math.log(self.point.bore))
        long = self.curves_of(Of.SOUND, knots).where(bore)
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
    def frosts(self) -> Array:
        """When the pipe beside the jacket is at 0 degC, of the draws [s]."""
        found = np.exp(self.logs(course.frost)[:, 0])
        return np.where(found > freeze.LATEST_FROST, np.inf, found * self.model)

    def since(self, time: float | Array) -> Array:
        """Return how long each draw is closed at ``time`` [s], as solved; at least a moment."""
        return np.asarray(np.maximum(time / self.model - self.closed, course.SOON))

    def _since_log(self, time: float | Array) -> Array:
        """Return the logarithm of :meth:`since` [log s], of a time that all draws share once."""
        if isinstance(time, np.ndarray):
            return np.log(self.since(time))
        if time not in self._since_logs:
            self._since_logs[time] = np.log(self.since(time))
        return self._since_logs[time]

    @cached_property
    def _since_logs(self) -> dict[float, Array]:
        return {}

    @cached_property
    def _heating(self) -> Curves:
        """The heat drawn until closure over its whole, of the draws, at shares of closure."""
        return Curves(Of.HEAT, course.BEFORE, self.single(course.drawing))

    def drawn(self, time: float) -> Array:
        """Return the heat drawn from the pipe by ``time`` [s], of the draws [J]."""
        past, share, since = self._moment(time)
        at_closure = np.exp(self.at_closure[:, 1])
        after = self.curves_of(Of.HEAT, self.knots_until(time)).at(since)
        return np.asarray(at_closure * self._heating.at(share) + np.where(past, after, 0.0))

    def _moment(self, time: float) -> tuple[NDArray[np.bool_], Array, Array]:
        """Return where a ``time`` [s] lies in each freeze, whether or not it is thought to close.

        Whether it is past closure, its share of that, 1 at most [-], and how long since [s].
        """
        closed = self._solved * self.model
        since = np.maximum((time - closed) / self.model, course.SOON)
        return closed < time, np.minimum(time / closed, 1.0), since

    def skin(self, distance: float, time: float) -> Array:
        """Return the temperature of the pipe's outside at ``time`` [s], of the draws [K].

        At a ``distance`` [m] beside the jacket.
        """
        knots = self.knots_until(time)
        key = ("skin", distance, float(knots.time[-1]))
        value = self.single(lambda run: self.ensemble.skin(run, knots, distance), key)
        count, (past, share, since) = len(course.BEFORE.time), self._moment(time)
        before = Curves(Of.WALL, course.BEFORE, value[:, :count]).at(share)
        after = Curves(Of.WALL, knots, value[:, count:]).at(since)
        return np.asarray(DRY_ICE + np.where(past, after, before))

    def gripping(self, time: float) -> Array:
        """Return the grip at ``time`` [s], of the draws [m]; 0 where it is not closed."""
        return self._grown(self.curves_of(Of.GRIP, self.knots_until(time)), time)

    def _grown(self, curves: Curves, time: float | Array) -> Array:
        """Return what has grown at ``time`` [s], of the draws; 0 where it is not closed."""
        return np.where(self.closures < time, curves.at_log(self._since_log(time)), 0.0)

    @cached_property
    def flow_limits(self) -> Array:
        """Greatest flow that still freezes shut, of the draws [kg/s]."""
        return np.asarray(np.exp(self.ensemble.flow_logs(self.sample)[:, 0]))
