"""Every entry of a catalogue has words as they are said on site."""

import pytest

from stillpipe.tables import exposure, fluids, materials, pipes, wording


def test_the_tables_have_exactly_what_the_catalogues_have() -> None:
    assert set(wording.MATERIALS) == {m.key for m in materials.catalogue()}
    assert set(wording.PRODUCTS) == set(pipes.standards())
    assert set(wording.FLUIDS) == {f.key for f in fluids.catalogue()}
    assert set(wording.LIMITS) == {e.quantity for e in exposure.catalogue()}


@pytest.mark.parametrize(
    ("id", "said"),
    [
        ("astm-b88/1-1-2/L", "1 1/2 in copper tube, type L (ASTM B88)"),
        ("en-1057/15/1.0", "15 mm copper tube, 1.0 mm wall (EN 1057)"),
        ("asme-b36.10m/2/40", "2 in steel pipe, schedule 40 (ASME B36.10M)"),
        ("asme-b36.10m/2/STD", "2 in steel pipe, standard weight (ASME B36.10M)"),
        ("asme-b36.19m/1-2/10S", "1/2 in stainless steel 304 pipe, schedule 10S (ASME B36.19M)"),
        ("en-10255/1/heavy", "1 in steel tube, heavy series (EN 10255)"),
        ("astm-b43/1/extra-strong", "1 in red brass pipe, extra strong (ASTM B43)"),
        ("astm-d1785/2/80", "2 in PVC pipe, schedule 80 (ASTM D1785)"),
        ("astm-d2846/3-4/SDR-11", "3/4 in CPVC tube, SDR 11 (ASTM D2846)"),
        ("awwa-c151/4/PC-350", "4 in ductile iron pipe, pressure class 350 (AWWA C151)"),
        ("awwa-c106/3/Class-150", "3 in grey iron pipe, class 150 (AWWA C106)"),
    ],
)
def test_a_pipe_is_said_by_its_trade_size(id: str, said: str) -> None:  # noqa: A002
    found = pipes.by_id(id)
    assert wording.pipe(found.standard, found.size, found.schedule, found.material) == said


def test_no_pipe_is_said_by_its_key_or_as_another() -> None:
    said = [
        wording.pipe(p.standard, p.size, p.schedule, p.material) for p in pipes.catalogue()
    ]  # fmt: skip
    assert len(set(said)) == len(said)
    assert not [s for s in said if "_" in s or "astm-" in s]


def test_a_layer_is_said_within_a_sentence() -> None:
    assert wording.layer("mineral_wool") == "mineral wool"
    assert all("_" not in wording.layer(each.key) for each in materials.layers())
