"""Request bodies at the ends of what is accepted, made from the declarations of the inputs.

An input that is declared joins by itself: in the corners, one at a time at each of its ends, in
mixtures of ends, and as a list at its longest.
"""

import itertools
import random
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from stillpipe.api import limits, units
from stillpipe.model import declare
from stillpipe.model.declare import Member, inputs
from stillpipe.model.pipe import Pipe
from stillpipe.tables import pipes

Tree = dict[str, Any]

NAMED = pipes.catalogue()
FIXED: dict[type[Any], list[Any]] = {
    declare.Money: ["0", "999999999.99"],
    declare.Percent: ["0", "100"],
    declare.Currency: ["EUR", "JPY", "CLF"],
    declare.Flag: [False, True],
    declare.Instant: ["1970-01-01T00:00:00Z", "2099-12-31T23:59:59-12:00"],
}
"""Ends of what is no range."""
FEW = {"freeze_points": 3, "options": 2}
"""Most entries of lists that are drawn at random, each of which is solved for itself."""


def quantity(declared: declare.Quantity, share: float) -> Tree:
    """The value at a ``share`` of the accepted range, 0 its low end and 1 its high one."""
    unit = next(iter(units.KINDS[declared.kind].accepted))
    low, high = limits.within(declared, unit)
    value = low if share <= 0.0 else high if share >= 1.0 else low + share * (high - low)
    return {"value": value, "unit": unit}


def ends(member: Member) -> list[Any]:
    """The values of a member of one value at the ends of what is accepted."""
    found: list[Any]
    if type(member.declaration) in FIXED:
        return list(FIXED[type(member.declaration)])
    match member.declaration:
        case declare.Quantity() as declared:
            found = [quantity(declared, share) for share in (0.0, 1.0)]
        case declare.Number() | declare.Count() as declared:
            found = [declared.low, declared.high]
        case declare.Numbers(low=low, high=high, most=most):
            step = (high - low) / (most - 1)
            found = [[low], [low + i * step for i in range(most - 1)] + [high]]
        case declare.Choice() as declared:
            found = [str(c) for c in declared.choices]
        case declare.Text() as declared:
            found = ["x" * declared.longest]
        case _:
            raise TypeError(f"no ends of {member.declaration}")
    return found


def settled(declared: type[Any], tree: Tree, chance: random.Random) -> Tree:
    """``tree`` without members that exclude each other, and with those that they need."""
    known = inputs(declared)
    conflicts = getattr(declared, "conflicts", None)
    while conflicts is not None and (wrong := conflicts(frozenset(tree))):
        for name, detail in wrong.items():
            if detail == "required":
                tree[name] = chance.choice(ends(known[name]))
            else:
                tree.pop(name, None)
    if "freeze_points" in known:
        tree = _of_one_kind(tree)
    if declared is Pipe and "id" in tree:
        tree["id"] = chance.choice(NAMED).id
    if declared is Pipe and "standard" in tree:
        found = chance.choice([p for p in NAMED if p.standard == tree["standard"]])
        tree |= {"size": found.size, "schedule": found.schedule}
    return tree


def _of_one_kind(tree: Tree) -> Tree:
    """A job whose freeze points are either listed or counted, and have names of their own."""
    found = dict(tree)
    for name in ("freeze_points", "options", "places"):
        if name in found:
            found[name] = [entry | {"name": f"{n}"} for n, entry in enumerate(found[name])]
    places = found.get("places", [])
    others = [p for p in places if p["kind"] != "freeze-point"]
    if "freeze_points" in found:
        found = {k: v for k, v in found.items() if k not in ("points", "observations")}
        found["options"] = found.get("options", [])[:1]
    elif found.get("points") not in (1, 30) and len(others) < len(places):
        found.pop("points", None)
        others = places
    found["places"] = others
    return {k: v for k, v in found.items() if v != [] or k not in ("places", "options")}


def kept(declared: type[Any], tree: Tree, name: str) -> Tree:
    """``tree``, in which as few other members are dropped or added as let ``name`` stay."""
    conflicts = getattr(declared, "conflicts", None)
    known = inputs(declared)
    others = [n for n in known if n != name]
    for count in range(4) if conflicts else ():
        for changed in itertools.combinations(others, count):
            tried = {k: v for k, v in tree.items() if k not in changed}
            tried |= {n: ends(known[n])[0] for n in changed if n not in tree}
            if conflicts(frozenset(tried)).get(name, "required") == "required":
                return tried
    return tree


@dataclass
class Draw:
    """Draws bodies by ``chance``; ``between`` is how often a number lies within its range."""

    chance: random.Random
    between: float = 0.1

    def value(self, member: Member) -> Any:
        """A member's value drawn anew."""
        declared = member.declaration
        if isinstance(declared, declare.Group):
            return self.group(member.group)
        if isinstance(declared, declare.Many):
            most = FEW.get(member.name, declared.most)
            count = self.chance.choice([1, most])
            return [self.group(member.group) for _ in range(count)]
        if isinstance(declared, declare.Quantity) and self.chance.random() < self.between:
            return quantity(declared, self.chance.random() ** self.chance.choice([1, 3]))
        return self.chance.choice(ends(member))

    def group(self, declared: type[Any]) -> Tree:
        """A group drawn anew; each member that may be left out is there half of the time."""
        tree = {
            name: self.value(member)
            for name, member in inputs(declared).items()
            if member.required or self.chance.random() < 0.5
        }
        return settled(declared, tree, self.chance)

    def varied(self, declared: type[Any], tree: Tree, share: float = 0.1) -> Tree:
        """``tree`` with a ``share`` of its members drawn anew, or left out."""
        found: Tree = {}
        for name, member in inputs(declared).items():
            again = self.chance.random() < share
            if again and (member.required or self.chance.random() < 0.7):
                found[name] = self.value(member)
            elif name in tree and not again:
                inner = isinstance(member.declaration, declare.Group)
                found[name] = self.varied(member.group, tree[name], share) if inner else tree[name]
        return settled(declared, found, self.chance)


def corner(declared: type[Any], end: int, *, whole: bool) -> Tree:
    """Every member at its first (0) or last (-1) end; where not ``whole``, the required ones."""
    tree: Tree = {}
    for name, member in inputs(declared).items():
        if not (whole or member.required):
            continue
        if isinstance(member.declaration, declare.Group):
            tree[name] = corner(member.group, end, whole=whole)
        elif isinstance(member.declaration, declare.Many):
            tree[name] = [corner(member.group, end, whole=whole)] * member.declaration.most
        else:
            tree[name] = ends(member)[end]
    return settled(declared, tree, random.Random(0))


def one_at_a_time(declared: type[Any], tree: Tree) -> Iterator[Tree]:
    """``tree`` with one member at one of its ends, for all members and ends."""
    for name, member in inputs(declared).items():
        if isinstance(member.declaration, declare.Group):
            begun = tree.get(name) or corner(member.group, 0, whole=False)
            values: list[Any] = list(one_at_a_time(member.group, begun))
        elif isinstance(member.declaration, declare.Many):
            entries = [corner(member.group, end, whole=True) for end in (0, -1)]
            values = [[entry] * member.declaration.most for entry in entries]
            drawn = Draw(random.Random(0), between=0.5)
            most = member.declaration.most
            values.append([drawn.group(member.group) for _ in range(most)])
            each = list(one_at_a_time(member.group, corner(member.group, 0, whole=False)))
            values += [each[n : n + most] for n in range(0, len(each), most)]
        else:
            values = ends(member)
        for value in values:
            yield settled(declared, kept(declared, tree | {name: value}, name), random.Random(0))
