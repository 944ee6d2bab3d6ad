"""A request worked out: every default filled in, every fault named at once, of the right kind."""

import math
from typing import Any

import pytest

from estimates.jobs import HALF_INCH, TWO_INCH, ZERO_C, named, solution_of, stated, water
from stillpipe.errors import Fault, OutOfValidityError, StillpipeError, UnknownEntryError
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.freeze_point import Fluid, FreezePoint, Jacket, JacketLoss, Lining
from stillpipe.model.options import JobEstimateRequest
from stillpipe.model.pipe import Pipe
from stillpipe.model.requests import (
    Co2MassRequest,
    CylinderCountRequest,
    FrostCheckRequest,
    HoldTimeRequest,
    PlugTimeRequest,
    SpacingRequest,
    VentilationRequest,
)
from stillpipe.model.site import Release, Room
from stillpipe.physics import constants

UNKNOWN_SIZE = Pipe(standard="ASTM B88", size="7/16", schedule="L")
UNKNOWN_SIZE_AND_TYPE = Pipe(standard="ASTM B88", size="7/16", schedule="Q")
UNKNOWN_STANDARD = Pipe(standard="ASTM B89", size="1/2", schedule="L")
ALL_WALL = Pipe(outside_diameter=0.020, wall=0.0095, material="carbon_steel")
SCALE = Lining(material="calcium_carbonate_scale", thickness=0.0062)
ICE_COLD = water(-1.0)
RICH = solution_of("seawater", 0.35)
NAMELESS = Fluid(type="propylene_glycol", temperature=ZERO_C + 20.0)
SWEET_WATER = Fluid(concentration=0.1, temperature=ZERO_C + 20.0)
COLD_GLYCOL = solution_of("propylene_glycol", 0.10, -5.0)

PIPE, WALL, BORE = ("pipe", "size"), ("pipe", "wall"), ("pipe",)
SCHEDULE, STANDARD = ("pipe", "schedule"), ("pipe", "standard")
CONCENTRATION, TEMPERATURE = ("fluid", "concentration"), ("fluid", "temperature")


def refused(**changes: Any) -> StillpipeError:
    """What a request with ``changes`` is refused with."""
    with pytest.raises(StillpipeError) as caught:
        stated(PlugTimeRequest, **changes).completed()
    return caught.value


def faults(error: StillpipeError) -> set[tuple[str | int, ...]]:
    """The paths that are named, each once."""
    paths = [fault.path for fault in error.faults]
    assert len(set(paths)) == len(paths)
    return set(paths)


@pytest.mark.parametrize(
    ("changes", "kind", "paths"),
    [
        ({"pipe": UNKNOWN_STANDARD}, UnknownEntryError, {STANDARD}),
        ({"pipe": UNKNOWN_SIZE}, UnknownEntryError, {PIPE}),
        ({"pipe": UNKNOWN_SIZE_AND_TYPE}, UnknownEntryError, {PIPE, SCHEDULE}),
        ({"pipe": ALL_WALL}, OutOfValidityError, {WALL}),
        ({"lining": SCALE}, OutOfValidityError, {BORE}),
        ({"fluid": ICE_COLD}, OutOfValidityError, {TEMPERATURE}),
        ({"fluid": COLD_GLYCOL}, OutOfValidityError, {TEMPERATURE}),
        ({"fluid": RICH}, OutOfValidityError, {CONCENTRATION}),
        ({"fluid": NAMELESS}, OutOfValidityError, {CONCENTRATION}),
        ({"fluid": SWEET_WATER}, OutOfValidityError, {CONCENTRATION}),
        ({"pipe": UNKNOWN_SIZE, "fluid": NAMELESS}, UnknownEntryError, {PIPE, CONCENTRATION}),
        ({"pipe": ALL_WALL, "fluid": ICE_COLD}, OutOfValidityError, {WALL, TEMPERATURE}),
        ({"pipe": UNKNOWN_SIZE, "fluid": ICE_COLD}, UnknownEntryError, {PIPE, TEMPERATURE}),
        ({"lining": SCALE, "fluid": ICE_COLD}, OutOfValidityError, {BORE, TEMPERATURE}),
        ({"lining": SCALE, "fluid": RICH}, OutOfValidityError, {BORE, CONCENTRATION}),
    ],
)
def test_every_fault_is_named_at_once(
    changes: dict[str, Any], kind: type[StillpipeError], paths: set[tuple[str, ...]]
) -> None:
    """Faults of one kind make an error of that kind; an unknown entry outranks the others."""
    error = refused(**changes)
    assert type(error) is kind
    assert faults(error) == paths


def test_a_fault_says_what_is_allowed() -> None:
    """Freezing points: 0 C, and -2.87 C of 10 % propylene glycol (CoolProp), 0.05 K."""
    assert "0.00 degC" in refused(fluid=ICE_COLD).faults[0].detail
    detail = refused(fluid=COLD_GLYCOL).faults[0].detail
    assert float(detail.split(" degC")[0].split()[-1]) == pytest.approx(-2.87, abs=0.05)
    assert "45 %" in refused(pipe=ALL_WALL).faults[0].detail
    assert "2 mm" in refused(lining=SCALE).faults[0].detail
    assert "1/2" in refused(pipe=UNKNOWN_SIZE).faults[0].detail


@pytest.mark.parametrize("share", [0.44, 0.46])
def test_the_wall_is_at_most_45_percent_of_the_diameter(share: float) -> None:
    pipe = Pipe(outside_diameter=0.040, wall=share * 0.040, material="carbon_steel")
    if share < 0.45:
        assert stated(PlugTimeRequest, pipe=pipe).completed().bore == pytest.approx(0.0048)
    else:
        assert faults(refused(pipe=pipe)) == {WALL}


def test_an_unknown_cylinder_is_an_unknown_entry() -> None:
    request = stated(CylinderCountRequest, cylinder=Cylinder(id="co2-1t"))
    with pytest.raises(UnknownEntryError) as caught:
        request.completed()
    assert isinstance(caught.value.faults[0], Fault)


def test_a_pipe_by_size_has_the_catalogues_measures() -> None:
    pipe = stated(PlugTimeRequest, TWO_INCH).completed().pipe
    assert (pipe.outside_diameter, pipe.wall) == (TWO_INCH.outside_diameter, TWO_INCH.wall)
    assert (pipe.material, pipe.id, pipe.rating) == (TWO_INCH.material, TWO_INCH.id, None)
    copper = stated(PlugTimeRequest, HALF_INCH).completed().pipe
    assert copper.rating == HALF_INCH.rating


def test_a_stated_material_goes_before_the_catalogues() -> None:
    pipe = named(TWO_INCH)
    other = Pipe(**(vars(pipe) | {"material": "stainless_304"}))
    assert stated(PlugTimeRequest, pipe=other).completed().material.key == "stainless_304"


def test_defaults_by_hand() -> None:
    """Jacket 25 mm + 15.875 mm long, of 0.1 kg + 5 kg/m x 15.875 mm; leak 5 W/(m2 K).

    The leak's surface: a cylinder 100 mm wider than the pipe over the jacket and half its own
    width at both ends together.
    """
    request = stated(Co2MassRequest).completed()
    outer = 0.115875
    assert request.jacket == Jacket(length=0.040875, conductance=165.0)
    assert request.jacket_loss.mass == pytest.approx(0.179375)
    area = math.pi * outer * (0.040875 + 0.5 * outer)
    assert request.jacket_loss.leak == pytest.approx(5.0 * area)
    drop = 293.15 - constants.DRY_ICE
    assert request.jacket_heat == pytest.approx(0.179375 * 1000.0 * drop)
    assert request.leak_power == pytest.approx(5.0 * area * drop)


@pytest.mark.parametrize(
    ("kind", "further"),
    [(PlugTimeRequest, {}), (HoldTimeRequest, {}), (Co2MassRequest, {}), (CylinderCountRequest, {}),
     (SpacingRequest, {"places": ()}), (FrostCheckRequest, {"elapsed": 0.0, "frost_seen": True}),
     (JobEstimateRequest, {})],
)  # fmt: skip
def test_every_freeze_has_air_of_half_humidity_and_a_jacket_that_fills_in_half_a_minute(
    kind: type[FreezePoint], further: dict[str, Any]
) -> None:
    """Assumptions: a heated building's air; 10 to 90 s is common practice, no source."""
    request = stated(kind, **further).completed()
    assert (request.relative_humidity, request.jacket.fill_time) == (0.5, 30.0)


def test_a_blank_jacket_takes_in_less_than_a_dull_one() -> None:
    """Radiation about 20 degC: 4 sigma T^3, sigma 5.670374419e-8 W/(m2 K4) (CODATA 2018)."""
    blank, dull = (
        stated(Co2MassRequest, jacket=Jacket(emissivity=e)).completed() for e in (0.05, 0.95)
    )
    outer = 0.115875
    area = math.pi * outer * (0.040875 + 0.5 * outer)
    more = 0.9 * 4.0 * 5.670374419e-8 * 293.15**3 * area
    assert dull.jacket_loss.leak - blank.jacket_loss.leak == pytest.approx(more)


def test_what_is_stated_is_kept() -> None:
    request = stated(
        Co2MassRequest, jacket=Jacket(length=0.2), jacket_loss=JacketLoss(mass=2.0, leak=0.0)
    ).completed()
    assert request.jacket.length == 0.2
    assert request.jacket_loss == JacketLoss(mass=2.0, leak=0.0)
    assert request.leak_power == 0.0


def test_water_has_no_concentration_and_sea_water_that_of_the_sea() -> None:
    assert stated(PlugTimeRequest).completed().fluid.concentration == 0.0
    sea = Fluid(type="seawater", temperature=ZERO_C + 20.0)
    assert stated(PlugTimeRequest, fluid=sea).completed().fluid.concentration == 0.035


def test_a_cylinder_is_of_the_catalogue_unless_it_is_given_by_its_mass() -> None:
    """Without a word about it 22.7 kg (50 lb), filled to 68 % (49 CFR 173.304a)."""
    cylinder = stated(CylinderCountRequest).completed().cylinder
    assert (cylinder.id, cylinder.net_mass, cylinder.dip_tube) == ("co2-22.7kg", 22.7, True)
    own = stated(CylinderCountRequest, cylinder=Cylinder(net_mass=4.0)).completed().cylinder
    assert (own.id, own.net_mass, own.fill_ratio, own.dip_tube) == ("custom", 4.0, 680.0, True)
    filled = Cylinder(net_mass=4.0, fill_ratio=500.0, dip_tube=False)
    own = stated(CylinderCountRequest, cylinder=filled).completed().cylinder
    assert (own.fill_ratio, own.dip_tube) == (500.0, False)


@pytest.mark.parametrize("room", [5.0, 20.0, 30.0])
def test_a_room_is_as_warm_as_stated_or_as_what_is_around_the_pipe(room: float) -> None:
    plain, warm = Room(volume=60.0), Room(volume=60.0, temperature=ZERO_C + 12.0)
    for given, celsius in ((plain, room), (warm, 12.0)):
        found = stated(JobEstimateRequest, HALF_INCH, 20.0, room, room=given).completed().room
        assert found is not None
        assert found.temperature == ZERO_C + celsius


def test_a_room_alone_is_at_20_degrees() -> None:
    release = (Release(rate=0.001, duration=600.0),)
    request = VentilationRequest(room=Room(volume=60.0), release=release).completed()
    assert request.room.temperature == 293.15
