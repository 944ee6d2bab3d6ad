"""Cylinder table against 49 CFR 173.304a."""

import pytest

from stillpipe.errors import UnknownEntryError
from stillpipe.tables import cylinders


@pytest.mark.parametrize("cylinder", cylinders.catalogue(), ids=lambda c: c.id)
def test_volume_holds_the_net_mass_at_the_legal_filling_density(
    cylinder: cylinders.Cylinder,
) -> None:
    """Net mass = 68 % of the water capacity by weight (49 CFR 173.304a; 0.1 %: rounding)."""
    assert cylinder.fill_ratio == pytest.approx(680.0)
    assert cylinder.water_volume * 1000.0 * 0.68 == pytest.approx(cylinder.net_mass, rel=1e-3)
    assert cylinder.dip_tube, "every generic size is listed as delivering liquid"


def test_sizes_rise_and_ids_carry_the_mass() -> None:
    """Cylinders are listed lightest first, each id unique and named after its net mass."""
    masses = [c.net_mass for c in cylinders.catalogue()]
    assert masses == sorted(set(masses))
    assert [c.id for c in cylinders.catalogue()] == [f"co2-{m:g}kg" for m in masses]


@pytest.mark.parametrize(
    ("id_", "pounds"), [("co2-9.1kg", 20), ("co2-22.7kg", 50), ("co2-34kg", 75)]
)
def test_pound_sizes_are_converted(id_: str, pounds: float) -> None:
    """20, 50 and 75 lb in kilograms (1 lb = 0.45359237 kg; rounded to 0.1 kg)."""
    assert cylinders.find(id_).net_mass == pytest.approx(pounds * 0.45359237, abs=0.05)


def test_unknown_cylinders_name_what_there_is() -> None:
    """An unknown id is reported at the caller's path with the choices."""
    with pytest.raises(UnknownEntryError) as raised:
        cylinders.find("co2-50lb", path=("stock", 0, "cylinder"))
    assert raised.value.faults[0].path == ("stock", 0, "cylinder")
    assert "co2-22.7kg" in raised.value.faults[0].detail
