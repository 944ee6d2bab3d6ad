"""Code stays in pieces that can be read at once."""

import ast
from pathlib import Path

import pytest

import stillpipe

FILES = sorted(Path(stillpipe.__file__).parent.rglob("*.py"))


@pytest.mark.parametrize("file", FILES, ids=[f.stem for f in FILES])
def test_no_module_is_over_400_lines_and_no_function_over_40(file: Path) -> None:
    text = file.read_text()
    assert len(text.splitlines()) <= 400
    functions = [n for n in ast.walk(ast.parse(text)) if isinstance(n, ast.FunctionDef)]
    long = {f.name for f in functions if (f.end_lineno or 0) - f.lineno + 1 > 40}
    assert long == set()
