"""Keys, metrics, logs and headers: what an operator relies on."""

import io
import json
import logging
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from stillpipe.api import description
from stillpipe.server import keys
from stillpipe.server.app import create_app
from stillpipe.server.observability import logs

REQUEST = json.loads(
    (Path(__file__).parents[2] / "openapi" / "examples" / "plug-time-request.json").read_text()
)


@pytest.fixture
def guarded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[FlaskClient, Path]:
    file = tmp_path / "keys"
    file.write_text(f"# callers\ndispatch:{keys.digest_of('first')}\nfield:{keys.digest_of('b')}\n")
    monkeypatch.setenv("STILLPIPE_KEYS_FILE", str(file))
    return create_app(warm_up=False).test_client(), file


def bearer(key: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {key}"}


def test_without_a_key_nothing_is_answered(guarded: tuple[FlaskClient, Path]) -> None:
    client, _ = guarded
    for headers in ({}, bearer("wrong"), bearer(""), {"Authorization": "Basic Zmlyc3Q6"}):
        reply = client.post("/v1/plug-time", json=REQUEST, headers=headers)
        assert reply.status_code == 401
        assert reply.mimetype == "application/problem+json"
        assert reply.headers["WWW-Authenticate"].startswith("Bearer")


def test_any_of_several_keys_is_let_in(guarded: tuple[FlaskClient, Path]) -> None:
    client, _ = guarded
    for key in ("first", "b"):
        assert client.post("/v1/plug-time", json=REQUEST, headers=bearer(key)).status_code == 200


def test_probes_and_the_description_need_no_key(guarded: tuple[FlaskClient, Path]) -> None:
    client, _ = guarded
    for path in ("/livez", "/openapi.json", "/docs", "/metrics"):
        assert client.get(path).status_code == 200
    assert client.get("/v1/limits").status_code == 401


def test_keys_change_without_a_restart(guarded: tuple[FlaskClient, Path]) -> None:
    client, file = guarded
    assert client.get("/v1/meta", headers=bearer("first")).status_code == 200
    file.write_text(f"dispatch:{keys.digest_of('second')}\n")
    assert client.get("/v1/meta", headers=bearer("first")).status_code == 401
    assert client.get("/v1/meta", headers=bearer("second")).status_code == 200


def test_a_broken_keys_file_lets_nobody_in(
    guarded: tuple[FlaskClient, Path],
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    monkeypatch.setattr(logging.getLogger("stillpipe"), "propagate", True)
    client, file = guarded
    file.write_text("dispatch: not a digest\n")
    for broken in (lambda: None, lambda: os.unlink(file), file.mkdir):
        broken()
        for asked in ("first", "wrong"):
            reply = client.get("/v1/meta", headers=bearer(asked))
            assert reply.status_code == 503
            assert reply.mimetype == "application/problem+json"
            assert "Retry-After" in reply.headers
        assert "the keys file cannot be read" in caplog.text
        caplog.clear()


def test_a_service_whose_keys_cannot_be_read_is_not_ready(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "keys"
    monkeypatch.setenv("STILLPIPE_KEYS_FILE", str(file))
    client = create_app().test_client()
    assert client.get("/readyz").status_code == 503
    file.write_text("")
    assert client.get("/readyz").status_code == 200


def test_a_key_revoked_in_a_file_of_equal_size_and_time_is_refused(
    guarded: tuple[FlaskClient, Path],
) -> None:
    client, file = guarded
    text, state = file.read_text(), file.stat()
    assert client.get("/v1/meta", headers=bearer("first")).status_code == 200
    file.write_text(text.replace(keys.digest_of("first"), keys.digest_of("second")))
    os.utime(file, ns=(state.st_atime_ns, state.st_mtime_ns))
    assert (file.stat().st_size, file.stat().st_mtime_ns) == (state.st_size, state.st_mtime_ns)
    assert client.get("/v1/meta", headers=bearer("first")).status_code == 401


def test_what_an_error_means_is_told_without_a_key(guarded: tuple[FlaskClient, Path]) -> None:
    client, _ = guarded
    refused = client.get("/v1/pipes")
    assert refused.status_code == 401
    assert refused.json is not None
    for path in (refused.json["type"], "/", "/v1"):
        assert client.get(path).status_code == 200


def test_without_a_keys_file_every_request_is_let_in(client: FlaskClient) -> None:
    assert client.get("/v1/meta").status_code == 200


def test_metrics_count_requests_estimates_and_remembered_answers(client: FlaskClient) -> None:
    def count(name: str) -> float:
        text = client.get("/metrics").get_data(as_text=True)
        found = [line for line in text.splitlines() if line.startswith(name)]
        return sum(float(line.split()[-1]) for line in found)

    asked = 'stillpipe_requests_total{method="POST",route="/v1/plug-time",status="200"}'
    made = 'stillpipe_estimate_seconds_count{estimate="plug-time"}'
    kept = 'stillpipe_answers_remembered_total{estimate="plug-time"}'
    items = 'stillpipe_batch_items_total{outcome="failed"}'
    before = [count(n) for n in (asked, made, kept, items)]
    body = REQUEST | {"id": "counted"}
    for _ in range(3):
        client.post("/v1/plug-time", json=body)
    client.post("/v1/batch", json=[1, 2]).get_data()
    after = [count(n) for n in (asked, made, kept, items)]
    assert [b - a for a, b in zip(before, after, strict=True)] == [3.0, 1.0, 2.0, 2.0]


def test_invented_methods_do_not_grow_the_metrics(client: FlaskClient) -> None:
    client.open("/v1/meta", method="INVENTED0")
    before = len(client.get("/metrics").data)
    for number in range(1, 300):
        assert client.open("/v1/meta", method=f"INVENTED{number}").status_code == 405
    page = client.get("/metrics").get_data(as_text=True)
    assert "INVENTED" not in page
    assert 'method="other"' in page
    assert len(page) < before + 100


def test_without_its_description_the_service_is_not_ready(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(logging.getLogger("stillpipe"), "propagate", True)
    whole = (description.FOLDER / "openapi.yaml").read_text(encoding="utf-8")
    monkeypatch.setattr(description, "FOLDER", tmp_path)
    caches = (description.tree, description.json, description.text)
    for cache in caches:
        cache.cache_clear()
    try:
        client = create_app().test_client()
        for text in (None, "", "paths: [", whole):  # the last without its examples
            if text is not None:
                (tmp_path / "openapi.yaml").write_text(text, encoding="utf-8")
            for path in ("/readyz", "/openapi.json"):
                reply = client.get(path)
                assert reply.status_code == 503
                assert reply.json is not None
                assert "description" in reply.json["detail"]
            assert client.get("/livez").status_code == 200
            assert "the description cannot be read" in caplog.text
            caplog.clear()
    finally:
        for cache in caches:
            cache.cache_clear()


TRACE = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"


@pytest.fixture
def log(monkeypatch: pytest.MonkeyPatch) -> Iterator[io.StringIO]:
    """What the service writes to its log from now on, as an operator reads it."""
    logger, written = logging.getLogger("stillpipe"), io.StringIO()
    handler, level = logging.StreamHandler(written), logger.level
    handler.setFormatter(logs.JsonFormatter())
    monkeypatch.setattr(logger, "handlers", [handler])
    logger.setLevel(logging.INFO)
    yield written
    logger.setLevel(level)


def test_trace_context_is_passed_on_and_logged(client: FlaskClient, log: io.StringIO) -> None:
    """The example of W3C Trace Context; what has not its form is left out."""
    for given, kept in ((TRACE, TRACE), ("x", None), (None, None)):
        log.truncate(0)
        log.seek(0)
        reply = client.get("/livez", headers={"traceparent": given} if given else {})
        assert reply.headers.get("traceparent") == kept
        line = json.loads(log.getvalue())
        assert (line["logger"], line["message"]) == ("stillpipe.access", "request")
        assert (line["method"], line["path"], line["status"]) == ("GET", "/livez", 200)
        assert line.get("traceparent") == kept


def test_every_reply_has_the_security_headers(client: FlaskClient) -> None:
    for reply in (client.get("/v1/meta"), client.get("/nowhere"), client.get("/docs")):
        assert reply.headers["X-Content-Type-Options"] == "nosniff"
        assert "default-src 'none'" in reply.headers["Content-Security-Policy"]
        assert reply.headers["Referrer-Policy"] == "no-referrer"
