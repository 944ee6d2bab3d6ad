"""The cache of what is compiled may be damaged, full or missing, and never stops the start."""

import importlib.util
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numba
import numpy as np
import pytest

from stillpipe.physics import compiling

SOURCE = """
from stillpipe.physics.compiling import njit

@njit(nogil=True, cache=True)
def doubled(x):
    return 2.0 * x
"""


def loaded(folder: Path) -> ModuleType:
    """The module ``SOURCE``, imported from ``folder`` anew, as a fresh process would."""
    file = folder / "small.py"
    if not file.exists():
        file.write_text(SOURCE)
    spec = importlib.util.spec_from_file_location("small", file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """numba's cache for this test alone."""
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(tmp_path / "cache"))
    return tmp_path / "cache"


def test_what_is_compiled_once_is_loaded_the_next_time(tmp_path: Path, cache: Path) -> None:
    assert loaded(tmp_path).doubled(1.0) == 2.0
    assert list(cache.rglob("*.nbc"))
    again = loaded(tmp_path).doubled
    assert again(1.0) == 2.0
    assert sum(again.stats.cache_hits.values()) == 1


@pytest.mark.parametrize("kind", ["nbc", "nbi"])
@pytest.mark.parametrize(
    "damage",
    [lambda raw: raw[: len(raw) // 2], lambda raw: raw[:0], lambda raw: b"\x80" + raw[9:]],
    ids=["truncated", "empty", "overwritten"],
)
def test_a_damaged_cache_is_made_anew(
    tmp_path: Path, cache: Path, kind: str, damage: Callable[[bytes], bytes]
) -> None:
    loaded(tmp_path).doubled(1.0)
    for file in cache.rglob(f"*.{kind}"):
        file.write_bytes(damage(file.read_bytes()))
    assert loaded(tmp_path).doubled(1.0) == 2.0
    again = loaded(tmp_path).doubled
    assert again(1.0) == 2.0
    assert sum(again.stats.cache_hits.values()) == 1, "the damage is repaired"


def test_without_any_folder_to_write_to_it_is_compiled_all_the_same(
    tmp_path: Path, cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file stands where each of numba's folders would be, which stops even root."""
    for path in (cache, tmp_path / "__pycache__", tmp_path / "home"):
        path.write_text("in the way")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    assert loaded(tmp_path).doubled(1.0) == 2.0


def test_a_cache_that_can_no_longer_be_written_stops_nothing(tmp_path: Path, cache: Path) -> None:
    module = loaded(tmp_path)
    shutil.rmtree(cache)
    cache.write_text("in the way")
    assert module.doubled(1.0) == 2.0


def test_what_borrows_its_arrays_counts_no_reference_and_keeps_none() -> None:
    """A million references to an array that is kept would never be let go."""

    def total(x: tuple[np.ndarray, np.ndarray], n: int) -> float:
        found, row = 0.0, x[1]
        for i in range(n):
            found += row[1]
            row = x[0][i] if row[0] < 4.0 else x[1]
        return found

    borrowing = compiling.njit(cache=False, borrows=True)(total)
    counting = compiling.njit(cache=False)(total)
    arrays = (np.arange(6.0).reshape(3, 2), np.arange(3.0))
    assert borrowing(arrays, 3) == counting(arrays, 3) == total(arrays, 3)
    before = [sys.getrefcount(a) for a in arrays]
    for _ in range(100):
        borrowing(arrays, 1)
    assert [sys.getrefcount(a) for a in arrays] == before
    code = borrowing.inspect_llvm(borrowing.signatures[0])
    assert "NRT_" not in code
    assert "NRT_" in counting.inspect_llvm(counting.signatures[0])
