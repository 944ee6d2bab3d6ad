"""A calibration says what is wrong with it, and nothing is stated twice."""

from dataclasses import replace
from typing import Any

import pytest

import stillpipe
from estimates.jobs import HALF_INCH, stated
from stillpipe.errors import OutOfValidityError, StillpipeError, UnknownEntryError
from stillpipe.model.calibration import Calibration, Factor
from stillpipe.model.freeze_point import Jacket
from stillpipe.model.pipe import Pipe
from stillpipe.model.requests import CalibrationRequest, Co2MassRequest, PlugTimeRequest, Record

ONE = Factor(p05=0.9, p50=1.0, p95=1.1)
SOUND = Calibration(
    model_version=stillpipe.MODEL_VERSION, records=12, jacket_conductance=ONE, jacket_filling=ONE,
    capture=ONE, least_diameter=0.015, greatest_diameter=0.030,
)  # fmt: skip


def faults(request: Any) -> dict[str, str]:
    """What is wrong with a request, by the dotted name of its member."""
    with pytest.raises(StillpipeError) as caught:
        request.completed()
    return {".".join(map(str, f.path)): f.detail for f in caught.value.faults}


def test_a_sound_calibration_is_taken() -> None:
    request = stated(PlugTimeRequest, calibration=SOUND).completed()
    assert request.calibration == SOUND


def test_one_of_another_major_version_is_refused_and_of_another_minor_is_not() -> None:
    major, minor, _ = stillpipe.MODEL_VERSION.split(".")
    near = replace(SOUND, model_version=f"{major}.{int(minor) + 1}.7")
    assert stated(PlugTimeRequest, calibration=near).completed().calibration == near
    for version in (f"{int(major) + 1}.0.0", f"{int(major) - 1}.{minor}.0"):
        other = replace(SOUND, model_version=version)
        found = faults(stated(PlugTimeRequest, calibration=other))
        assert list(found) == ["calibration.model_version"]
        assert version in found["calibration.model_version"]


@pytest.mark.parametrize("version", ["three", "3", "3.0", "v3.0.0", "3.0.0 "])
def test_a_version_is_three_numbers(version: str) -> None:
    found = faults(stated(PlugTimeRequest, calibration=replace(SOUND, model_version=version)))
    assert list(found) == ["calibration.model_version"]


def test_every_member_at_fault_is_named() -> None:
    falling = Factor(p05=1.0, p50=0.9, p95=1.1)
    wide = Factor(p05=0.1, p50=1.0, p95=2.1)
    wrong = replace(
        SOUND, jacket_conductance=falling, capture=wide, least_diameter=0.040
    )  # fmt: skip
    assert set(faults(stated(PlugTimeRequest, calibration=wrong))) == {
        "calibration.jacket_conductance", "calibration.capture", "calibration.least_diameter",
    }  # fmt: skip


def test_what_the_calibration_says_must_not_be_stated_besides() -> None:
    jacket = Jacket(conductance=200.0, fill_time=20.0)
    request = stated(Co2MassRequest, calibration=SOUND, jacket=jacket, capture_efficiency=0.7)
    found = faults(request)
    assert set(found) == {"jacket.conductance", "jacket.fill_time", "capture_efficiency"}
    assert replace(request, calibration=None).completed().jacket.conductance == 200.0
    other = Jacket(length=0.06)
    assert stated(Co2MassRequest, calibration=SOUND, jacket=other).completed().jacket == other


def test_a_record_must_not_state_what_it_is_to_tell() -> None:
    jacket = Jacket(conductance=200.0, fill_time=20.0)
    records = (
        stated(Record),
        stated(Record, jacket=jacket, capture_efficiency=0.7),
        stated(Record, pipe=Pipe(standard="ASTM B88", size="9", schedule="L")),
    )
    request = CalibrationRequest(records=records)
    with pytest.raises(UnknownEntryError):
        request.completed()
    assert set(faults(request)) == {
        "records.1.jacket.conductance", "records.1.jacket.fill_time",
        "records.1.capture_efficiency", "records.2.pipe.size",
    }  # fmt: skip
    with pytest.raises(OutOfValidityError):
        CalibrationRequest(records=records[:2]).completed()


def test_records_are_worked_out() -> None:
    (record,) = CalibrationRequest(records=(stated(Record),)).completed().records
    assert record.pipe.outside_diameter == HALF_INCH.outside_diameter
    assert record.jacket_loss.mass == pytest.approx(0.1 + 5.0 * HALF_INCH.outside_diameter)


def test_it_reaches_half_as_far_again_as_its_pipes() -> None:
    assert SOUND.reaches(0.0101)
    assert SOUND.reaches(0.0449)
    assert not SOUND.reaches(0.0099)
    assert not SOUND.reaches(0.0451)
