"""A run of pipe: whether freeze points, cuts, torches, fittings and supports are apart enough."""

import itertools
from dataclasses import dataclass

from stillpipe.estimates import cautions, course, hold_time, plug_time
from stillpipe.estimates.job import Freeze, Note, Range
from stillpipe.physics import trapped

APART = 0.3048
"""Least distance between two jackets, edge to edge [m]: 12 in; common practice, no source."""
TORCH = 0.6096
"""Least distance from the plug's end to a torch [m]: 24 in; common practice, no source."""
CLEAR = 0.0508
"""Clear straight pipe beyond the jacket [m]: 2 in; common practice, no source."""
PRACTICE = "common practice, no source"
COMPUTED = "computed: growth of the plug in the planned hold"
MARGIN = 1.25
"""Factor on the computed growth [-]: an assumption."""
KINDS = ("freeze-point", "cut", "heat-source", "fitting", "valve", "support", "vent")


@dataclass(frozen=True)
class Place:
    """Something on the run: its ``name``, ``kind`` and ``at`` [m] along the pipe."""

    name: str
    kind: str
    at: float


@dataclass(frozen=True)
class Rule:
    """One rule between two places: verdict, ``required`` and ``actual`` distance [m], why."""

    rule: str
    between: tuple[str, str]
    verdict: str
    required: float
    actual: float
    reason: str
    source: str


@dataclass(frozen=True)
class Trapped:
    """The water between two freeze points: pressures [Pa], share frozen [-], ``vented`` or not.

    ``rating`` is the pipe's own, or 2 S t / D from its allowable stress where it has none;
    ``per_percent`` [Pa] for each 1 % of the water frozen.
    """

    between: tuple[str, str]
    vented: bool
    frozen: float
    per_percent: float
    pressure: float
    rating: float
    verdict: str
    advice: str


@dataclass(frozen=True)
class Spacing:
    """Answer of the spacing estimate; ``plug_length`` [m] after the hold."""

    verdict: str
    reasons: tuple[Note, ...]
    plug_length: Range | None
    rules: tuple[Rule, ...]
    trapped: tuple[Trapped, ...]
    cautions: tuple[Note, ...]


def spacing(job: Freeze, hold: float, places: tuple[Place, ...], rating: float | None) -> Spacing:
    """Judge the ``places`` for plugs kept ``hold`` [s]; ``rating`` [Pa] of the pipe if it has one.

    Raises
    ------
    OutOfValidityError
        naming every input outside what the model covers
    """
    course.check(job)
    held = hold_time.hold_time(job, hold)
    grown = held.plug_length
    long = job.jacket_length if grown is None else (grown.high or grown.likely)
    ordered = sorted(places, key=lambda p: p.at)
    rules = tuple(_rules(job, max(long, job.jacket_length), ordered))
    water = tuple(_trapped(job, grown, ordered, rating))
    reasons = list(held.reasons)
    if not any(p.kind == "freeze-point" for p in places):
        reasons.append(Note("no-freeze-point", "The run has no freeze point.", "stop"))
    reasons += [Note(f"too-near-{r.rule}", r.reason, "stop") for r in rules if r.verdict == "no-go"]
    reasons += [Note("near", r.reason, "warn") for r in rules if r.verdict == "conditional"]
    reasons += [Note("trapped-water", t.advice, "stop") for t in water if t.verdict == "no-go"]
    found = tuple(dict.fromkeys(reasons))
    return Spacing(plug_time.verdict(found), found, grown, rules, water, cautions.of_freeze(job))


def _rules(job: Freeze, long: float, places: list[Place]) -> list[Rule]:
    """Every rule for every pair that has one; ``long`` [m] is the longest plug to expect."""
    found = []
    half = 0.5 * max(long * MARGIN, job.jacket_length)
    jacket = 0.5 * job.jacket_length
    for a, b in itertools.combinations(places, 2):
        kinds = {a.kind, b.kind}
        if "freeze-point" not in kinds:
            continue
        other = b.kind if a.kind == "freeze-point" else a.kind
        apart = b.at - a.at
        if other == "freeze-point":
            found += [
                _rule("jackets", a, b, apart, job.jacket_length + APART,
                      "Jackets at least 12 in apart, edge to edge.", PRACTICE),
                _rule("plugs", a, b, apart, 2.0 * half,
                      "Two plugs must not grow into each other in the hold.", COMPUTED),
            ]  # fmt: skip
        elif other == "cut":
            text = "The plug must not grow into the cut, and the cut leaves room for a cap."
            found.append(_rule("cut", a, b, apart, half + CLEAR, text, COMPUTED))
        elif other == "heat-source":
            text = "A torch stays 24 in from the plug's end; wrap the pipe in wet cloth between."
            found.append(_rule("torch", a, b, apart, half + TORCH, text, PRACTICE))
        elif other in ("fitting", "valve"):
            text = f"The jacket needs bare straight pipe, and ice must not grow into a {other}."
            found.append(_rule(other, a, b, apart, max(jacket + CLEAR, half), text, COMPUTED))
        elif other == "support":
            text = "The jacket must clear the support, which draws heat and holds the pipe."
            found.append(_rule("support", a, b, apart, jacket + CLEAR, text, PRACTICE))
    return found


def _rule(
    rule: str, a: Place, b: Place, actual: float, required: float, reason: str, source: str
) -> Rule:
    verdict = "go" if actual >= required else "conditional" if actual >= 0.9 * required else "no-go"
    return Rule(rule, (a.name, b.name), verdict, required, actual, reason, source)


def _trapped(
    job: Freeze, grown: Range | None, places: list[Place], rating: float | None
) -> list[Trapped]:
    """Judge the water between neighbouring freeze points, all of it held until the hold's end."""
    points = [p for p in places if p.kind == "freeze-point"]
    wide = trapped.widening(
        job.outside_diameter, job.wall, job.material.youngs_modulus, job.material.poisson_ratio
    )
    own = trapped.burst(job.outside_diameter, job.wall, job.material.allowable_stress)
    limit = own if rating is None else rating
    found = []
    for a, b in itertools.pairwise(points):
        vented = any(p.kind == "vent" and a.at < p.at < b.at for p in places)
        apart = b.at - a.at
        length = 0.0 if grown is None else (grown.high or grown.likely)
        growth = max(length - job.jacket_length * 0.5, 0.0)
        water = max(apart - 0.5 * job.jacket_length, 1e-6)
        frozen = min(growth / water, 1.0)
        pressure = job.line_pressure + trapped.rise(frozen, wide)
        bad = not vented
        advice = (
            "Vented: keep the vent open until both plugs have thawed."
            if vented
            else "Water is trapped between two plugs: vent the section, or freeze one point after "
            f"the other is open; it may reach {pressure / 1e6:.0f} MPa, the pipe is good for "
            f"{limit / 1e6:.1f} MPa."
        )
        found.append(
            Trapped(
                (a.name, b.name), vented, frozen, trapped.rise(0.01, wide), pressure, limit,
                "no-go" if bad else "go", advice,
            )
        )  # fmt: skip
    return found
