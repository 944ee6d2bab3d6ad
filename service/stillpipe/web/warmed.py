"""Importing this loads the estimates and the compiled solver: what the fork server copies."""

from stillpipe.estimates import warm
from stillpipe.web import batch

warm.warm()

work = batch.work
