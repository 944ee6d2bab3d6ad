"""Catalogues show every row of the tables, and limits every declared input."""

from typing import Any

import orjson
import pytest

from stillpipe.api import catalogues, limits, registry
from stillpipe.api.problems import RequestError
from stillpipe.tables import cylinders, exposure, fluids, materials, pipes

ROWS = {
    "pipes": [p.id for p in pipes.catalogue()],
    "materials": [m.key for m in materials.catalogue()],
    "fluids": [f.key for f in fluids.catalogue()],
    "cylinders": [c.id for c in cylinders.catalogue()],
}


def page(name: str) -> Any:
    return orjson.loads(catalogues.page(name)[0])


@pytest.mark.parametrize("name", ROWS)
def test_every_row_is_shown(name: str) -> None:
    items = page(name)["items"]
    assert [i.get("id", i.get("key")) for i in items] == ROWS[name]


def test_limits_show_what_is_declared_and_how_large_a_body_may_be() -> None:
    shown = page("limits")
    declared = limits.published(registry.REQUESTS)
    assert {k: shown[k] for k in declared} == declared
    assert shown["body_bytes"] == limits.BODY_BYTES
    assert shown["id_characters"] == 128
    assert shown["safety_factor"] == {"minimum": 1.0, "maximum": 10.0}
    assert len(shown["exposure"]) == len(exposure.catalogue())


def test_another_page_has_another_tag_and_an_equal_one_the_same() -> None:
    names = [*ROWS, "limits", "meta"]
    tags = {name: catalogues.page(name)[1] for name in names}
    assert len(set(tags.values())) == len(names)
    catalogues.page.cache_clear()
    assert {name: catalogues.page(name)[1] for name in names} == tags


def chosen(name: str, **query: str) -> list[Any]:
    items: list[Any] = orjson.loads(catalogues.page(name, tuple(query.items()))[0])["items"]
    return items


@pytest.mark.parametrize("name", catalogues.FILTERS)
def test_every_value_of_every_filter_gives_the_items_that_have_it(name: str) -> None:
    whole = page(name)["items"]
    for member in catalogues.FILTERS[name]:
        known = catalogues.choices(name, member)
        assert known
        for value in known:
            found = [i[member] for i in chosen(name, **{member: value})]
            assert {v.casefold() for v in found} == {value.casefold()}
        together = sum(len(chosen(name, **{member: value})) for value in known)
        assert together == sum(i[member] is not None for i in whole)


def test_filters_are_all_to_hold_and_a_pipe_is_named_as_in_a_request() -> None:
    half = chosen("pipes", standard="asme-b36.10m", size="DN15")
    assert {(i["standard"], i["size"]) for i in half} == {("ASME B36.10M", "1/2")}
    assert half == chosen("pipes", standard="ASME B36.10M", size="1/2")
    assert half != chosen("pipes", standard="ASME B36.10M")
    assert chosen("pipes", standard="ASTM B88", material="pvc") == []


def test_pages_of_other_items_have_other_tags() -> None:
    tags = {catalogues.page("pipes", (("material", m),))[1] for m in ("pvc", "pex")}
    assert len({catalogues.page("pipes")[1], *tags}) == 3


def test_values_that_no_item_has_are_all_named_with_the_choices() -> None:
    with pytest.raises(RequestError) as raised:
        chosen("pipes", material="wood", size="9", standard="ASTM B88")
    assert raised.value.slug == "invalid-parameter"
    assert [e["parameter"] for e in raised.value.errors] == ["material", "size"]
    assert "copper_c12200" in raised.value.errors[0]["detail"]
