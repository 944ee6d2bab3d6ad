"""Every verdict over the catalogue, of this tree and of version 0.2.0; prints those that differ.

    python tests/reference/verdicts.py [--against COMMIT] [--all]

Every pipe of the catalogue at 3, 6, 10 and 16 bar, water and room at 20 degC: plug-time, and a
job of two freeze points with 45 min of repair in a room of 60 m3 with two air changes an hour.
The older tree is taken from the repository's history and answers the same bodies in a process of
its own, side by side with this one. Takes about ten minutes. Ends with 1 where a verdict differs.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
YARDSTICK = "b42ce88"
"""The commit of version 0.2.0."""
BARS = (3, 6, 10, 16)
JSON = dict[str, Any]
Verdicts = dict[tuple[str, str], tuple[str, list[str]]]
"""Verdict and reasons by estimate and what it is of."""


def quantity(value: float, unit: str) -> JSON:
    return {"value": value, "unit": unit}


JOB: JSON = {
    "points": 2,
    "repair": quantity(45, "min"),
    "cylinder": {"id": "co2-9.1kg"},
    "room": {"volume": quantity(60, "m3"), "air_changes": quantity(2, "1/h")},
    "rates": {
        "currency": "EUR", "labour_per_hour": "62.00", "co2_per_kg": "3.40", "exchange": "25.00",
        "call_out": "40.00",
    },
    "drain_down": {
        "volume": quantity(900, "L"), "drain_rate": quantity(15, "L/min"),
        "fill_rate": quantity(15, "L/min"), "inhibitor_per_litre": "0.45",
        "downtime_per_hour": "30.00",
    },
}  # fmt: skip


def bodies() -> Iterator[tuple[str, str, JSON]]:
    """Yield every estimate that is asked: which, of what, and the body."""
    from stillpipe.tables import pipes  # noqa: PLC0415 - of the tree that is asked

    for pipe in pipes.catalogue():
        for bar in BARS:
            freeze = {
                "pipe": {"standard": pipe.standard, "size": pipe.size, "schedule": pipe.schedule},
                "fluid": {"temperature": quantity(20, "degC")},
                "ambient": {"temperature": quantity(20, "degC")},
                "line_pressure": quantity(bar, "bar"),
            }
            yield "plug-time", f"{pipe.id} {bar} bar", freeze
            yield "job-estimate", f"{pipe.id} {bar} bar", freeze | JOB


def answering() -> Callable[[str, JSON], JSON]:
    """What answers a body in the tree that is imported: of now, or of version 0.2.0."""
    try:
        from stillpipe.api import answers, reading, registry  # noqa: PLC0415
    except ImportError:
        from stillpipe.web import answers as older  # noqa: PLC0415

        return older.reply  # type: ignore[no-any-return]
    made = answers.Answers(registry.ENDPOINTS, reading.read)
    return lambda name, body: made.reply(name, body)[0]


def write_verdicts() -> None:
    """Write a line of JSON for each estimate to standard output."""
    reply = answering()
    for name, what, body in bodies():
        found = reply(name, body)
        codes = sorted({f"{r['code']} ({r['severity']})" for r in found["reasons"]})
        print(json.dumps([name, what, found["verdict"], codes]), flush=True)


def begin(service: Path, file: Path) -> "subprocess.Popen[bytes]":
    """Begin to write to ``file`` the verdicts of the tree whose package lies under ``service``."""
    env = os.environ | {"PYTHONPATH": str(service)}
    with file.open("wb") as out:
        return subprocess.Popen([sys.executable, __file__, "--write"], env=env, stdout=out)


def read(process: "subprocess.Popen[bytes]", file: Path) -> Verdicts:
    """Read what such a process writes."""
    if process.wait() != 0:
        raise RuntimeError("a tree did not answer")
    lines = [json.loads(line) for line in file.read_text().splitlines()]
    return {(name, what): (verdict, codes) for name, what, verdict, codes in lines}


def compare(against: str, everything: bool) -> int:
    """Print the verdicts that differ, and how many there are of each; return how many differ."""
    with tempfile.TemporaryDirectory() as folder:
        packed = subprocess.run(
            ["git", "-C", ROOT, "archive", against, "service"], check=True, capture_output=True
        )
        subprocess.run(["tar", "-x", "-C", folder], input=packed.stdout, check=True)
        files = [Path(folder) / name for name in ("older", "newer")]
        trees = [Path(folder) / "service", ROOT / "service"]
        begun = [begin(tree, file) for tree, file in zip(trees, files, strict=True)]
        was, now = (read(process, file) for process, file in zip(begun, files, strict=True))
    if list(was) != list(now):
        raise RuntimeError("the two trees have not the same catalogue")
    changed = 0
    for key, (verdict, codes) in now.items():
        before, codes_before = was[key]
        changed += before != verdict
        if before != verdict or codes_before != codes or everything:
            gone, come = set(codes_before) - set(codes), set(codes) - set(codes_before)
            marks = [f"- {c}" for c in sorted(gone)] + [f"+ {c}" for c in sorted(come)]
            print(*key, f"{before} -> {verdict}", *marks, sep="  ")
    for name in dict.fromkeys(name for name, _ in now):
        for tree, verdicts in ((against, was), ("this tree", now)):
            counts = Counter(v for (which, _), (v, _) in verdicts.items() if which == name)
            print(name, tree, dict(sorted(counts.items())), sep="  ")
    print(f"{changed} of {len(now)} verdicts differ")
    return changed


def main() -> None:
    """Compare, or write the verdicts of the tree that is imported."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--against", default=YARDSTICK, help="commit of the older tree")
    parser.add_argument("--all", action="store_true", help="print those that are equal too")
    parser.add_argument("--write", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.write:
        write_verdicts()
    else:
        sys.exit(min(compare(given.against, given.all), 1))


if __name__ == "__main__":
    main()
