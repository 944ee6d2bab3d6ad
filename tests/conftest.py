"""Fixtures shared by all tests."""

import os
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from stillpipe.api import description
from stillpipe.server.app import create_app


@pytest.fixture(scope="session")
def client() -> FlaskClient:
    """A client of the real application, solver loaded."""
    return create_app().test_client()


@pytest.fixture(scope="session")
def described(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The description as served, in a file for tools that want one."""
    file = tmp_path_factory.mktemp("description") / "openapi.yaml"
    file.write_bytes(description.text())
    return file


@pytest.fixture
def artefacts(tmp_path: Path) -> Path:
    """Where prints and screens of sheets are left, to be looked at."""
    folder = Path(os.environ.get("STILLPIPE_ARTEFACTS") or tmp_path)
    folder.mkdir(parents=True, exist_ok=True)
    return folder
