"""A real server and a real browser, for the pages."""

import shutil
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from werkzeug.serving import make_server

from stillpipe.server.app import create_app

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIApplication


@contextmanager
def served(application: "WSGIApplication", host: str = "127.0.0.1") -> Iterator[str]:
    """The origin at which ``application`` is served."""
    server = make_server(host, 0, application, threaded=True)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://{host}:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture(scope="session")
def site() -> Iterator[str]:
    """The address of the application, served on loopback."""
    with served(create_app()) as address:
        yield address


@pytest.fixture
def browser() -> Iterator[webdriver.Chrome]:
    """A headless Chromium with a window of a phone's or a desk's size, set by the test."""
    driver = shutil.which("chromedriver")
    if driver is None:
        pytest.skip("no chromedriver on this machine")
    options = webdriver.ChromeOptions()
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    with tempfile.TemporaryDirectory() as folder:
        for flag in (
            "headless", "no-sandbox", "disable-gpu", "disable-quic", "no-first-run",
            "disable-background-networking", "disable-component-update", "disable-sync",
            "disable-dev-shm-usage", f"user-data-dir={folder}", "window-size=1200,900",
        ):  # fmt: skip
            options.add_argument(f"--{flag}")
        chrome = webdriver.Chrome(options=options, service=Service(driver))
        yield chrome
        chrome.quit()
