"""The guide's programs, run as they are: all languages print what is shown, refusals too."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from clients.conftest import Live
from contract.shown import check
from deploy.stack import ROOT

FOLDER = ROOT / "openapi" / "guide"
GUIDE = (FOLDER / "GUIDE.md").read_text()
PAGES = {page.name: page.read_text() for page in FOLDER.glob("*.md")}
COMMANDS = {"sh": ["bash"], "py": [sys.executable], "mjs": ["node"]}
SECTIONS = GUIDE.partition("\n## Programs\n")[2].partition("\n## ")[0].split("\n### ")[1:]
LINKED = [re.findall(r"\]\((\w+)\.(sh|py|mjs)\)", section) for section in SECTIONS]
SHOWN = [re.findall(r"^```text\n(.*?)^```", section, re.M | re.S) for section in SECTIONS]
CALLERS = {links[0][0]: text for links, (text,) in zip(LINKED, SHOWN, strict=True)}

pytestmark = pytest.mark.server


def test_every_caller_is_linked_in_every_language() -> None:
    assert list(CALLERS) == ["quote", "frost", "visit", "batch"]
    assert [[(name, language) for language in COMMANDS] for name in CALLERS] == LINKED
    there = {f.name for f in FOLDER.iterdir() if f.suffix[1:] in COMMANDS}
    assert there == {f"{name}.{language}" for name in CALLERS for language in COMMANDS}


@pytest.mark.parametrize("page", PAGES)
def test_a_link_leads_somewhere(page: str) -> None:
    """Beside the page, where it is served too; or to one of its own headings."""
    for target in re.findall(r"\]\(([^)]+)\)", PAGES[page]):
        name, _, heading = target.partition("#")
        assert not name or (FOLDER / name).is_file(), target
        heads = re.findall(r"^#+ (.+)$", PAGES.get(name or page, ""), re.M)
        slugs = {re.sub(r"[^\w -]", "", head).lower().replace(" ", "-") for head in heads}
        assert not heading or heading in slugs, target


def run(
    live: Live, folder: Path, name: str, language: str, *arguments: str
) -> "subprocess.CompletedProcess[str]":
    """Run a program in a folder that has the examples."""
    needed = {"sh": ["curl", "jq"], "py": [], "mjs": ["node"]}[language]
    for tool in needed:
        if shutil.which(tool) is None:
            pytest.skip(f"no {tool} on this machine")
    program = FOLDER / f"{name}.{language}"
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
    assert done.returncode == 0, done.stderr
    check(CALLERS[name], done.stdout)


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
    done = run(live, tmp_path, "visit", language, str(file))
    shown = CALLERS["visit"].splitlines()
    *before, last = done.stdout.splitlines()
    check("\n".join(shown[:3]), "\n".join(before))
    assert last.startswith("What is seen does not fit a still, full line of this pipe")
    assert done.returncode == 1
