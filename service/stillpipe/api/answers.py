"""Body in, body out, for each estimate; repeated bodies are answered from memory."""

import threading
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, nullcontext
from functools import lru_cache
from typing import Any

import orjson

from stillpipe.api import dump, reading
from stillpipe.api.inputs import schemas
from stillpipe.api.inputs.schemas import Loaded
from stillpipe.api.registry import ENDPOINTS, Endpoint

CACHED = 2048
"""Answers kept by each worker; the service is stateless, so an equal body has an equal answer."""

MEDIA_TYPE = "application/json"

Admission = Callable[[], AbstractContextManager[None]]
"""What an estimate is made within: a place to compute in, say."""


class Answers:
    """The answers of ``endpoints``; ``read`` makes of a body its JSON value, strictly."""

    def __init__(self, endpoints: Mapping[str, Endpoint], read: Callable[[bytes], Any]) -> None:
        self.endpoints, self._read = endpoints, read
        self._current = threading.local()
        self.cached = lru_cache(maxsize=CACHED)(self._answer)

    def reply(self, name: str, tree: Any) -> dict[str, Any]:
        """Return the reply of estimate ``name`` to a parsed body.

        Raises
        ------
        ValidationError, StillpipeError
            naming every member that cannot be used
        """
        return self._estimated(name, schemas.load(self.endpoints[name].request, tree))

    def answer(
        self, name: str, body: bytes, form: str = MEDIA_TYPE, admission: Admission = nullcontext
    ) -> tuple[bytes, bool]:
        """Return the answer of estimate ``name`` to ``body`` as media type ``form``.

        And whether it was estimated now rather than remembered. An estimate is made within
        ``admission``; reading and checking the body is no part of it.

        Raises
        ------
        ValidationError, StillpipeError
            for a body that cannot be answered, or whatever reading it raises; errors are not
            remembered
        """
        self._current.fresh, self._current.admission = False, admission
        found = self.cached(name, body, form)
        return found, bool(self._current.fresh)

    def _answer(self, name: str, body: bytes, form: str) -> bytes:
        endpoint = self.endpoints[name]
        if form != MEDIA_TYPE:
            return endpoint.forms[form](orjson.loads(self.cached(name, body, MEDIA_TYPE)))
        loaded = schemas.load(endpoint.request, self._read(body))
        with self._current.admission():
            self._current.fresh = True
            return orjson.dumps(self._estimated(name, loaded))

    def _estimated(self, name: str, loaded: Loaded[Any]) -> dict[str, Any]:
        return dump.reply(loaded, self.endpoints[name].estimate(loaded.request))


ANSWERS = Answers(ENDPOINTS, reading.read)
"""The answers of this process."""
