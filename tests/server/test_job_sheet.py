"""The sheets of a job: which one a caller gets, and what it looks like on a phone and on paper."""

import base64
import json
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
import requests
from flask.testing import FlaskClient
from selenium import webdriver
from selenium.webdriver.common.by import By
from werkzeug.test import TestResponse

from api import jobs
from stillpipe.api.forms.sheets import customer, fitter, layout

EXAMPLE = Path(__file__).parents[2] / "openapi" / "examples" / "job-estimate-request.json"
REQUEST = json.loads(EXAMPLE.read_text())
HTML, PDF, JSON = "text/html", "application/pdf", "application/json"
PHONE = {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True}
UNKNOWN = "unknown query parameter; there are fields, picture, sheet"


def ask(client: FlaskClient, query: str = "", accept: str = HTML, **changes: Any) -> TestResponse:
    return client.post(
        f"/v1/job-estimate{query}", json=REQUEST | changes, headers={"Accept": accept}
    )


@pytest.mark.parametrize(
    ("query", "title"),
    [("", "Fitter's sheet"), ("?sheet=fitter", "Fitter's sheet"),
     ("?sheet=customer", "Your repair")],
)  # fmt: skip
def test_a_caller_chooses_the_sheet_and_its_form(
    client: FlaskClient, query: str, title: str
) -> None:
    page = ask(client, query)
    assert (page.status_code, page.mimetype) == (200, HTML)
    assert title in page.get_data(as_text=True).replace("&#39;", "'")
    assert "script" not in page.headers["Content-Security-Policy"]
    assert "Accept" in page.headers["Vary"]
    paper = ask(client, query, PDF)
    assert (paper.status_code, paper.mimetype) == (200, PDF)
    with pypdfium2.PdfDocument(paper.get_data()) as pdf:
        assert title in pdf[0].get_textpage().get_text_bounded()
    assert ask(client, query, PDF).get_data() == paper.get_data()


@pytest.mark.parametrize(
    ("query", "accept", "form"),
    [("", "*/*", JSON), ("", f"{PDF};q=0.5, {HTML}", HTML), ("", "text/*", HTML),
     ("", "image/svg+xml", "image/svg+xml"), ("", "image/png", JSON),
     ("?sheet=customer", "*/*", JSON), ("?sheet=customer", "", JSON),
     ("?sheet=customer", JSON, JSON), ("?sheet=fitter", f"{HTML};q=0.1, {PDF}", PDF)],
)  # fmt: skip
def test_the_form_is_what_the_caller_likes_best(
    client: FlaskClient, query: str, accept: str, form: str
) -> None:
    assert ask(client, query, accept).mimetype == form


@pytest.mark.parametrize(
    ("query", "errors"),
    [
        ("?sheet=boss", [("sheet", "must be one of fitter, customer")]),
        ("?sheet=", [("sheet", "must be one of fitter, customer")]),
        ("?sheet=fitter&sheet=customer", [("sheet", "given more than once")]),
        ("?Sheet=fitter", [("Sheet", UNKNOWN)]),
        ("?sheet=x&page=1", [("sheet", "must be one of fitter, customer"),
                             ("page", UNKNOWN)]),
    ],
)  # fmt: skip
@pytest.mark.parametrize("accept", [HTML, PDF, JSON])
def test_every_parameter_that_cannot_be_used_is_named(
    client: FlaskClient, query: str, errors: list[tuple[str, str]], accept: str
) -> None:
    reply = ask(client, query, accept)
    assert (reply.status_code, reply.mimetype) == (422, "application/problem+json")
    assert reply.json is not None
    kind = "unknown" if UNKNOWN in dict(errors).values() else "invalid"
    assert reply.json["type"] == f"/v1/problems/{kind}-parameter"
    assert [(e["parameter"], e["detail"]) for e in reply.json["errors"]] == errors


def test_no_other_address_takes_a_sheet(client: FlaskClient) -> None:
    for reply in (client.get("/v1/pipes?sheet=fitter"), client.post("/v1/plug-time?sheet=fitter")):
        assert reply.status_code == 422
        assert reply.json is not None
        assert reply.json["errors"][0]["detail"].startswith("unknown query parameter; there are ")


@pytest.mark.parametrize("accept", [HTML, PDF])
def test_a_sheet_has_no_members_to_choose(client: FlaskClient, accept: str) -> None:
    reply = ask(client, "?fields=timeline&sheet=customer", accept)
    assert reply.status_code == 422
    assert reply.json is not None
    assert reply.json["type"] == "/v1/problems/invalid-parameter"
    assert [error["parameter"] for error in reply.json["errors"]] == ["fields"]


def test_a_member_is_chosen_beside_a_sheet_that_is_not_asked_for(client: FlaskClient) -> None:
    reply = ask(client, "?fields=timeline&sheet=customer", JSON)
    assert reply.json is not None
    assert "timeline" in reply.json
    assert "chance" not in reply.json


def test_a_bad_job_is_a_problem_in_any_form(client: FlaskClient) -> None:
    for accept in (HTML, PDF):
        reply = client.post("/v1/job-estimate", json={}, headers={"Accept": accept})
        assert (reply.status_code, reply.mimetype) == (422, "application/problem+json")


def test_a_callers_text_stays_text(client: FlaskClient) -> None:
    text = ask(client, id="<script>alert(1)</script>").get_data(as_text=True)
    assert "<script>alert(1)" not in text
    assert "&lt;script&gt;" in text


def test_the_timeline_picture_says_when(client: FlaskClient) -> None:
    reply = client.post("/v1/job-estimate", json=REQUEST, headers={"Accept": "image/svg+xml"})
    assert reply.mimetype == "image/svg+xml"
    text = reply.get_data(as_text=True)
    assert "ready at" in text
    assert text.count("thawed") >= 1


@pytest.mark.browser
@pytest.mark.parametrize("name", ["fitter", "customer"])
def test_a_sheet_is_served_to_a_phone(
    site: str, browser: webdriver.Chrome, artefacts: Path, name: str
) -> None:
    reply = requests.post(
        f"{site}/v1/job-estimate?sheet={name}", json=REQUEST, headers={"Accept": HTML}, timeout=600
    )
    assert reply.status_code == 200
    shown(browser, reply.text, artefacts / f"{name}-served")
    assert [e for e in browser.get_log("browser") if e["level"] == "SEVERE"] == []
    pictures = browser.find_elements(By.TAG_NAME, "svg")
    assert len(pictures) == (name == "fitter")
    assert all(picture.size["width"] > 300 for picture in pictures)


LONG = "W" * 64


def hostile() -> dict[str, Any]:
    """A job whose names are one word as long as names may be."""
    reply = jobs.several()
    reply["id"] = 2 * LONG
    for point, place in zip(reply["freeze_points"], reply["inputs"]["places"], strict=False):
        point["name"] = point["run"] = point["manifold"] = place["name"]["value"] = LONG
    for rule in (*reply["spacing"]["rules"], *reply["spacing"]["trapped_water"]):
        rule["between"], rule["run"] = [LONG, LONG], LONG
    return reply


@pytest.mark.browser
@pytest.mark.parametrize("reply", [jobs.several, lambda: jobs.several(30), jobs.exchanged, hostile],
                         ids=["three", "thirty", "exchanges", "long-words"])  # fmt: skip
@pytest.mark.parametrize("module", [fitter, customer], ids=["fitter", "customer"])
def test_a_sheet_fits_a_phone_and_two_pages(
    browser: webdriver.Chrome, artefacts: Path, reply: Any, module: Any,
    request: pytest.FixtureRequest,
) -> None:  # fmt: skip
    made = module.sheet(reply())
    shown(browser, layout.html(made).decode(), artefacts / request.node.callspec.id)


def shown(browser: webdriver.Chrome, page: str, kept: Path) -> None:
    """Show a page on a phone and print it: nothing sticks out, two sides of A4 at most."""
    file = kept.with_suffix(".html")
    file.write_text(page, encoding="utf-8")
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", PHONE)
    browser.get(file.as_uri())
    size = browser.execute_script(
        "const page = document.documentElement; return [page.scrollWidth, page.scrollHeight]"
    )
    assert size[0] <= PHONE["width"], "nothing may stick out sideways"
    smallest = browser.execute_script(
        "return Math.min(...[...document.querySelectorAll('p, li, td, th, dd, small')]"
        ".map(e => parseFloat(getComputedStyle(e).fontSize)))"
    )
    assert smallest >= 13.0, "to be read at arm's length"
    screen = browser.execute_cdp_cmd(
        "Page.captureScreenshot",
        {"captureBeyondViewport": True,
         "clip": {"x": 0, "y": 0, "width": size[0], "height": size[1], "scale": 1}},
    )  # fmt: skip
    kept.with_suffix(".png").write_bytes(base64.b64decode(screen["data"]))
    paper = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    kept.with_suffix(".pdf").write_bytes(base64.b64decode(paper["data"]))
    with pypdfium2.PdfDocument(kept.with_suffix(".pdf")) as pdf:
        assert len(pdf) <= 2
        for number, side in enumerate(pdf, start=1):
            assert (round(side.get_width()), round(side.get_height())) == (595, 842), "A4"
            side.render(scale=1.5).to_pil().save(f"{kept}-print-{number}.png")
