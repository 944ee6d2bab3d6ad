"""Exposure limits as published."""

import pytest

from stillpipe.errors import UnknownEntryError
from stillpipe.tables import exposure


@pytest.mark.parametrize(
    ("regime", "quantity", "ppm", "minutes"),
    [
        ("OSHA", "TWA", 5000, 480),  # 29 CFR 1910.1000 Table Z-1
        ("NIOSH", "TWA", 5000, 600),  # NIOSH Pocket Guide, up to 10 h
        ("NIOSH", "STEL", 30000, 15),  # NIOSH Pocket Guide
        ("NIOSH", "IDLH", 40000, None),  # NIOSH, 1994
        ("EH40", "TWA", 5000, 480),  # HSE EH40/2005
        ("EH40", "STEL", 15000, 15),  # HSE EH40/2005
    ],
)
def test_carbon_dioxide_limits_as_published(
    regime: str, quantity: str, ppm: float, minutes: float | None
) -> None:
    """Each limit has its published value, averaging time and source, and is an upper bound."""
    limit = exposure.find(regime, quantity)
    assert limit.substance == "carbon_dioxide"
    assert limit.bound == "max"
    assert limit.mole_fraction == pytest.approx(ppm * 1e-6, rel=1e-12)
    assert limit.averaging_time == (None if minutes is None else pytest.approx(minutes * 60.0))
    assert limit.source


def test_oxygen_minimum_is_19_5_percent() -> None:
    """OSHA calls air below 19.5 % oxygen deficient (29 CFR 1910.146(b))."""
    limit = exposure.find("OSHA", "minimum")
    assert (limit.substance, limit.bound) == ("oxygen", "min")
    assert limit.mole_fraction == pytest.approx(0.195, rel=1e-12)


def test_regime_and_quantity_name_one_limit() -> None:
    """No two limits share regime and quantity, so look-up is unambiguous."""
    names = [(x.regime, x.quantity) for x in exposure.catalogue()]
    assert len(set(names)) == len(names)


def test_unknown_limits_name_what_there_is() -> None:
    """An unknown limit is reported at the caller's path with the choices."""
    with pytest.raises(UnknownEntryError) as raised:
        exposure.find("EH40", "IDLH", path=("room", "limit"))
    assert raised.value.faults[0].path == ("room", "limit")
    assert "NIOSH IDLH" in raised.value.faults[0].detail
