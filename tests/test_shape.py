"""Code stays in pieces that can be read at once."""

import ast
import shutil
import subprocess
from pathlib import Path

import pytest

import stillpipe

FILES = sorted(Path(stillpipe.__file__).parent.rglob("*.py"))
ROOT = Path(__file__).parents[1]
TOP = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "service", "openapi", "tests", "deploy",
    "Dockerfile",
}  # fmt: skip
"""What there is to see in the project's folder."""


@pytest.mark.skipif(
    shutil.which("git") is None or not (ROOT / ".git").exists(), reason="no git here"
)
def test_nothing_else_is_kept_at_the_top() -> None:
    """Such as the answer that a program of the guide leaves where it is run."""
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    found = {line.split("/", 1)[0] for line in listed.stdout.splitlines()}
    assert {name for name in found if not name.startswith(".")} == TOP


@pytest.mark.parametrize("file", FILES, ids=[f.stem for f in FILES])
def test_no_module_is_over_400_lines_and_no_function_over_40(file: Path) -> None:
    text = file.read_text()
    assert len(text.splitlines()) <= 400
    functions = [n for n in ast.walk(ast.parse(text)) if isinstance(n, ast.FunctionDef)]
    long = {f.name for f in functions if (f.end_lineno or 0) - f.lineno + 1 > 40}
    assert long == set()
