"""The wheel, installed outside the source tree, serves everything: description, examples, pages."""

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import requests

from deploy.stack import ROOT, Server
from stillpipe.api import description
from stillpipe.server import docs

EXAMPLES = ROOT / "openapi" / "examples"

pytestmark = pytest.mark.server


def pip(*arguments: str | Path, cwd: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "pip", *arguments, "--no-deps", "--no-index", "--quiet"],
        cwd=cwd, capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with nothing but the installed wheel; its source is gone."""
    folder = tmp_path_factory.mktemp("wheel")
    source = folder / "source"
    source.mkdir()
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, source)
    for name in ("openapi", "service"):
        ignored = shutil.ignore_patterns("__pycache__", "*.egg-info")
        shutil.copytree(ROOT / name, source / name, symlinks=True, ignore=ignored)
    pip("wheel", ".", "--no-build-isolation", "--wheel-dir", folder, cwd=source)
    shutil.rmtree(source)
    (wheel,) = folder.glob("stillpipe-*.whl")
    pip("install", "--target", folder / "site", wheel, cwd=folder)
    return folder / "site"


@pytest.fixture(scope="module")
def address(installed: Path) -> Iterator[str]:
    """gunicorn in an empty folder, which finds the service in the installed wheel alone."""
    server = Server(PYTHONPATH=str(installed))
    server.place = installed.parent / "empty"
    server.place.mkdir()
    environment = os.environ | server.environment
    where = subprocess.run(
        [sys.executable, "-c", "import stillpipe; print(stillpipe.__file__)"],
        cwd=server.place, env=environment, capture_output=True, text=True, timeout=60, check=True,
    ).stdout  # fmt: skip
    assert Path(where.strip()).is_relative_to(installed)
    with server:
        yield server.address


def answer(address: str, name: str, kind: str = "application/json") -> requests.Response:
    body = (EXAMPLES / f"{name}-request.json").read_bytes()
    heads = {"Content-Type": "application/json", "Accept": kind}
    reply = requests.post(f"{address}/v1/{name}", body, headers=heads, timeout=120)
    assert reply.status_code == 200
    assert reply.headers["Content-Type"].startswith(kind)
    return reply


def test_the_description_is_the_one_of_the_source(address: str) -> None:
    served: dict[str, Any] = requests.get(f"{address}/openapi.json", timeout=60).json()
    assert served == description.tree()
    examples = served["paths"]["/v1/plug-time"]["post"]["requestBody"]["content"]
    shown = examples["application/json"]["examples"]["plug-time-request"]["value"]
    assert shown == json.loads((EXAMPLES / "plug-time-request.json").read_text())
    text = requests.get(f"{address}/openapi.yaml", timeout=60).content
    assert text == description.text()


def test_the_page_has_all_its_parts(address: str) -> None:
    page = requests.get(f"{address}/docs", timeout=60)
    assert page.status_code == 200
    parts = re.findall(r'(?:src|href)="(docs/[^"]+)"', page.text)
    assert len(parts) == 4
    for part in parts:
        found = requests.get(f"{address}/{part}", timeout=60)
        assert found.status_code == 200
        assert found.content
    for file in docs.FILES:
        assert requests.get(f"{address}/docs/{file}", timeout=60).content, file


def test_a_freeze_is_estimated(address: str) -> None:
    assert answer(address, "plug-time").json()["closure"]["likely"] > 0


def test_a_job_sheet_is_written(address: str) -> None:
    sheet = answer(address, "job-estimate", "text/html").text
    assert "<svg" in sheet
    assert json.loads((EXAMPLES / "job-estimate-request.json").read_text())["id"] in sheet


def test_the_catalogues_are_there(address: str) -> None:
    for name in ("pipes", "materials", "fluids", "cylinders"):
        assert requests.get(f"{address}/v1/{name}", timeout=60).json()["items"]
