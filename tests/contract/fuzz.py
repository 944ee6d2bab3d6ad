"""Generated traffic against real gunicorn; ``python tests/contract/fuzz.py CASES`` for many cases.

Starts the service, shares ``CASES`` among the operations, and prints what was found, and how many
requests the service itself counted, by status.
"""

import os
import re
import subprocess
import sys
import time
from pathlib import Path

import requests

FOLDER = Path(__file__).parent


def run(address: str, chosen: list[str], timeout: float) -> "subprocess.CompletedProcess[str]":
    """Send generated traffic to ``address``, with the further options ``chosen``."""
    command = [
        str(Path(sys.executable).parent / "schemathesis"),
        "--config-file", str(FOLDER / "schemathesis.toml"), "run", f"{address}/openapi.json",
        "--workers", "2", "--request-timeout", "600", "--max-response-time", "300",
        "--checks", "all",
        "--exclude-checks", "positive_data_acceptance,unsupported_method",
        "--exclude-path", "/docs/{file}", *chosen,
    ]  # fmt: skip
    environment = os.environ | {"SCHEMATHESIS_HOOKS": "traffic_hooks", "PYTHONPATH": str(FOLDER)}
    return subprocess.run(
        command, cwd=FOLDER.parents[1], env=environment,
        capture_output=True, text=True, timeout=timeout, check=False,
    )  # fmt: skip


def counted(address: str) -> dict[str, int]:
    """Return how many requests the service at ``address`` has answered, by status."""
    found: dict[str, int] = {}
    text = requests.get(f"{address}/metrics", timeout=600).text
    pattern = r'^stillpipe_requests_total\{.*status="(\d+)".*\} ([0-9.e+]+)$'
    for status, count in re.findall(pattern, text, re.MULTILINE):
        found[status] = found.get(status, 0) + int(float(count))
    return found


def varied(address: str) -> int:
    """Return how many operations take a body; the others have few different requests."""
    paths = requests.get(f"{address}/openapi.json", timeout=600).json()["paths"]
    return sum("requestBody" in o for path in paths.values() for o in path.values())


def share(address: str, mode: str, each: int) -> tuple[int, int]:
    """Send ``each`` requests to every operation; return the exit code and how many were made."""
    before, begun = counted(address), time.monotonic()
    chosen = ["--phases", "fuzzing", "--mode", mode, "--max-examples", str(each)]
    found = run(address, chosen, 24 * 3600.0)
    spent, after = time.monotonic() - begun, counted(address)
    statuses = {k: n - before.get(k, 0) for k, n in sorted(after.items())}
    print(found.stdout[-6000:])
    print(f"{mode}: {sum(statuses.values())} requests in {spent:.0f} s, {statuses}", flush=True)
    made = re.search(r"(\d+) generated", found.stdout)
    return found.returncode, int(made[1]) if made else 0


def main(cases: int) -> int:
    """Send at least ``cases`` requests, half of them sound; return 0 where no fault was found."""
    from deploy.stack import Server  # noqa: PLC0415 - the folder of tests is named below

    code = total = 0
    # a division by zero in an estimate is a fault, and told as one
    with Server(PYTHONWARNINGS="error::RuntimeWarning") as server:
        operations = varied(server.address)
        while code == 0 and total < cases:
            each = -(-(cases - total) // (2 * operations))
            for mode in ("positive", "negative"):
                ended, made = share(server.address, mode, each)
                code, total = code or ended, total + made
    print(f"{total} cases, {'no fault' if code == 0 else 'with faults'}")
    return code


if __name__ == "__main__":
    sys.path.insert(0, str(FOLDER.parent))
    sys.exit(main(int(sys.argv[1])))
