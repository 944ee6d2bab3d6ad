"""Holds what a page shows against what is found: words alike, figures near."""

import re
from typing import Any

import pytest

NUMBER = re.compile(r"\d[\d,]*(?:\.\d+)?")
CLOSE = 0.01
"""How near a figure must be [-]: another processor rounds otherwise, takes another step here and
there, and lays the surface of the draws through other solutions (0.3 % seen)."""


def near(shown: float, found: float, path: str, least: float = 0.0) -> None:
    assert found == pytest.approx(shown, rel=CLOSE, abs=least), path


def check_text(shown: str, found: str, path: str) -> None:
    """Hold text against text: its words are the same, its figures near or one off as shown."""
    if shown == found:
        return
    assert NUMBER.sub("#", shown) == NUMBER.sub("#", found), path
    for one, other in zip(NUMBER.findall(shown), NUMBER.findall(found), strict=True):
        last = 10.0 ** -len(one.partition(".")[2])
        near(float(one.replace(",", "")), float(other.replace(",", "")), path, 1.001 * last)


def check(shown: Any, found: Any, path: str = "") -> None:
    """Hold what is shown against what is answered."""
    assert type(shown) is type(found), path
    if isinstance(shown, dict):
        assert list(shown) == list(found), path
        for name, value in shown.items():
            check(value, found[name], f"{path}/{name}")
    elif isinstance(shown, list):
        assert len(shown) == len(found), path
        for index, (one, other) in enumerate(zip(shown, found, strict=True)):
            check(one, other, f"{path}/{index}")
    elif isinstance(shown, float):
        near(shown, found, path)
    elif isinstance(shown, str):
        check_text(shown, found, path)
    else:
        assert shown == found, path
