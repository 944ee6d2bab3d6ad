"""A caller's rate: exact over processes, by key where there are keys, told in every reply."""

import multiprocessing
from pathlib import Path
from typing import Any

import pytest

from stillpipe.server import keys, settings
from stillpipe.server.admission import rates
from stillpipe.server.admission.rates import Policy, Rates
from stillpipe.server.app import create_app

MINUTE = Policy("requests", 3, 60)
SECOND = rates.SECOND


def test_the_quota_is_granted_and_no_more_until_its_window_is_over() -> None:
    known = Rates()
    standings = [known.ask("dispatch", MINUTE, now) for now in (0, SECOND, 2 * SECOND, 3 * SECOND)]
    assert [(s.granted, s.left, s.seconds) for s in standings] == [
        (True, 2, 60), (True, 1, 59), (True, 0, 58), (False, 0, 57),
    ]  # fmt: skip
    assert known.ask("field", MINUTE, 3 * SECOND).granted
    assert not known.ask("dispatch", MINUTE, 60 * SECOND - 1).granted
    later = known.ask("dispatch", MINUTE, 60 * SECOND)
    assert (later.granted, later.left, later.seconds) == (True, 2, 60)


def test_policies_are_counted_apart() -> None:
    known = Rates()
    for _ in range(3):
        known.ask("dispatch", MINUTE, 1)
    assert known.ask("dispatch", Policy("batches", 3, 60), 1).granted
    assert not known.ask("dispatch", MINUTE, 1).granted


def test_many_callers_do_not_lose_the_latest() -> None:
    """More than there is room for: the oldest windows are forgotten, never the one asked now."""
    known = Rates()
    for number in range(3 * rates.WAYS * rates.BUCKETS):
        assert known.ask(f"caller-{number}", MINUTE, number).left == 2
    assert known.ask(f"caller-{number}", MINUTE, number).left == 1


def _ask(known: Rates, times: int, results: Any) -> None:
    results.put(sum(known.ask("dispatch", Policy("p", 1000, 600)).granted for _ in range(times)))


def test_the_quota_is_exact_over_processes() -> None:
    known, context = Rates(), multiprocessing.get_context("fork")
    results = context.SimpleQueue()
    workers = [context.Process(target=_ask, args=(known, 400, results)) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert sum(results.get() for _ in workers) == 1000


def bearer(key: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {key}"}


def test_callers_are_limited_by_their_keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "keys"
    file.write_text("".join(f"{n}:{keys.digest_of(n)}\n" for n in ("dispatch", "field")))
    monkeypatch.setenv("STILLPIPE_KEYS_FILE", str(file))
    monkeypatch.setenv("STILLPIPE_RATE", "2/60")
    monkeypatch.setenv("STILLPIPE_BATCH_RATE", "1/60")
    client = create_app(warm_up=False).test_client()
    replies = [client.get("/v1/meta", headers=bearer("dispatch")) for _ in range(3)]
    assert [r.status_code for r in replies] == [200, 200, 429]
    assert {r.headers["RateLimit-Policy"] for r in replies} == {'"requests";q=2;w=60'}
    assert [r.headers["RateLimit"].split(";")[1] for r in replies] == ["r=1", "r=0", "r=0"]
    refused = replies[-1]
    assert refused.json is not None
    assert refused.json["type"] == "/v1/problems/too-many-requests"
    assert f";t={refused.headers['Retry-After']}" in refused.headers["RateLimit"]
    assert client.get("/v1/meta", headers=bearer("field")).status_code == 200
    batches = [
        client.post(path, json=[], headers=bearer("field"))
        for path in ("/v1/batch/lines", "/v1/batch")
    ]
    assert [r.status_code == 429 for r in batches] == [False, True]
    assert batches[0].headers["RateLimit"].startswith('"batches";r=0')
    for path in ("/livez", "/openapi.json", "/v1/problems/busy"):
        assert "RateLimit" not in client.get(path).headers
    for _ in range(5):
        assert client.get("/v1/meta", headers=bearer("nobody")).status_code == 401


def test_without_keys_there_is_a_rate_only_where_one_is_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert rates.policies(keyed=False) == {}
    assert rates.policies(keyed=True)["requests"] == Policy("requests", 1200, 60)
    monkeypatch.setenv("STILLPIPE_RATE", "1/60")
    client = create_app(warm_up=False).test_client()
    assert [client.get("/v1/meta").status_code for _ in range(2)] == [200, 429]
    other = client.get("/v1/meta", environ_base={"REMOTE_ADDR": "192.0.2.1"})
    assert other.status_code == 200


@pytest.mark.parametrize("wrong", ["20", "0/60", "20/0", "-1/60", "20 / 60", "1e3/60", "x"])
def test_a_rate_that_cannot_be_read_stops_the_start(
    monkeypatch: pytest.MonkeyPatch, wrong: str
) -> None:
    monkeypatch.setenv("STILLPIPE_RATE", wrong)
    with pytest.raises(settings.SettingError, match="QUOTA/SECONDS"):
        rates.policies(keyed=False)
