"""What solving may cost: steps counted and bounded, and ended when nobody waits any more.

A unit of work is one Newton pass over one axial slice of the column: the same on every machine, so
that an answer never depends on how fast a machine is.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

import numpy as np
from numpy.typing import NDArray

from stillpipe.errors import CancelledError, Fault, TooCostlyError

Flag = NDArray[np.int64]

MOST = 4_800_000
"""Units of work that one freeze point may take [-], about a second of a processor.

A job on 1 in PVC in a room a little above freezing, whose thaw is followed for a day, takes more
than 3.6 million.
"""

_flag: ContextVar[Flag | None] = ContextVar("stillpipe_cancelled", default=None)


@contextmanager
def cancellable(flag: Flag) -> Iterator[None]:
    """Let ``flag``, shape (1,), end the work begun inside as soon as it is not 0.

    Another thread may set it; the compiled solver looks at it in every step.
    """
    token = _flag.set(flag)
    try:
        yield
    finally:
        _flag.reset(token)


@contextmanager
def blamed(path: tuple[str, ...], change: str) -> Iterator[None]:
    """Let work inside that is too costly name the member at ``path``, and what to ``change``.

    Raises
    ------
    TooCostlyError
        naming that member
    """
    try:
        yield
    except TooCostlyError as error:
        detail = f"{change} takes more than {MOST:,} units of solver work"
        raise TooCostlyError(Fault(path, detail)) from error


class Work:
    """The work of one freeze point.

    ``counts``, shape (2,), holds the units taken and the most allowed [-]; ``flag``, shape
    (1,), is not 0 once nobody waits for the answer. Both are shared with the compiled solver.
    """

    def __init__(self, most: int = MOST) -> None:
        """Begin with nothing done and ``most`` units allowed."""
        self.counts: Flag = np.array([0, most], dtype=np.int64)
        given = _flag.get()
        self.flag: Flag = np.zeros(1, dtype=np.int64) if given is None else given

    @property
    def taken(self) -> int:
        """Units taken so far [-]."""
        return int(self.counts[0])

    def check(self) -> None:
        """Raise what ended the work, if anything did.

        Raises
        ------
        CancelledError
            where nobody waits any more
        TooCostlyError
            where more work was taken than a freeze point is given
        """
        if self.flag[0] != 0:
            raise CancelledError(Fault((), "nobody waits for this answer any more"))
        if self.counts[0] > self.counts[1]:
            raise TooCostlyError(
                Fault(
                    (),
                    f"this freeze point takes more than {self.counts[1]:,} units of solver work: "
                    "shorten the hold, use a larger cylinder or fewer exchanges, or state a jacket "
                    "and pipe nearer to common sizes",
                )
            )
