"""A live server that asks for a key, for the generated clients."""

from collections.abc import Iterator
from typing import NamedTuple

import pytest

from deploy.stack import Server
from stillpipe.server import keys

KEY = "the-key-of-harbour-lane-dispatch"


class Live(NamedTuple):
    address: str
    key: str


@pytest.fixture(scope="package")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """gunicorn with a keys file."""
    file = tmp_path_factory.mktemp("keys") / "keys"
    file.write_text(f"dispatch:{keys.digest_of(KEY)}\n")
    with Server(STILLPIPE_KEYS_FILE=str(file)) as server:
        yield Live(server.address, KEY)
