"""The README's programs, run as they stand: all languages print what is shown, refusals too."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from clients.conftest import Live
from deploy.stack import ROOT

README = (ROOT / "README.md").read_text()
GUIDE = README.partition("## From your software\n")[2].partition("\n## ")[0]
COMMANDS = {"sh": ["bash", "-euo", "pipefail"], "py": [sys.executable], "mjs": ["node"]}
PROGRAMS = re.findall(r"^```\w+\n(?:#|//) ((\w+)\.(sh|py|mjs)[^\n]*\n.*?)^```", GUIDE, re.M | re.S)
SHOWN = re.findall(r"^```text\n(.*?)^```", GUIDE, re.M | re.S)
CALLERS = dict(zip(dict.fromkeys(name for _, name, _ in PROGRAMS), SHOWN, strict=True))

pytestmark = pytest.mark.server


def test_every_caller_is_shown_in_every_language() -> None:
    shown = [(name, language) for _, name, language in PROGRAMS]
    assert shown == [(name, language) for name in CALLERS for language in COMMANDS]
    assert list(CALLERS) == ["quote", "frost", "site", "batch"]


def run(
    live: Live, folder: Path, name: str, language: str, *arguments: str
) -> "subprocess.CompletedProcess[str]":
    """Run a program in a folder that has the examples."""
    needed = {"sh": ["curl", "jq"], "py": [], "mjs": ["node"]}[language]
    for tool in needed:
        if shutil.which(tool) is None:
            pytest.skip(f"no {tool} on this machine")
    body = next(b for b, n, x in PROGRAMS if (n, x) == (name, language))
    program = folder / f"{name}.{language}"
    program.write_text(body.partition("\n")[2])
    (folder / "openapi").symlink_to(ROOT / "openapi")
    return subprocess.run(
        [*COMMANDS[language], program, *arguments], cwd=folder, timeout=600,
        env=os.environ | {"STILLPIPE": live.address, "STILLPIPE_KEY": live.key},
        capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.mark.parametrize("language", COMMANDS)
@pytest.mark.parametrize("name", CALLERS)
def test_the_program_prints_what_is_shown(
    live: Live, tmp_path: Path, name: str, language: str
) -> None:
    done = run(live, tmp_path, name, language)
    assert (done.returncode, done.stdout) == (0, CALLERS[name]), done.stderr


@pytest.mark.parametrize("language", COMMANDS)
def test_a_refused_job_is_told_with_every_fault(live: Live, tmp_path: Path, language: str) -> None:
    job = json.loads((ROOT / "openapi" / "examples" / "job-estimate-request.json").read_text())
    wrong = tmp_path / "wrong.json"
    wrong.write_text(json.dumps(job | {"points": 0, "pipe": {"standard": "ASTM B88"}}))
    done = run(live, tmp_path, "quote", language, str(wrong))
    assert done.returncode == 1
    title, *faults = done.stdout.splitlines()
    assert title == "The request does not follow the schema"
    assert {f.split()[0] for f in faults} == {"#/points", "#/pipe/size", "#/pipe/schedule"}


@pytest.mark.parametrize("language", COMMANDS)
def test_a_failed_line_ends_the_batch_with_one(live: Live, tmp_path: Path, language: str) -> None:
    lines = (ROOT / "openapi" / "examples" / "batch-lines.ndjson").read_text().splitlines()
    file = tmp_path / "lines.ndjson"
    file.write_text("\n".join([lines[0], "{", lines[2]]) + "\n")
    done = run(live, tmp_path, "batch", language, str(file))
    assert done.stdout.splitlines() == [
        "0 go", "1 The body is not JSON", "2 go", "2 of 3 answered"
    ]  # fmt: skip
    assert done.returncode == 1


@pytest.mark.parametrize("language", COMMANDS)
def test_a_visit_ends_at_what_does_not_fit(live: Live, tmp_path: Path, language: str) -> None:
    """What is asked before is answered; no time to cut is told of what cannot be explained."""
    visit = json.loads((ROOT / "openapi" / "examples" / "plug-time-observations.json").read_text())
    late = {"kind": "no-frost", "elapsed": {"value": 40, "unit": "min"}}
    file = tmp_path / "visit.json"
    file.write_text(json.dumps(visit | {"observations": [*visit["observations"][:2], late]}))
    done = run(live, tmp_path, "site", language, str(file))
    shown = CALLERS["site"].splitlines()
    *before, last = done.stdout.splitlines()
    assert before == shown[:3]
    assert last.startswith("What is seen does not fit a still, full line of this pipe")
    assert done.returncode == 1
