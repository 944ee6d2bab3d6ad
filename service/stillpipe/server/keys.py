"""Optional API keys: SHA-256 digests in a file, several at once, changed without a restart.

    python -m stillpipe.server.keys NAME

prints a new key, to be given to the caller, and the line for the file named by
``STILLPIPE_KEYS_FILE``. Without that variable every request is let in. The file is read for every
request, because neither its time nor its size tells surely that it has changed; where it cannot be
read nobody is let in. A line is ``name:digest``, ``#`` begins a comment. A key has 256 random bits,
so that a plain digest cannot be searched.
"""

import hashlib
import hmac
import os
import re
import secrets
import sys
from pathlib import Path

from flask import g, request

from stillpipe.api.problems import RequestError

OPEN = ("/", "/v1", "/livez", "/readyz", "/openapi.json", "/openapi.yaml", "/docs", "/metrics")
"""Addresses that never ask for a key; a proxy decides who reaches /metrics."""
BELOW = ("/docs/", "/v1/problems/")
"""Nor do those that begin so: what an error means is told to whoever met it."""
_LINE = re.compile(r"(?P<name>[A-Za-z0-9._-]{1,64}):(?P<digest>[0-9a-f]{64})")


class KeysFileError(RuntimeError):
    """The keys file cannot be read; nobody is let in."""


class Keys:
    """The keys of one file, parsed again when its bytes change."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._parsed: tuple[bytes, dict[str, str]] = (b"", {})

    def name(self, key: str) -> str | None:
        """Return whose ``key`` it is, None if nobody's; every digest is compared.

        Raises
        ------
        KeysFileError
            where the file cannot be read
        """
        digest, found = digest_of(key), None
        for known, name in self.current().items():
            if hmac.compare_digest(known, digest):
                found = name
        return found

    def current(self) -> dict[str, str]:
        """Return digest to name of every key in the file.

        Raises
        ------
        KeysFileError
            where the file cannot be read
        """
        try:
            raw = self._path.read_bytes()
            held, digests = self._parsed
            if raw != held:
                digests = read(raw.decode("utf-8"))
                self._parsed = (raw, digests)
        except (OSError, UnicodeDecodeError) as error:
            raise KeysFileError(str(error)) from error
        return digests


def digest_of(key: str) -> str:
    """Return the digest of ``key`` as the file holds it."""
    return hashlib.sha256(key.encode()).hexdigest()


def read(text: str) -> dict[str, str]:
    """Return digest to name of every line of a keys file.

    Raises
    ------
    KeysFileError
        for a line that is neither a key nor a comment
    """
    found = {}
    for number, line in enumerate(text.splitlines(), 1):
        plain = line.partition("#")[0].strip()
        if not plain:
            continue
        match = _LINE.fullmatch(plain)
        if not match:
            raise KeysFileError(f"line {number} of the keys file is not name:digest")
        found[match["digest"]] = match["name"]
    return found


def check(keys: Keys) -> None:
    """Refuse the present request unless it carries a known key.

    A browser asks with OPTIONS, and without the key, whether it may send it.

    Raises
    ------
    RequestError
        ``unauthorized``
    KeysFileError
        where the keys cannot be read, whatever the caller sent
    """
    path = request.path
    if path in OPEN or path.startswith(BELOW) or request.method == "OPTIONS":
        return
    scheme, _, key = request.headers.get("Authorization", "").partition(" ")
    name = keys.name(key.strip() if scheme.lower() == "bearer" else "")
    if name is None:
        raise RequestError("unauthorized", "Send a known key as Authorization: Bearer.")
    g.caller = name


def from_environment() -> Keys | None:
    """Return the keys of ``STILLPIPE_KEYS_FILE``, None where it is not set."""
    path = os.environ.get("STILLPIPE_KEYS_FILE")
    return Keys(Path(path)) if path else None


if __name__ == "__main__":
    made = secrets.token_urlsafe(32)
    print("key:", made)
    print("line:", f"{sys.argv[1] if len(sys.argv) > 1 else 'caller'}:{digest_of(made)}")
