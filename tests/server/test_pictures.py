"""Pictures: valid SVG that says in words what it shows, in the form the caller asked for."""

import xml.etree.ElementTree as ET
from typing import Any

import pytest
from flask.testing import FlaskClient

from stillpipe.api.registry import ENDPOINTS, PICTURES

SVG = "image/svg+xml"
SPACE = "{http://www.w3.org/2000/svg}"
REQUEST = {
    "id": "harbour-lane-baths/filter-room/<point> $1$",
    "pipe": {"standard": "ASTM B88", "size": "3/4", "schedule": "L"},
    "fluid": {"temperature": {"value": 18, "unit": "degC"}},
    "ambient": {"temperature": {"value": 21, "unit": "degC"}},
    "line_pressure": {"value": 2.5, "unit": "bar"},
}


def picture(client: FlaskClient, **changes: Any) -> ET.Element:
    reply = client.post("/v1/plug-time", json=REQUEST | changes, headers={"Accept": SVG})
    assert reply.status_code == 200
    assert reply.mimetype == SVG
    return ET.fromstring(reply.get_data())


def words(tree: ET.Element) -> str:
    return " ".join("".join(t.itertext()) for t in tree.iter(f"{SPACE}text"))


def test_the_picture_says_in_words_what_it_shows(client: FlaskClient) -> None:
    tree = picture(client)
    title, description = tree.findtext(f"{SPACE}title"), tree.findtext(f"{SPACE}desc")
    assert title == f"{REQUEST['id']}: go"
    answer = client.post("/v1/plug-time", json=REQUEST).json
    assert answer is not None
    assert f"closed after {answer['closure']['likely'] / 60:.1f} min" in (description or "")
    assert REQUEST["id"] in words(tree)


def test_the_axes_are_in_the_callers_units(client: FlaskClient) -> None:
    assert "[mm]" in words(picture(client))
    assert "[in]" in words(picture(client, units="us"))


def test_a_refusal_shows_its_reason(client: FlaskClient) -> None:
    fluid = {
        "type": "propylene_glycol",
        "concentration": {"value": 30, "unit": "%"},
        "temperature": {"value": 18, "unit": "degC"},
    }
    assert "slush" in words(picture(client, fluid=fluid))


def test_an_equal_question_gets_an_equal_picture(client: FlaskClient) -> None:
    first = client.post("/v1/plug-time", json=REQUEST, headers={"Accept": SVG}).get_data()
    changed = REQUEST | {"units": "si"}
    again = client.post("/v1/plug-time", json=changed, headers={"Accept": SVG}).get_data()
    assert first == again


@pytest.mark.parametrize("accept", ["*/*", "application/json", "text/plain", "image/png", ""])
def test_json_unless_a_picture_is_asked_for(client: FlaskClient, accept: str) -> None:
    reply = client.post("/v1/plug-time", json=REQUEST, headers={"Accept": accept})
    assert reply.mimetype == "application/json"
    assert "Accept" in reply.headers["Vary"]


def test_a_bad_question_is_a_problem_in_any_form(client: FlaskClient) -> None:
    reply = client.post("/v1/plug-time", json={"id": 1}, headers={"Accept": SVG})
    assert reply.status_code == 422
    assert reply.mimetype == "application/problem+json"


def drawn(client: FlaskClient, name: str, query: str = "", body: Any = None) -> Any:
    return client.post(f"/v1/{name}{query}", json=body or REQUEST, headers={"Accept": SVG})


def test_a_picture_is_chosen_by_its_name(client: FlaskClient) -> None:
    usual, first, other = (
        drawn(client, "plug-time", query).get_data()
        for query in ("", "?picture=course", "?picture=section")
    )
    assert usual == first
    assert "ice after" in words(ET.fromstring(other))


@pytest.mark.parametrize(
    ("query", "detail"),
    [("?picture=pie", "must be one of course, section, ends"),
     ("?picture=", "must be one of course, section, ends"),
     ("?picture=ends&picture=ends", "given more than once")],
)  # fmt: skip
def test_an_unknown_picture_is_refused_with_those_there_are(
    client: FlaskClient, query: str, detail: str
) -> None:
    reply = drawn(client, "plug-time", query)
    assert (reply.status_code, reply.mimetype) == (422, "application/problem+json")
    assert reply.json["type"] == "/v1/problems/invalid-parameter"
    assert reply.json["errors"] == [{"detail": detail, "parameter": "picture"}]


def test_every_parameter_that_cannot_be_used_is_named(client: FlaskClient) -> None:
    reply = drawn(client, "ventilation", "?picture=section&size=2")
    assert [error["parameter"] for error in reply.json["errors"]] == ["picture", "size"]


@pytest.mark.parametrize("name", ["co2-mass", "batch", "frost-check"])
def test_what_has_no_pictures_takes_no_name_of_one(client: FlaskClient, name: str) -> None:
    reply = drawn(client, name, "?picture=section")
    (error,) = reply.json["errors"]
    assert error["parameter"] == "picture"
    assert error["detail"].startswith("unknown query parameter; there are fields")


def test_json_is_the_same_whatever_picture_is_named(client: FlaskClient) -> None:
    plain = client.post("/v1/plug-time", json=REQUEST).get_data()
    assert client.post("/v1/plug-time?picture=ends", json=REQUEST).get_data() == plain


@pytest.mark.parametrize(("name", "value"), [("fields", "ready"), ("include", "profile")])
def test_a_picture_has_no_members_to_choose(client: FlaskClient, name: str, value: str) -> None:
    reply = drawn(client, "plug-time", f"?{name}={value}&picture=section")
    assert (reply.status_code, reply.mimetype) == (422, "application/problem+json")
    assert reply.json["type"] == "/v1/problems/invalid-parameter"
    assert [error["parameter"] for error in reply.json["errors"]] == [name]


def test_the_shape_of_the_ice_comes_where_it_is_asked_for(client: FlaskClient) -> None:
    plain = client.post("/v1/plug-time", json=REQUEST).json or {}
    more = client.post("/v1/plug-time?include=profile", json=REQUEST).json or {}
    assert "profile" not in plain
    assert more["profile"]["moments"]
    assert {name: value for name, value in more.items() if name != "profile"} == plain


def test_the_description_names_every_picture(client: FlaskClient) -> None:
    paths = (client.get("/openapi.json").json or {})["paths"]
    named = {}
    for path, item in paths.items():
        listed = item.get("post", {}).get("parameters", [])
        for parameter in [each for each in listed if each.get("name") == "picture"]:
            named[path.removeprefix("/v1/")] = parameter["schema"]["enum"]
            assert parameter["schema"]["default"] == parameter["schema"]["enum"][0]
    assert named == {name: list(each) for name, each in PICTURES.items()}
    for name, each in PICTURES.items():
        assert ENDPOINTS[name].forms[SVG] is each[named[name][0]]
