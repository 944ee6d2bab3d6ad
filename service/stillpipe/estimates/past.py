"""Past freezes with one set of jackets: what was seen of each, and what they say together."""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np

from stillpipe.errors import Fault, StillpipeError, TooCostlyError
from stillpipe.estimates import seen
from stillpipe.estimates.sampled import Array, Sampled
from stillpipe.lazy import cached_property
from stillpipe.model.calibration import NAMES
from stillpipe.model.figures import MIDDLE, Effort
from stillpipe.model.observations import AnyObservation, Seen
from stillpipe.model.requests import CAPTURE, Record
from stillpipe.physics.column import work
from stillpipe.uncertainty import common, draws, table
from stillpipe.uncertainty.common import NODES, Common, Records
from stillpipe.uncertainty.draws import Sample

BLOCK = 256
"""Draws of the other inputs over which what a record says is taken."""
SURFACE_TIME, SURFACE_SKIN = 0.025, 0.6
"""Standard deviation of frost by the surface about direct solutions, over its time [-], and of the
temperature beside the jacket [K]; 150 draws on each of four pipes."""
MOST = 3 * work.MOST // 2
"""Units of solver work that all records of a request may take together [-]: fifty sizes of copper
and steel pipe take 4.6 million."""
NOTHING = 0.01
"""A record that tells less of the three inputs teaches nothing [nat]."""


class Freezes:
    """The freezes of one freeze point, which several records may share."""

    def __init__(self, point: Record, spent: work.Work | None = None) -> None:
        """Solve nothing yet; ``spent`` counts the work of all freezes of a request."""
        whole = Sampled(point)
        whole.work = spent or whole.work
        self.sampled = whole.among(draws.prior(), whole.about(None, NAMES[:2]))

    def values(self, o: AnyObservation) -> Array:
        """Return the figure that ``o`` is about, of the draws of the table [its kind]."""
        return seen.values(o, self.sampled)

    def scattered(self, o: AnyObservation, block: int) -> Array:
        """Return the figure that ``o`` is about, shape (nodes, of each input, draws) [its kind].

        The draws are of all other inputs, those of a ``block``; on capture hangs the mass alone.
        """
        first = block * BLOCK % draws.COUNT
        conductance, filling, capture = NODES
        z = np.tile(
            draws.deviates()[first : first + BLOCK], (len(conductance), len(filling), 1, 1)
        )  # fmt: skip
        z[..., draws.NAMES.index(NAMES[0])] = conductance[:, None, None]
        z[..., draws.NAMES.index(NAMES[1])] = filling[:, None]
        z[..., draws.NAMES.index(NAMES[2])] = 0.0
        among = self.sampled.among(Sample(z.reshape(-1, len(draws.NAMES))))
        found = seen.values(o, among).reshape(len(conductance), len(filling), 1, BLOCK)
        if o.kind is not Seen.WEIGHT_DRAWN:
            return found
        share = CAPTURE * table.find("capture").at(np.append(0.0, capture))
        each = 1.0 / np.minimum(share, 1.0)
        return np.asarray(found * (each[1:] / each[0])[:, None])


class Past:
    """One record: its freeze in the draws of the table, and what was seen of it."""

    def __init__(self, record: Record, freezes: Freezes, index: int) -> None:
        """Take the ``freezes`` of its point; ``index`` is its place in the list."""
        self.record, self.seen = record, record.observations
        self.freezes, self.index = freezes, index

    def settle(self) -> None:
        """Work out all that hangs on the freezes, and let go of them: they hold megabytes."""
        if not self.why_nothing:
            self._values  # noqa: B018 - kept from here on
        del self.freezes

    @cached_property
    def why_nothing(self) -> str:
        """Why it teaches nothing; empty where it does."""
        if not self.seen:
            return "Nothing was seen."
        if self.freezes.sampled.hopeless:
            return "No plug is to be expected, so what was seen tells nothing about one."
        if self.is_explained and common.gained(self.logs) < NOTHING:
            return "What was seen is as likely whatever the jackets are like."
        return ""

    @property
    def is_explained(self) -> bool:
        """Whether any values of its inputs explain what was seen."""
        return bool(np.isfinite(np.max(self.logs)))

    @cached_property
    def _values(self) -> list[Array]:
        """The figure that each observation is about, of the draws of the table."""
        return [self.freezes.values(o) for o in self.seen]

    def chance(self, weight: Array) -> float:
        """Return how probable what was seen or further off is in draws of this ``weight`` [-].

        The least of its observations, times how many they are.
        """
        found = [
            seen.probability(o, v, weight) for o, v in zip(self.seen, self._values, strict=True)
        ]
        return min(min(found) * len(found), 1.0)

    def foretold(self, weight: Array) -> list[float]:
        """Return the median of each observation that is read, in draws of this ``weight`` [-]."""
        found = []
        for o, values in zip(self.seen, self._values, strict=True):
            if seen.is_read(o):
                order = np.argsort(values)
                rank = int(np.searchsorted(np.cumsum(weight[order]), MIDDLE))
                found.append(float(values[order[min(rank, len(order) - 1)]]))
        return found

    @property
    def read(self) -> list[AnyObservation]:
        """Observations of a figure that was read."""
        return [o for o in self.seen if seen.is_read(o)]

    @cached_property
    def logs(self) -> Array:
        """How likely what was seen is at ``NODES`` of each of the set's inputs [log].

        The mean over draws of the other inputs, which are those of another block for each record.
        """
        found, shape = np.zeros(()), [len(nodes) for nodes in NODES]
        for o in self.seen:
            found = found + seen.weighed(_less_sure(o), self.freezes.scattered(o, self.index))
        top = np.max(found)
        if not np.isfinite(top):
            return np.full(shape, -np.inf)
        mean = np.mean(np.exp(np.maximum(found - top, common.LEAST)), axis=-1)
        return np.asarray(top + np.log(np.broadcast_to(mean, shape)))


def _less_sure(o: AnyObservation) -> AnyObservation:
    """Return an observation with what the surface is off added to its uncertainty."""
    off = {Seen.FROST: SURFACE_TIME * o.elapsed, Seen.SURFACE_TEMPERATURE: SURFACE_SKIN}
    whole = math.hypot(o.standard_uncertainty, off.get(o.kind, 0.0))
    return replace(o, standard_uncertainty=whole)


class Set:
    """A set of jackets, and what its records say."""

    def __init__(
        self, records: tuple[Record, ...], known: dict[Record, Freezes] | None = None
    ) -> None:  # fmt: skip
        """Solve the freezes of ``records``, where they are not ``known``; those alike once."""
        self.work = work.Work(MOST)
        self.solves = 0
        found: dict[int, Past] = {}
        points: dict[Record, list[int]] = {}
        for index, record in enumerate(records):
            points.setdefault(replace(record, id=None, observations=()), []).append(index)
        for point, indices in points.items():
            freezes = (known or {}).get(point) or Freezes(point, self.work)
            for index in indices:
                with _of_record(index):
                    found[index] = Past(records[index], freezes, index)
                    found[index].settle()
            self.solves += len(freezes.sampled.solves)
        self.past = [found[index] for index in range(len(records))]
        self.teaching = [i for i, past in enumerate(self.past) if not past.why_nothing]

    @property
    def effort(self) -> Effort:
        """What solving took."""
        return Effort(self.solves, self.work.taken)

    @cached_property
    def _records(self) -> Records:
        """What the records say that teach something and are explained by their pipe."""
        fit = [i for i in self.teaching if self.past[i].is_explained]
        return Records({i: self.past[i].logs for i in fit})

    def without(self, index: int, used: set[int]) -> Array:
        """Return how likely draws are for a record by what the other ``used`` ones say [-]."""
        return self._records.common(used - {index}).weights(draws.prior().of_all(NAMES))

    def chance(self, index: int, used: set[int]) -> float:
        """Return how probable what was seen is for a record by the other ``used`` ones [-]."""
        return self.past[index].chance(self.without(index, used))

    @cached_property
    def used(self) -> set[int]:
        """Records on which the calibration rests: those that the others can explain.

        What they cannot is left out, the least likely first, and the others are looked at anew.
        """
        used = set(self._records.known)
        while used:
            least, worst = min((self.chance(i, used), i) for i in used)
            if least >= seen.ABSURD:
                break
            used.remove(worst)
        return used

    @cached_property
    def chances(self) -> dict[int, float]:
        """How probable what was seen is for each record that teaches, by the others [-]."""
        return {i: self.chance(i, self.used) for i in self.teaching}

    @cached_property
    def common(self) -> Common:
        """What the records that are used say."""
        return self._records.common(self.used)


@contextmanager
def _of_record(index: int) -> Iterator[None]:
    """Let what goes wrong inside name the record at ``index``.

    Raises
    ------
    StillpipeError
        of the same kind
    """
    try:
        yield
    except TooCostlyError as error:
        detail = (
            "send fewer records at once, or without a pipe, jacket or flow as far from common ones "
            f"as here: together they take more than {MOST:,} units of solver work"
        )
        raise TooCostlyError(Fault(("records", index), detail)) from error
    except StillpipeError as error:
        raise error.within("records", index) from error
