"""TypeScript clients of three generators, compiled strictly, ask the live server.

openapi-typescript with openapi-fetch, hey-api, orval.
"""

import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from clients.conftest import Live
from stillpipe.tables import pipes

SOURCE = Path(__file__).with_name("typescript")
BINARIES = SOURCE / "node_modules/.bin"
FILES = ("use-hey.ts", "use-orval.ts", "orval.config.mjs", "tsconfig.generated.json")

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


def test_the_client_compiles_strictly_and_asks(folder: Path, live: Live) -> None:
    """What must not compile is marked in the caller, and does not."""
    made = subprocess.run(
        [BINARIES / "tsc"], cwd=folder, capture_output=True, text=True, timeout=600, check=False
    )
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


@pytest.fixture(scope="module")
def clients(described: Path, live: Live, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Both clients, generated and compiled; what must not compile is marked in their callers."""
    place = tmp_path_factory.mktemp("typescript")
    for name in FILES:
        shutil.copy(SOURCE / name, place)
    (place / "node_modules").symlink_to(SOURCE / "node_modules")
    environment = os.environ | {"DESCRIBED": str(described), "ADDRESS": live.address}
    for command in (
        f"openapi-ts -i {described} -o hey -c @hey-api/client-fetch --no-log-file",
        "orval --config orval.config.mjs",
        "tsc -p tsconfig.generated.json",
    ):
        tool, *arguments = command.split()
        made = subprocess.run(
            [BINARIES / tool, *arguments], cwd=place, env=environment, timeout=600,
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert made.returncode == 0, made.stdout + made.stderr
    return place


def said(folder: Path, *command: str) -> dict[str, Any]:
    """What a caller prints."""
    run = subprocess.run(
        ["node", *command], cwd=folder, capture_output=True, text=True, timeout=600, check=False
    )
    assert run.returncode == 0, run.stderr
    found: dict[str, Any] = json.loads(run.stdout)
    return found


ANSWERED = {
    "verdict": "go",
    "members": 8,
    "type": "/v1/problems/invalid-request",
    "pointers": ["#/line_pressure/value"],
    "batch": [200, 200, 422],
    "succeeded": 2,
    "refused": "/v1/problems/invalid-request",
}
"""An estimate of which two members are asked for, a refusal, a batch of three with one at fault."""


def test_a_client_of_hey_api_asks(clients: Path, live: Live) -> None:
    found = said(clients, "out/use-hey.js", live.address, live.key)
    assert found.pop("closure") == found.pop("first") > 0
    assert (found.pop("table"), found.pop("lines")) == (True, 3)
    assert found == ANSWERED


def test_a_client_of_orval_asks(clients: Path, live: Live) -> None:
    found = said(clients, "out/use-orval.js", live.key)
    assert found.pop("closure") == found.pop("first") > 0
    assert found == ANSWERED
