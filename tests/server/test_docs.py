"""The documentation page works in a real browser, offline, under its policy."""

import re

import pytest
import requests
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.expected_conditions import (
    element_to_be_clickable,
    presence_of_element_located,
)
from selenium.webdriver.support.wait import WebDriverWait

from stillpipe.api import description
from stillpipe.server import docs


@pytest.mark.browser
def test_an_example_is_sent_from_the_page(site: str, browser: webdriver.Chrome) -> None:
    browser.get(f"{site}/docs#/estimates/plugTime")
    wait = WebDriverWait(browser, 600)
    block = "#operations-estimates-plugTime"
    execute = (By.CSS_SELECTOR, f"{block} button.execute")
    button = wait.until(element_to_be_clickable(execute))
    browser.execute_script("arguments[0].click()", button)
    status = (By.CSS_SELECTOR, f"{block} .live-responses-table tr.response td.response-col_status")
    wait.until(presence_of_element_located(status))
    wait.until(lambda b: "200" in b.find_element(*status).text)
    shown = browser.find_element(By.CSS_SELECTOR, f"{block} .live-responses-table").text
    assert "closure" in shown
    errors = [e for e in browser.get_log("browser") if e["level"] == "SEVERE"]
    assert errors == []


def test_the_page_allows_nothing_inline_and_nothing_foreign(site: str) -> None:
    page = requests.get(f"{site}/docs", timeout=600)
    policy = page.headers["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy
    assert "<style" not in page.text
    assert "<script>" not in page.text
    assert "//" not in page.text.replace("<!doctype", "")


def test_what_has_changed_is_linked_and_there(site: str) -> None:
    described = requests.get(f"{site}/openapi.json", timeout=600).json()
    assert "(/docs/CHANGES.md)" in described["info"]["description"]
    page = requests.get(f"{site}/docs/CHANGES.md", timeout=600)
    assert page.headers["Content-Type"] == "text/markdown; charset=utf-8"
    assert page.text.startswith("# Changes of the interface")
    assert requests.get(site + described["externalDocs"]["url"], timeout=600).status_code == 200


def test_the_guide_is_linked_and_all_that_it_links_is_there(site: str) -> None:
    described = requests.get(f"{site}/openapi.json", timeout=600).json()
    pages = {"GUIDE.md": "# Guide for callers", "JOBS.md": "# Jobs, sheets and quotes"}
    linked = set()
    for name, head in pages.items():
        assert f"(/docs/{name})" in described["info"]["description"]
        page = requests.get(f"{site}/docs/{name}", timeout=600)
        assert page.headers["Content-Type"] == "text/markdown; charset=utf-8"
        assert page.text.startswith(head)
        linked |= set(re.findall(r"\]\(([^)#]+)\)", page.text))
    assert linked - set(pages)
    for name in linked - set(pages):
        program = requests.get(f"{site}/docs/{name}", timeout=600)
        assert program.status_code == 200
        assert program.headers["Content-Type"] == "text/plain; charset=utf-8"


def test_the_files_of_the_page_are_the_described_ones() -> None:
    (parameter,) = description.tree()["paths"]["/docs/{file}"]["get"]["parameters"]
    assert parameter["schema"]["enum"] == list(docs.FILES)
