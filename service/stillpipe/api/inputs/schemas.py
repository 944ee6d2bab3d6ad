"""From a request's dataclass to its schema, and from a body to the dataclass."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Generic, NamedTuple, TypeVar

from marshmallow import RAISE, Schema, ValidationError, post_load

from stillpipe.api.inputs import fields
from stillpipe.model import declare
from stillpipe.model.declare import Member, inputs, members
from stillpipe.model.requests import Request

R = TypeVar("R", bound=Request)


class Loaded(NamedTuple, Generic[R]):
    """A ``request`` with every member worked out, and the dotted names that the caller ``given``.

    An entry of a list has its index in its name: ``places.0.at``.
    """

    request: R
    given: frozenset[str]


class Body(Schema):
    """Base of every body's schema: unknown members are errors, messages are short."""

    class Meta:
        unknown = RAISE
        register = False

    declared: type[Any]
    """What is built from the members."""
    error_messages = {"unknown": "unknown member", "type": "must be an object"}  # noqa: RUF012

    @post_load
    def build(self, data: dict[str, Any], **_: Any) -> Any:
        """Return the dataclass of the members."""
        return self.declared(**data)


_made: dict[type[Any], Schema] = {}


def schema_of(declared: type[Any]) -> Schema:
    """Return the schema of a body, which is a dataclass of declared inputs."""
    if declared not in _made:
        contents: dict[str, Any] = {**_fields(declared), "declared": declared}
        _made[declared] = type(f"{declared.__name__}Schema", (Body,), contents)()
    return _made[declared]


def _fields(declared: type[Any]) -> dict[str, fields.Field[Any]]:
    return {name: _field(member) for name, member in inputs(declared).items()}


def _group(declared: type[Any], *, required: bool) -> fields.Group:
    return fields.Group(declared, _fields(declared), required=required)


def _entry(member: Member) -> fields.Field[Any]:
    """Return the field of one entry of a list."""
    if len(member.groups) == 1:
        return _group(member.group, required=True)
    kinds = {kind: _group(group, required=True) for kind, group in member.kinds.items()}
    return fields.Alternatives(kinds)


LEAVES: dict[type[declare.Input], Callable[..., fields.Field[Any]]] = {
    declare.Quantity: fields.Quantity,
    declare.Number: fields.Number,
    declare.Numbers: fields.Numbers,
    declare.Count: fields.Count,
    declare.Choice: fields.Choice,
    declare.Text: fields.Text,
    declare.Name: fields.Text,
    declare.Money: fields.Money,
    declare.Percent: fields.Percent,
    declare.Currency: fields.Currency,
    declare.Flag: fields.Flag,
    declare.Instant: fields.Instant,
}


def _field(member: Member) -> fields.Field[Any]:
    declared, required = member.declaration, member.required
    if isinstance(declared, declare.Group):
        return _group(member.group, required=required)
    if isinstance(declared, declare.Many):
        return fields.Many(declared, _entry(member), required=required)
    return LEAVES[type(declared)](declared, required=required)  # type: ignore[index]


def load(request: type[R], tree: Any) -> Loaded[R]:
    """Return the request that ``tree``, a parsed body, makes, and what of it the caller gave.

    Raises
    ------
    ValidationError
        naming every member that does not follow the schema, and beside those every other that the
        catalogues do not know or the model does not cover
    StillpipeError
        naming every such member where all follow the schema
    """
    try:
        built: R = schema_of(request).load(tree)
    except ValidationError as error:
        raise ValidationError(_all(request, tree, error.messages)) from None
    return Loaded(built.completed(), built.given(frozenset(_given(request, tree))))


def _all(request: type[R], tree: Any, messages: Any) -> Any:
    """Return ``messages`` of the schema, and what is wrong with the groups that follow it."""
    if not isinstance(tree, dict):
        return messages
    known = schema_of(request).fields
    sound = {
        name: known[name].deserialize(tree[name])
        for name, member in inputs(request).items()
        if isinstance(member.declaration, declare.Group) and name in tree and name not in messages
    }
    whole = dict(messages)
    for error in request.faults(sound):
        for fault in error.faults:
            at: dict[Any, Any] = whole
            for part in fault.path:
                at = at.setdefault(part, {})
            at.setdefault("_schema", []).append(fault.detail)
    return whole


def _given(declared: type[Any], tree: Mapping[str, Any], before: str = "") -> Iterator[str]:
    """Yield the dotted names of all members of a valid ``tree``."""
    known = members(declared)
    for name, value in tree.items():
        yield before + name
        member = known[name]
        if isinstance(member.declaration, declare.Group):
            yield from _given(member.group, value, f"{before}{name}.")
        elif isinstance(member.declaration, declare.Many):
            for index, entry in enumerate(value):
                group = member.group
                if len(member.groups) > 1:
                    group = member.kinds[entry[declare.KIND]]
                yield from _given(group, entry, f"{before}{name}.{index}.")
