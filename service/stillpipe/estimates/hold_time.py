"""Hold time: how long a plug stays bonded once the coolant stops, and how long it takes to thaw."""

from dataclasses import dataclass

from stillpipe.estimates import cautions, course, plug_time
from stillpipe.estimates.job import Freeze, Note, Range
from stillpipe.estimates.outcomes import HoldTime
from stillpipe.physics import freeze

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
        c: found
        for c, r in zip(course.CHOICES, runs, strict=True)
        if (found := follow(job, r, c, hold)) is not None
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


def follow(job: Freeze, run: freeze.FreezeRun, choice: course.Choice, hold: float) -> Hold | None:
    """Carry a solved freeze through its ``hold`` [s], the coolant's stop, loss of bond and thaw.

    None where the plug never gets ready.
    """
    if run.ready is None or run.at_closure is None:
        return None
    lost = job.line_pressure * job.bore / (4.0 * job.adhesion * choice.adhesion)
    early = run.stop(run.at_closure, 0.0).survival
    held = run.fed_to(run.ready + hold)
    stop = run.stop(held, lost)
    return Hold(early, stop.survival, stop.thaw, held.sound_length)
