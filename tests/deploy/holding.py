"""What gunicorn and all below it hold: memory, descriptors, processes."""

import re
from collections import Counter
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

import psutil

from deploy.stack import Server


def family(server: Server) -> list[psutil.Process]:
    """gunicorn's processes: the arbiter, its workers and theirs."""
    parent = psutil.Process(server.server.pid)
    return [parent, *parent.children(recursive=True)]


class Held(NamedTuple):
    """What gunicorn and all below it hold, each page counted by the part that is theirs.

    Pages of files are shared with whatever else runs from the same files, and so change with it;
    ``anonymous`` ones are theirs alone.
    """

    memory: float
    """[MiB]"""
    anonymous: float
    """[MiB]"""
    descriptors: int
    processes: int


def held(server: Server) -> Held:
    """Read what is held now from the kernel's own sums."""
    pages: Counter[str] = Counter()
    descriptors, count = 0, 0
    for process in family(server):
        with suppress(psutil.Error, OSError):
            text = Path(f"/proc/{process.pid}/smaps_rollup").read_text()
            descriptors += process.num_fds()
            pages.update({k: int(v) for k, v in re.findall(r"^(Pss\w*): +(\d+) kB$", text, re.M)})
            count += 1
    return Held(pages["Pss"] / 1024, pages["Pss_Anon"] / 1024, descriptors, count)
