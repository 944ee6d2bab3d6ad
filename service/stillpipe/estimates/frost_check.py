"""No frost yet? Whether it should be there by now, and what is likely wrong."""

from dataclasses import dataclass, replace

from stillpipe.estimates import cautions, course, plug_time
from stillpipe.estimates.job import Freeze, Note, Range
from stillpipe.physics import humidity

HUMIDITY = 0.5
"""Relative humidity of a room [-] where it is not given: an assumption."""


@dataclass(frozen=True)
class Cause:
    """A likely cause, its weight [-] among the others, why it ranks there and what to do first."""

    code: str
    weight: float
    text: str
    first: str


@dataclass(frozen=True)
class FrostCheck:
    """Answer: ``state`` is ``as-expected | too-early | overdue | no-frost-possible | early``.

    ``frost_by`` [s] from the first feed; ``frost_point`` of the room's air [K].
    """

    verdict: str
    reasons: tuple[Note, ...]
    state: str
    frost_by: Range | None
    frost_point: float
    causes: tuple[Cause, ...]
    cautions: tuple[Note, ...]


def frost_check(job: Freeze, elapsed: float, seen: bool, humid: float = HUMIDITY) -> FrostCheck:
    """Judge frost ``seen`` or not ``elapsed`` [s] after the first feed, air ``humid`` [-].

    Raises
    ------
    OutOfValidityError
        naming every input outside what the model covers
    """
    outcome = plug_time.plug_time(job)
    point = humidity.frost_point(job.ambient_temperature, humid)
    by = outcome.frost_by
    state = _state(by, elapsed, seen, point)
    causes = _causes(job, by, elapsed, humid, outcome.residual_flow_limit) if state in (
        "overdue", "no-frost-possible"
    ) else ()  # fmt: skip
    reasons = list(outcome.reasons)
    if state == "overdue":
        reasons.append(
            Note("frost-overdue", "Frost should be there by now: do not cut; look for the cause.",
                 "stop")
        )  # fmt: skip
    elif state in ("too-early", "no-frost-possible"):
        reasons.append(Note(f"frost-{state}", _TEXT[state], "warn"))
    found = tuple(reasons)
    return FrostCheck(
        plug_time.verdict(found), found, state, by, point, causes, cautions.of_freeze(job)
    )


_TEXT = {
    "too-early": "Frost may still be to come: keep feeding and look again.",
    "no-frost-possible": "The plug does not form, or the air is too dry for frost; frost says "
    "nothing here: prove the plug by venting the section.",
}


def _state(by: Range | None, elapsed: float, seen: bool, point: float) -> str:
    if seen:
        return "as-expected" if by is not None and elapsed >= 0.5 * by.low else "early"
    if by is None or point < 233.15:
        return "no-frost-possible"
    late = by.likely if by.high is None else by.high
    if elapsed > late:
        return "overdue"
    return "too-early"


def _causes(
    job: Freeze, by: Range | None, elapsed: float, humid: float, limit: Range | None
) -> tuple[Cause, ...]:
    """Likely causes, ranked: what physics can weigh first, the rest by common practice.

    Slush, which has no ``limit`` of flow [kg/s], is its own cause: no warmth explains it.
    """
    slush = limit is None
    found = [
        _flow(job, limit), _jacket(by, elapsed), *([] if slush else [_warm(job, elapsed)]),
        Cause("cylinder-empty", 0.5, "The cylinder is empty, or feeds gas: no dip tube, not "
              "upright, or too warm or too cold.", "Weigh the cylinder, stand it upright, exchange "
              "it."),
        Cause("wrong-fluid", 1.0 if slush else 0.2 if job.fluid.key == "water" else 0.5,
              "What the line holds, as told, stays slush." if slush
              else "The line holds glycol, or more of it than told.",
              "Draw a sample and measure it with a refractometer."),
        Cause("lined-pipe", 0.2 if job.lining_thickness == 0.0 else 0.1,
              "Scale or a lining in the bore, or a larger pipe than told.",
              "Measure the outside diameter; look at an opened end."),
        Cause("dry-air", max(0.0, 0.5 - 2.0 * humid), "The air is dry: little frost forms.",
              "Breathe on the pipe beside the jacket; feel it with a gloved hand."),
    ]  # fmt: skip
    if job.insulation_thickness > 0.0:
        found.append(
            Cause("insulated", 0.7, "Insulation beside the jacket hides the frost.",
                  "Bare the pipe beside the jacket and look again.")
        )  # fmt: skip
    return tuple(sorted((c for c in found if c.weight > 0.0), key=lambda c: -c.weight))


def _flow(job: Freeze, limit: Range | None) -> Cause:
    """Weigh a flow: a small one explains a late frost the better."""
    if limit is None:
        return Cause("flow", 0.9, "Water may be moving.", "Close and check the valves.")
    drips = limit.likely * 60.0 * 20.0e6 / 999.8
    text = (
        f"Water is moving: {limit.likely * 3600:.2g} kg/h ({drips:.0f} drips a minute) are enough."
    )
    weight = 0.95 if job.flow == 0.0 else 1.0
    return Cause("flow", weight, text, "Close the valves on both sides; listen; feel for warmth.")


def _warm(job: Freeze, elapsed: float) -> Cause:
    """Re-solve with warmer water, to see whether it explains the time that has passed."""
    first = "Take the line's temperature; let it come near room temperature."
    warmest = 313.15
    if job.fluid_temperature >= warmest - 1.0:
        return Cause("warm-water", 0.9, "The water is warm, as told.", first)
    low, high = job.fluid_temperature, warmest
    if not _explains(job, high, elapsed):
        text = "Water at 40 degC alone would not explain the delay; warmer water would."
        return Cause("warm-water", 0.4, text, first)
    for _ in range(6):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if _explains(job, middle, elapsed) else (middle, high)
    text = f"Water at {high - 273.15:.0f} degC would explain the delay."
    share = (high - job.fluid_temperature) / (warmest - job.fluid_temperature)
    return Cause("warm-water", 0.9 - 0.4 * share, text, first)


def _explains(job: Freeze, fluid_temperature: float, elapsed: float) -> bool:
    """Whether frost on the slow course with this water comes later than ``elapsed`` [s]."""
    run = course.solve(replace(job, fluid_temperature=fluid_temperature), course.SLOW)
    by = plug_time.frost_by(run)
    return by is None or by > elapsed


def _jacket(by: Range | None, elapsed: float) -> Cause:
    """Weigh a leaky or badly filled jacket: it explains the more, the longer the delay."""
    late = 1.0 if by is None else min(elapsed / by.likely / 4.0, 1.0)
    return Cause(
        "jacket", 0.6 + 0.2 * late, "The jacket leaks, is not filled, or sits on paint or scale.",
        "Feed until gas leaves steadily; press the snow home; clean the pipe and seal the ends.",
    )  # fmt: skip
