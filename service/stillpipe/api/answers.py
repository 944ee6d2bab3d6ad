"""Body in, body out, for each estimate; repeated bodies are answered from memory."""

import threading
from collections.abc import Callable, Container, Mapping
from contextlib import AbstractContextManager, nullcontext
from typing import Any, NamedTuple

import orjson

from stillpipe.api import dump, reading, selection
from stillpipe.api.inputs import schemas
from stillpipe.api.inputs.schemas import Loaded
from stillpipe.api.registry import ENDPOINTS, JSON, Endpoint
from stillpipe.api.remembered import Remembered
from stillpipe.api.selection import USUAL, Selection
from stillpipe.model.figures import Effort

MEMORY = 16 * 2**20
"""What each worker keeps of answers [bytes], about 2,500 of them.

The service is stateless, so an equal body has an equal answer.
"""

MEDIA_TYPE = "application/json"

Admission = Callable[[], AbstractContextManager[None]]
"""What an estimate is made within: a place to compute in, say."""


class Made(NamedTuple):
    """An answer's ``body``, and what it took; ``effort`` is None where it was remembered."""

    body: bytes
    effort: Effort | None


class Answers:
    """The answers of ``endpoints``; ``read`` makes of a body its JSON value, strictly."""

    def __init__(self, endpoints: Mapping[str, Endpoint], read: Callable[[bytes], Any]) -> None:
        self.endpoints, self._read = endpoints, read
        self._current = threading.local()
        self.remembered = Remembered(MEMORY)

    def reply(self, name: str, tree: Any, left_out: Container[str] = ()) -> tuple[JSON, Effort]:
        """Return the reply of estimate ``name`` to a parsed body, and what it took.

        Members of the reply whose names are ``left_out`` are not made.

        Raises
        ------
        ValidationError, StillpipeError
            naming every member that cannot be used
        """
        endpoint = self.endpoints[name]
        return _estimated(endpoint, schemas.load(endpoint.request, tree), left_out)

    def answer(
        self,
        name: str,
        body: bytes,
        form: str = MEDIA_TYPE,
        admission: Admission = nullcontext,
        asked: Selection = USUAL,
    ) -> Made:
        """Return the answer of estimate ``name`` to ``body`` as media type ``form``.

        Of JSON it has the members that are ``asked`` for; other forms are made of all. An estimate
        is made within ``admission``; reading and checking the body is no part of it.

        Raises
        ------
        ValidationError, StillpipeError
            for a body that cannot be answered, or whatever reading it raises; errors are not
            remembered
        """
        self._current.effort, self._current.admission = None, admission
        if form != MEDIA_TYPE or not (self.endpoints[name].on_request or asked.fields):
            return Made(self._kept(name, body, form), self._current.effort)
        return Made(self._part(name, body, asked), self._current.effort)

    def _kept(self, name: str, body: bytes, form: str) -> bytes:
        """Return a whole answer from memory, or make it and keep it."""
        key = (name, body, form)
        found = self.remembered.get(key)
        if found is None:
            found = self._body(name, body, form)
            self.remembered.keep(key, found)
        return found

    def _part(self, name: str, body: bytes, asked: Selection) -> bytes:
        """Return the members asked for from memory, or take them from the whole answer."""
        key = (name, body, f"{MEDIA_TYPE};part{asked.text}")
        found = self.remembered.get(key)
        if found is None:
            whole = orjson.loads(self._kept(name, body, MEDIA_TYPE))
            part = selection.chosen(whole, asked, self.endpoints[name].on_request)
            found = orjson.dumps(part)
            self.remembered.keep(key, found)
        return found

    def _body(self, name: str, body: bytes, form: str) -> bytes:
        endpoint = self.endpoints[name]
        if form != MEDIA_TYPE:
            return endpoint.form(form)(orjson.loads(self._kept(name, body, MEDIA_TYPE)))
        loaded = schemas.load(endpoint.request, self._read(body))
        with self._current.admission():
            reply, self._current.effort = _estimated(endpoint, loaded)
            return orjson.dumps(reply)


def _estimated(
    endpoint: Endpoint, loaded: Loaded[Any], left_out: Container[str] = ()
) -> tuple[JSON, Effort]:
    answer = endpoint.estimate(loaded.request)
    return dump.reply(loaded, answer, left_out), answer.effort


ANSWERS = Answers(ENDPOINTS, reading.read)
"""The answers of this process."""
