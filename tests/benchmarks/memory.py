"""The memory of a process and everything below it, by proportional set size."""

import threading
from pathlib import Path

import psutil


class Watch(threading.Thread):
    """Samples the memory of a process and everything below it.

    The sum of proportional set sizes: pages that processes share are counted once, and are not
    hidden.
    """

    def __init__(self, root: int) -> None:
        """Begin to watch process ``root``."""
        super().__init__(daemon=True)
        self.root, self.peak = psutil.Process(root), 0
        self._ended = threading.Event()

    def run(self) -> None:
        """Sample until told to end."""
        while True:
            self.peak = max(self.peak, self.sample())
            if self._ended.wait(0.2):
                return

    def end(self) -> float:
        """Stop sampling; return the greatest memory [MiB]."""
        self._ended.set()
        self.join()
        return self.peak / 2**20

    def sample(self) -> int:
        """Return the sum of proportional set sizes [bytes]."""
        total = 0
        for process in [self.root, *self.root.children(recursive=True)]:
            try:
                rollup = Path(f"/proc/{process.pid}/smaps_rollup").read_text()
            except OSError:
                continue
            total += 1024 * sum(int(x.split()[1]) for x in rollup.splitlines() if x[:4] == "Pss:")
        return total
