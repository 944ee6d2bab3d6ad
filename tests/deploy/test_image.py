"""The image without a container engine: its file linted, its steps replayed on a read-only tree."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from deploy.stack import ROOT, free_port

HADOLINT = Path(sys.executable).parent / "hadolint"
DOCKERFILE = ROOT / "Dockerfile"


def lint(file: Path) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [HADOLINT, "--failure-threshold", "style", file],
        capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_the_linter_has_nothing_to_say() -> None:
    run = lint(DOCKERFILE)
    assert (run.returncode, run.stdout) == (0, ""), run.stdout


def test_the_linter_would_say_something(tmp_path: Path) -> None:
    wrong = tmp_path / "Dockerfile"
    wrong.write_text(DOCKERFILE.read_text().replace("python:3.11-slim", "python"))
    assert "DL3006" in lint(wrong).stdout


def test_the_script_replays_what_the_image_does() -> None:
    """Every pip step of the image, in its order, and every variable."""
    image = DOCKERFILE.read_text()
    script = (ROOT / "deploy" / "replay.sh").read_text()
    steps = re.findall(r"bin/pip ([^\\\n]+)", image)
    assert len(steps) == 3
    replayed = re.findall(r'"\$pip" (.+)', script.replace("--quiet ", ""))
    assert [s.strip() for s in steps] == replayed
    names = set(re.findall(r"^(?:ENV|\s+)\s*([A-Z_]+)=", image, re.MULTILINE))
    names -= {"PIP_NO_CACHE_DIR"}
    assert len(names) >= 6
    assert all(f"{name}=" in script for name in names)


@pytest.mark.server
def test_the_replayed_image_answers() -> None:
    """As user 10001 on a read-only tree, where this is run as root."""
    environment = os.environ | {"STILLPIPE_REPLAY_PORT": str(free_port())}
    run = subprocess.run(
        ["bash", "deploy/replay.sh"],
        cwd=ROOT, env=environment, capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr
    assert "replayed: ready, one estimate and one batch answered" in run.stdout
