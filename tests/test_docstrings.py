"""Public docstrings say what is needed: quantities of arguments, units, errors."""

import ast
import re
from pathlib import Path

import pytest

import stillpipe

PACKAGE = Path(stillpipe.__file__).parent
FILES = sorted(PACKAGE.rglob("*.py"))
IN_UNITS = [f for f in FILES if f.parent.name in {"physics", "estimates", "tables"}]
KNOWN = {
    node.name
    for f in FILES
    for node in ast.walk(ast.parse(f.read_text()))
    if isinstance(node, ast.ClassDef) and node.name.endswith("Error")
} | {"ValueError", "KeyError", "ValidationError", "RequestEntityTooLarge"}
"""Ours, and those of Python, marshmallow and werkzeug that are let through."""


def public(file: Path) -> list[tuple[str, ast.FunctionDef]]:
    """The public functions and methods of a file, by dotted name."""
    found = []
    for node in ast.walk(ast.parse(file.read_text())):
        body = getattr(node, "body", [])
        owner = node.name + "." if isinstance(node, ast.ClassDef) else ""
        if not isinstance(node, ast.ClassDef | ast.Module) or owner.startswith("_"):
            continue
        found += [
            (owner + f.name, f)
            for f in body
            if isinstance(f, ast.FunctionDef) and not f.name.startswith("_")
        ]
    return found


def arguments(function: ast.FunctionDef) -> list[tuple[str, str]]:
    """Names and annotations of a function's arguments."""
    args = [*function.args.args, *function.args.kwonlyargs]
    return [(a.arg, ast.unparse(a.annotation)) for a in args if a.annotation]


ALL = [(f"{f.relative_to(PACKAGE)}:{name}", node) for f in FILES for name, node in public(f)]
WITH_UNITS = [
    (f"{f.relative_to(PACKAGE)}:{name}", node)
    for f in IN_UNITS
    for name, node in public(f)
    if not any("njit" in ast.unparse(d) for d in node.decorator_list)
]


@pytest.mark.parametrize(("name", "function"), ALL, ids=[n for n, _ in ALL])
def test_every_public_function_has_a_docstring(name: str, function: ast.FunctionDef) -> None:
    assert ast.get_docstring(function), name


@pytest.mark.parametrize(("name", "function"), ALL, ids=[n for n, _ in ALL])
def test_errors_that_are_named_exist(name: str, function: ast.FunctionDef) -> None:
    text = ast.get_docstring(function) or ""
    if "Raises\n------" not in text:
        return
    section = text.split("Raises\n------\n")[1].split("\n\n")[0]
    named = {
        n for line in section.splitlines() if not line.startswith(" ") for n in line.split(", ")
    }
    assert named <= KNOWN, name


@pytest.mark.parametrize(("name", "function"), WITH_UNITS, ids=[n for n, _ in WITH_UNITS])
def test_a_quantity_has_its_unit(name: str, function: ast.FunctionDef) -> None:
    """What takes or returns floats gives a unit in brackets, or leans on a function that does."""
    kinds = [k for _, k in arguments(function)]
    returned = ast.unparse(function.returns) if function.returns else ""
    floats = [k for k in [*kinds, returned] if re.search(r"\bfloat\b|\bArray\b", k)]
    if not floats:
        return
    text = ast.get_docstring(function) or ""
    assert re.search(r"\[[^\]]+\]", text) or ":func:" in text, name
