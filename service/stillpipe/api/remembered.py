"""Values kept in memory up to so many bytes; those not asked for the longest are dropped."""

import threading
from collections import OrderedDict

Key = tuple[str, bytes, str]

ENTRY = 512
"""What an entry takes beside its texts [bytes]; on CPython 3.11, rounded up."""


class Remembered:
    """Bodies by key, of ``most`` bytes together, keys and what holds them counted."""

    def __init__(self, most: int) -> None:
        """Begin empty."""
        self._most, self._lock = most, threading.Lock()
        self._kept: OrderedDict[Key, bytes] = OrderedDict()
        self.size = 0
        """Of what is kept [bytes]."""

    def __len__(self) -> int:
        return len(self._kept)

    def get(self, key: Key) -> bytes | None:
        """Return what is kept under ``key``, None where nothing is."""
        with self._lock:
            found = self._kept.get(key)
            if found is not None:
                self._kept.move_to_end(key)
            return found

    def keep(self, key: Key, value: bytes) -> None:
        """Keep ``value`` under ``key``, and drop as many others as that takes."""
        with self._lock:
            if (old := self._kept.pop(key, None)) is not None:
                self.size -= _size(key, old)
            self._kept[key] = value
            self.size += _size(key, value)
            while self.size > self._most:
                self.size -= _size(*self._kept.popitem(last=False))

    def clear(self) -> None:
        """Drop everything."""
        with self._lock:
            self._kept.clear()
            self.size = 0


def _size(key: Key, value: bytes) -> int:
    return len(key[1]) + len(key[2]) + len(value) + ENTRY
