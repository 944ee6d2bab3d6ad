"""Mutation testing of the estimates: ``python tests/mutation/mutants.py FOLDER [MODULE ...]``.

Each mutant is a module of ``service/stillpipe/estimates`` with one small fault, made by mutmut in a
copy of the tree in FOLDER. It is killed when one of the tests of ``modules.csv`` that reach its
function fails. Modules are named as there (``spacing``, ``job.timeline``); without a name all of
them are taken. A run goes on where the last one in FOLDER ended: what was killed stays so until its
function changes, what survived is tried again. Which faults are made is told in ``trying.py``.
A test reaches what it calls itself: a fixture that calls the module is made for each test anew.
"""

import argparse
import csv
import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
PROJECT = """
[tool.mutmut]
source_paths = ["{path}"]
also_copy = ["src/stillpipe", "openapi", "deploy"]
pytest_add_cli_args = [
    "-p", "no:cacheprovider", "-p", "no:unraisableexception", "--disable-plugin-autoload",
]
pytest_add_cli_args_test_selection = [{tests}]
timeout_constant = 8.0
use_setproctitle = false
use_git_change_detection = false
track_dependencies = false
"""


def listed() -> dict[str, list[str]]:
    """The modules of ``modules.csv`` by name, each with the files of its tests."""
    with (HERE / "modules.csv").open() as file:
        return {row["module"]: row["tests"].split() for row in csv.DictReader(file)}


def copied(folder: Path) -> None:
    """Bring the copy of the tree in ``folder`` up to date; what is unchanged stays compiled."""
    left = shutil.ignore_patterns("__pycache__", "node_modules", ".*")
    for part, place in (("service/stillpipe", "src/stillpipe"), ("tests", "tests"),
                        ("openapi", "openapi"), ("deploy", "deploy")):  # fmt: skip
        shutil.copytree(ROOT / part, folder / place, dirs_exist_ok=True, ignore=left)
    made_by, now = folder / "trying.py", HERE / "trying.py"
    if not made_by.exists() or made_by.read_bytes() != now.read_bytes():
        for found in folder.glob("mutants/src/**/*.meta"):
            found.unlink()  # of other faults
    shutil.copy(now, made_by)


def tried(folder: Path, name: str, files: list[str], sample: int) -> str:
    """Try the mutants of a module in a process of its own, which mutmut needs; return the sum."""
    path = Path("src/stillpipe/estimates", *name.split(".")).with_suffix(".py")
    tests = ", ".join(f'"{file}"' for file in files)
    project = (ROOT / "pyproject.toml").read_text() + PROJECT.format(path=path, tests=tests)
    (folder / "pyproject.toml").write_text(project)
    command = [sys.executable, HERE / "trying.py", name, path, str(sample)]
    found = f"== {name}: not finished"
    with subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE) as run:
        for told in run.stdout or ():
            line = told.decode()
            print(line, end="", flush=True)
            if line.startswith(f"== {name}:"):
                found = line.rstrip()
    return found


def main() -> int:
    """Try the modules that are named."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("folder", type=Path)
    asked.add_argument("modules", nargs="*")
    asked.add_argument("--sample", type=int, default=0, help="so many mutants of each at most")
    given, known = asked.parse_args(), listed()
    copied(given.folder)
    sums = [tried(given.folder, m, known[m], given.sample) for m in given.modules or known]
    print(*sums, sep="\n")
    return int(any("not finished" in each for each in sums))


if __name__ == "__main__":
    sys.exit(main())
