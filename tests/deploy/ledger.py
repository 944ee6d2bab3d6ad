"""What was answered to what: the same question never gets two different answers."""

import json
import threading
from collections import Counter
from hashlib import sha256
from typing import Any


def canonical(tree: Any) -> bytes:
    """A tree of JSON as text that does not depend on the order of members."""
    return json.dumps(tree, sort_keys=True, separators=(",", ":")).encode()


class Ledger:
    """Digests of answers by digests of questions; several threads may write."""

    def __init__(self) -> None:
        self._answers: dict[bytes, bytes] = {}
        self._asked: Counter[bytes] = Counter()
        self._lock = threading.Lock()

    def note(self, question: bytes, answer: bytes) -> None:
        """Keep ``answer``.

        Raises
        ------
        AssertionError
            where ``question`` got another one before
        """
        key, digest = sha256(question).digest(), sha256(answer).digest()
        with self._lock:
            self._asked[key] += 1
            first = self._answers.setdefault(key, digest)
        assert first == digest, f"two answers to {question[:2000]!r}, the later {answer[:2000]!r}"

    def has(self, question: bytes) -> bool:
        """Whether there is an answer."""
        return sha256(question).digest() in self._answers

    def __len__(self) -> int:
        return len(self._answers)

    @property
    def answers(self) -> int:
        """All that came, those to the same question counted each."""
        return self._asked.total()

    @property
    def repeated(self) -> int:
        """Questions that were answered more than once."""
        return sum(n > 1 for n in self._asked.values())
