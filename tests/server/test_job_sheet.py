"""The job sheet and the timeline: what the fitter reads on a phone, in a real browser."""

import json
from pathlib import Path

import pytest
import requests
from flask.testing import FlaskClient
from selenium import webdriver
from selenium.webdriver.common.by import By

EXAMPLE = Path(__file__).parents[2] / "openapi" / "examples" / "job-estimate-request.json"
REQUEST = json.loads(EXAMPLE.read_text())


def sheet(site: str, **changes: object) -> str:
    reply = requests.post(
        f"{site}/v1/job-estimate", json=REQUEST | changes, headers={"Accept": "text/html"},
        timeout=600,
    )  # fmt: skip
    assert reply.status_code == 200
    assert reply.headers["Content-Type"].startswith("text/html")
    assert "script" not in reply.headers["Content-Security-Policy"]
    return reply.text


@pytest.mark.browser
def test_the_sheet_fits_a_phone_and_says_the_figures(
    site: str, browser: webdriver.Chrome, tmp_path: Path
) -> None:
    page = tmp_path / "sheet.html"
    page.write_text(sheet(site), encoding="utf-8")
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True},
    )
    browser.get(page.as_uri())
    width = browser.execute_script("return document.documentElement.scrollWidth")
    assert width <= 390, "nothing may stick out sideways"
    text = browser.find_element(By.TAG_NAME, "body").text
    answer = requests.post(f"{site}/v1/job-estimate", json=REQUEST, timeout=600).json()
    assert answer["quote"]["total"] in text
    assert answer["cautions"][0]["text"] in text
    for event in answer["timeline"]:
        assert event["code"] in text
    picture = browser.find_element(By.TAG_NAME, "svg")
    assert picture.size["width"] > 300
    assert browser.save_screenshot(str(tmp_path / "sheet.png"))
    assert [e for e in browser.get_log("browser") if e["level"] == "SEVERE"] == []


def test_a_callers_text_stays_text(site: str) -> None:
    text = sheet(site, id="<script>alert(1)</script>")
    assert "<script>alert(1)" not in text
    assert "&lt;script&gt;" in text


def test_a_refused_job_still_gets_its_sheet(site: str) -> None:
    fluid = {
        "type": "ethylene_glycol", "concentration": {"value": 40, "unit": "%"},
        "temperature": {"value": 18, "unit": "degC"},
    }  # fmt: skip
    text = sheet(site, fluid=fluid)
    assert "no-go" in text
    assert "slush" in text


def test_the_timeline_picture_says_when(client: FlaskClient) -> None:
    reply = client.post("/v1/job-estimate", json=REQUEST, headers={"Accept": "image/svg+xml"})
    assert reply.mimetype == "image/svg+xml"
    text = reply.get_data(as_text=True)
    assert "ready at" in text
    assert text.count("thawed") >= 1
