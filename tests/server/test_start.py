"""Starting loads what every request needs, and no more."""

import subprocess
import sys
from pathlib import Path

import stillpipe

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
