"""How an input or a figure is declared: one annotation on a field of a frozen dataclass.

    conductance: Annotated[float, Quantity("conductance", 50.0, 500.0, says="From ...")] = 165.0

The annotation holds the kind of quantity, the accepted range [SI] and one sentence; the field's own
default is the default. Validation, the echo with its default marks, the published limits and the
columns of a table all follow from it: see ``stillpipe.api``. A field without an annotation of this
module is neither read from a request nor shown.
"""

from collections.abc import Iterator
from dataclasses import MISSING, dataclass, fields
from enum import StrEnum
from typing import Annotated, Any, get_args, get_origin, get_type_hints

COMPUTED: Any = None
"""Default of an input that is worked out from the others where the caller leaves it out."""


@dataclass(frozen=True, kw_only=True)
class Declaration:
    """Base of all annotations; ``says`` is one sentence for people."""

    says: str


@dataclass(frozen=True, kw_only=True)
class Input(Declaration):
    """Base of what a caller may state; ``limit`` names its published range if not the field."""

    limit: str = ""


@dataclass(frozen=True)
class Quantity(Input):
    """A number with a unit: its ``kind``, and the least and greatest value accepted [SI]."""

    kind: str
    low: float
    high: float


@dataclass(frozen=True)
class Number(Input):
    """A number without a unit, from ``low`` to ``high`` [-]."""

    low: float
    high: float


@dataclass(frozen=True)
class Count(Input):
    """A whole number from ``low`` to ``high`` [-]."""

    low: int
    high: int


@dataclass(frozen=True)
class Numbers(Input):
    """One to ``most`` numbers without a unit, each from ``low`` to ``high`` and none twice [-]."""

    low: float
    high: float
    most: int


@dataclass(frozen=True)
class Choice(Input):
    """One of several words, which are those of an enum or of a catalogue.

    ``also`` are further spellings, each with the word that it means.
    """

    choices: tuple[str, ...] | type[StrEnum]
    also: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Text(Input):
    """Words of the caller's own, at most ``longest`` characters."""

    longest: int = 64


@dataclass(frozen=True)
class Name(Text):
    """Words of a catalogue by which a group is named; shown in the echo whether stated or not."""


@dataclass(frozen=True)
class Money(Input):
    """A decimal amount as text, with at most two decimals."""


@dataclass(frozen=True)
class Percent(Input):
    """A decimal from 0 to 100 as text, with at most four decimals [%]."""


@dataclass(frozen=True)
class Currency(Input):
    """Three capital letters (ISO 4217)."""


@dataclass(frozen=True)
class Instant(Input):
    """A moment with its offset from UTC as text (RFC 3339)."""


@dataclass(frozen=True)
class Flag(Input):
    """True or false."""


@dataclass(frozen=True)
class Group(Input):
    """Members that belong together: the field's type is a dataclass of declared fields."""


@dataclass(frozen=True)
class Many(Input):
    """One to ``most`` groups: the field's type is a tuple of such a dataclass."""

    most: int


@dataclass(frozen=True)
class Figure(Declaration):
    """A figure of an answer: its ``kind`` of quantity and how many significant digits it has.

    The field is a float, a :class:`~stillpipe.model.figures.Range` or a tuple of floats (a series).
    """

    kind: str
    digits: int = 4


@dataclass(frozen=True)
class Chance(Declaration):
    """A probability or a share, from 0 to 1, shown to four decimals and never rounded up."""


@dataclass(frozen=True)
class Plain(Declaration):
    """A member of an answer shown as it is: text, count, flag, enum, or groups of such members."""


@dataclass(frozen=True)
class Member:
    """One declared field: its ``name``, ``declaration``, ``hint`` (its type without the note).

    ``default`` is ``dataclasses.MISSING`` where the caller must state it.
    """

    name: str
    declaration: Declaration
    hint: Any
    default: Any

    @property
    def required(self) -> bool:
        """Whether the caller must state it."""
        return self.default is MISSING

    @property
    def group(self) -> type[Any]:
        """The dataclass of a :class:`Group`, or of one entry of a :class:`Many`."""
        return self.groups[0]

    @property
    def groups(self) -> tuple[type[Any], ...]:
        """The dataclasses of the alternatives where an entry may be one of several.

        Each has a member ``KIND`` whose only choice tells it from the others.
        """
        return tuple(t for t in _leaves(self.hint) if hasattr(t, "__dataclass_fields__"))

    @property
    def kinds(self) -> dict[str, type[Any]]:
        """The alternatives by their kind."""
        return {str(c): g for g in self.groups for c in _kinds(g)}


KIND = "kind"
"""The member that tells the alternatives of an entry apart."""


def _kinds(group: type[Any]) -> tuple[str, ...]:
    """Return which kinds of an entry a dataclass holds."""
    declared = members(group)[KIND].declaration
    return tuple(str(c) for c in declared.choices) if isinstance(declared, Choice) else ()


def _leaves(hint: Any) -> Iterator[type[Any]]:
    """Yield the plain types within unions and tuples."""
    parts = get_args(hint)
    if not parts or (isinstance(hint, type) and hasattr(hint, "__dataclass_fields__")):
        yield hint
    for part in parts:
        yield from _leaves(part)


_known: dict[type[Any], dict[str, Member]] = {}


def members(declared: type[Any]) -> dict[str, Member]:
    """Return the declared fields of a dataclass, in order."""
    if declared not in _known:
        _known[declared] = _members(declared)
    return _known[declared]


def _members(declared: type[Any]) -> dict[str, Member]:
    hints = get_type_hints(declared, include_extras=True)
    found = {}
    for field in fields(declared):
        hint = hints[field.name]
        if get_origin(hint) is not Annotated:
            continue
        plain, *notes = get_args(hint)
        declaration = next((n for n in notes if isinstance(n, Declaration)), None)
        if declaration is None:
            continue
        default = field.default
        if field.default_factory is not MISSING:
            default = field.default_factory()
        found[field.name] = Member(field.name, declaration, plain, default)
    return found


def stated(group: Any) -> dict[str, Any]:
    """Return the inputs of a ``group`` that are stated, where none has a default of its own."""
    found = {name: getattr(group, name) for name in inputs(type(group))}
    return {name: value for name, value in found.items() if value not in (None, ())}


def inputs(declared: type[Any]) -> dict[str, Member]:
    """Return the fields of a dataclass that a caller may state, in order."""
    return {k: m for k, m in members(declared).items() if isinstance(m.declaration, Input)}
