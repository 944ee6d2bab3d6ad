"""A TypeScript client: openapi-typescript's types, openapi-fetch, tsc --strict, the live server."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from clients.conftest import Live
from stillpipe.tables import pipes

SOURCE = Path(__file__).with_name("typescript")
BINARIES = SOURCE / "node_modules/.bin"

pytestmark = [
    pytest.mark.server,
    pytest.mark.skipif(not BINARIES.exists(), reason="no packages from npm"),
]


@pytest.fixture
def folder(described: Path, tmp_path: Path) -> Path:
    """A project with the types generated."""
    for name in ("package.json", "tsconfig.json", "use.ts"):
        shutil.copy(SOURCE / name, tmp_path)
    (tmp_path / "node_modules").symlink_to(SOURCE / "node_modules")
    subprocess.run(
        [BINARIES / "openapi-typescript", described, "-o", tmp_path / "schema.ts",
         "--default-non-nullable", "false"],
        capture_output=True, timeout=600, check=True,
    )  # fmt: skip
    return tmp_path


def compiled(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [BINARIES / "tsc"], cwd=folder, capture_output=True, text=True, timeout=600, check=False
    )


def test_the_client_compiles_strictly_and_asks(folder: Path, live: Live) -> None:
    made = compiled(folder)
    assert made.returncode == 0, made.stdout
    run = subprocess.run(
        ["node", "out/use.js", live.address, live.key],
        cwd=folder, capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    said = json.loads(run.stdout)
    assert said.pop("closure") > 0
    assert said == {
        "verdict": "go",
        "status": 422,
        "type": "/v1/problems/invalid-request",
        "pointers": ["#/line_pressure/value"],
        "refused": "/v1/problems/unauthorized",
        "pipes": len(pipes.catalogue()),
    }


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ('unit: "bar" },\n};', 'unit: "furlong" },\n};'),
        ('client.GET("/v1/pipes")', 'client.GET("/v1/tubes")'),
        ("closure?.likely", "closure.likely"),
    ],
    ids=["unit", "address", "null"],
)
def test_the_types_refuse_a_mistake(folder: Path, right: str, wrong: str) -> None:
    text = (folder / "use.ts").read_text()
    assert right in text
    (folder / "use.ts").write_text(text.replace(right, wrong))
    assert compiled(folder).returncode != 0
