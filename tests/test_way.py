"""The way of a request through the house: which modules it is handed to."""

import json
import sys
from pathlib import Path
from types import FrameType
from typing import Any

import stillpipe
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.server.app import create_app

HOUSE = Path(stillpipe.__file__).parent
MOST = 14
"""So many modules may be handed a plug-time request."""
BODY: dict[str, Any] = {
    "id": "harbour-lane-baths/plant-room/point-1",
    "pipe": {"standard": "ASTM B88", "size": "1/2", "schedule": "L"},
    "fluid": {"type": "water", "temperature": {"value": 20, "unit": "degC"}},
    "ambient": {"temperature": {"value": 20, "unit": "degC"}},
}


class Follower:
    """Keeps which modules of the house are handed a request: its body, what is read of it, or it.

    ``text`` is the body.
    """

    def __init__(self, text: str) -> None:
        self.known = (text, text.encode(), json.loads(text))
        self.found: set[str] = set()

    def __call__(self, frame: FrameType, event: str, _: object) -> None:
        """Look at what a function of the house is called with."""
        code, file = frame.f_code, Path(frame.f_code.co_filename)
        if event != "call" or not file.is_relative_to(HOUSE):
            return
        given = code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]
        if any(self.is_request(frame.f_locals.get(name)) for name in given):
            self.found.add(str(file.relative_to(HOUSE)))

    def is_request(self, value: object) -> bool:
        """Tell whether ``value`` is the request, in any of its forms."""
        return isinstance(value, FreezePoint) or (
            isinstance(value, (str, bytes, dict)) and value in self.known
        )


def handed(bar: float) -> set[str]:
    """Return which modules a request about a line of so much pressure is handed to."""
    text = json.dumps(BODY | {"line_pressure": {"value": bar, "unit": "bar"}})
    client, follower = create_app().test_client(), Follower(text)
    sys.setprofile(follower)
    try:
        reply = client.post("/v1/plug-time", data=text, content_type="application/json")
    finally:
        sys.setprofile(None)
    assert reply.status_code == 200
    return follower.found


def test_a_plug_time_request_is_handed_to_few_modules() -> None:
    """From the route to the freeze as the solver takes it, and to the echo."""
    found = handed(3.0) | handed(3.1)
    assert {"server/routes.py", "api/answers.py", "model/requests.py"} <= found
    assert {"estimates/plug_time.py", "estimates/cases.py", "api/inputs/echo.py"} <= found
    assert len(found) <= MOST, sorted(found)
