"""Send lines of JSON, and print each answer as it comes: batch.py LINES.ndjson."""

import json
import os
import sys

import requests

service = os.environ.get("STILLPIPE", "http://127.0.0.1:8000")
lines = sys.argv[1] if len(sys.argv) > 1 else "openapi/examples/batch-lines.ndjson"
summary = None
with (
    open(lines, "rb") as body,
    requests.post(
        f"{service}/v1/batch",
        body,
        headers={
            "Authorization": "Bearer " + os.environ.get("STILLPIPE_KEY", ""),
            "Content-Type": "application/x-ndjson",
        },
        stream=True,
        timeout=600,
    ) as reply,
):
    reply.raise_for_status()
    for line in reply.iter_lines():
        item = json.loads(line)
        summary = item.get("summary")
        if summary:
            print(f"{summary['succeeded']} of {summary['total']} answered")
        elif item["status"] == 200:
            print(item["index"], item["result"]["verdict"])
        else:
            print(item["index"], item["problem"]["title"])
sys.exit(0 if summary and summary["complete"] and not summary["failed"] else 1)
