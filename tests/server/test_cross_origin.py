"""Pages of listed origins may ask from a browser, others may not; none is listed by default."""

from pathlib import Path

import pytest
from flask import Response
from flask.testing import FlaskClient
from selenium import webdriver

from server.conftest import served
from stillpipe.server import cross_origin, keys
from stillpipe.server.app import create_app

OURS = "https://dispatch.harbour-lane.example"
BODY = (Path(__file__).parents[2] / "openapi" / "examples" / "plug-time-request.json").read_bytes()
PREFLIGHT = {"Access-Control-Request-Method": "POST",
             "Access-Control-Request-Headers": "authorization,content-type"}  # fmt: skip


@pytest.fixture
def keyed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Applications that are made now ask for a key."""
    file = tmp_path / "keys"
    file.write_text(f"dispatch:{keys.digest_of('a-key')}\n")
    monkeypatch.setenv("STILLPIPE_KEYS_FILE", str(file))


@pytest.fixture
def listed(monkeypatch: pytest.MonkeyPatch, keyed: None) -> FlaskClient:  # noqa: ARG001
    """A client of an application that lists two origins and asks for a key."""
    monkeypatch.setenv("STILLPIPE_CORS_ORIGINS", f"{OURS}, http://localhost:5173")
    return create_app(warm_up=False).test_client()


def allowed(headers: object) -> object:
    return headers.get("Access-Control-Allow-Origin")  # type: ignore[attr-defined]


def test_a_listed_origin_may_ask_with_its_key(listed: FlaskClient) -> None:
    asked = listed.options("/v1/plug-time", headers=PREFLIGHT | {"Origin": OURS})
    assert asked.status_code == 200
    assert allowed(asked.headers) == OURS
    assert "POST" in asked.headers["Access-Control-Allow-Methods"]
    names = {x.strip() for x in asked.headers["Access-Control-Allow-Headers"].lower().split(",")}
    assert {"authorization", "content-type"} <= names
    assert "Access-Control-Allow-Credentials" not in asked.headers
    reply = listed.post(
        "/v1/plug-time", data=BODY, content_type="application/json",
        headers={"Origin": OURS, "Authorization": "Bearer a-key"},
    )  # fmt: skip
    assert reply.status_code == 200
    assert allowed(reply.headers) == OURS
    assert "Origin" in reply.headers["Vary"]
    assert "Retry-After" in reply.headers["Access-Control-Expose-Headers"]


@pytest.mark.parametrize("path", ["/v1/plug-time", "/v1/nowhere"])
def test_refusals_can_be_read_by_a_listed_origin(listed: FlaskClient, path: str) -> None:
    """A page without a key sees the problem, not a network error."""
    reply = listed.post(path, data=b"{", content_type="application/json", headers={"Origin": OURS})
    assert reply.status_code == 401
    assert reply.content_type == "application/problem+json"
    assert allowed(reply.headers) == OURS


@pytest.mark.parametrize(
    "origin",
    ["https://dispatch.harbour-lane.example.evil.example", "https://dispatchXharbour-lane.example",
     "http://dispatch.harbour-lane.example", "https://dispatch.harbour-lane.example:8443",
     "null", "https://other.example"],
)  # fmt: skip
def test_another_origin_is_not_let_in(listed: FlaskClient, origin: str) -> None:
    for reply in (
        listed.options("/v1/plug-time", headers=PREFLIGHT | {"Origin": origin}),
        listed.get("/livez", headers={"Origin": origin}),
    ):
        assert allowed(reply.headers) is None
        assert "Access-Control-Allow-Methods" not in reply.headers


def test_a_cache_does_not_give_one_origins_reply_to_another(listed: FlaskClient) -> None:
    for origin in ({}, {"Origin": OURS}, {"Origin": "https://other.example"}):
        assert "Origin" in listed.get("/v1/meta", headers=origin).headers["Vary"]


def test_nobody_is_let_in_by_default(client: FlaskClient) -> None:
    reply = client.get("/livez", headers={"Origin": OURS})
    assert allowed(reply.headers) is None


@pytest.mark.parametrize(
    "entry",
    ["*", "null", "https://*.example", "dispatch.example", "https://dispatch.example/",
     "https://Dispatch.example", "ftp://dispatch.example", "https://a.example https://b.example",
     "https://a.example:port", ".*"],
)  # fmt: skip
def test_what_is_no_origin_stops_the_start(monkeypatch: pytest.MonkeyPatch, entry: str) -> None:
    monkeypatch.setenv("STILLPIPE_CORS_ORIGINS", f"{OURS},{entry}")
    with pytest.raises(cross_origin.OriginError) as told:
        create_app(warm_up=False)
    assert entry in str(told.value)
    assert OURS not in str(told.value)


ASK = """
const [address, body, done] = arguments;
fetch(address + "/v1/plug-time", {
  method: "POST", body,
  headers: {"Content-Type": "application/json", "Authorization": "Bearer a-key"},
}).then(r => r.json().then(j => done([r.status, j.verdict, r.headers.get("X-Request-Id")])),
        e => done([0, e.name, null]));
"""


@pytest.mark.browser
@pytest.mark.usefixtures("keyed")
def test_a_browser_lets_the_listed_page_ask_and_no_other(
    browser: webdriver.Chrome, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With its key, and so with a preflight; both pages are the same but for their origin."""
    page = Response("<!doctype html><title>dispatch</title>", content_type="text/html")
    with served(page, "localhost") as ours, served(page, "127.0.0.1") as other:
        monkeypatch.setenv("STILLPIPE_CORS_ORIGINS", ours)
        with served(create_app(warm_up=False)) as service:
            found = []
            for origin in (ours, other):
                browser.get(origin)
                found.append(browser.execute_async_script(ASK, service, BODY.decode()))
    (status, verdict, request_id), refused = found
    assert (status, verdict, len(request_id)) == (200, "go", 32)
    assert refused == [0, "TypeError", None]
