"""What can go wrong below HTTP: one base class, each error naming the fields concerned."""

from dataclasses import dataclass
from typing import Self


@dataclass(frozen=True)
class Fault:
    """One reason why an input cannot be used.

    Parameters
    ----------
    path
        where in the request the input stands, e.g. ``("pipe", "outside_diameter")``
    detail
        what is wrong and what is allowed, one sentence
    """

    path: tuple[str | int, ...]
    detail: str


class StillpipeError(Exception):
    """Base of every error this package raises on purpose.

    ``kind`` is the last part of the problem type's address; ``faults`` names every input at
    fault, so that a caller learns all of them at once.
    """

    kind = "out-of-validity"

    def __init__(self, *faults: Fault) -> None:
        super().__init__("; ".join(f.detail for f in faults))
        self.faults = faults

    def within(self, *path: str | int) -> Self:
        """Return the same error of inputs that stand below ``path`` in the request."""
        return type(self)(*(Fault((*path, *f.path), f.detail) for f in self.faults))


class OutOfValidityError(StillpipeError):
    """An input is well formed but outside what the model or a table covers."""

    kind = "out-of-validity"


class UnknownEntryError(StillpipeError):
    """A catalogue has no such entry; the detail says which there are."""

    kind = "unknown-entry"


class TooCostlyError(StillpipeError):
    """A request asks for more solving than one freeze point is given."""

    kind = "too-costly"


class CancelledError(StillpipeError):
    """Nobody waits for the answer any more: the caller has left, or the proxy's time is over."""

    kind = "cancelled"


class SolverError(StillpipeError):
    """The solver gave no finite answer; never expected, always reported."""

    kind = "solver"
