"""Units in the column heads, and the sources behind every file."""

from importlib.resources import files

import pint
import pytest

from stillpipe.tables import pipes, reading

FOLDER = files("stillpipe.tables")
CSV_FILES = sorted(f.name for f in FOLDER.iterdir() if f.name.endswith(".csv"))
# Unit in the column head -> the same unit for pint, with the SI unit meant.
PINT_UNITS = {
    "mm": ("mm", "m"),
    "in": ("inch", "m"),
    "psi": ("psi", "Pa"),
    "MPa": ("MPa", "Pa"),
    "GPa": ("GPa", "Pa"),
    "C": ("degC", "K"),
    "kg": ("kg", "kg"),
    "L": ("liter", "m**3"),
    "kg_per_L": ("kg/liter", "kg/m**3"),
    "g_per_kg": ("g/kg", ""),
    "W_per_m_K": ("W/m/K", "W/m/K"),
    "kg_per_m3": ("kg/m**3", "kg/m**3"),
    "J_per_kg_K": ("J/kg/K", "J/kg/K"),
    "ppm": ("ppm", ""),
    "min": ("minute", "s"),
}


@pytest.mark.parametrize("unit", reading.UNITS)
def test_unit_factors_agree_with_pint(unit: str) -> None:
    """Scale and offset of each column unit are those of the pint registry."""
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    theirs, si = PINT_UNITS[unit]
    for value in (0.0, 1.0, 36.6):
        row = {f"quantity_{unit}": str(value)}
        expected = registry.Quantity(value, theirs).to(si).magnitude
        assert reading.required(row, "quantity") == pytest.approx(expected, rel=1e-12)


def test_a_blank_cell_is_none_or_refused() -> None:
    """Blank means no published value: None where that is allowed, otherwise an error."""
    row = {"rating_psi": ""}
    assert reading.optional(row, "rating") is None
    with pytest.raises(ValueError, match="rating"):
        reading.required(row, "rating")


@pytest.mark.parametrize(
    "row", [{"wall": "1"}, {"wall_furlong": "1"}, {"wall_mm": "1", "wall_in": "1"}]
)
def test_a_column_without_one_known_unit_is_refused(row: dict[str, str]) -> None:
    """A quantity without a unit, in an unknown unit or in two units is not read."""
    with pytest.raises(KeyError):
        reading.required(row, "wall")


@pytest.mark.parametrize("name", CSV_FILES)
def test_every_file_has_its_source(name: str) -> None:
    """SOURCES.md names every CSV file of the folder."""
    assert f"`{name}`" in (FOLDER / "SOURCES.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", CSV_FILES)
def test_every_row_is_complete(name: str) -> None:
    """Each row has a cell for every column and none beyond, without stray spaces."""
    rows = reading.rows(name)
    assert rows
    for row in rows:
        assert None not in row
        assert all(cell is not None and cell == cell.strip() for cell in row.values()), row


@pytest.mark.parametrize("name", pipes.FILES)
def test_a_pipe_file_holds_one_standard(name: str) -> None:
    """One file per standard, and SOURCES.md names that standard on the file's line."""
    (standard,) = {row["standard"] for row in reading.rows(name)}
    text = (FOLDER / "SOURCES.md").read_text(encoding="utf-8")
    (line,) = [x for x in text.splitlines() if x.startswith(f"| `{name}`")]
    assert standard in line


@pytest.mark.parametrize(
    "name",
    [
        "materials.csv",
        "layers.csv",
        "fluids.csv",
        "exposure_limits.csv",
        "uncertain_inputs.csv",
    ],
)
def test_every_row_outside_the_pipe_standards_names_its_source(name: str) -> None:
    """Tables drawn from several publications carry the source in each row."""
    assert all(row["source"] for row in reading.rows(name))
