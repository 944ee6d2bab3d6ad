"""What would make a job go: for each reason the least change that takes it away, confirmed.

A change is found on what is solved already where that can be, and each is confirmed by an estimate
of the changed job. What no change takes away has none.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Annotated

from stillpipe.errors import TooCostlyError
from stillpipe.estimates import hold_time
from stillpipe.estimates.job import changes
from stillpipe.estimates.job.changes import Change
from stillpipe.estimates.job.judged import Judged
from stillpipe.estimates.job.plan import Kind
from stillpipe.model.declare import Plain
from stillpipe.model.figures import Amount, Severity, Verdict

Finder = Callable[[Judged, Kind | None], Iterator[Change]]

_SLOW = ("never-closes", "may-not-close")
_BOND = ("never-ready", "may-not-be-ready")
_AIR = ("over-twa", "over-stel", "over-idlh", "over-minimum", "air-dangerous", "oxygen-deficient")
_NEAR = (
    "near", "too-near-jackets", "too-near-plugs", "too-near-cut", "too-near-torch",
    "too-near-fitting", "too-near-valve", "too-near-vent", "too-near-support",
)  # fmt: skip


def _jacket(code: str) -> Finder:
    return lambda judged, kind: changes.jacket_length(judged, kind, code)


def _colder(code: str) -> Finder:
    return lambda judged, kind: changes.colder_water(judged, kind, code)


def _shorter(code: str) -> Finder:
    return lambda judged, _kind: changes.shorter_repair(judged, code)


FINDERS: dict[str, tuple[Finder, ...]] = {
    "no-liquid-co2": (changes.cylinder_temperature,),
    "cylinder-near-critical": (changes.cylinder_temperature,),
    "no-dip-tube": (changes.dip_tube,),
    "over-rating": (changes.rated_pressure,),
    "room-below-freezing": (changes.warmer_room,),
    "flowing": (changes.less_flow,),
    "flow-near-limit": (changes.less_flow,),
    "early-exchange": (changes.larger_cylinder, changes.quick_exchange),
    "exchange-not-survived": (changes.larger_cylinder, changes.quick_exchange),
    "too-many-cylinders": (changes.larger_cylinder,),
    "too-few-hands": (changes.more_hands,),
    "alone": (changes.more_hands,),
    "never-cools": (changes.colder_flushing,),
    "trapped-water": (changes.vents,),
    "unvented-water": (changes.vents,),
    **{code: (_jacket(code), _colder(code)) for code in _SLOW},
    **{code: (changes.held_pressure, _jacket(code)) for code in _BOND},
    **{code: (changes.more_air, _shorter(code)) for code in _AIR},
    **{code: (_shorter(code),) for code in _NEAR},
}
"""What may take away a reason, by its code."""


@dataclass(frozen=True, kw_only=True)
class Remedy:
    """A change that takes away a reason, and what the verdict is then."""

    reason: Annotated[str, Plain(says="The code of the reason that it takes away.")]
    change: Annotated[str, Plain(says="Which input is changed.")]
    points: Annotated[
        tuple[str, ...], Plain(says="At which freeze points; empty for the whole job.")
    ]
    was: Annotated[Amount | str | None, Plain(says="What it is.")]
    to: Annotated[Amount | str, Plain(says="What it must be, at the least change.")]
    verdict: Annotated[Verdict, Plain(says="Of the job with this change alone.")]


@dataclass(frozen=True, kw_only=True)
class Remedies:
    """What would make the job go."""

    each: Annotated[tuple[Remedy, ...], Plain(says="Changes, for each reason the first best.")]
    verdict: Annotated[
        Verdict,
        Plain(says="With the first change of every reason, as far as there is one."),
    ]
    left: Annotated[tuple[str, ...], Plain(says="Codes of the reasons that stay then.")]
    complete: Annotated[
        bool, Plain(says="False where looking for more would take too much solver work.")
    ]


def remedies(judged: Judged) -> Remedies:
    """Return what would make a job go, as far as the work reaches that is given to it."""
    found: list[tuple[Remedy, Change]] = []
    complete = True
    try:
        for remedy, change in _found(judged):
            if not any(_same(remedy, known) for known, _ in found):
                found.append((remedy, change))
    except TooCostlyError:
        complete = False
    firsts = {remedy.reason: change for remedy, change in reversed(found)}
    job = changes.stated(judged.plan.request)
    for change in firsts.values():
        job = change.apply(job)
    last = judged
    if firsts and complete:
        try:
            last = judged.again(job.completed())
        except TooCostlyError:
            complete = False
    left = dict.fromkeys(r.code for r in last.reasons if r.severity is not Severity.INFO)
    return Remedies(
        each=tuple(remedy for remedy, _ in found), verdict=last.verdict, left=tuple(left),
        complete=complete,
    )  # fmt: skip


def _found(judged: Judged) -> Iterator[tuple[Remedy, Change]]:
    """Yield what takes away each reason, confirmed."""
    for reason in judged.reasons:
        if reason.severity is Severity.INFO:
            continue
        for kind in _concerned(judged, reason.code):
            for finder in FINDERS.get(reason.code, ()):
                confirmed = _confirmed(judged, reason.code, finder, kind)
                if confirmed is not None:
                    yield confirmed


def _same(one: Remedy, other: Remedy) -> bool:
    """Tell whether two remedies are the same change."""
    return (one.change, one.points, one.to) == (other.change, other.points, other.to)


def _concerned(judged: Judged, code: str) -> list[Kind | None]:
    """Return the kinds of freeze points that have a reason; one None for a reason of the job's."""
    found: list[Kind | None] = [
        kind for kind in judged.plan.kinds
        if code in {r.code for r in hold_time.reasons(kind.solution)}
    ]  # fmt: skip
    return found or [None]


def _confirmed(
    judged: Judged, code: str, finder: Finder, kind: Kind | None
) -> tuple[Remedy, Change] | None:
    """Return the first change of a ``finder`` that takes the reason away, as estimated anew."""
    for change in finder(judged, kind):
        changed = judged.again(change.apply(changes.stated(judged.plan.request)).completed())
        names = set(kind.names) if kind is not None else set()
        if _gone(changed, code, names):
            remedy = Remedy(
                reason=code, change=change.name, points=change.points, was=change.was,
                to=change.to, verdict=changed.verdict,
            )  # fmt: skip
            return remedy, change
    return None


def _gone(changed: Judged, code: str, names: set[str]) -> bool:
    """Tell whether a reason is gone, of the freeze points called ``names`` where there are some."""
    if not names:
        return code not in changed.codes
    return not any(
        code in {r.code for r in hold_time.reasons(kind.solution)}
        for kind in changed.plan.kinds
        if names & set(kind.names)
    )
