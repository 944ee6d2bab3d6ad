"""The served description against linters, and against the last release: no break goes unlisted."""

import copy
import json
import os
import re
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml

from stillpipe import __version__
from stillpipe.api import description

BINARIES = Path(__file__).parents[1] / "clients/typescript/node_modules/.bin"
REDOCLY, SPECTRAL = BINARIES / "redocly", BINARIES / "spectral"
CONFIGURATION = Path(__file__).with_name("redocly.yaml")
RULES = Path(__file__).with_name("spectral.yaml")
CHANGES = (description.FOLDER / "CHANGES.md").read_text()

needs_redocly = pytest.mark.skipif(not REDOCLY.exists(), reason="no packages from npm")
needs_spectral = pytest.mark.skipif(not SPECTRAL.exists(), reason="no packages from npm")

Version = tuple[int, ...]
Tree = dict[str, Any]


def number(version: str) -> Version:
    return tuple(int(part) for part in version.split("."))


RELEASES = sorted((description.FOLDER / "releases").glob("*.yaml"), key=lambda p: number(p.stem))
LAST = RELEASES[-1]
STABLE = (1, 0, 0)
"""The version with which the promise of openapi/CHANGES.md begins."""
UNLIMITED = (10**6,)
"""Above every version."""


def redocly(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    command, *rest = arguments
    return subprocess.run(
        [REDOCLY, command, "--config", CONFIGURATION, *rest],
        env=os.environ | {"REDOCLY_TELEMETRY": "off", "REDOCLY_SUPPRESS_UPDATE_NOTICE": "true"},
        capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip


def section(older: Version, newer: Version) -> str:
    """What CHANGES says of the versions after ``older`` up to ``newer``, in one line."""
    parts = re.split(r"^## ([0-9.]+)\n", CHANGES, flags=re.MULTILINE)[1:]
    told = zip(parts[::2], parts[1::2], strict=True)
    return " ".join(" ".join(t for v, t in told if older < number(v) <= newer).split())


def alike(node: Any) -> Any:
    """The description with one-value enums where it has const: both say the same."""
    if isinstance(node, list):
        return [alike(part) for part in node]
    if not isinstance(node, dict):
        return node
    if isinstance(node.get("const"), str):
        return {"type": "string", "enum": [node["const"]]}
    return {name: alike(part) for name, part in node.items()}


def compared(older: Path, newer: Path) -> Tree:
    """What redocly reports of two descriptions."""
    with tempfile.TemporaryDirectory() as folder:
        files = []
        for file in (older, newer):
            tree = yaml.load(file.read_bytes(), yaml.CSafeLoader)
            files.append(Path(folder) / f"{len(files)}.json")
            files[-1].write_text(json.dumps(alike(tree)))
        found = redocly("diff", "--fail-on", "none", "--format", "json", *files)
    assert found.returncode == 0, found.stderr
    report: Tree = json.loads(found.stdout)
    return report


def unlisted(older: Path, newer: Path) -> list[str]:
    """Why ``newer`` may not follow ``older``; empty where it may.

    The version must rise with every change, by a minor number where more than words have changed.
    Before 1.0 a break is allowed if CHANGES has it in redocly's words; from 1.0 it is not.
    """
    report = compared(older, newer)
    before, after = (number(report["infoVersions"][end]) for end in ("base", "revision"))
    bump = report.get("bump", "none")
    rise = {"none": 0, "patch": 3, "minor": 2, "major": 2 if after < STABLE else 1}[bump]
    faults = []
    if after[:rise] <= before[:rise] and rise:
        faults.append(f"the version must rise above {older.stem}: {bump} changes")
    told = section(before, after if newer in RELEASES else UNLIMITED)
    for change in report["changes"]:
        for verdict in change["verdicts"]:
            message = verdict["message"].removesuffix(".")
            if verdict["impact"] == "major" and (before >= STABLE or message not in told):
                faults.append(message)
    return faults


@needs_redocly
def test_the_linter_finds_nothing(described: Path) -> None:
    lint = redocly("lint", described)
    assert lint.returncode == 0, lint.stderr + lint.stdout


def spectral(file: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [SPECTRAL, "lint", "--ruleset", RULES, "--fail-severity", "hint", file],
        capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip


@needs_spectral
def test_the_other_linter_finds_nothing(described: Path) -> None:
    lint = spectral(described)
    assert lint.returncode == 0, lint.stderr + lint.stdout


@needs_spectral
def test_the_other_linter_finds_what_is_left_out(tmp_path: Path) -> None:
    """A sentence, a tag, a whole address where one is needed; a relative page is no fault."""
    tree = description.tree()
    operation = {"operationId": "one", "responses": {"200": {"description": "An answer."}}}
    small = {name: tree[name] for name in ("openapi", "info", "externalDocs", "servers", "tags")}
    small["info"] = small["info"] | {"license": {"name": "None", "url": "none"}}
    file = tmp_path / "small.yaml"
    file.write_text(yaml.safe_dump(small | {"paths": {"/one": {"get": operation}}}))
    lint = spectral(file)
    assert lint.returncode == 1
    assert set(re.findall(r"(?:error|warning|hint|information) +(\S+)", lint.stdout)) == {
        "oas3-schema", "operation-description", "operation-tags",
    }  # fmt: skip


@needs_redocly
@pytest.mark.parametrize("older", RELEASES, ids=lambda p: p.stem)
def test_no_break_since_a_release_is_unlisted(older: Path, described: Path) -> None:
    """Up to the release after it; the last is compared with what is served."""
    newer = [*RELEASES, described][RELEASES.index(older) + 1]
    assert unlisted(older, newer) == [], f"list them in openapi/CHANGES.md; {LAST} is the last"


def without_ready(tree: Tree) -> None:
    schema = tree["components"]["schemas"]["PlugTime"]
    del schema["properties"]["ready"]
    schema["required"].remove("ready")


def without_frost_check(tree: Tree) -> None:
    del tree["paths"]["/v1/frost-check"]


def with_narrower_range(tree: Tree) -> None:
    schema = tree["components"]["schemas"]["PlugTimeRequest"]
    schema["properties"]["safety_factor"]["maximum"] = 2


def without_a_unit(tree: Tree) -> None:
    choices = tree["components"]["schemas"]["LinePressure"]["oneOf"]
    choices.remove(next(c for c in choices if c["title"] == "LinePressureInPsi"))


def with_the_old_version(tree: Tree) -> None:
    without_ready(tree)
    tree["info"]["version"] = LAST.stem


@needs_redocly
@pytest.mark.parametrize(
    ("change", "fault"),
    [
        (without_ready, "Property `ready` of `PlugTime` was removed"),
        (without_frost_check, "Path `/v1/frost-check` was removed"),
        (with_narrower_range, "Upper bound of `safety_factor` changed from '<= 10' to '<= 2'"),
        (without_a_unit, "`oneOf` subschema of `line_pressure` was removed"),
        (with_the_old_version, "the version must rise"),
    ],
)
def test_a_break_is_found(change: Callable[[Tree], None], fault: str, tmp_path: Path) -> None:
    """The gate tells of a member, an address or a unit gone, a range narrowed, a version kept."""
    tree = copy.deepcopy(description.tree())
    change(tree)
    broken = tmp_path / "broken.yaml"
    broken.write_text(yaml.safe_dump(tree, sort_keys=False))
    assert fault in " ".join(unlisted(LAST, broken))


@needs_redocly
def test_from_1_0_on_listing_does_not_help(tmp_path: Path) -> None:
    """Between two versions from 1.0 on a break is a fault whatever CHANGES says."""
    files: list[Path] = []
    for version in ("1.0.0", "1.1.0"):
        tree = copy.deepcopy(description.tree())
        tree["info"]["version"] = version
        if files:
            without_frost_check(tree)
        files.append(tmp_path / f"{version}.yaml")
        files[-1].write_text(yaml.safe_dump(tree, sort_keys=False))
    faults = unlisted(*files)
    assert "the version must rise above 1.0.0: major changes" in faults
    assert "Path `/v1/frost-check` was removed" in faults


@pytest.mark.parametrize("file", RELEASES, ids=lambda p: p.stem)
def test_a_release_is_named_by_its_version_and_plain(file: Path) -> None:
    """A release is what was served: no shorthand is left in it."""
    text = file.read_text()
    assert yaml.safe_load(text)["info"]["version"] == file.stem
    assert not re.search(r"^\s*x-", text, re.MULTILINE)
    assert f"## {file.stem}\n" in CHANGES


def test_version_changes_and_description_agree() -> None:
    assert description.tree()["info"]["version"] == __version__
    assert f"## {__version__}\n" in CHANGES
    assert number(LAST.stem) <= number(__version__)
