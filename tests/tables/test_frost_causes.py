"""The table of causes: every row is sound, and says where it comes from."""

import re
from importlib.resources import files

import pytest

from stillpipe.estimates.advice import ADVICE
from stillpipe.estimates.faulty import CHANGES
from stillpipe.uncertainty import faults
from stillpipe.uncertainty.faults import Fault

SOURCES = (files("stillpipe.tables") / "SOURCES.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("fault", faults.catalogue(), ids=lambda f: f"{f.cause} {f.way}")
def test_a_row_is_sound(fault: Fault) -> None:
    """A probability, percentiles in order, a source or that there is none."""
    assert 0.0 < fault.prior < 1.0
    if fault.severity is not None:
        assert 0.0 < fault.severity.low < fault.severity.likely < fault.severity.high
    assert re.match("common practice, no source|assumption", fault.source)


def test_priors_add_up_to_one() -> None:
    assert sum(f.prior for f in faults.catalogue()) == pytest.approx(1.0)


def test_every_cause_is_solved_told_and_described() -> None:
    rows = [(f.cause, f.way) for f in faults.catalogue()]
    assert len(set(rows)) == len(rows)
    assert set(rows) - {("nothing-wrong", "")} == set(CHANGES)
    assert {cause for cause, _ in rows} == set(ADVICE)
    section = SOURCES.partition(f"`{faults.FILE}`")[2]
    assert {cause for cause, _ in rows if f"`{cause}`" not in section} == set()
