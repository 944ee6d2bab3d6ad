"""Ask anew with everything seen on site so far: visit.py VISIT.json."""

import json
import os
import sys
from typing import Any

import requests

service = os.environ.get("STILLPIPE", "http://127.0.0.1:8000")


def ask(estimate: str, body: dict[str, Any]) -> dict[str, Any]:
    """Return the reply to a request; a refusal ends the program."""
    key = os.environ.get("STILLPIPE_KEY", "")
    reply = requests.post(
        f"{service}/v1/{estimate}",
        json=body,
        headers={"Authorization": f"Bearer {key}"},
        timeout=60,
    )
    reply.raise_for_status()
    answer: dict[str, Any] = reply.json()
    return answer


visit = sys.argv[1] if len(sys.argv) > 1 else "openapi/examples/plug-time-observations.json"
with open(visit, encoding="utf-8") as file:
    question = json.load(file)
to_come = question.pop("observations")
seen: list[dict[str, Any]] = []
while True:
    body = question | ({"observations": seen} if seen else {})
    found = ask("plug-time", body)
    halting = [
        f"{reason['text']} {reason['action']}"
        for reason in found["reasons"]
        if reason["severity"] == "stop" or reason["code"] == "observations-do-not-fit"
    ]
    if halting:
        print(*halting, sep="\n")
        sys.exit(1)
    if not seen:
        print(f"arrival: cut in {found['planned_ready']['value']:.0f} s")
    else:
        cut = found["learned"]["planned_ready_from_now"]["value"]
        print(f"{seen[-1]['kind']}: cut in {cut:.0f} s")
    if seen and seen[-1]["kind"] == "weight-drawn":
        cylinder = {"id": "co2-9.1kg", "temperature": {"value": 18, "unit": "degC"}}
        held = ask(
            "cylinder-count", body | {"cylinder": cylinder, "hold": {"value": 3, "unit": "h"}}
        )
        for exchange in held["exchanges"]:
            left = exchange["at"]["value"] - held["learned"]["now"]["value"]
            if left > 0:
                print(f"cylinder {exchange['cylinder']} is empty in {left / 60:.0f} min")
    if not to_come:
        break
    seen.append(to_come.pop(0))
