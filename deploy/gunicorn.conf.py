"""gunicorn settings; every knob is an environment variable with a default that works."""

import atexit
import ctypes
import multiprocessing
import os
import pathlib
import shutil
import signal
import sys
import tempfile

from stillpipe.server import settings

wsgi_app = "stillpipe.server.app:create_app()"
bind = os.environ.get("STILLPIPE_BIND", "127.0.0.1:8000")
worker_class = "stillpipe.server.worker.Worker"
workers = int(os.environ.get("STILLPIPE_WORKERS", "2"))
threads = settings.threads()
"""More than estimates may take, so that probes, catalogues and refusals are answered at once."""
preload_app = True
"""The compiled solver is loaded once and shared by the workers."""
worker_tmp_dir = "/dev/shm" if os.path.isdir("/dev/shm") else None  # noqa: S108
control_socket_disable = True
timeout = 60
graceful_timeout = 25
"""With what ends a pod before it, less than Kubernetes allows in all."""
keepalive = 5
limit_request_line = 8190
limit_request_field_size = 8190
limit_request_fields = 8192
"""More than fit into the head that the proxy lets through: it is the proxy that refuses."""
accesslog = None
errorlog = "-"

M_ARENA_MAX, ARENAS = -8, 2
"""Of glibc's malloc.h; how many heaps the threads of a process share. By default each thread has
its own, up to eight for each core, and each grows to what an estimate takes and keeps it."""
if "MALLOC_ARENA_MAX" not in os.environ and hasattr(ctypes.CDLL(None), "mallopt"):
    ctypes.CDLL(None).mallopt(M_ARENA_MAX, ARENAS)

# requests are what runs side by side: threads of their small matrix products only wait in loops
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

scratch = f"{tempfile.gettempdir()}/stillpipe-{os.getpid()}"
"""A folder for each worker, so that what a killed one leaves is known and dropped."""

# Metrics are shared by files on tmpfs: wiped once, before anything imports the client, and kept
# over a reload of this file.
if "STILLPIPE_METRICS_BEGUN" not in os.environ:
    memory = "/dev/shm" if os.path.isdir("/dev/shm") else "/tmp"  # noqa: S108
    folder = f"{memory}/stillpipe-metrics-{os.getpid()}"
    folder = os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", folder)
    shutil.rmtree(folder, ignore_errors=True)
    os.makedirs(folder)
    os.environ["STILLPIPE_METRICS_BEGUN"] = "1"

    def wipe(owner: int = os.getpid(), folder: str = folder) -> None:
        """Leave nothing behind, also where the start fails; a worker, which is a fork, does not."""
        if os.getpid() == owner:
            shutil.rmtree(folder, ignore_errors=True)
            shutil.rmtree(scratch, ignore_errors=True)

    atexit.register(wipe)
    # a signal before gunicorn has its own handlers would end this without the line above
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))


def post_fork(_server: object, worker: object) -> None:
    """Give the worker, and all below it, a folder of its own for what it writes for a while."""
    folder = f"{scratch}/{worker.pid}"
    os.makedirs(folder, mode=0o700)
    tempfile.tempdir = os.environ["TMPDIR"] = folder
    # so that the semaphores of its batches' processes are known by their names
    multiprocessing.current_process()._config["semprefix"] = f"/stillpipe-{worker.pid}"


def post_worker_init(worker: object) -> None:
    """Let batches know when the worker is told to end, and how long it may take."""
    from stillpipe.server.batch import endings  # noqa: PLC0415 - in the worker

    endings.shutdown.watch(lambda: worker.alive, worker.cfg.graceful_timeout)


def child_exit(_server: object, worker: object) -> None:
    """Keep a dead worker's counts, drop its gauges and what it left."""
    from prometheus_client import multiprocess  # noqa: PLC0415 - after the folder is named

    multiprocess.mark_process_dead(worker.pid)
    shutil.rmtree(f"{scratch}/{worker.pid}", ignore_errors=True)
    for left in pathlib.Path("/dev/shm").glob(f"sem.stillpipe-{worker.pid}-*"):  # noqa: S108
        left.unlink(missing_ok=True)
