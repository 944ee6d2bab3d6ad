"""How much is taken on at once: what gunicorn's settings and the application both go by.

Every figure is that of one worker process.
"""

import os

BATCHES = 4
"""Batches under way; each holds a thread while its items are computed by other processes."""
SPARE = 16
"""Threads that no estimate and no batch ever takes: for probes, catalogues, pages and refusals."""


class SettingError(ValueError):
    """A variable says what cannot be; the service does not start."""


def places() -> int:
    """Return how many estimates are computed at once: STILLPIPE_THREADS."""
    return _whole("STILLPIPE_THREADS", 4, 1)


def queue() -> int:
    """Return how many estimates may wait for a place: STILLPIPE_QUEUE."""
    return _whole("STILLPIPE_QUEUE", 60, 0)


def threads() -> int:
    """Return how many threads serve, so that one is always free for what is no estimate."""
    return places() + queue() + BATCHES + SPARE


def _whole(name: str, default: int, least: int) -> int:
    said = os.environ.get(name, "") or str(default)
    if not said.isascii() or not said.isdigit() or int(said) < least:
        raise SettingError(f"{name} is a whole number from {least} on, not {said!r}")
    return int(said)
