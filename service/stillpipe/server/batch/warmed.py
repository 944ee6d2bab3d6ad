"""Importing this loads the estimates and the compiled solver: what the fork server copies."""

import gc
import os

# items are counted by the process that answers them; no file of metrics is begun here
os.environ.pop("PROMETHEUS_MULTIPROC_DIR", None)

from stillpipe.server import warm
from stillpipe.server.batch import batch

warm.warm()
# what is loaded stays: no collection walks it again, and workers share its pages
gc.collect()
gc.freeze()

work = batch.work
