"""Ask what a whole job takes and costs: quote.py JOB.json."""

import os
import sys

import requests
from requests.adapters import HTTPAdapter
from urllib3.util import Retry

service = os.environ.get("STILLPIPE", "http://127.0.0.1:8000")
session = requests.Session()
session.headers["Authorization"] = "Bearer " + os.environ.get("STILLPIPE_KEY", "")
again = Retry(5, status_forcelist=[429, 503], allowed_methods=None, backoff_factor=0.5)
session.mount(service, HTTPAdapter(max_retries=again))

job = sys.argv[1] if len(sys.argv) > 1 else "openapi/examples/job-estimate-request.json"
with open(job, "rb") as body:
    reply = session.post(
        f"{service}/v1/job-estimate", body.read(), headers={"Content-Type": "application/json"}
    )
found = reply.json()
if not reply.ok:
    print(found["title"])
    for fault in found.get("errors", []):
        print(fault["pointer"], fault["detail"])
    sys.exit(1)
quote, ready, cut = found["quote"], found["ready"], found["planned_ready"]
print(
    f"{found['verdict']}: freeze {quote['total']}, "
    f"drain down {quote['drain_down_total']} {quote['currency']}"
)
span = f"{ready['low']} to {ready['high']}"
print(f"ready {ready['likely']} s ({span}), cut at {cut['value']} s")
for promise in found["promises"]:
    print(f"done by {promise['by']['value'] / 60:.0f} min with {promise['chance'] * 100:.0f} %")
