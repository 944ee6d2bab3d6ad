"""Starting loads what every request needs, and no more."""

import ctypes
import os
import subprocess
import sys
from pathlib import Path

import pytest

import stillpipe

CONFIGURATION = Path(__file__).parents[2] / "deploy" / "gunicorn.conf.py"

STARTED = """
import sys
from stillpipe.server.app import create_app
create_app()
print(*(m for m in ("CoolProp", "matplotlib", "scipy.optimize", "iapws") if m in sys.modules))
"""


def test_what_only_pictures_stocks_and_tests_need_is_not_loaded() -> None:
    run = subprocess.run(
        [sys.executable, "-c", STARTED],
        cwd=Path(stillpipe.__file__).parents[1], capture_output=True, text=True, timeout=600,
        check=True,
    )  # fmt: skip
    assert run.stdout.split() == []


HEAPS = """
import ctypes, pathlib, runpy, sys, threading
if sys.argv[2:]:
    runpy.run_path(sys.argv[2])
met, kept = threading.Barrier(8), []
def take():
    met.wait()
    kept.append(bytearray(50_000))
    met.wait()
threads = [threading.Thread(target=take) for _ in range(8)]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
c = ctypes.CDLL(None)
c.fopen.restype, c.malloc_info.argtypes = ctypes.c_void_p, (ctypes.c_int, ctypes.c_void_p)
c.fclose.argtypes = (ctypes.c_void_p,)
file = c.fopen(sys.argv[1].encode(), b"w")
c.malloc_info(0, file)
c.fclose(file)
print(pathlib.Path(sys.argv[1]).read_text().count("<heap nr="))
"""
"""Eight threads that take memory at the same time, and in how many heaps it lies."""


def heaps(folder: Path, *configuration: str, **environment: str) -> int:
    """How many there are, with and without gunicorn's settings."""
    clean = {k: v for k, v in os.environ.items() if k != "MALLOC_ARENA_MAX"}
    clean |= {"PROMETHEUS_MULTIPROC_DIR": str(folder / "metrics")} | environment
    clean.pop("STILLPIPE_METRICS_BEGUN", None)
    run = subprocess.run(
        [sys.executable, "-c", HEAPS, str(folder / "heaps.xml"), *configuration],
        cwd=Path(stillpipe.__file__).parents[1], env=clean, capture_output=True, text=True,
        timeout=600, check=True,
    )  # fmt: skip
    return int(run.stdout)


@pytest.mark.skipif(not hasattr(ctypes.CDLL(None), "malloc_info"), reason="no glibc here")
def test_threads_share_two_heaps_unless_the_operator_says_otherwise(tmp_path: Path) -> None:
    """What an estimate took once stays with its heap, so that the number of them counts."""
    assert heaps(tmp_path) > 3
    assert heaps(tmp_path, str(CONFIGURATION)) == 2
    assert heaps(tmp_path, str(CONFIGURATION), MALLOC_ARENA_MAX="3") == 3
