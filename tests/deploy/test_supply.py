"""What is installed is what the lock says, byte for byte; its licences and its advisories."""

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from deploy.stack import ROOT
from stillpipe import __version__

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
SERVICE = ROOT / "deploy" / "requirements.txt"
TESTS = ROOT / "deploy" / "requirements-test.txt"
MUTANTS = ROOT / "deploy" / "requirements-mutants.txt"
BINDING = re.compile(r"\bA?GPL|Unknown|UNKNOWN|Proprietary", re.ASCII)
"""What a licence must not be, for the service to be shipped as it is."""


def locked(file: Path) -> list[tuple[Requirement, int]]:
    """Every requirement of a lock, and how many hashes it has."""
    text = re.sub(r"^#.*\n", "", file.read_text(), flags=re.MULTILINE).replace("\\\n", " ")
    return [
        (Requirement(line.partition("--hash")[0].strip()), line.count("--hash=sha256:"))
        for line in text.splitlines()
        if line.strip()
    ]


def versions(file: Path) -> set[tuple[str, str]]:
    return {(canonicalize_name(r.name), str(r.specifier)) for r, _ in locked(file)}


def wanted(*extras: str) -> list[Requirement]:
    """What the project asks for, its own extras followed."""
    listed = [*PROJECT["dependencies"]]
    for extra in extras:
        listed += PROJECT["optional-dependencies"][extra]
    found = []
    for requirement in map(Requirement, listed):
        if requirement.name == "stillpipe":
            found += wanted(*requirement.extras)
        else:
            found.append(requirement)
    return found


@pytest.mark.parametrize("file", [SERVICE, TESTS, MUTANTS], ids=["service", "tests", "mutants"])
def test_every_requirement_is_one_version_with_hashes(file: Path) -> None:
    for requirement, hashes in locked(file):
        assert re.fullmatch(r"==[^*,]+", str(requirement.specifier)), requirement
        assert requirement.url is None
        assert hashes >= 1, requirement
    assert "://" not in file.read_text(), "no registry is named"


@pytest.mark.parametrize(
    ("file", "extras"),
    [(SERVICE, ("build",)), (TESTS, ("build", "test"))],
    ids=["service", "tests"],
)
def test_the_lock_is_not_behind_the_project(file: Path, extras: tuple[str, ...]) -> None:
    held = {canonicalize_name(r.name): str(r.specifier)[2:] for r, _ in locked(file)}
    for requirement in wanted(*extras):
        version = held[canonicalize_name(requirement.name)]
        assert requirement.specifier.contains(version), requirement


def test_what_is_tested_is_what_is_shipped() -> None:
    assert versions(SERVICE) <= versions(TESTS)


def test_mutants_are_tried_with_the_packages_of_the_tests() -> None:
    """What both locks have is of one version in both, since the one lies beside the other."""
    tests, mutants = (dict(versions(file)) for file in (TESTS, MUTANTS))
    shared = tests.keys() & mutants.keys()
    assert "pytest" in shared
    assert {n: mutants[n] for n in shared} == {n: tests[n] for n in shared}


def test_every_build_takes_the_lock() -> None:
    for name in (
        "Dockerfile",
        *(f"deploy/{n}.sh" for n in ("start", "test", "replay", "inventory")),
    ):
        text = (ROOT / name).read_text()
        installs = [line for line in text.splitlines() if re.search(r'pip"? install', line)]
        assert len(installs) == 2, name
        assert "--require-hashes" in installs[0], name
        assert "--no-deps --no-build-isolation" in installs[1], name


@pytest.fixture(scope="module")
def inventory(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder in which the inventory has been made anew."""
    folder = tmp_path_factory.mktemp("inventory")
    run = subprocess.run(
        ["bash", "deploy/inventory.sh", folder],
        cwd=ROOT, capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    return folder


def test_the_bill_of_materials_is_the_lock(inventory: Path) -> None:
    """CycloneDX, checked against its schema by the tool: nothing more and nothing older."""
    bill = json.loads((inventory / "stillpipe.cdx.json").read_text())
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    root = bill["metadata"]["component"]
    assert (root["name"], root["version"]) == ("stillpipe", __version__)
    found = {(canonicalize_name(c["name"]), f"=={c['version']}") for c in bill["components"]}
    assert found <= versions(SERVICE)
    left = {name for name, _ in versions(SERVICE) - found}
    conditional = {canonicalize_name(r.name) for r, _ in locked(SERVICE) if r.marker}
    assert left - conditional == {"setuptools"}, "only what builds is taken away again"
    direct = next(d for d in bill["dependencies"] if d["ref"] == root["bom-ref"])["dependsOn"]
    assert len(direct) == len(PROJECT["dependencies"])
    assert all(c.get("licenses") for c in bill["components"])


def test_the_licences_are_listed_and_none_binds_the_service(inventory: Path) -> None:
    made = (inventory / "LICENCES.md").read_text()
    rows = [[c.strip() for c in x.split("|")[1:-1]] for x in made.splitlines() if x[:1] == "|"][2:]
    assert len(rows) > 30
    assert [r for r in rows if BINDING.search(r[2]) or not r[2]] == []
    if sys.version_info[:2] != (3, 11):
        pytest.skip("the list was made with Python 3.11, others take other versions")
    assert made == (ROOT / "deploy" / "LICENCES.md").read_text(), "run deploy/inventory.sh deploy"


def audit(*locks: Path) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        ["bash", "deploy/audit.sh", *locks],
        cwd=ROOT, capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip


def test_no_known_vulnerability_where_that_can_be_asked(tmp_path: Path) -> None:
    """Whether the database can be reached is told by a release that has a known one."""
    old = tmp_path / "old.txt"
    old.write_text("jinja2==2.4.1 --hash=sha256:" + "0" * 64 + "\n")
    # a row of the tool's table; that this release has advisories is from memory
    if not re.search(r"^jinja2\s+2\.4\.1\s+\S+", audit(old).stdout, re.MULTILINE):
        pytest.skip("no database of advisories can be reached from this machine")
    run = audit(SERVICE)
    assert run.returncode == 0, run.stdout + run.stderr
