"""Pictures: valid SVG that says in words what it shows, in the form the caller asked for."""

import xml.etree.ElementTree as ET
from typing import Any

import pytest
from flask.testing import FlaskClient

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
