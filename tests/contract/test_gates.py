"""The description against a linter, and against the last release: nothing breaks unannounced."""

import os
import subprocess
from pathlib import Path

import pytest
import yaml

from stillpipe import __version__
from stillpipe.web import specification

CURRENT = specification.path()
RELEASES = CURRENT.parent / "releases"
REDOCLY = Path(__file__).parents[1] / "clients/typescript/node_modules/.bin/redocly"
CONFIGURATION = Path(__file__).with_name("redocly.yaml")

needs_redocly = pytest.mark.skipif(not REDOCLY.exists(), reason="no packages from npm")


def number(path: Path) -> tuple[int, ...]:
    return tuple(int(part) for part in path.stem.split("."))


LAST = max(RELEASES.glob("*.yaml"), key=number)


def redocly(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    command, *rest = arguments
    return subprocess.run(
        [REDOCLY, command, "--config", CONFIGURATION, *rest],
        env=os.environ | {"REDOCLY_TELEMETRY": "off", "REDOCLY_SUPPRESS_UPDATE_NOTICE": "true"},
        capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip


def difference(revision: Path) -> subprocess.CompletedProcess[str]:
    return redocly("diff", "--check-version", "--fail-on", "major", LAST, revision)


@needs_redocly
def test_the_linter_finds_nothing() -> None:
    lint = redocly("lint", CURRENT)
    assert lint.returncode == 0, lint.stderr + lint.stdout


@needs_redocly
def test_nothing_that_the_last_release_promised_is_broken() -> None:
    found = difference(CURRENT)
    assert found.returncode == 0, found.stderr + found.stdout


@needs_redocly
@pytest.mark.parametrize("break_", ["reply", "address", "range", "version"])
def test_a_break_is_found(break_: str, tmp_path: Path) -> None:
    """The gate fails for a member gone, an address gone, a range narrowed, a version kept."""
    tree = yaml.safe_load(CURRENT.read_text())
    schemas = tree["components"]["schemas"]
    if break_ == "reply":
        del schemas["PlugTime"]["properties"]["ready"]
        schemas["PlugTime"]["required"].remove("ready")
    elif break_ == "address":
        del tree["paths"]["/v1/frost-check"]
    elif break_ == "range":
        schemas["PlugTimeRequest"]["properties"]["safety_factor"]["maximum"] = 2
    else:
        tree["info"]["version"] = LAST.stem
    broken = tmp_path / "broken.yaml"
    broken.write_text(yaml.safe_dump(tree, sort_keys=False))
    assert difference(broken).returncode != 0


def test_version_changes_and_description_agree() -> None:
    version = yaml.safe_load(CURRENT.read_text())["info"]["version"]
    changes = (CURRENT.parent / "CHANGES.md").read_text()
    assert version == __version__
    assert f"## {version}\n" in changes
    assert f"## {LAST.stem}\n" in changes
    assert number(LAST) <= tuple(int(part) for part in version.split("."))
