"""The table of uncertain inputs: every row is sound, known, and says where it comes from."""

import math
import re
from importlib.resources import files

import numpy as np
import pytest
from scipy import stats

from stillpipe.tables import materials, pipes, reading
from stillpipe.uncertainty import draws, table
from stillpipe.uncertainty.table import Distribution, UncertainInput

ROWS = reading.rows(table.FILE)
CATALOGUE = table.catalogue()
SOURCES = (files("stillpipe.tables") / "SOURCES.md").read_text(encoding="utf-8")
BY = {"wall_conductivity": "material", "wall_thickness": "standard"}
"""Inputs that have a row for each material or each standard."""


def each_row() -> pytest.MarkDecorator:
    return pytest.mark.parametrize(
        "row", ROWS, ids=[f"{r['input']}-{r['of'] or 'all'}" for r in ROWS]
    )


def each_input() -> pytest.MarkDecorator:
    return pytest.mark.parametrize("found", CATALOGUE, ids=lambda f: f"{f.name}-{f.of or 'all'}")


@each_row()
def test_the_percentiles_of_a_row_are_in_order(row: reading.Row) -> None:
    """And those of a stated value lie within those of one that nobody stated."""
    low, likely, high = (float(row[p]) for p in ("p05", "p50", "p95"))
    assert low < likely < high
    stated = [row[f"stated_{end}"] for end in ("p05", "p95")]
    assert bool(stated[0]) == bool(stated[1]), "both ends or none"
    if stated[0]:
        assert low < float(stated[0]) < likely < float(stated[1]) < high


@each_row()
def test_a_row_is_known(row: reading.Row) -> None:
    """Its input is one that is drawn, its distribution and what it is of are known."""
    assert row["input"] in draws.NAMES
    assert row["distribution"] in set(Distribution)
    if row["of"]:
        of = {"material": [m.key for m in materials.catalogue()],
              "standard": {p.standard for p in pipes.catalogue()}}[BY[row["input"]]]  # fmt: skip
        assert row["of"] in of


@each_row()
def test_a_row_says_where_it_comes_from(row: reading.Row) -> None:
    """A source, or that it is an assumption, common practice or from memory."""
    assert len(row["source"]) >= len("assumption")
    assert not re.search(r"\b(todo|tbd|guess)\b", row["source"], re.IGNORECASE)


def test_no_row_stands_twice_and_every_input_has_one() -> None:
    names = [(r["input"], r["of"]) for r in ROWS]
    assert len(set(names)) == len(names)
    assert {name for name, of in names if not of} == set(draws.NAMES), "one for all it may be of"


def test_every_material_and_standard_has_a_row_of_its_own() -> None:
    of = {name: {r["of"] for r in ROWS if r["input"] == name} - {""} for name in BY}
    assert of["wall_conductivity"] == {m.key for m in materials.catalogue()}
    assert of["wall_thickness"] == {p.standard for p in pipes.catalogue()}


def test_sources_say_where_the_figures_of_every_input_come_from() -> None:
    section = SOURCES.partition("## Uncertain inputs")[2].partition("\n## ")[0]
    assert f"`{table.FILE}`" in SOURCES
    assert {n for n in draws.NAMES if f"`{n}`" not in section} == set()


@each_input()
def test_an_input_is_at_its_percentiles_where_the_deviate_is_theirs(found: UncertainInput) -> None:
    """Against scipy's distributions; a lognormal's median is exact, its ends as their ratio."""
    z = stats.norm.ppf(np.array([0.01, 0.05, 0.5, 0.95, 0.99]))
    half = stats.norm.ppf(0.95)
    if found.distribution is Distribution.LOGNORMAL:
        sigma = math.log(found.high / found.low) / (2.0 * half)
        theirs = stats.lognorm(s=sigma, scale=found.likely)
        assert theirs.ppf(0.05) == pytest.approx(found.low, rel=0.065), "symmetric in the logarithm"
        assert theirs.ppf(0.95) == pytest.approx(found.high, rel=0.065)
    elif found.distribution is Distribution.NORMAL:
        theirs = stats.norm(found.likely, (found.high - found.low) / (2.0 * half))
        assert theirs.ppf(0.05) == pytest.approx(found.low, abs=1e-9)
    else:
        wide = (found.high - found.low) / 0.9
        theirs = stats.uniform(found.low - 0.05 * wide, wide)
        assert theirs.ppf(0.5) == pytest.approx(found.likely)
    assert found.at(z) == pytest.approx(theirs.ppf(stats.norm.cdf(z)))


def test_walls_of_plastic_pipe_are_above_the_least_that_the_table_has() -> None:
    """ASTM D1785, F441, D2846 and F876 give minimum walls: none may be taken as the likely one."""
    plastics = {p.standard for p in pipes.catalogue() if p.material in ("pvc", "cpvc", "pex")}
    for standard in plastics:
        assert table.find("wall_thickness", standard).low > 1.0
    for standard in {p.standard for p in pipes.catalogue()} - plastics:
        assert table.find("wall_thickness", standard).likely == 1.0


def test_adhesion_at_its_default_spans_the_published_values() -> None:
    """0.2 to 1.25 MPa about 0.5: within the 0.2 to 1.6 of publications, 0.28 among them."""
    factor = table.find("adhesion")
    ends = [0.5 * float(factor.at(z)) for z in (-1.6448536, 0.0, 1.6448536)]
    assert ends == pytest.approx([0.2, 0.5, 1.25])


def test_what_has_no_row_of_its_own_has_that_for_all() -> None:
    assert table.find("wall_thickness", "by measure") == table.find("wall_thickness")
    assert table.find("wall_conductivity", "copper_c12200").likely == 1.0
    with pytest.raises(KeyError):
        table.find("colour")


def test_what_is_stated_is_known_more_closely() -> None:
    names = ("jacket_conductance", "jacket_filling", "relative_humidity", "adhesion", "capture")
    for name in names:
        own, stated = table.find(name), table.find(name, stated=True)
        assert own.low < stated.low < stated.likely == own.likely < stated.high < own.high
    assert table.find("room_film", stated=True) == table.find("room_film")


def test_the_draws_are_the_ones_that_the_command_makes() -> None:
    """The first 8,192 Sobol points, scrambled; kept to 16 bits and never 0 or 1."""
    made = draws.made()
    assert made.shape == (draws.COUNT, len(draws.NAMES))
    assert np.array_equal((made + 0.5) / 2.0**draws.BITS, draws.uniform())
    assert draws.uniform().min() > 0.0
    assert draws.uniform().max() < 1.0
    assert np.all(np.isfinite(draws.deviates()))


def test_every_input_is_drawn_evenly_and_for_itself() -> None:
    """Each sixteenth has its share of every input, and no two go together."""
    u = draws.uniform()
    for column in u.T:
        counts = np.bincount((column * 16).astype(int), minlength=16)
        assert np.all(np.abs(counts - draws.COUNT / 16) <= 1)
    together = np.corrcoef(draws.deviates().T) - np.eye(len(draws.NAMES))
    assert np.abs(together).max() < 0.03


@pytest.mark.parametrize("row", table.catalogue(), ids=lambda r: f"{r.name} {r.of}")
def test_one_value_is_that_of_many(row: table.UncertainInput) -> None:
    for z in (-2.5, 0.0, 1.7):
        assert row.value(z) == pytest.approx(float(row.at(np.array([z]))[0]), rel=1e-14, abs=1e-15)
