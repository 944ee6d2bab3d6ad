"""The command: ``python -m stillpipe.register REGISTER FOLDER``."""

import argparse
import json
import os
import sys
from pathlib import Path

from dask.distributed import Client

from stillpipe.api.registry import ENDPOINTS
from stillpipe.register import plan
from stillpipe.register.run import Report, run, workers_here


def main(arguments: list[str] | None = None) -> int:
    """Run a register; 0 where all was answered, 1 where rows or parts failed, 2 if refused."""
    given = _parser().parse_args(arguments)
    try:
        report = _run(given)
    except plan.RegisterError as error:
        print(error, file=sys.stderr)
        return 2
    summary = {
        "total": report.rows, "succeeded": report.succeeded, "failed": report.failed,
        "complete": report.complete, "parts_kept": report.kept, "parts_lost": report.lost,
    }  # fmt: skip
    print(json.dumps(summary))
    return 0 if report.complete and not report.failed else 1


def _run(given: argparse.Namespace) -> Report:
    def tell(line: str) -> None:
        print(line, file=sys.stderr, flush=True)

    def planned(workers: int) -> plan.Plan:
        rows = given.rows or plan.kept_rows(given.folder)
        return plan.plan(given.register, given.estimate, rows, workers)

    if given.scheduler:
        with Client(given.scheduler) as client:
            return run(planned(len(client.nthreads())), given.folder, client, tell)
    made = planned(given.workers or len(os.sched_getaffinity(0)))
    with workers_here(given.workers) as cluster, Client(cluster) as client:
        return run(made, given.folder, client, tell)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m stillpipe.register",
        description="Estimate every row of a register. Begun again with the same arguments, it "
        "goes on where it was stopped.",
    )
    parser.add_argument(
        "register", type=Path, help="Parquet, CSV or XLSX file, or a folder of them"
    )
    parser.add_argument("folder", type=Path, help="where the answers go; all workers must see it")
    parser.add_argument(
        "--estimate", choices=ENDPOINTS, help="asked for every row, where no column says"
    )
    parser.add_argument(
        "--rows", type=int, help="rows of a part (at most 2000, and eight parts for each worker)"
    )
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--workers", type=int, help="processes here (one for each core)")
    where.add_argument("--scheduler", help="address of a Dask scheduler, tcp://host:port")
    return parser


if __name__ == "__main__":
    sys.exit(main())
