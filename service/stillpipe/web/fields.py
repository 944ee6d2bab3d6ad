"""Strict marshmallow fields: no text for numbers, no booleans for numbers, no NaN."""

import math
import re
from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError, fields

from stillpipe.web import limits, units

Errors = dict[str, Any]

UNPRINTABLE = re.compile("[\\x00-\\x1f\\x7f-\\x9f\\ud800-\\udfff\\ufffe\\uffff]")
"""Controls, halves of surrogate pairs and noncharacters, which XML 1.0 forbids or discourages."""


def number(value: Any) -> float:
    """Return ``value`` as a float if it is a finite JSON number.

    Raises
    ------
    ValidationError
        for anything else
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValidationError("must be a number")
    try:
        result = float(value)
    except OverflowError:
        result = math.inf
    if not math.isfinite(result):
        raise ValidationError("must be a finite number")
    return result


def _text(value: float) -> str:
    """Return ``value`` as the published limits write it."""
    return str(int(value)) if value.is_integer() else repr(value)


class Number(fields.Field[float]):
    """A JSON number within ``low`` and ``high``, both included."""

    def __init__(self, low: float, high: float, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.low, self.high = low, high

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> float:
        result = number(value)
        if not self.low <= result <= self.high:
            raise ValidationError(f"must be from {_text(self.low)} to {_text(self.high)}")
        return result


class Text(fields.Field[str]):
    """A JSON string of at most ``longest`` characters, one of ``choices`` where given."""

    def __init__(self, choices: tuple[str, ...] = (), longest: int = 64, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.choices, self.longest = choices, longest

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str):
            raise ValidationError("must be a string")
        if self.choices and value not in self.choices:
            raise ValidationError("must be one of " + ", ".join(self.choices))
        if not 1 <= len(value) <= self.longest:
            raise ValidationError(f"must have 1 to {self.longest} characters")
        return value


class Label(Text):
    """A name of the caller's own, given back: printable, so that it may stand in any XML."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        result = super()._deserialize(value, attr, data, **kwargs)
        if found := UNPRINTABLE.search(result):
            code = f"U+{ord(found[0]):04X}"
            raise ValidationError(f"must not contain control characters; there is {code}")
        return result


class Count(fields.Field[int]):
    """A JSON number without a fractional part, within ``low`` and ``high``, both included."""

    def __init__(self, low: int, high: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.low, self.high = low, high

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> int:
        result = number(value)
        if not result.is_integer():
            raise ValidationError("must be a whole number")
        if not self.low <= result <= self.high:
            raise ValidationError(f"must be from {self.low} to {self.high}")
        return int(result)


class Flag(fields.Field[bool]):
    """``true`` or ``false``."""

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> bool:
        if not isinstance(value, bool):
            raise ValidationError("must be true or false")
        return value


class Pattern(fields.Field[str]):
    """A JSON string that follows ``pattern`` as a whole."""

    def __init__(self, pattern: str, says: str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.pattern, self.says = re.compile(pattern), says

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str):
            raise ValidationError("must be a string")
        if not self.pattern.fullmatch(value):
            raise ValidationError(self.says)
        return value


class Many(fields.List[Any]):
    """A JSON array of at least one and at most ``most`` members of a schema."""

    def __init__(self, schema: Any, most: int, **kwargs: Any) -> None:
        super().__init__(fields.Nested(schema), **kwargs)
        self.most = most

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> list[Any]:
        if not isinstance(value, list) or not 1 <= len(value) <= self.most:
            raise ValidationError(f"must be an array of 1 to {self.most} members")
        return super()._deserialize(value, attr, data, **kwargs)


class Quantity(fields.Field[float]):
    """``{"value": number, "unit": one of the kind's units}`` within a published range, to SI."""

    def __init__(self, bound: str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.bound = limits.BOUNDS[bound]
        self.kind = units.KINDS[self.bound.kind]
        self.within = {u: self.bound.within(u) for u in self.kind.accepted}

    def _deserialize(self, value: Any, attr: Any, data: Any, **kwargs: Any) -> float:
        if not isinstance(value, Mapping):
            raise ValidationError('must be an object {"value": number, "unit": text}')
        errors: Errors = {k: ["unknown member"] for k in value if k not in ("value", "unit")}
        amount, unit = 0.0, value.get("unit")
        try:
            amount = number(value["value"])
        except KeyError:
            errors["value"] = ["required"]
        except ValidationError as error:
            errors["value"] = error.messages
        if "unit" not in value:
            errors["unit"] = ["required"]
        elif not isinstance(unit, str) or unit not in self.kind.accepted:
            errors["unit"] = ["must be one of " + ", ".join(self.kind.accepted)]
        if errors:
            raise ValidationError(errors)
        assert isinstance(unit, str)
        low, high = self.within[unit]
        if not low <= amount <= high:
            raise ValidationError({"value": [f"must be from {_text(low)} to {_text(high)} {unit}"]})
        return self.kind.to_si(amount, unit)
