"""Importing this loads the estimates and the compiled solver: what the fork server copies."""

from stillpipe.server import warm
from stillpipe.server.batch import batch

warm.warm()

work = batch.work
