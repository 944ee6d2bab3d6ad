"""What the dearest request that is accepted costs: ``python tests/contract/costs.py [MINUTES]``.

An estimate may cost as much as the greater of 20 x its endpoint's median and a CPU second for its
freeze point. What is tried: requests known as dear, corners, one input at a time at each of its
ends, mixtures of ends; then what costs most is varied on. The command searches for MINUTES (10) in
all and judges CPU seconds; the tests judge units of solver work, which are the same on every
machine.
"""

import itertools
import json
import random
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from marshmallow import ValidationError

sys.path.insert(0, str(Path(__file__).parents[1]))

from contract.extremes import NAMED, Draw, Tree, corner, one_at_a_time
from stillpipe.api.answers import ANSWERS
from stillpipe.api.registry import ENDPOINTS
from stillpipe.errors import StillpipeError, TooCostlyError
from stillpipe.model.declare import inputs

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
PER_SECOND = 4_800_000
"""Units of solver work in a CPU second: half of the 8.6 to 9.1 million measured on quiet cores."""
TIMES = 20
"""How many times its endpoint's median an estimate may cost in any case."""
SECONDS = 1.0
"""CPU seconds that a freeze point may cost in any case."""
KEPT = 8
"""Dearest requests that are varied on."""
EVERY = 12
"""Of the catalogue's pipes each so manieth is one that an endpoint's median is taken over."""

SMALL = {"outside_diameter": {"value": 10, "unit": "mm"}, "wall": {"value": 1, "unit": "mm"},
         "material": "copper_c12200"}  # fmt: skip
MEASURED = SMALL | {"outside_diameter": {"value": 22, "unit": "mm"}}
DEAR: Tree = {
    "pipe": SMALL,
    "fluid": {"temperature": {"value": 1, "unit": "degC"}},
    "ambient": {"temperature": {"value": -1, "unit": "degC"}},
    "line_pressure": {"value": 0, "unit": "bar"},
    "jacket": {"length": {"value": 20, "unit": "mm"}},
    "hold": {"value": 8, "unit": "h"},
    "repair": {"value": 8, "unit": "h"},
    "elapsed": {"value": 8, "unit": "h"},
    "frost_seen": False,
    "cylinder": {"net_mass": {"value": 0.5, "unit": "kg"}},
    "reserve": 0.9,
    "capture_efficiency": 0.2,
    "places": [{"name": f"{n}", "kind": "freeze-point", "at": {"value": 4 * n, "unit": "m"}}
               for n in range(50)],
    "room": {"volume": {"value": 60, "unit": "m3"}, "air_changes": {"value": 2, "unit": "1/h"}},
    "release": [{"rate": {"value": 1 + n % 7, "unit": "kg/h"},
                 "duration": {"value": 5, "unit": "min"}} for n in range(50)],
}  # fmt: skip
"""Members of requests that once cost up to two CPU minutes."""
DEAR["records"] = [
    {
        "pipe": SMALL,
        "fluid": {"temperature": {"value": 1 + 0.02 * n, "unit": "degC"}},
        "ambient": {"temperature": {"value": -1, "unit": "degC"}},
        "line_pressure": {"value": 0, "unit": "bar"},
        "jacket": {"length": {"value": 20, "unit": "mm"}},
        "observations": [{"kind": "frost", "elapsed": {"value": 60, "unit": "s"}}],
    }
    for n in range(50)
]
WARMER = [(-1, 1), (0.5, 1), (2, 5), (-1, 38), (0.01, 0.01)]
"""Temperatures of room and water [degC] that these are tried with: a plug that hardly thaws."""

WIDE: Tree = {
    "pipe": {"standard": "EN 1057", "size": "54", "schedule": "1.5"},
    "jacket": {"length": {"value": 20, "unit": "mm"}, "emissivity": 1.0},
    "ambient": {"temperature": {"value": 0.01, "unit": "degC"}},
    "fluid": {"temperature": {"value": 0.01, "unit": "degC"}},
}
"""Found by the search: with a usual cylinder and a long repair, the dearest job."""


@dataclass(frozen=True)
class Cost:
    """What a body took: solver ``units`` [-], CPU ``seconds``; whether it was ``accepted``."""

    name: str
    tree: Tree
    units: int
    seconds: float
    accepted: bool

    @property
    def text(self) -> str:
        """One line about it."""
        told = f"{self.units:,} units" if self.accepted else "refused as too costly"
        return f"{self.name}: {told}, {self.seconds:.3f} CPU s: {json.dumps(self.tree)[:1500]}"


def cost(name: str, tree: Tree) -> Cost | None:
    """What estimate ``name`` takes for ``tree``; None where the request is refused unsolved."""
    begun = time.thread_time()
    try:
        _, effort = ANSWERS.reply(name, tree)
    except TooCostlyError:
        return Cost(name, tree, 0, time.thread_time() - begun, accepted=False)
    except (StillpipeError, ValidationError):
        return None
    return Cost(name, tree, effort.units, time.thread_time() - begun, accepted=True)


def example(name: str) -> Tree:
    """The example of a request for estimate ``name``."""
    tree: Tree = json.loads((EXAMPLES / f"{name}-request.json").read_text())
    return tree


def dear(name: str) -> list[Tree]:
    """The requests known as dear, with the members that estimate ``name`` has."""
    known = inputs(ENDPOINTS[name].request)
    tree = {k: v for k, v in DEAR.items() if k in known}
    if "cylinder" in tree and "reserve" not in known:
        del tree["cylinder"]
    if "pipe" not in known:
        return [tree]
    trees = [
        tree | {
            "ambient": {"temperature": {"value": room, "unit": "degC"}},
            "fluid": {"temperature": {"value": water, "unit": "degC"}},
        }
        for room, water in WARMER
    ]  # fmt: skip
    return [*trees, {k: v for k, v in tree.items() if k != "cylinder"} | WIDE]


@cache
def dearest() -> Cost:
    """The dearest of the requests known as dear."""
    found = [c for n in ENDPOINTS for tree in dear(n) if (c := cost(n, tree)) and c.accepted]
    return max(found, key=lambda c: c.units)


def fixed(name: str, *, both: bool = True) -> Iterator[Tree]:
    """What is tried in any case: every input at its ends in two pipes, or in either by turns."""
    declared = ENDPOINTS[name].request
    yield from dear(name)
    for whole in (False, True):
        for end in (0, -1):
            yield corner(declared, end, whole=whole)
    begun = example(name)
    one = list(one_at_a_time(declared, begun))
    if "pipe" not in begun:
        yield from one
        return
    other = one_at_a_time(declared, begun | {"pipe": MEASURED})
    for n, pair in enumerate(zip(one, other, strict=True)):
        yield from pair if both else [pair[n % 2]]


def searched(
    name: str, more: Callable[[int], bool], by: Callable[[Cost], float], *, both: bool = True
) -> list[Cost]:
    """What was found to be dearest ``by`` a measure, dearest first.

    After what is :func:`fixed`, in ``both`` pipes or not, ``more(n)`` tells whether the n-th body
    is drawn: half of them anew, the others varied from what is dearest so far.
    """
    declared, draw = ENDPOINTS[name].request, Draw(random.Random(name))
    best: list[Cost] = []

    def tried(tree: Tree) -> None:
        nonlocal best
        found = cost(name, tree)
        if found is not None:
            best = sorted([*best, found], key=by, reverse=True)[:KEPT]

    for tree in fixed(name, both=both):
        tried(tree)
    for n in itertools.count():
        if not more(n):
            return best
        if n % 2 and best:
            tried(draw.varied(declared, draw.chance.choice(best).tree))
        else:
            tried(draw.group(declared))
    return best


def ordinary(name: str) -> list[Cost]:
    """What the example's request costs for pipes of the whole catalogue."""
    tree = example(name)
    trees = [tree]
    if "pipe" in tree:
        trees = [
            tree | {"pipe": {"standard": p.standard, "size": p.size, "schedule": p.schedule}}
            for p in NAMED[::EVERY]
        ]
    return [found for t in trees if (found := cost(name, t)) is not None]


@cache
def median_units(name: str) -> float:
    """Units that an estimate takes, the median over pipes of the catalogue."""
    return statistics.median(c.units for c in ordinary(name))


def most_units(name: str, tree: Tree) -> float:
    """Units that an estimate may take: the greater of 20 medians and a CPU second's a point."""
    return max(TIMES * median_units(name), SECONDS * PER_SECOND * points(tree))


def points(tree: Tree) -> int:
    """How many freeze points that may differ a request has, those of its options too.

    Each counts twice where it is asked what would make the job go.
    """
    known = len(tree.get("freeze_points", [0])) * (1 + len(tree.get("options", [])))
    return known * (2 if tree.get("remedies") else 1)


def main(minutes: float) -> int:
    """Search every endpoint, print the dearest, and return how many cost too many CPU seconds."""
    too_dear = 0
    for name in ENDPOINTS:
        ordinary(name)
        median = statistics.median(c.seconds for c in ordinary(name))
        end = time.monotonic() + 60.0 * minutes / len(ENDPOINTS)
        begun, count = time.process_time(), [0]

        def more(n: int, end: float = end, count: list[int] = count) -> bool:
            count[0] = n
            return time.monotonic() < end

        best = searched(name, more, lambda c: c.seconds)
        # a second look at each, because another process may have had its turn in the first
        again = [a for c in best if (a := cost(name, c.tree)) is not None]
        worst = max(again, key=lambda c: c.seconds)
        allowed = max(TIMES * median, SECONDS * points(worst.tree))
        too_dear += worst.seconds > allowed
        print(
            f"{name}: {count[0]} drawn, {time.process_time() - begun:.0f} CPU s; median "
            f"{median:.4f} CPU s, allowed {allowed:.3f}, dearest {worst.seconds:.3f}\n"
            f"  {worst.text}",
            flush=True,
        )
    return too_dear


if __name__ == "__main__":
    from stillpipe.server import warm

    warm.warm()
    sys.exit(main(float(sys.argv[1]) if len(sys.argv) > 1 else 10.0))
