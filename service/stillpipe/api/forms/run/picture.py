"""Pictures of runs of pipe cut open lengthwise."""

from stillpipe.api.forms import canvas
from stillpipe.api.forms.canvas import JSON
from stillpipe.api.forms.run import draw, read
from stillpipe.api.forms.run.read import Run


def hold_time(reply: JSON) -> bytes:
    """Return a plug at the planned ready and at the end of its hold."""
    return _drawn(reply, "Hold", read.of_hold(reply))


def spacing(reply: JSON) -> bytes:
    """Return a run of pipe with its plugs at the end of the hold, and the distances required."""
    return _drawn(reply, "Run", read.of_spacing(reply))


def job(reply: JSON) -> bytes:
    """Return the runs of a job with their plugs at ready and at the end of the repair."""
    return _drawn(reply, "Job", read.of_job(reply))


def _drawn(reply: JSON, unnamed: str, runs: list[Run]) -> bytes:
    if not any(run.plugs for run in runs):
        said = " ".join(reason["text"] for reason in reply["reasons"])
        return canvas.drawn(canvas.refusal, reply, unnamed, said)
    said = "; ".join(map(read.said, runs))
    return canvas.drawn(lambda _: draw.page(runs), reply, unnamed, said)
