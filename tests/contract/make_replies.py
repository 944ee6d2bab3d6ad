"""Write what the service answers into openapi/replies/: ``python tests/contract/make_replies.py``.

The description shows these as its examples. Each is made by asking the service, those of the proxy
(an address or a head too long, no answer in time) are read from its configuration.
"""

import csv
import io
import json
import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import openpyxl
from flask.testing import FlaskClient

from stillpipe.api import description, problems
from stillpipe.server.app import create_app
from stillpipe.server.batch.exchange import XLSX
from stillpipe.server.batch.spool import StorageError

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "openapi" / "examples"
REPLIES = ROOT / "openapi" / "replies"
ID = "harbour-lane-request-1"
HEADS = {"X-Request-Id": ID}
PAGES = {
    "/": "/", "/v1": "/v1", "/v1/limits": "/v1/limits", "/v1/meta": "/v1/meta",
    "/v1/pipes": "/v1/pipes?standard=ASTM+B88&size=1/2",
    "/v1/materials": "/v1/materials?key=pvc", "/v1/fluids": "/v1/fluids?key=seawater",
    "/v1/cylinders": "/v1/cylinders?id=co2-9.1kg", "/v1/problems/{type}": "/v1/problems/busy",
    "/livez": "/livez", "/readyz": "/readyz",
}  # fmt: skip
"""What is asked for the example of a page; of a catalogue, a few items."""
BATCHES = {
    ("/v1/batch", "application/json"): ("application/json", "batch-array.json"),
    ("/v1/batch", "text/csv"): ("application/json", "batch-array.json"),
    ("/v1/batch/lines", "application/x-ndjson"): ("application/x-ndjson", "batch-lines.ndjson"),
    ("/v1/batch/table", "text/csv"): ("text/csv", "batch-table.csv"),
}
"""What is sent for the example of a batch's answer, by address and form of the answer."""
TABLE = EXAMPLES / "calibration-table.csv"
BY_PROXY = {"UriTooLong": 414, "HeadersTooLarge": 431, "TimedOut": 504}


def estimates(client: FlaskClient) -> dict[str, Any]:
    """Return the reply of every estimate to the first example of its request, in each form."""
    found = {}
    for path, item in description.tree()["paths"].items():
        if "post" in item and not path.startswith("/v1/batch"):
            ((kind, content),) = item["post"]["requestBody"]["content"].items()
            body = workbook(TABLE) if kind == XLSX else _first(content["examples"])
            reply = client.post(path, data=body, content_type=kind, headers=HEADS)
            found[path] = {"application/json": reply.json}
    return found


def workbook(table: Path) -> bytes:
    """Return a table of CSV as a workbook."""
    book, held = openpyxl.Workbook(), io.BytesIO()
    for row in csv.reader(table.read_text(encoding="utf-8").splitlines()):
        book.worksheets[0].append(row)
    book.save(held)
    return held.getvalue()


def _first(examples: dict[str, Any]) -> str:
    value = next(iter(examples.values()))["value"]
    return value if isinstance(value, str) else json.dumps(value)


def batches(client: FlaskClient) -> dict[str, Any]:
    """Return the reply to a batch in each of its forms, with less of each item than the whole."""
    found: dict[str, Any] = {}
    for (path, kind), (sent, name) in BATCHES.items():
        data, heads = (EXAMPLES / name).read_bytes(), {**HEADS, "Accept": kind}
        query = "fields=ready,survival,total&cautions=codes"
        reply = client.post(f"{path}?{query}", data=data, content_type=sent, headers=heads)
        assert reply.mimetype == kind
        text = reply.json if kind == "application/json" else reply.get_data(as_text=True)
        found.setdefault(path, {})[kind] = text
    return found


def pages(client: FlaskClient) -> dict[str, Any]:
    """Return every page that is JSON."""
    return {
        path: {"application/json": client.get(asked, headers=HEADS).json}
        for path, asked in PAGES.items()
    }


def refusals(client: FlaskClient) -> dict[str, Any]:
    """Return a problem for every refusal of the description, by its name there."""
    kind = {"content_type": "application/json", "headers": HEADS}
    broken = {"pipe": {"standard": "ASTM B88", "size": "1/2", "schedule": "L"}, "colour": "red"}
    found = {
        "BadRequest": client.post("/v1/plug-time", data="{", **kind).json,
        "NotFound": client.get("/v1/problems/none", headers=HEADS).json,
        "TooLarge": client.post("/v1/plug-time", data=" " * 65537, **kind).json,
        "UnsupportedMediaType": client.post("/v1/plug-time", data="a=1", headers=HEADS).json,
        "Unprocessable": client.post("/v1/plug-time", json=broken, headers=HEADS).json,
        "InsufficientStorage": _named(problems.of(StorageError())),
        "Internal": _named(problems.of(RuntimeError("an example of what is never expected"))),
    }
    with _service() as cold:
        found["NotReady"] = cold.get("/readyz", headers=HEADS).json
        places = cold.application.config["SHARES"]
        held = [places.enter(f"caller-{i // 2}") for i in range(places.here)]
        found["Busy"] = cold.post("/v1/batch", json=[], headers=HEADS).json
        for place in held:
            place.leave()
    with _service(STILLPIPE_RATE="2/60") as limited:
        replies = [limited.get("/v1/meta", headers=HEADS) for _ in range(3)]
        found["TooManyRequests"] = replies[-1].json
    with tempfile.NamedTemporaryFile() as keys, _service(STILLPIPE_KEYS_FILE=keys.name) as keyed:
        found["Unauthorized"] = keyed.get("/v1/meta", headers=HEADS).json
    return found | by_proxy()


def by_proxy() -> dict[str, Any]:
    """Return the problems that only the proxy tells."""
    text = (ROOT / "deploy" / "nginx" / "problems.conf").read_text()
    told = {
        int(status): json.loads(body.replace("$asked_id", ID))
        for status, body in re.findall(r"return (\d+) '(.*)';", text)
    }
    return {name: told[status] for name, status in BY_PROXY.items()}


def _named(problem: dict[str, Any]) -> dict[str, Any]:
    return problem | problems.occurrence(problem["type"], ID)


@contextmanager
def _service(**environment: str) -> Iterator[FlaskClient]:
    """Give a client of a service with settings of its own, which computes nothing."""
    before = dict(os.environ)
    os.environ.update(environment)
    try:
        yield create_app(warm_up=False).test_client()
    finally:
        os.environ.clear()
        os.environ.update(before)


def made(client: FlaskClient) -> dict[str, dict[str, Any]]:
    """Return what is written, by the name of the file."""
    return {
        "estimates": estimates(client), "batches": batches(client), "pages": pages(client),
        "problems": refusals(client),
    }  # fmt: skip


if __name__ == "__main__":
    REPLIES.mkdir(exist_ok=True)
    for name, replies in made(create_app().test_client()).items():
        text = json.dumps(replies, indent=1, ensure_ascii=False)
        (REPLIES / f"{name}.json").write_text(text + "\n", encoding="utf-8")
