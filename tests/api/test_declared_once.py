"""A field that is added to a dataclass is read, echoed, published and a column: nothing else."""

from dataclasses import dataclass
from typing import Annotated, Any

import pytest
from marshmallow import ValidationError

from stillpipe.api import dump, limits
from stillpipe.api.inputs import echo, schemas
from stillpipe.api.inputs.columns import Column, column
from stillpipe.model.declare import Figure, Group, Quantity
from stillpipe.model.requests import Request


@dataclass(frozen=True, kw_only=True)
class Coat:
    """A coat of paint, which no request has."""

    thickness: Annotated[
        float, Quantity("length", 1e-5, 1e-3, says="How thick.", limit="coat_thickness")
    ]
    age: Annotated[float, Quantity("time", 0.0, 3600.0, says="How old.")] = 60.0


@dataclass(frozen=True, kw_only=True)
class PaintRequest(Request):
    """A request with an input of its own."""

    coat: Annotated[Coat, Group(says="The coat.")]


@dataclass(frozen=True)
class Paint:
    """An answer with a figure of its own."""

    drying: Annotated[float, Figure("time", 2, says="Until it is dry.")]


TREE: Any = {"coat": {"thickness": {"value": 0.1, "unit": "mm"}}}


def test_an_input_is_read_with_its_default() -> None:
    loaded = schemas.load(PaintRequest, TREE)
    assert loaded.request == PaintRequest(coat=Coat(thickness=1e-4, age=60.0))
    assert loaded.given == {"coat", "coat.thickness"}


def test_an_input_is_refused_outside_its_range() -> None:
    tree = {"coat": {"thickness": {"value": 2, "unit": "mm"}, "colour": 1}}
    with pytest.raises(ValidationError) as caught:
        schemas.load(PaintRequest, tree)
    assert caught.value.messages == {
        "coat": {
            "thickness": {"value": ["must be from 0.01 to 1 mm"]},
            "colour": ["unknown member"],
        }
    }


def test_an_input_is_echoed() -> None:
    assert echo.inputs(*schemas.load(PaintRequest, TREE)) == {
        "coat": {
            "thickness": {"value": 0.1, "unit": "mm", "default": False},
            "age": {"value": 60.0, "unit": "s", "default": True},
        }
    }


def test_an_input_is_published() -> None:
    published = limits.published([PaintRequest])
    assert published["quantities"]["coat_thickness"]["mm"] == {"minimum": 0.01, "maximum": 1.0}
    assert "age" in published["quantities"]


def test_an_input_is_a_column() -> None:
    path = ("coat", "thickness")
    assert column(path, "mm", [PaintRequest]) == Column(path, "mm", "quantity")


def test_a_figure_is_shown() -> None:
    assert dump.figures(Paint(3661.0), "si") == {"drying": {"value": 3700.0, "unit": "s"}}
