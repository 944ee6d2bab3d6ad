"""Thousands of requests while gunicorn is reloaded, killed, recycled, restarted; and overload."""

import asyncio
import json
import os
import signal
import threading
import time
from contextlib import suppress
from pathlib import Path

import pytest
import requests
from flask.testing import FlaskClient

from deploy.callers import Callers, Question, Tally
from deploy.stack import NGINX, ROOT, Stack, until

EXAMPLES = ROOT / "openapi" / "examples"

pytestmark = [
    pytest.mark.server,
    pytest.mark.skipif(NGINX is None, reason="no nginx on this machine"),
]


def questions(client: FlaskClient, name: str, count: int) -> list[Question]:
    """Distinct requests for the estimate ``name`` and what it answers without any server."""
    body = json.loads((EXAMPLES / f"{name}-request.json").read_text())
    found = []
    for number in range(count):
        asked = json.dumps(body | {"id": f"harbour-lane-baths/{number}"}).encode()
        reply = client.post(f"/v1/{name}", data=asked, content_type="application/json")
        found.append(Question(f"/v1/{name}", asked, reply.get_data()))
    return found


def after(callers: Callers, share: float) -> None:
    """Wait until ``share`` of the requests are answered."""
    until(lambda: callers.tally.answered >= share * TOTAL, f"{share} of the requests answered")


TOTAL = int(os.environ.get("STILLPIPE_TEST_REQUESTS", "20000"))


OVERLOAD = 240
"""Whole jobs of the overload: so many that the waits after a refusal count for little."""


def kill_one(stack: Stack) -> None:
    """Kill a worker; one that is gone before the signal comes is none."""

    def killed() -> bool:
        with suppress(ProcessLookupError, IndexError):
            os.kill(stack.workers()[0], signal.SIGKILL)
            return True
        return False

    until(killed, "there is a worker")


def churn(stack: Stack, callers: Callers, done: list[str]) -> None:
    """Do to gunicorn what happens to it in a year, while it is being asked."""
    plan = [(share, "HUP") for share in (0.1, 0.3, 0.5)]
    plan += [(share, "KILL") for share in (0.15, 0.35, 0.45, 0.55, 0.6)]
    plan += [(share, "TERM") for share in (0.7, 0.9)]
    for share, what in sorted(plan):
        after(callers, share)
        if what == "HUP":
            stack.server.send_signal(signal.SIGHUP)
        elif what == "KILL":
            kill_one(stack)
        else:
            stack.stop()
            stack.start()
        done.append(what)


def ask(callers: Callers) -> tuple[Tally, float]:
    begun = time.perf_counter()
    tally = asyncio.run(callers.run())
    return tally, time.perf_counter() - begun


def test_no_request_is_answered_wrongly_while_the_service_is_churned(
    tmp_path: Path, client: FlaskClient
) -> None:
    """Every request gets its own right answer in the end; what was refused says when to retry."""
    asked = questions(client, "plug-time", 40) + questions(client, "ventilation", 40)
    recycling = ("--max-requests", "5000", "--max-requests-jitter", "500")
    done: list[str] = []
    with Stack(tmp_path, settings=recycling) as stack:
        first = set(stack.workers())
        callers = Callers(stack.outer, asked, TOTAL, 24)
        churner = threading.Thread(target=churn, args=(stack, callers, done))
        churner.start()
        tally, seconds = ask(callers)
        churner.join()
        assert not first & set(stack.workers())
    again = (stack.folder / "error.log").read_text().count("while reading response header")
    print(f"\nasked again by the proxy: {again}")
    print(f"{TOTAL} requests in {seconds:.0f} s through {sorted(done)}: {tally}")
    assert sorted(done) == ["HUP"] * 3 + ["KILL"] * 5 + ["TERM"] * 2
    assert tally.answered == TOTAL
    assert tally.wrong == []
    # a reply that had begun when its worker was killed cannot be asked again by the proxy
    assert set(tally.lost) <= {"IncompleteReadError"}
    assert sum(tally.lost.values()) <= 4 * 5
    assert set(tally.refused) <= {"503 busy", "503 not-ready"}
    assert tally.without_retry_after == 0
    assert sum(tally.refused.values()) < 2000


def distinct(count: int, series: str) -> list[Question]:
    """Requests for whole jobs that no worker remembers."""
    body = json.loads((EXAMPLES / "job-estimate-request.json").read_text())
    return [
        Question("/v1/job-estimate", json.dumps(body | {"id": f"{series}-{n}"}).encode())
        for n in range(count)
    ]


def test_overload_is_answered_503_with_retry_after_and_no_collapse(tmp_path: Path) -> None:
    """Twenty callers for each place get all their answers, at the rate of as many as fit."""
    rates, tallies = [], []
    with Stack(tmp_path, most=4) as stack:
        for connections in (8, 160):
            questions = distinct(OVERLOAD, str(connections))
            tally, seconds = ask(Callers(stack.outer, questions, OVERLOAD, connections))
            rates.append(OVERLOAD / seconds)
            tallies.append(tally)
        assert requests.get(f"{stack.address}/v1/meta", timeout=600).status_code == 200
    print(f"\nwhole jobs a second: {rates[0]:.1f} at capacity, {rates[1]:.1f} overloaded")
    print("refused", dict(tallies[1].refused), "most tries", tallies[1].most_tries)
    assert not tallies[0].refused
    assert set(tallies[1].refused) == {"503 busy"}
    for tally in tallies:
        assert (tally.answered, tally.wrong, dict(tally.lost)) == (OVERLOAD, [], {})
        assert tally.without_retry_after == 0
    assert rates[1] > 0.5 * rates[0], "a collapse"
