"""Hold time: how long a plug stays bonded once the coolant stops, and how long it takes to thaw."""

from dataclasses import dataclass

from stillpipe.estimates import cautions, course, plug_time
from stillpipe.estimates.job import Freeze, Note, Range
from stillpipe.estimates.outcomes import HoldTime
from stillpipe.physics import column, freeze

COLD = Note(
    "does-not-thaw",
    "The plug does not thaw by itself within a day: the room is too cold.",
    "warn",
)


@dataclass(frozen=True)
class Hold:
    """One course through hold and thaw; times [s] from the coolant's stop, length [m].

    A time is None where the event did not come within a day.
    """

    at_closure: float | None
    survival: float | None
    thaw: float | None
    length: float


def hold_time(job: Freeze, hold: float) -> HoldTime:
    """Estimate survival and thaw of ``job`` after ``hold`` [s] of feeding beyond ready.

    Raises
    ------
    OutOfValidityError
        naming every input outside what the model covers
    """
    course.check(job)
    stops = plug_time.obstacles(job)
    notes = cautions.of_freeze(job)
    if any(n.code == "slush" for n in stops):
        return _refused(tuple(stops), notes)
    runs = list(course.all_three(job, 3600.0 + hold))
    reasons = (*stops, *plug_time.judge(job, plug_time.flow_limit(job), runs))
    ready = plug_time.span(*(r.ready for r in runs))
    if ready is None:
        return _refused(reasons, notes)
    held = {
        c: follow(job, r, c, hold) for c, r in zip(course.CHOICES, runs, strict=True) if r.ready
    }
    likely = held[course.LIKELY]

    def band(member: str) -> Range | None:
        return plug_time.ordered(
            [getattr(h, member) for h in held.values()], getattr(likely, member)
        )

    if likely.thaw is None:
        reasons = (*reasons, COLD)
    pressures = [plug_time.holding(job, h.length, c) for c, h in held.items()]
    pressure = plug_time.ordered(pressures, plug_time.holding(job, likely.length))
    return HoldTime(
        plug_time.verdict(reasons), reasons, ready, band("at_closure"), band("survival"),
        band("thaw"), band("length"), pressure, notes,
    )  # fmt: skip


def _refused(reasons: tuple[Note, ...], notes: tuple[Note, ...]) -> HoldTime:
    verdict = plug_time.verdict(reasons)
    return HoldTime(verdict, reasons, None, None, None, None, None, None, notes)


def follow(job: Freeze, run: course.Course, choice: course.Choice, hold: float) -> Hold:
    """Carry a solved freeze through its ``hold`` [s], the coolant's stop, loss of bond and thaw."""
    laid = run.column
    assert run.at_closure is not None
    lost = 0.5 * job.line_pressure * job.bore / (4.0 * job.adhesion * choice.adhesion)
    early = stop(laid, run.at_closure.copy(), 0.0)[0]
    state = run.state
    laid.advance(state, float(state.clock[0]) + hold)
    rows = state.history[state.rows - 1]
    length = 2.0 * float(min(rows[1], rows[2]))
    survival, state = stop(laid, state, lost)
    begun = float(state.clock[0]) - float(state.clock[1])
    laid.advance(state, begun + course.LONGEST_THAW, column.THAWED, cooled=False)
    thaw = float(state.clock[5]) - begun if state.why == column.THAWED else None
    return Hold(early, survival, thaw, length)


def stop(
    laid: freeze.Column, state: freeze.State, need: float
) -> tuple[float | None, freeze.State]:
    """Stop the coolant and wait until the bond is lost; return that time [s] and the state."""
    begun = float(state.clock[0])
    state.clock[1] = 0.0
    laid.advance(state, begun + course.LONGEST_THAW, column.UNBONDED, need, cooled=False)
    if state.why != column.UNBONDED:
        return None, state
    return max(float(state.clock[5]) - begun, 0.0), state
