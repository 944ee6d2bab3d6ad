"""How much is taken on at once: what gunicorn's settings and the application both go by.

Every figure is that of one worker process unless it says otherwise.
"""

import os

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
    return places() + queue() + batches_here() + SPARE


def batches_here() -> int:
    """Return how many batches one process takes on; each holds a thread while others compute."""
    return max(1, places() // 2)


def workers() -> int:
    """Return how many processes serve: STILLPIPE_WORKERS."""
    return _whole("STILLPIPE_WORKERS", 2, 1)


def batches() -> int:
    """Return how many batches the whole service takes on: STILLPIPE_BATCHES."""
    return _whole("STILLPIPE_BATCHES", workers() * batches_here(), 1)


def trusted_proxies() -> int:
    """Return how many proxies in front name the caller: STILLPIPE_TRUSTED_PROXIES."""
    return _whole("STILLPIPE_TRUSTED_PROXIES", 0, 0)


def _whole(name: str, default: int, least: int) -> int:
    said = os.environ.get(name, "") or str(default)
    if not said.isascii() or not said.isdigit() or int(said) < least:
        raise SettingError(f"{name} is a whole number from {least} on, not {said!r}")
    return int(said)
