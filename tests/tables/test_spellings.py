"""What people write, against the catalogue: each spelling means one pipe, the right one.

DN and inches: ISO 6708:1995 and ASME B36.10M, table of nominal sizes (from memory).
"""

import pytest

from stillpipe.errors import UnknownEntryError
from stillpipe.tables import pipes, spellings

WRITTEN = {
    ("astm b88", '1 1/2"', "type l"): "astm-b88/1-1-2/L",
    ("astm-b88", "1½", "L"): "astm-b88/1-1-2/L",
    ("ASTM B88", "1-½ in", "TYPE L"): None,
    ("ASTM B88", "½", "l"): "astm-b88/1-2/L",
    ("ASTM B88", "  1/2  in ", "L"): "astm-b88/1-2/L",
    ("asme b36.10m", "DN15", "Sch 40"): "asme-b36.10m/1-2/40",
    ("ASME B36.10M", "dn 100", "schedule 80"): "asme-b36.10m/4/80",
    ("ASME B36.10M", "2 1/2 inch", "std"): "asme-b36.10m/2-1-2/STD",
    ("ASME B36.19M", "1", "Sch 10S"): "asme-b36.19m/1/10S",
    ("en 10255", "DN 32", "Medium"): "en-10255/1-1-4/medium",
    ("EN 1057", "15 mm", "1"): "en-1057/15/1.0",
    ("EN 1057", "15mm", "1.0 mm"): "en-1057/15/1.0",
    ("ASTM B43", '1"', "extra-strong"): "astm-b43/1/extra-strong",
    ("ASTM F876", "3/4", "sdr9"): "astm-f876/3-4/SDR-9",
    ("AWWA C151", "DN80", "pc350"): "awwa-c151/3/PC-350",
    ("ASTM B88", "DN15", "L"): None,
    ("ASTM B88", "1.5", "L"): None,
    ("ASTM B88", "11/2", "L"): None,
    ("EN 1057", '15"', "1.0"): None,
    ("EN 1057", "DN15", "1.0"): None,
}
"""What is written, and the id of the pipe that is meant; None where nothing is."""


@pytest.mark.parametrize("written", WRITTEN, ids=" | ".join)
def test_what_people_write_means_one_pipe_or_none(written: tuple[str, str, str]) -> None:
    meant = WRITTEN[written]
    if meant is None:
        with pytest.raises(UnknownEntryError):
            pipes.find(*written)
    else:
        assert pipes.find(*written).id == meant


@pytest.mark.parametrize("pipe", pipes.catalogue(), ids=lambda p: p.id)
def test_a_designation_means_itself(pipe: pipes.Pipe) -> None:
    assert pipes.spelled(pipe.standard, pipe.size, pipe.schedule) == (
        pipe.standard, pipe.size, pipe.schedule,
    )  # fmt: skip
    lower = (pipe.standard.lower(), pipe.size.lower(), pipe.schedule.lower())
    assert pipes.find(*lower) is pipe
    assert pipes.by_id(pipe.id.upper()) is pipe


@pytest.mark.parametrize("standard", pipes.standards())
def test_no_spelling_means_two(standard: str) -> None:
    """Each spelling of a size stands for one; those of different sizes have nothing in common."""
    known = pipes.sizes(standard)
    table = spellings.sizes(standard, known)
    assert set(table.values()) == set(known)
    assert len({spellings.key(s) for s in known}) == len(known)


def test_nominal_sizes_are_those_of_the_standard() -> None:
    """About 25.4 mm for each inch, as nominal sizes are: the DN next to it in its series."""
    inches = [sum(_value(part) for part in size.split("-")) for size in spellings.NOMINAL]
    assert inches == sorted(inches)
    dn = list(spellings.NOMINAL.values())
    assert dn == sorted(dn)
    for inch, nominal in zip(inches[3:], dn[3:], strict=True):
        assert nominal == pytest.approx(25.4 * inch, rel=0.2)


def _value(part: str) -> float:
    top, _, bottom = part.partition("/")
    return float(top) / float(bottom or 1)
