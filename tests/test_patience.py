"""No test depends on the machine's speed: what is waited for gets a minute at the least."""

import ast
from pathlib import Path

import pytest

FILES = sorted(Path(__file__).parent.rglob("*.py"))
LEAST = 60.0
"""Shortest time-out where work is waited for [s]."""
WAITERS = {"WebDriverWait", "wait_for"}
"""Calls whose second argument is a time-out."""


def limits(tree: ast.AST) -> list[tuple[int, float]]:
    """Line and value of every time-out that is written as a number."""
    found = []
    for call in (n for n in ast.walk(tree) if isinstance(n, ast.Call)):
        values = [k.value for k in call.keywords if k.arg == "timeout"]
        name = call.func.attr if isinstance(call.func, ast.Attribute) else ""
        name = call.func.id if isinstance(call.func, ast.Name) else name
        values += call.args[1:2] if name in WAITERS else []
        found += [
            (v.lineno, float(v.value))
            for v in values
            if isinstance(v, ast.Constant) and isinstance(v.value, int | float)
        ]
    return found


def hasty(tree: ast.AST) -> list[int]:
    """Lines of loops that sleep a counted number of times, less than a minute in all."""
    found = []
    for loop in (n for n in ast.walk(tree) if isinstance(n, ast.For)):
        counts = loop.iter.args if isinstance(loop.iter, ast.Call) else []
        sleeps = [
            float(c.args[0].value)
            for c in ast.walk(loop)
            if isinstance(c, ast.Call) and ast.unparse(c.func) == "time.sleep"
            and isinstance(c.args[0], ast.Constant) and isinstance(c.args[0].value, int | float)
        ]  # fmt: skip
        if (
            sleeps and len(counts) == 1
            and isinstance(counts[0], ast.Constant) and isinstance(counts[0].value, int)
            and counts[0].value * sum(sleeps) < LEAST
        ):  # fmt: skip
            found.append(loop.lineno)
    return found


@pytest.mark.parametrize(
    "file", FILES, ids=[str(f.relative_to(Path(__file__).parent)) for f in FILES]
)
def test_no_time_out_is_below_a_minute(file: Path) -> None:
    tree = ast.parse(file.read_text())
    assert [(line, value) for line, value in limits(tree) if value < LEAST] == []
    assert hasty(tree) == []


def test_the_check_finds_what_is_hasty() -> None:
    tree = ast.parse("get(x, timeout=30)\nWebDriverWait(b, 5)")
    assert [value for _, value in limits(tree)] == [30.0, 5.0]
    assert hasty(ast.parse("for _ in range(9):\n    time.sleep(1)")) == [1]
