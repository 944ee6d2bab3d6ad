"""TypeScript clients of two more generators, hey-api and orval: typed strictly, asking live."""

import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from clients.conftest import Live

SOURCE = Path(__file__).with_name("typescript")
BINARIES = SOURCE / "node_modules/.bin"
GENERATORS = ("openapi-ts", "orval")
FILES = ("use-hey.ts", "use-orval.ts", "orval.config.mjs", "tsconfig.generated.json")

pytestmark = [
    pytest.mark.server,
    pytest.mark.skipif(
        not all((BINARIES / name).exists() for name in GENERATORS), reason="no packages from npm"
    ),
]


@pytest.fixture(scope="module")
def folder(described: Path, live: Live, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Both clients, generated and compiled; what must not compile is marked in their callers."""
    place = tmp_path_factory.mktemp("typescript")
    for name in FILES:
        shutil.copy(SOURCE / name, place)
    (place / "node_modules").symlink_to(SOURCE / "node_modules")
    environment = os.environ | {"DESCRIBED": str(described), "ADDRESS": live.address}
    for command in (
        [
            "openapi-ts",
            "-i",
            described,
            "-o",
            "hey",
            "-c",
            "@hey-api/client-fetch",
            "--no-log-file",
        ],
        ["orval", "--config", "orval.config.mjs"],
        ["tsc", "-p", "tsconfig.generated.json"],
    ):
        made = subprocess.run(
            [BINARIES / command[0], *command[1:]], cwd=place, env=environment, timeout=600,
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


def test_a_client_of_hey_api_asks(folder: Path, live: Live) -> None:
    found = said(folder, "out/use-hey.js", live.address, live.key)
    assert found.pop("closure") == found.pop("first") > 0
    assert (found.pop("table"), found.pop("lines")) == (True, 3)
    assert found == ANSWERED


def test_a_client_of_orval_asks(folder: Path, live: Live) -> None:
    found = said(folder, "out/use-orval.js", live.key)
    assert found.pop("closure") == found.pop("first") > 0
    assert found == ANSWERED
