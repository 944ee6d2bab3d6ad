"""Ask why there is no frost yet: frost.py."""

import json
import os

import requests

service = os.environ.get("STILLPIPE", "http://127.0.0.1:8000")
with open("openapi/examples/frost-check-request.json", encoding="utf-8") as file:
    question = json.load(file)
reply = requests.post(
    f"{service}/v1/frost-check",
    json=question | {"elapsed": {"value": 8, "unit": "min"}, "frost_seen": False},
    headers={"Authorization": "Bearer " + os.environ.get("STILLPIPE_KEY", "")},
    timeout=60,
)
reply.raise_for_status()
found = reply.json()
print(f"{found['state']}: frost was due after {found['frost_by']['likely']:.0f} s")
print(found["causes"][0]["first"])
for reason in found["reasons"]:
    print(reason["text"], reason["action"])
