"""An attribute that is worked out once: for each object alone, by nobody waited for."""

import ast
import threading
from pathlib import Path

import pytest

import stillpipe
from stillpipe.lazy import cached_property


class Chain:
    """Two attributes, each of which may want the other one's of another object."""

    def __init__(self) -> None:
        self.other: Chain | None = None
        self.begun, self.go = threading.Event(), threading.Event()
        self.times = 0

    @cached_property
    def first(self) -> int:
        """Begins, waits to be told, and asks the other object."""
        self.begun.set()
        assert self.go.wait(20.0)
        return 1 if self.other is None else self.other.second

    @cached_property
    def second(self) -> int:
        """The same the other way round."""
        self.begun.set()
        assert self.go.wait(20.0)
        return 2 if self.other is None else self.other.first

    @cached_property
    def counted(self) -> int:
        """How often it was worked out."""
        self.times += 1
        return self.times


def test_objects_do_not_wait_for_each_other() -> None:
    """Each thread is within one attribute and then wants the one that the other is within."""
    one, other, left, right = Chain(), Chain(), Chain(), Chain()
    one.other, other.other = left, right
    for end in (left, right):
        end.go.set()
    found: list[int] = []
    threads = [
        threading.Thread(target=lambda: found.append(one.first), daemon=True),
        threading.Thread(target=lambda: found.append(other.second), daemon=True),
    ]
    for thread in threads:
        thread.start()
    assert one.begun.wait(5.0)
    assert other.begun.wait(5.0)
    one.go.set()
    other.go.set()
    for thread in threads:
        thread.join(10.0)
    assert sorted(found) == [1, 2]


def test_it_is_worked_out_once_for_each_object() -> None:
    one, other = Chain(), Chain()
    assert [one.counted, one.counted, other.counted] == [1, 1, 1]
    assert vars(one)["counted"] == 1
    assert isinstance(Chain.counted, cached_property)


FILES = sorted(Path(stillpipe.__file__).parent.rglob("*.py"))


@pytest.mark.parametrize("file", FILES, ids=[f.stem for f in FILES])
def test_no_module_takes_the_one_with_a_lock(file: Path) -> None:
    imported = {
        alias.name
        for node in ast.walk(ast.parse(file.read_text()))
        if isinstance(node, ast.ImportFrom) and node.module == "functools"
        for alias in node.names
    }
    assert "cached_property" not in imported
