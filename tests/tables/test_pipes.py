"""Pipe tables: invariants on every row, and checks against standards and other libraries."""

import itertools
import math
from collections import defaultdict
from fractions import Fraction

import pytest
from fluids import piping

from stillpipe.errors import UnknownEntryError
from stillpipe.tables import materials, pipes, reading

MM = 1e-3
# Schedules in order of increasing wall; those in one bracket are twins up to 4 in.
HEAVIER = {
    "ASME B36.10M": (
        ("5",), ("10",), ("30",), ("40", "STD"), ("80", "XS"), ("120",), ("160",), ("XXS",),
    ),
    "ASME B36.19M": (("5S",), ("10S",), ("40S",), ("80S",)),
    "EN 10255": (("medium",), ("heavy",)),
    "ASTM B88": (("M",), ("L",), ("K",)),
    "ASTM B43": (("regular",), ("extra strong",)),
    "ASTM D1785": (("40",), ("80",)),
    "ASTM F441": (("40",), ("80",)),
    "AWWA C151": (("TC 51",), ("TC 52",), ("TC 53",), ("TC 54",), ("TC 55",), ("TC 56",)),
}  # fmt: skip


def number(size: str) -> Fraction:
    """Value of a size such as ``1-1/4`` or ``66.7``."""
    return sum((Fraction(part) for part in size.split("-")), Fraction(0))


def each_pipe() -> pytest.MarkDecorator:
    return pytest.mark.parametrize("pipe", pipes.catalogue(), ids=lambda p: p.id)


def of(standard: str) -> list[pipes.Pipe]:
    found = [p for p in pipes.catalogue() if p.standard == standard]
    assert found
    return found


@each_pipe()
def test_inner_and_two_walls_make_the_outer_diameter(pipe: pipes.Pipe) -> None:
    """Bore plus two walls is the outside diameter, and there is a bore."""
    assert pipe.inside_diameter + 2 * pipe.wall == pytest.approx(pipe.outside_diameter, rel=1e-14)
    assert 0 < pipe.wall < pipe.outside_diameter / 2


@each_pipe()
def test_every_pipe_has_a_known_material_and_a_plausible_diameter(pipe: pipes.Pipe) -> None:
    """A slip of the unit would put a diameter far outside the range of 1/8 to 4 in pipe."""
    assert materials.find(pipe.material).key == pipe.material
    assert 7.9 * MM < pipe.outside_diameter < 125 * MM


@each_pipe()
def test_ratings_stay_below_the_design_pressure_of_the_allowable_stress(pipe: pipes.Pipe) -> None:
    """No rating exceeds 2 S t / (D - 2 t) with the material's allowable stress (ASME B31)."""
    if pipe.rating is None:
        assert pipe.standard in {
            "ASME B36.10M", "ASME B36.19M", "EN 10255", "EN 1057", "ASTM B43"
        }  # fmt: skip
        return
    stress = materials.find(pipe.material).allowable_stress
    assert 0.5e6 < pipe.rating < 2 * stress * pipe.wall / pipe.inside_diameter


def test_ids_and_designations_are_unique_and_safe_in_a_url() -> None:
    """No two pipes share an id or a designation, and an id needs no escaping."""
    everything = pipes.catalogue()
    assert len({p.id for p in everything}) == len(everything)
    assert len({(p.standard, p.size, p.schedule) for p in everything}) == len(everything)
    allowed = set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-./")
    assert all(set(p.id) <= allowed and p.id.count("/") == 2 for p in everything)


@pytest.mark.parametrize("standard", pipes.standards())
def test_a_larger_size_has_a_larger_diameter(standard: str) -> None:
    """Within a standard, sizes are listed in order and the outside diameter grows with them."""
    sizes = pipes.sizes(standard)
    assert [number(s) for s in sizes] == sorted(number(s) for s in sizes)
    diameters = []
    for size in sizes:
        here = {p.outside_diameter for p in of(standard) if p.size == size}
        assert len(here) == 1, f"{standard} {size}: schedules disagree on the outside diameter"
        diameters.append(here.pop())
    assert all(a < b for a, b in itertools.pairwise(diameters))


@pytest.mark.parametrize("standard", HEAVIER)
def test_a_heavier_schedule_has_a_thicker_wall(standard: str) -> None:
    """At one size, walls grow strictly with the schedule; named twins are equal to 4 in."""
    rank = {s: i for i, twins in enumerate(HEAVIER[standard]) for s in twins}
    walls: dict[str, dict[int, set[float]]] = defaultdict(lambda: defaultdict(set))
    for pipe in of(standard):
        if pipe.schedule in rank:
            walls[pipe.size][rank[pipe.schedule]].add(pipe.wall)
    for size, by_rank in walls.items():
        assert all(len(w) == 1 for w in by_rank.values()), size
        ordered = [by_rank[i].copy().pop() for i in sorted(by_rank)]
        assert all(a < b for a, b in itertools.pairwise(ordered)), size


# Standard -> schedule here -> schedule list in the fluids package, with the unit of its table.
FLUIDS = {
    "ASME B36.10M": {s: s for s in ("5", "10", "30", "40", "80", "120", "160", "STD", "XS", "XXS")},
    "ASME B36.19M": {s: s for s in ("5S", "10S", "40S", "80S")},
    "ASTM D1785": {"40": "40D1785", "80": "80D1785"},
    "ASTM F441": {"40": "S40F441IPS", "80": "S80F441IPS"},
}


@pytest.mark.parametrize(
    ("standard", "schedule", "key"),
    [(std, ours, theirs) for std, names in FLUIDS.items() for ours, theirs in names.items()],
)
def test_every_row_agrees_with_the_fluids_package(standard: str, schedule: str, key: str) -> None:
    """Same sizes up to 4 in, diameters and walls as fluids.piping (0.005 mm, its rounding)."""
    nominal, bore, outer, wall = piping.schedule_lookup[key]
    theirs = {
        Fraction(n): (do, t, di)
        for n, di, do, t in zip(nominal, bore, outer, wall, strict=True)
        if n <= 4
    }
    ours = {number(p.size): p for p in of(standard) if p.schedule == schedule}
    assert set(ours) == set(theirs)
    for size, pipe in ours.items():
        do, t, di = theirs[size]
        assert pipe.outside_diameter == pytest.approx(do * MM, abs=5.1e-6)
        assert pipe.wall == pytest.approx(t * MM, abs=5.1e-6)
        assert pipe.inside_diameter == pytest.approx(di * MM, abs=1.1e-5)


@pytest.mark.parametrize(
    ("size", "outer", "inner"), [("2", 60.3, 52.48), ("1/2", 21.3, 15.76)]
)  # fmt: skip
def test_schedule_40_steel_as_printed(size: str, outer: float, inner: float) -> None:
    """NPS 2 and 1/2 Sch 40 are 60.3/52.48 and 21.3/15.76 mm (ASME B36.10M)."""
    pipe = pipes.find("ASME B36.10M", size, "40")
    assert pipe.outside_diameter == pytest.approx(outer * MM, abs=1e-8)
    assert pipe.inside_diameter == pytest.approx(inner * MM, abs=1e-8)
    _, di, do, _ = piping.nearest_pipe(Di=pipe.inside_diameter, schedule="40")
    assert (pipe.inside_diameter, pipe.outside_diameter) == pytest.approx((di, do), abs=1e-8)


@pytest.mark.parametrize(("schedule", "key"), [("medium", "MEDIUM"), ("heavy", "HEAVY")])
def test_en_10255_walls_are_those_of_bs_1387(schedule: str, key: str) -> None:
    """Walls equal BS 1387 in fluids.piping; its diameters are the greatest allowed."""
    _, _, outer, wall = piping.schedule_lookup[f"BS1387{key}"]
    ours = [p for p in of("EN 10255") if p.schedule == schedule and p.size != "1/8"]
    assert len(ours) == 11
    for pipe, do, t in zip(ours, outer[:11], wall[:11], strict=True):
        assert pipe.wall == pytest.approx(t * MM, abs=1e-9)
        assert 0.0 < do * MM - pipe.outside_diameter < 0.7 * MM


@pytest.mark.parametrize("pipe", of("ASTM B88"), ids=lambda p: p.id)
def test_copper_tube_is_an_eighth_of_an_inch_over_nominal(pipe: pipes.Pipe) -> None:
    """ASTM B88: outside diameter = nominal size + 1/8 in."""
    nominal = float(number(pipe.size) + Fraction(1, 8)) * reading.INCH
    assert pipe.outside_diameter == pytest.approx(nominal, abs=1e-12)


@pytest.mark.parametrize(
    ("size", "outer", "walls"),
    [
        ("1/2", 0.625, (0.049, 0.040, 0.028)),
        ("1", 1.125, (0.065, 0.050, 0.035)),
        ("2", 2.125, (0.083, 0.070, 0.058)),
    ],
)
def test_copper_tube_walls_as_printed(
    size: str, outer: float, walls: tuple[float, float, float]
) -> None:
    """Types K, L and M at 1/2, 1 and 2 in (ASTM B88, table 1)."""
    for schedule, wall in zip("KLM", walls, strict=True):
        pipe = pipes.find("ASTM B88", size, schedule)
        assert pipe.outside_diameter == pytest.approx(outer * 0.0254, abs=1e-12)
        assert pipe.wall == pytest.approx(wall * 0.0254, abs=1e-12)


# Theoretical weights [lb/ft], smallest size first, for alloy density [lb/in3].
# ASTM B88: type L as published (piping data sheet of ASTM B88), K and M from memory.
# ASTM B43: from memory; the standard's 1/2 regular, 0.934, was seen in an excerpt of it.
WEIGHTS = {
    ("ASTM B88", "K"): (
        0.323, (0.145, 0.269, 0.344, 0.418, 0.641, 0.839, 1.04, 1.36, 2.06, 2.93, 4.00, 5.12, 6.51)
    ),
    ("ASTM B88", "L"): (
        0.323, (0.126, 0.198, 0.285, 0.362, 0.455, 0.655, 0.884, 1.14, 1.75, 2.48, 3.33, 4.29, 5.38)
    ),
    ("ASTM B88", "M"): (
        0.323, (0.145, 0.204, 0.328, 0.465, 0.682, 0.940, 1.46, 2.03, 2.68, 3.58, 4.66)
    ),
    ("ASTM B43", "regular"): (
        0.316, (0.253, 0.447, 0.627, 0.934, 1.27, 1.78, 2.63, 3.13, 4.12, 5.99, 8.56, 11.2, 12.7)
    ),
    ("ASTM B43", "extra strong"): (
        0.316, (0.363, 0.611, 0.829, 1.23, 1.67, 2.46, 3.39, 4.10, 5.67, 8.66, 11.6, 14.1, 16.9)
    ),
}  # fmt: skip


@pytest.mark.parametrize(("standard", "schedule"), WEIGHTS)
def test_wall_and_diameter_give_the_theoretical_weight(standard: str, schedule: str) -> None:
    """Metal area times density is the printed weight (0.6 %: printed to three figures)."""
    density, weights = WEIGHTS[standard, schedule]
    ours = [p for p in of(standard) if p.schedule == schedule]
    for pipe, weight in zip(ours, weights, strict=True):
        area = math.pi * pipe.wall * (pipe.outside_diameter - pipe.wall) / 0.0254**2
        assert 12 * density * area == pytest.approx(weight, rel=6e-3), pipe.id


# Rated internal working pressure [psi], annealed, 100 °F, S = 6,000 psi: Copper Development
# Association, Copper Tube Handbook (A4015), table 3c, type M, 3/8 to 4 in.
TABLE_3C = (570, 494, 407, 337, 338, 331, 299, 274, 253, 252, 251)
# Tolerances of ASTM B88, table 1 [in], 1/4 to 4: diameter (annealed), and wall by type.
DIAMETER_TOLERANCE = (
    0.002, 0.0025, 0.0025, 0.0025, 0.003, 0.0035, 0.004, 0.0045, 0.005, 0.005, 0.005, 0.005, 0.005
)  # fmt: skip
WALL_TOLERANCE = {
    "K": (
        0.0035, 0.005, 0.005, 0.005, 0.006, 0.006, 0.006, 0.007, 0.008, 0.010, 0.011, 0.012, 0.013
    ),
    "L": (
        0.003, 0.004, 0.004, 0.004, 0.004, 0.005, 0.006, 0.006, 0.007, 0.008, 0.009, 0.010, 0.011
    ),
}  # fmt: skip


def test_type_m_ratings_as_printed() -> None:
    """Type M ratings are those of table 3c of the Copper Tube Handbook."""
    ours = [p.rating for p in of("ASTM B88") if p.schedule == "M"]
    assert ours == pytest.approx([p * reading.PSI for p in TABLE_3C], rel=1e-12)


@pytest.mark.parametrize("schedule", WALL_TOLERANCE)
def test_type_k_and_l_ratings_follow_the_handbook_formula(schedule: str) -> None:
    """P = 2 S t / (D - 0.8 t), least wall, greatest diameter (Copper Tube Handbook; 0.5 psi)."""
    ours = [p for p in of("ASTM B88") if p.schedule == schedule]
    tolerances = zip(WALL_TOLERANCE[schedule], DIAMETER_TOLERANCE, strict=True)
    for pipe, (on_wall, on_diameter) in zip(ours, tolerances, strict=True):
        wall = pipe.wall / 0.0254 - on_wall
        outer = pipe.outside_diameter / 0.0254 + on_diameter
        expected = 2 * 6000 * wall / (outer - 0.8 * wall)
        assert pipe.rating is not None
        assert pipe.rating / 6894.757293 == pytest.approx(expected, abs=0.51)


@pytest.mark.parametrize("pipe", of("ASTM D1785") + of("ASTM F441"), ids=lambda p: p.id)
def test_plastic_schedule_ratings_follow_the_standards_formula(pipe: pipes.Pipe) -> None:
    """P = 2 S t / (D - t), S = 2,000 psi, rounded to 10 psi (ASTM D1785 and F441, appendix)."""
    expected = 2 * 2000 * pipe.wall / (pipe.outside_diameter - pipe.wall)
    assert pipe.rating is not None
    assert pipe.rating / 6894.757293 == pytest.approx(expected, abs=5.5)


@pytest.mark.parametrize(
    ("standard", "ratio", "least", "stress", "rating"),
    [("ASTM D2846", 11, 0.068, 2000, 400), ("ASTM F876", 9, 0.070, 630, 160)],
)
def test_copper_size_plastic_follows_its_dimension_ratio(
    standard: str, ratio: int, least: float, stress: float, rating: float
) -> None:
    """Wall = D / SDR, not less than the least wall; P = 2 S / (SDR - 1) (ASTM D2846, F876)."""
    assert 2 * stress / (ratio - 1) == pytest.approx(rating, abs=5)
    for pipe in of(standard):
        outer = float(number(pipe.size) + Fraction(1, 8))
        assert pipe.outside_diameter == pytest.approx(outer * 0.0254, abs=1e-12)
        expected = max(least, outer / ratio)
        assert pipe.wall / 0.0254 == pytest.approx(expected, abs=6e-4)
        assert pipe.rating == pytest.approx(rating * 6894.757293, rel=1e-9)


def test_cpvc_tube_agrees_with_the_copper_tube_sizes_in_fluids() -> None:
    """From 3/4 in on, walls equal the SDR 11 copper-tube sizes of ASTM D2241 (2 thou)."""
    nominal, _, outer, wall = piping.schedule_lookup["DR11D2241CTS"]
    theirs = {Fraction(n): (d, t) for n, d, t in zip(nominal, outer, wall, strict=True)}
    compared = [p for p in of("ASTM D2846") if p.size != "1/2"]
    assert len(compared) == 5
    for pipe in compared:
        d, t = theirs[number(pipe.size)]
        assert pipe.outside_diameter == pytest.approx(d * MM, abs=1e-6)
        assert pipe.wall == pytest.approx(t * MM, abs=2 * 25.4e-6)


@pytest.mark.parametrize(("size", "outer", "first"), [("3", 3.96, 0.25), ("4", 4.80, 0.26)])
def test_ductile_iron_as_printed(size: str, outer: float, first: float) -> None:
    """Pressure class 350 is 0.25 in; special classes 51 to 56 rise by 0.03 in (AWWA C150)."""
    pc350 = pipes.find("AWWA C151", size, "PC 350")
    assert pc350.outside_diameter == pytest.approx(outer * 0.0254, abs=1e-12)
    assert pc350.wall == pytest.approx(0.25 * 0.0254, abs=1e-12)
    for step in range(6):
        pipe = pipes.find("AWWA C151", size, f"TC {51 + step}")
        assert pipe.wall == pytest.approx((first + 0.03 * step) * 0.0254, abs=1e-12)
        assert pipe.wall >= pc350.wall
    grey = pipes.find("AWWA C106", size, "Class 150")
    assert grey.outside_diameter == pc350.outside_diameter
    assert grey.wall > pc350.wall


@pytest.mark.parametrize("pipe", of("EN 1057"), ids=lambda p: p.id)
def test_en_1057_designation_is_its_dimensions(pipe: pipes.Pipe) -> None:
    """An EN 1057 tube is named by outside diameter and wall in mm."""
    assert pipe.outside_diameter == pytest.approx(float(pipe.size) * MM, abs=1e-12)
    assert pipe.wall == pytest.approx(float(pipe.schedule) * MM, abs=1e-12)


def test_en_1057_has_the_usual_sizes() -> None:
    """The common half-hard sizes of EN 1057 are there (table of preferred sizes, EN 1057)."""
    usual = {"15": "0.7", "22": "0.9", "28": "0.9", "35": "1.2", "42": "1.2", "54": "1.2"}
    for size, wall in usual.items():
        assert pipes.find("EN 1057", size, wall).material == "copper_c12200"


@each_pipe()
def test_every_pipe_is_found_by_designation_and_by_id(pipe: pipes.Pipe) -> None:
    """Look-up returns the row that carries the designation and the id."""
    assert pipes.find(pipe.standard, pipe.size, pipe.schedule) is pipe
    assert pipes.by_id(pipe.id) is pipe


def test_the_id_of_half_inch_type_l_is_stable() -> None:
    """Callers may store ids: this form is promised."""
    assert pipes.find("ASTM B88", "1/2", "L").id == "astm-b88/1-2/L"
    assert pipes.find("AWWA C151", "4", "PC 350").id == "awwa-c151/4/PC-350"
    assert pipes.find("ASME B36.10M", "1-1/2", "40").id == "asme-b36.10m/1-1-2/40"


@pytest.mark.parametrize(
    ("designation", "paths", "listed"),
    [
        (("ASTM B89", "1/2", "L"), [("pipe", "standard")], "ASTM B88"),
        (("ASTM B88", "1/2 mm", "L"), [("pipe", "size")], "1/2"),
        (("ASTM B88", "1/4", "M"), [("pipe", "schedule")], "K, L"),
        (("ASTM B88", "0.5", "40"), [("pipe", "size"), ("pipe", "schedule")], "1-1/4"),
        (("ASTM B88", "1 / 2", "L"), [("pipe", "size")], "1/2"),
    ],
)
def test_unknown_designations_name_the_member_and_what_there_is(
    designation: tuple[str, str, str], paths: list[tuple[str, ...]], listed: str
) -> None:
    """Each unknown member is reported at its own path, with the choices, all at once."""
    with pytest.raises(UnknownEntryError) as raised:
        pipes.find(*designation)
    assert [f.path for f in raised.value.faults] == paths
    assert listed in raised.value.faults[0].detail


def test_faults_stand_where_the_caller_says_the_pipe_stands() -> None:
    """The path given by the caller is the prefix of every fault."""
    with pytest.raises(UnknownEntryError) as raised:
        pipes.find("ASTM B88", "9", "L", path=("jobs", 3, "pipe"))
    assert raised.value.faults[0].path == ("jobs", 3, "pipe", "size")
    with pytest.raises(UnknownEntryError):
        pipes.by_id("astm-b88/1/2/L")


def test_unknown_standards_have_neither_sizes_nor_schedules() -> None:
    """The lists behind the messages are empty for a standard that is not there."""
    assert pipes.sizes("none") == ()
    assert pipes.schedules("none") == ()
    assert pipes.schedules("ASTM B88") == ("K", "L", "M")
