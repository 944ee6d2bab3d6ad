"""Answers of the freeze estimates, SI units, frozen."""

from dataclasses import dataclass

from stillpipe.estimates.job import Driver, Note, Range


@dataclass(frozen=True)
class History:
    """The likely course of the freeze, equal-length series.

    ``time`` [s], ``plug_length`` and ``bonded_length`` [m], ``holding_pressure`` [Pa, bond
    failure over safety factor], ``heat`` drawn from the pipe so far [J], ``front_radius`` of the
    liquid left under the jacket's centre [m].
    """

    time: tuple[float, ...]
    plug_length: tuple[float, ...]
    bonded_length: tuple[float, ...]
    holding_pressure: tuple[float, ...]
    heat: tuple[float, ...]
    front_radius: tuple[float, ...]


@dataclass(frozen=True)
class PlugTime:
    """Answer of the plug-time estimate.

    ``verdict`` is ``go | conditional | no-go``. Times [s], lengths [m], pressures [Pa], flow
    [kg/s], heat [J]. A figure is None where it is never reached; ``reasons`` then says why.
    """

    verdict: str
    reasons: tuple[Note, ...]
    closure: Range | None
    ready: Range | None
    frost_by: Range | None
    plug_length: Range | None
    holding_pressure: Range | None
    residual_flow_limit: Range | None
    heat_removed: Range | None
    drivers: tuple[Driver, ...]
    history: History
    cautions: tuple[Note, ...]


@dataclass(frozen=True)
class HoldTime:
    """Answer of the hold-time estimate.

    ``survival_at_closure`` and ``survival`` [s]: how long the plug stays bonded when the coolant
    stops right at closure, or after ``hold`` seconds of hold beyond ready; ``thaw`` [s] from the
    coolant's stop until no ice is left; ``plug_length`` and ``holding_pressure`` at the stop.
    """

    verdict: str
    reasons: tuple[Note, ...]
    ready: Range | None
    survival_at_closure: Range | None
    survival: Range | None
    thaw: Range | None
    plug_length: Range | None
    holding_pressure: Range | None
    cautions: tuple[Note, ...]
