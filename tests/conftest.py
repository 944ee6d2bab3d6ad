"""Fixtures shared by all tests."""

import pytest
from flask.testing import FlaskClient

from stillpipe.web.app import create_app


@pytest.fixture(scope="session")
def client() -> FlaskClient:
    """A client of the real application, solver loaded."""
    return create_app().test_client()
