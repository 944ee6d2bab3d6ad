"""What an object works out once, when it is first asked for."""

import functools
from typing import Any, Self, TypeVar, overload

T = TypeVar("T")


class cached_property(functools.cached_property[T]):  # noqa: N801 - as what it stands for
    """functools' of the same name without its lock.

    Up to Python 3.11 that lock is one for all objects that have the attribute: estimates of
    different requests waited for each other, and for ever where each held what the other wanted.
    Without it, threads that share an object may each work the attribute out, to the same result.
    """

    @overload
    def __get__(self, instance: None, owner: type[Any] | None = None) -> Self: ...
    @overload
    def __get__(self, instance: object, owner: type[Any] | None = None) -> T: ...
    def __get__(self, instance: object, owner: type[Any] | None = None) -> Self | T:
        """Return what ``instance`` keeps under the name, worked out where it is not there yet."""
        if instance is None or self.attrname is None:
            return self
        if self.attrname not in instance.__dict__:
            instance.__dict__[self.attrname] = self.func(instance)
        found: T = instance.__dict__[self.attrname]
        return found
