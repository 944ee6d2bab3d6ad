"""One freeze point solved once: what every estimate asks, as ranges over the draws.

A range is the 5th, 50th and 95th percentile. What comes after closure is told of the draws that
are closed by then; the chance that they are is told beside it.
"""

import numpy as np

from stillpipe.estimates import chances, course
from stillpipe.estimates.course import Of
from stillpipe.estimates.drawn import Drawn
from stillpipe.estimates.sampled import Array
from stillpipe.lazy import cached_property
from stillpipe.model.figures import Range
from stillpipe.physics import freeze
from stillpipe.uncertainty.scenarios import LIKELY


class Solution(Drawn):
    """A freeze point, fed until ready and on for a hold."""

    def range(self, values: Array) -> Range | None:
        """Return the percentiles of draws that are asked for [as the draws]."""
        return chances.range_of(values, self.point.percentiles)

    def at_most(self, values: Array) -> float | None:
        """Return what is not exceeded at the chance that decides [as the draws]; None for never."""
        return chances.percentile(values, self.point.decision_probability)

    def at_least(self, values: Array) -> float | None:
        """Return what is reached at the chance that decides [as the draws]; None for never."""
        return chances.percentile(values, 1.0 - self.point.decision_probability)

    def is_sure(self, chance: float) -> bool:
        """Tell whether a ``chance`` [-] is enough to decide on."""
        return chance >= self.point.decision_probability

    @cached_property
    def closure(self) -> Range | None:
        """Until no liquid path is left [s]."""
        return None if self.hopeless else self.range(self.closures)

    @cached_property
    def ready(self) -> Range | None:
        """Until the plug carries the line pressure with the safety factor [s]."""
        return None if self.hopeless else self.range(self.readies)

    def chance_of_ready_by(self, time: float | None) -> float | None:
        """Return the chance that the plug is ready by ``time`` [s] of feeding; None without one."""
        if time is None:
            return None
        return 0.0 if self.hopeless else chances.chance(self.readies <= time)

    @cached_property
    def frost_by(self) -> Range | None:
        """Until the pipe beside the jacket falls below freezing [s]."""
        return None if self.stays_slush or self.prevented else self.range(self.frosts)

    @cached_property
    def flow_limit(self) -> Range | None:
        """Greatest flow that still freezes shut [kg/s], from the steady balance."""
        return None if self.stays_slush else self.range(self.flow_limits)

    @cached_property
    def ready_length(self) -> Range | None:
        """Length of sound plug at ready [m]."""
        return None if self.ready is None else self.range(self.at_ready(Of.SOUND))

    def grown_at_last(self, of: Of) -> Array:
        """Return what has grown when a freeze is no longer followed, of the draws [its own].

        0 where it is not closed by then.
        """
        since = np.maximum(freeze.LONGEST_FREEZE - self.closed, course.SOON)
        grown = self.curves_of(of, self.ensemble.knots).at(since)
        return np.where(np.isfinite(self.closed), grown, 0.0)

    @cached_property
    def ready_pressure(self) -> Range | None:
        """Pressure that the plug carries at ready [Pa], safety factor taken off."""
        if self.ready is None:
            return None
        known = np.isfinite(self.readies)
        return self.range(self.carries(self.at_ready(Of.GRIP), self.strength[known]))

    @cached_property
    def heat_removed(self) -> Range | None:
        """Heat drawn from the pipe until ready [J]."""
        return None if self.ready is None else self.range(self.heats_at_ready)

    @cached_property
    def coldest_wall(self) -> Range | None:
        """Temperature of the pipe under the jacket's centre at ready [K]."""
        return None if self.ready is None else self.range(self.at_ready(Of.WALL))

    @cached_property
    def survival_at_closure(self) -> Range | None:
        """How long the plug stays bonded where feeding stops at closure [s]."""
        if self.closure is None:
            return None
        return self.range(self.survivals_at_closure[np.isfinite(self.closures)])

    @property
    def is_planned(self) -> bool:
        """Whether there is a plug to hold."""
        return self.planned_ready is not None

    def _held(self, values: Array) -> Range | None:
        """Return the range of a figure after the hold over the draws that are closed by then."""
        return self.range(values[self.holds])

    @cached_property
    def survival(self) -> Range | None:
        """How long the plug stays bonded where feeding stops after the hold [s]."""
        return self._held(self.survivals) if self.is_planned else None

    @cached_property
    def thaw(self) -> Range | None:
        """From the coolant's stop after the hold until no ice is left [s]."""
        return self._held(self.thaws) if self.is_planned else None

    @cached_property
    def thawing_chance(self) -> float:
        """Chance that the plug thaws by itself within a day [-]."""
        return chances.chance(np.isfinite(self.thaws[self.holds]))

    @cached_property
    def plug_length(self) -> Range | None:
        """Length of the plug after the hold [m]."""
        return self._held(self.grown(Of.SOUND, self.plan_end)) if self.is_planned else None

    @cached_property
    def held_pressures(self) -> Array:
        """Pressure that plugs carry after the hold, of the draws [Pa], safety factor taken off."""
        return self.carries(self.grown(Of.GRIP, self.plan_end), self.strength)

    @cached_property
    def held_pressure(self) -> Range | None:
        """Pressure that the plug carries after the hold [Pa], safety factor taken off."""
        return self._held(self.held_pressures) if self.is_planned else None

    @cached_property
    def room_film(self) -> Array:
        """Conductance from the room by the pipe's surface [W/(m2 K)], likely; a table to read."""
        return self.cases.room_film(LIKELY)
