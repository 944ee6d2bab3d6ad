"""Compilation by numba, with a cache on disk that may be damaged, full or missing.

A cache is there to start sooner. Where it cannot be read it is begun again, where it cannot be
written the solver is compiled at every start; neither stops the start.
"""

import logging
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
from numba.core.caching import FunctionCache

F = TypeVar("F", bound=Callable[..., Any])
N = TypeVar("N", bound=tuple[Any, ...])

_log = logging.getLogger(__name__)


class _Cache(FunctionCache):
    """numba's cache of one function; a fault of its files is logged and no more."""

    def load_overload(self, sig: object, target_context: object) -> object:
        """Return what is kept for the signature ``sig``, None where nothing usable is."""
        try:
            found: object = super().load_overload(sig, target_context)  # type: ignore[no-untyped-call]
        except Exception as error:
            # whatever unpickling damaged bytes raises: UnpicklingError, EOFError, ValueError ...
            _log.warning("the compiled %s is damaged and compiled again: %r", self._name, error)
            self._begin_anew()
            return None
        return found

    def save_overload(self, sig: object, data: object) -> None:
        """Keep the compiled ``data`` for the signature ``sig`` where that is possible."""
        try:
            super().save_overload(sig, data)  # type: ignore[no-untyped-call]
        except OSError as error:
            _log.warning("the compiled %s cannot be kept: %r", self._name, error)

    def _begin_anew(self) -> None:
        try:
            self.flush()  # type: ignore[no-untyped-call]
        except OSError:
            self.disable()  # type: ignore[no-untyped-call]


def _apart(flags: Any) -> Any:
    """Return numba's ``flags`` with the one that it sets for loops of its own."""
    flags.noalias = True
    return flags


def njit(
    *, cache: bool, apart: bool = False, borrows: bool = False, **options: Any
) -> Callable[[F], F]:  # fmt: skip
    """Return numba's decorator of the same name, whose cache never stops the start.

    ``apart`` promises that no two arrays that the function is given overlap: its loops then need no
    checks for that, which cost as much as the work on short arrays. ``borrows`` promises that it
    makes no array and returns none: references to those that it is given are not counted then,
    which takes a fifth of a step of the column. ``options`` are numba's own.
    """
    if borrows:
        options["_nrt"] = False

    def decorate(function: F) -> F:
        compiled: Any = numba.njit(**options)(function)
        if apart:
            compiled._compiler._customize_flags = _apart
        if cache:
            try:
                compiled._cache = _Cache(function)  # type: ignore[no-untyped-call]
            except RuntimeError as error:  # no folder can be written
                _log.warning("what is compiled cannot be kept: %s", error)
        decorated: F = compiled
        return decorated

    return decorate


def plain(named: N) -> N:
    """Return a named tuple as one without names.

    Of a named one numba finds out the type in Python each time that compiled code is called, of
    forty arrays in a tenth of a millisecond; of a plain one in half of that.
    """
    return cast(N, tuple(named))
