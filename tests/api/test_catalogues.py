"""Catalogues show every row of the tables, and limits every declared input."""

from typing import Any

import orjson
import pytest

from stillpipe.api import catalogues, limits, registry
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
