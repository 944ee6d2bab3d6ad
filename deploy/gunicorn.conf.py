"""gunicorn settings; every knob is an environment variable with a default that works."""

import os

wsgi_app = "stillpipe.web.app:create_app()"
bind = os.environ.get("STILLPIPE_BIND", "127.0.0.1:8000")
worker_class = "gthread"
workers = int(os.environ.get("STILLPIPE_WORKERS", "2"))
threads = int(os.environ.get("STILLPIPE_THREADS", "4"))
preload_app = True
"""The compiled solver is loaded once and shared by the workers."""
worker_tmp_dir = "/dev/shm" if os.path.isdir("/dev/shm") else None  # noqa: S108
control_socket_disable = True
timeout = 60
graceful_timeout = 30
keepalive = 5
limit_request_line = 8190
limit_request_field_size = 8190
accesslog = None
errorlog = "-"
