"""What the service refuses, and how it says so."""

import json
import logging
from typing import Any, NoReturn

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from stillpipe.api import limits
from stillpipe.api.answers import ANSWERS
from stillpipe.errors import CancelledError, Fault, SolverError, TooCostlyError
from stillpipe.physics.column import work
from stillpipe.server.app import create_app


def body(**changes: Any) -> dict[str, Any]:
    sound: dict[str, Any] = {
        "pipe": {"standard": "ASTM B88", "size": "1/2", "schedule": "L"},
        "fluid": {"temperature": {"value": 20, "unit": "degC"}},
        "ambient": {"temperature": {"value": 20, "unit": "degC"}},
        "line_pressure": {"value": 3, "unit": "bar"},
    }
    return sound | changes


def send(client: FlaskClient, tree: Any, path: str = "/v1/plug-time") -> TestResponse:
    return client.post(path, data=json.dumps(tree), content_type="application/json")


def pointers(reply: TestResponse) -> set[str]:
    assert reply.content_type == "application/problem+json"
    assert reply.json is not None
    return {e["pointer"] for e in reply.json["errors"]}


def test_every_fault_is_named_at_once(client: FlaskClient) -> None:
    tree = body(
        pipe={"standard": "ASTM B88", "wall": 1, "x": 2},
        fluid={"temperature": {"value": "20", "unit": "degC"}},
        ambient={"temperature": {"value": 500, "unit": "degF"}},
        zz=1,
    )
    del tree["line_pressure"]
    reply = send(client, tree)
    assert reply.status_code == 422
    assert pointers(reply) == {
        "#/pipe/wall", "#/pipe/x", "#/fluid/temperature/value", "#/ambient/temperature/value",
        "#/zz", "#/line_pressure",
    }  # fmt: skip


def test_unknown_catalogue_entries_are_named_with_the_choices(client: FlaskClient) -> None:
    tree = body(pipe={"standard": "ASTM B88", "size": "9", "schedule": "Q"})
    reply = send(client, tree)
    assert reply.status_code == 422
    assert pointers(reply) == {"#/pipe/size", "#/pipe/schedule"}
    assert "1-1/4" in reply.get_data(as_text=True)


def test_a_fluid_already_frozen_is_out_of_validity(client: FlaskClient) -> None:
    tree = body(fluid={"temperature": {"value": -5, "unit": "degC"}})
    reply = send(client, tree)
    assert reply.status_code == 422
    assert pointers(reply) == {"#/fluid/temperature"}


@pytest.mark.parametrize(
    ("fluid", "pipe", "kind"),
    [
        ({"type": "seawater"}, "1/2", "out-of-validity"),
        ({"type": "water"}, "1/2", "out-of-validity"),
        ({"type": "seawater"}, "9", "unknown-entry"),
    ],
    ids=["too-salt", "water-has-none", "and-no-such-pipe"],
)
def test_a_concentration_out_of_range_is_out_of_validity(
    client: FlaskClient, fluid: dict[str, Any], pipe: str, kind: str
) -> None:
    fluid |= {
        "temperature": {"value": 20, "unit": "degC"}, "concentration": {"value": 20, "unit": "%"},
    }  # fmt: skip
    pipe_ = {"standard": "ASTM B88", "size": pipe, "schedule": "L"}
    reply = send(client, body(fluid=fluid, pipe=pipe_))
    assert reply.status_code == 422
    assert "#/fluid/concentration" in pointers(reply)
    assert reply.json is not None
    assert reply.json["type"] == f"/v1/problems/{kind}"


def test_a_fill_ratio_without_a_net_mass_is_refused(client: FlaskClient) -> None:
    ratio = {"value": 0.7, "unit": "kg/L"}
    reply = send(client, body(cylinder={"fill_ratio": ratio}), "/v1/cylinder-count")
    assert reply.status_code == 422
    assert pointers(reply) == {"#/cylinder/fill_ratio"}
    mass = {"value": 20, "unit": "kg"}
    sound = body(cylinder={"fill_ratio": ratio, "net_mass": mass})
    assert send(client, sound, "/v1/cylinder-count").status_code == 200


UNPRINTABLE = ["\0", "\1", "\t", "\n", "\x1f", "\x7f", "\x85", "\x9f", "\ufffe", "\uffff"]


@pytest.mark.parametrize("character", UNPRINTABLE, ids=[f"{ord(c):04X}" for c in UNPRINTABLE])
def test_names_that_no_xml_can_hold_are_refused(client: FlaskClient, character: str) -> None:
    point = {"kind": "freeze-point", "at": {"value": 1, "unit": "m"}}
    places = [point | {"name": "a" + character}]
    tree = body(id=character + "b", places=places)
    reply = send(client, tree, "/v1/spacing-validation")
    assert reply.status_code == 422
    assert pointers(reply) == {"#/id", "#/places/0/name"}
    assert f"U+{ord(character):04X}" in reply.get_data(as_text=True)


def test_a_lone_surrogate_is_no_name(client: FlaskClient) -> None:
    text = json.dumps(body(id="?")).replace('"?"', '"\\ud800"')
    reply = client.post("/v1/plug-time", data=text, content_type="application/json")
    assert reply.status_code in {400, 422}
    assert reply.content_type == "application/problem+json"


def test_letters_of_every_script_are_names(client: FlaskClient) -> None:
    for name in ("Zapfsaule-\u00fc", "\u6c34\u7ba1", "\U0001f9ca", "a b"):
        reply = send(client, body(id=name))
        assert reply.status_code == 200
        assert reply.json is not None
        assert reply.json["id"] == name


@pytest.mark.parametrize("coding", ["gzip", "br", "deflate", "identity, gzip", "x"])
@pytest.mark.parametrize("path", ["/v1/plug-time", "/v1/batch"])
def test_a_content_coding_is_refused_whatever_the_body_is(
    client: FlaskClient, coding: str, path: str
) -> None:
    tree: Any = body() if path == "/v1/plug-time" else []
    heads = {"Content-Encoding": coding}
    reply = client.post(path, json=tree, headers=heads)
    assert reply.status_code == 415
    assert reply.headers["Accept-Encoding"] == "identity"
    assert reply.content_type == "application/problem+json"


def test_the_coding_identity_is_none(client: FlaskClient) -> None:
    reply = client.post("/v1/plug-time", json=body(), headers={"Content-Encoding": "identity"})
    assert reply.status_code == 200
    plain = client.post("/v1/plug-time", data="a=1", content_type="text/plain")
    assert "Accept-Encoding" not in plain.headers


@pytest.mark.parametrize("path", ["//evil.example/limits", "/v1//limits", "//v1/limits", "/v1/"])
def test_no_address_redirects(client: FlaskClient, path: str) -> None:
    reply = client.get(path, headers={"Host": "evil.example"})
    assert reply.status_code == 404
    assert "Location" not in reply.headers
    assert "evil.example" not in reply.get_data(as_text=True)


def fails_with(monkeypatch: pytest.MonkeyPatch, error: Exception, forget: bool = True) -> None:
    """Let plug-time end with ``error``, and no answer be remembered where it is to ``forget``."""

    def broken(_: object) -> NoReturn:
        raise error

    broke = ANSWERS.endpoints["plug-time"]._replace(estimate=broken)
    monkeypatch.setattr(ANSWERS, "endpoints", {**ANSWERS.endpoints, "plug-time": broke})
    if forget:
        ANSWERS.remembered.clear()


def test_a_solver_without_an_answer_is_logged(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(logging.getLogger("stillpipe"), "propagate", True)
    fails_with(monkeypatch, SolverError(Fault((), "no finite answer")))
    reply = send(client, body(id="unsolved"))
    assert reply.status_code == 500
    assert "no finite answer" not in reply.get_data(as_text=True)
    assert "no finite answer" in caplog.text


def test_what_is_too_costly_is_422_and_says_what_to_change(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = work.Work(most=1)
    done.counts[0] = 2
    with pytest.raises(TooCostlyError) as raised:
        done.check()
    fails_with(monkeypatch, raised.value)
    reply = send(client, body(id="costly"))
    assert reply.status_code == 422
    assert reply.json is not None
    assert reply.json["type"] == "/v1/problems/too-costly"
    assert "shorten the hold" in reply.json["detail"]
    assert client.get(reply.json["type"]).status_code == 200


def test_what_nobody_waits_for_is_counted_and_not_logged(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(logging.getLogger("stillpipe"), "propagate", True)
    fails_with(monkeypatch, CancelledError(Fault((), "gone")))
    reply = send(client, body(id="gone"))
    assert reply.status_code == 503
    assert caplog.records == []
    page = client.get("/metrics").get_data(as_text=True)
    assert 'stillpipe_requests_cancelled_total{route="/v1/plug-time"}' in page


def test_range_is_told_in_the_callers_unit(client: FlaskClient) -> None:
    reply = send(client, body(line_pressure={"value": 9999, "unit": "psi"}))
    assert "0 to 580.15 psi" in reply.get_data(as_text=True)


@pytest.mark.parametrize(
    "text",
    [
        "{", "", "nan", '{"a": NaN}', '{"a": 1, "a": 2}', "[" * 40000, '{"a": Infinity}',
        "1" * 5000 + "e", '"' + "\\ud800" * 3,
    ],
)  # fmt: skip
def test_what_is_not_json_is_400(client: FlaskClient, text: str) -> None:
    reply = client.post("/v1/plug-time", data=text, content_type="application/json")
    assert reply.status_code == 400
    assert reply.content_type == "application/problem+json"


def test_bytes_that_are_not_utf8_are_400(client: FlaskClient) -> None:
    reply = client.post("/v1/plug-time", data=b'{"a": "\xff"}', content_type="application/json")
    assert reply.status_code == 400


def test_another_media_type_is_415(client: FlaskClient) -> None:
    assert client.post("/v1/plug-time", data="a=1", content_type="text/plain").status_code == 415


def test_a_body_over_the_limit_is_413(client: FlaskClient) -> None:
    text = json.dumps(body(id="x" * limits.BODY_BYTES))
    reply = client.post("/v1/plug-time", data=text, content_type="application/json")
    assert reply.status_code == 413
    assert reply.content_type == "application/problem+json"


def test_a_wrong_method_keeps_its_allow_header(client: FlaskClient) -> None:
    reply = client.get("/v1/plug-time")
    assert reply.status_code == 405
    assert "POST" in reply.headers["Allow"]
    assert reply.content_type == "application/problem+json"


def test_an_unknown_query_parameter_is_refused(client: FlaskClient) -> None:
    for path, there_are in (("/v1/meta", ""), ("/v1/cylinders", "; there are id")):
        reply = client.get(f"{path}?colour=1")
        assert reply.status_code == 422
        assert reply.json is not None
        detail = "unknown query parameter" + there_are
        assert reply.json["errors"] == [{"detail": detail, "parameter": "colour"}]


def test_every_problem_names_its_occurrence(client: FlaskClient) -> None:
    heads = {"X-Request-Id": "harbour-lane-7"}
    for reply in (
        client.get("/nowhere", headers=heads),
        client.get("/v1/plug-time", headers=heads),
        client.post("/v1/plug-time", json={}, headers=heads),
        client.post("/v1/batch", data="[", content_type="application/json", headers=heads),
    ):
        assert reply.json is not None
        assert reply.json["request_id"] == reply.headers["X-Request-Id"] == "harbour-lane-7"
        assert reply.json["instance"] == reply.json["type"] + "#harbour-lane-7"
        assert client.get(reply.json["instance"]).status_code == 200


def test_the_root_is_the_index(client: FlaskClient) -> None:
    root, index = client.get("/"), client.get("/v1")
    assert (root.status_code, root.data, root.headers["ETag"]) == (
        200, index.data, index.headers["ETag"],
    )  # fmt: skip


def test_request_id_is_given_back_or_made(client: FlaskClient) -> None:
    assert client.get("/livez", headers={"X-Request-Id": "a-1"}).headers["X-Request-Id"] == "a-1"
    made = client.get("/livez", headers={"X-Request-Id": "not a token"}).headers["X-Request-Id"]
    assert len(made) == 32


def test_catalogue_is_not_sent_twice(client: FlaskClient) -> None:
    first = client.get("/v1/pipes")
    again = client.get("/v1/pipes", headers={"If-None-Match": first.headers["ETag"]})
    assert (first.status_code, again.status_code, again.data) == (200, 304, b"")


def test_service_is_not_ready_before_the_solver_is() -> None:
    cold = create_app(warm_up=False).test_client()
    assert cold.get("/livez").status_code == 200
    reply = cold.get("/readyz")
    assert (reply.status_code, reply.content_type) == (503, "application/problem+json")


def test_an_unexpected_error_is_a_plain_500_problem(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    fails_with(monkeypatch, RuntimeError("secret"))
    reply = send(client, body(id="breaks"))
    assert reply.status_code == 500
    assert "secret" not in reply.get_data(as_text=True)
    assert reply.content_type == "application/problem+json"


def test_equal_bodies_are_answered_from_memory(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    ANSWERS.remembered.clear()
    first = send(client, body(id="twice")).data
    with monkeypatch.context() as unable:
        fails_with(unable, SolverError(Fault((), "estimated again")), forget=False)
        assert send(client, body(id="twice")).data == first


def test_defaults_are_marked_and_units_follow_the_request(client: FlaskClient) -> None:
    reply = send(client, body(units="us", safety_factor=3))
    assert reply.json is not None
    echoed = reply.json["inputs"]
    assert echoed["safety_factor"] == {"value": 3.0, "default": False}
    assert echoed["jacket"]["length"]["default"] is True
    assert echoed["fluid"]["temperature"] == {"value": 68.0, "unit": "degF", "default": False}
    assert reply.json["holding_pressure"]["unit"] == "psi"


def test_answer_in_us_units_is_the_si_answer_converted(client: FlaskClient) -> None:
    si, us = (send(client, body(units=u)).json for u in ("si", "us"))
    assert si is not None
    assert us is not None
    assert us["plug_length"]["likely"] * 25.4 == pytest.approx(
        si["plug_length"]["likely"], rel=1e-3
    )


def test_hold_is_echoed_with_its_default(client: FlaskClient) -> None:
    reply = send(client, body(), "/v1/hold-time")
    assert reply.json is not None
    assert reply.json["inputs"]["hold"] == {"value": 3600.0, "unit": "s", "default": True}
