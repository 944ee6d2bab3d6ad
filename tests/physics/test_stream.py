"""Water that moves while it freezes: Nusselt numbers, drop, greatest flow, the freeze itself."""

import math
from functools import lru_cache
from itertools import pairwise

import numpy as np
import pytest
from fluids.friction import Churchill_1977
from ht.conv_internal import turbulent_Gnielinski

from reference import closing
from reference.cases_2d import of
from stillpipe.errors import CancelledError, TooCostlyError
from stillpipe.physics import freeze, media
from stillpipe.physics.column import recut, work
from stillpipe.physics.column.layout import Case
from stillpipe.physics.stream import limit, liquid, regime
from stillpipe.physics.stream import pipe as stream_pipe
from stillpipe.physics.stream import run as stream
from stillpipe.tables import pipes

BAR3 = 3e5
COPPER = ("ASTM B88", "1/2", "L")
SMALL = ("ASTM B88", "1/4", "L")
STEEL = ("ASME B36.10M", "2", "40")
WIDE = ("ASME B36.10M", "4", "40")
STAINLESS = ("ASME B36.19M", "1/2", "10S")
PEX = ("ASTM F876", "3/4", "SDR 9")
# a freeze near the greatest flow takes longer than one request may
ROOM = 40 * work.MOST


@lru_cache(maxsize=64)
def case_of(pipe: tuple[str, str, str], celsius: float, jacket: float | None = None) -> Case:
    return of(pipes.find(*pipe), celsius, jacket=jacket)


def water_in(case: Case, strength: float = 1.0) -> liquid.Liquid:
    return liquid.liquid("water", 0.0, case.jacket_length, False, strength)


def greatest(pipe: tuple[str, str, str], celsius: float, head: float = BAR3) -> float:
    case = case_of(pipe, celsius)
    return limit.of(case, water_in(case), head)


def frozen(pipe: tuple[str, str, str], celsius: float, flow: float) -> stream.Streamed:
    case = case_of(pipe, celsius)
    return stream.freeze(case, water_in(case), flow, BAR3, work=work.Work(ROOM))


# First five constants of the Graetz problem, wall at one temperature: eigenvalues and
# -C_n R_n'(1) / 2; Shah and London, Laminar Flow Forced Convection in Ducts (1978), from memory.
GRAETZ = np.array([2.7043644, 6.679031, 10.67338, 14.67108, 18.66987])
SHARES = np.array([0.748774, 0.543827, 0.462861, 0.415418, 0.382919])


@pytest.mark.parametrize("entry", [0.005, 0.01, 0.02, 0.05, 0.2, 1.0])
def test_laminar_entry_is_the_graetz_problems(entry: float) -> None:
    """Local Nusselt number of the series: 2 % below to 6 % above, as the correlation deviates."""
    parts = SHARES * np.exp(-2.0 * GRAETZ**2 * entry)
    expected = np.sum(parts) / (2.0 * np.sum(parts / GRAETZ**2))
    assert 0.98 * expected < regime.laminar(entry) < 1.06 * expected


def test_laminar_flow_develops_to_the_constant_of_shah_and_london() -> None:
    """3.66 for a constant wall temperature."""
    assert regime.laminar(100.0) == pytest.approx(3.66, abs=0.02)


@pytest.mark.parametrize("reynolds", [4e3, 1e4, 1e5])
@pytest.mark.parametrize("prandtl", [7.0, 13.0])
def test_turbulent_flow_is_gnielinskis(reynolds: float, prandtl: float) -> None:
    """Against the ht library, far from the entry; its friction factor by Filonenko's form."""
    darcy = (0.79 * math.log(reynolds) - 1.64) ** -2
    expected = turbulent_Gnielinski(Re=reynolds, Pr=prandtl, fd=darcy)
    assert regime.turbulent(reynolds, prandtl, 1e-9) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("reynolds", [1.0, 500.0, 999.0, 1001.0, 2500.0, 4e3, 1e5])
def test_friction_is_churchills(reynolds: float) -> None:
    """Smooth pipe, against the fluids library."""
    assert regime.friction(reynolds) == pytest.approx(Churchill_1977(reynolds, 0.0), rel=1e-6)


@pytest.mark.parametrize("edge", [regime.LAMINAR, regime.TURBULENT])
def test_the_nusselt_number_is_continuous_between_regimes(edge: float) -> None:
    low, high = (regime.moving(edge * f, 10.0, 20.0) for f in (1 - 1e-7, 1 + 1e-7))
    assert low == pytest.approx(high, rel=1e-4)


@pytest.mark.parametrize(("salinity", "ratio"), [(0.035, 1.0777), (0.1, 1.25)])
def test_sea_water_is_thicker_than_water(salinity: float, ratio: float) -> None:
    """CoolProp 8, MITSW at 10 C over its fresh water: 1.0695 at 35 g/kg; 3 %."""
    assert liquid.viscosity_ratio("seawater", salinity) == pytest.approx(ratio, rel=0.03)


def by_hand(case: Case, flow: float) -> float:
    """Drop [Pa] through a tapered channel under the jacket alone, marched in 4,000 steps.

    No conduction along and no circulation; the ice is in balance with each place's heat.
    """
    steps, q = 4000, water_in(case, 0.0)
    dz = case.jacket_length / steps
    around = math.pi * case.outer_diameter
    outer = 1.0 / (case.h_jacket * around) + math.log(
        case.outer_diameter / (case.outer_diameter - 2.0 * case.wall_thickness)
    ) / (2.0 * math.pi * case.wall_conductivity)
    T = case.start_temperature - q.freezing
    total, before, radius = 0.0, 0.0, 0.5 * case.bore
    span = np.linspace(194.686, q.freezing, 400)
    theta = np.concatenate(([0.0], np.cumsum(np.diff(span) * media.ice_conductivity(
        0.5 * (span[1:] + span[:-1])))))  # fmt: skip
    for i in range(steps):
        low, high = 1e-6, 0.5 * case.bore
        for _ in range(50):
            radius = math.sqrt(low * high)
            film = regime.conductance(flow, (i + 0.5) * dz, radius, T + q.freezing, q) * T
            wall = 194.686 + film * outer
            passed = 2.0 * math.pi * (theta[-1] - np.interp(wall, span, theta))
            low, high = (radius, high) if math.log(0.5 * case.bore / radius) * film > passed else (
                low, radius)  # fmt: skip
        drop = regime.gradient(flow, radius, T + q.freezing, q) * dz
        kinetic = 0.5 * flow**2 / q.density / (math.pi * radius**2) ** 2
        total += drop + max(before - kinetic, 0.0)
        before = kinetic
        T -= (film * dz - drop * flow / q.density) / (flow * q.cp)
    return total + before


@pytest.mark.parametrize(("pipe", "celsius"), [(COPPER, 5.0), (COPPER, 20.0), (STEEL, 20.0)])
def test_without_conduction_along_the_channel_is_that_marched_by_hand(
    pipe: tuple[str, str, str], celsius: float
) -> None:
    """The flow at which the drop marched in fine steps reaches 3 bar; 10 %, of eight slices.

    In cold water in copper up to 15 % below it, the safe side.
    """
    case = case_of(pipe, celsius)
    found = limit.of(case, water_in(case, 0.0), BAR3, along=False)
    assert by_hand(case, 0.9 * found) > BAR3 > by_hand(case, 1.15 * found)


def test_cold_water_gives_no_absurd_limit() -> None:
    """2 in at 1 C: 36,000 kg/h in version 0.2.0; its neck would need hundreds of bar."""
    flow = greatest(STEEL, 1.0)
    case = case_of(STEEL, 1.0)
    found = limit.steady(case, water_in(case), BAR3, 1.02 * flow)
    assert flow * 3600.0 < 300.0
    assert found.drop < BAR3
    speed = flow / (1000.0 * math.pi * found.radius.min() ** 2)
    assert 500.0 * speed**2 < BAR3  # Bernoulli: no faster than the head can make it


@pytest.mark.parametrize("pipe", [COPPER, STEEL, STAINLESS])
def test_the_warmer_the_water_the_less_flow_is_frozen(pipe: tuple[str, str, str]) -> None:
    flows = [greatest(pipe, t) for t in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 35.0)]
    assert all(a > b for a, b in pairwise(flows))


@pytest.mark.parametrize("pipe", [COPPER, STEEL, WIDE, STAINLESS])
@pytest.mark.parametrize("celsius", [1.0, 10.0, 20.0])
def test_the_limit_does_not_hang_on_where_it_is_sought(
    pipe: tuple[str, str, str], celsius: float
) -> None:
    """From a third and from three times of it; 1 %, as well as it is found where the drop leaps."""
    case = case_of(pipe, celsius)
    q = water_in(case)
    flow = limit.of(case, q, BAR3)
    p, ice = stream_pipe.laid(case, limit.HORIZON, limit.GRID), stream_pipe.frozen(case, q)
    for guess in (flow / 3.0, flow, 3.0 * flow):
        found = limit.greatest(BAR3, case.start_temperature - q.freezing, guess, 10.0, ice, p, q)
        assert found == pytest.approx(flow, rel=0.01)


@pytest.mark.parametrize("pipe", [COPPER, STEEL, STAINLESS])
def test_a_greater_head_leaves_less_flow_to_freeze(pipe: tuple[str, str, str]) -> None:
    flows = [greatest(pipe, 20.0, head) for head in (2e4, 1e5, 3e5, 1e6)]
    assert all(a > b for a, b in pairwise(flows))


@pytest.mark.parametrize(("celsius", "least", "most"), [(35.0, 1.8, 2.4), (20.0, 1.3, 2.0)])
def test_a_laminar_channel_is_proportional_to_the_jackets_length(
    celsius: float, least: float, most: float
) -> None:
    """Published shape: proportional, at a fixed diameter; Trans. KSME B 25(3), 2001.

    Twice the length gives about twice the flow where the neck is laminar, at 35 C; less where the
    larger flow is in transition. Without what the wall conducts along.
    """
    one, two = (case_of(STAINLESS, celsius, length) for length in (0.03, 0.06))
    single, double = (limit.of(c, water_in(c, 0.0), BAR3, along=False) for c in (one, two))
    assert least < double / single < most


def test_a_thicker_solution_freezes_more_than_one_as_thin_as_water() -> None:
    """A solution is thicker, so that the neck takes more of the head; and it freezes later."""
    case = of(pipes.find(*STEEL), 10.0, fluid="propylene_glycol", concentration=0.05)
    q = liquid.liquid("propylene_glycol", 0.05, case.jacket_length, False, 1.0)
    table = q.table.copy()
    table[:, 0] /= 3.0
    assert 0.0 < limit.of(case, q._replace(table=table), BAR3) < limit.of(case, q, BAR3)


@pytest.mark.parametrize(
    ("pipe", "celsius"),
    [(COPPER, 0.5), (COPPER, 20.0), (COPPER, 35.0), (SMALL, 5.0), (STEEL, 5.0), (STEEL, 35.0),
     (WIDE, 20.0), (STAINLESS, 0.5), (STAINLESS, 20.0), (PEX, 5.0)],
)  # fmt: skip
def test_a_freeze_closes_below_the_limit_and_stays_open_above(
    pipe: tuple[str, str, str], celsius: float
) -> None:
    """0.8 and 1.2 of the steady channel's limit, four hours."""
    flow = greatest(pipe, celsius)
    assert frozen(pipe, celsius, 0.8 * flow).closure is not None
    assert frozen(pipe, celsius, 1.2 * flow).closure is None


@pytest.mark.parametrize(("pipe", "band"), [(COPPER, 0.02), (STEEL, 0.02), (PEX, 0.02)])
def test_without_flow_it_is_the_still_column(pipe: tuple[str, str, str], band: float) -> None:
    still = closing.closure_only(case_of(pipe, 20.0), freeze.PRODUCTION)
    assert frozen(pipe, 20.0, 0.0).closure == pytest.approx(still, rel=band)


@pytest.mark.parametrize("pipe", [COPPER, STEEL])
def test_more_flow_never_closes_sooner_and_a_drip_delays_little(
    pipe: tuple[str, str, str],
) -> None:
    most = greatest(pipe, 20.0)
    times = [frozen(pipe, 20.0, f * most).closure for f in (0.0, 0.05, 0.3, 0.6, 0.8)]
    known = [t for t in times if t is not None]
    assert known == sorted(times, key=lambda t: t or math.inf)
    assert known[1] < 1.05 * known[0]
    assert known[-1] > 1.3 * known[0]


@pytest.mark.parametrize(("pipe", "flow"), [(COPPER, 8e-5), (STEEL, 6e-4), (COPPER, 6e-4)])
def test_heat_is_accounted_for(pipe: tuple[str, str, str], flow: float) -> None:
    """What the dry ice took is what pipe, bore, room, stream and friction gave."""
    case, found = case_of(pipe, 20.0), frozen(pipe, 20.0, flow)
    start = case.medium.enthalpy(case.start_temperature)
    bore = 0.25 * math.pi * case.bore**2
    rings = np.diff(np.linspace(0.0, 1.0, found.enthalpy.shape[0] + 1) ** 2)
    held = float(np.sum((start - found.enthalpy) * rings[:, None] * found.dz) * bore)
    inner = case.outer_diameter - 2.0 * case.wall_thickness
    section = 0.25 * math.pi * (case.outer_diameter**2 - inner**2) * case.wall_heat_capacity
    held += float(np.sum(section * found.dz * (case.start_temperature - found.wall)))
    given = held + found.heat_ambient + found.heat_stream + found.heat_friction
    assert given == pytest.approx(found.heat_jacket, rel=1e-3)


def test_the_flow_lasts_until_the_head_is_reached() -> None:
    found = frozen(COPPER, 20.0, 1.5e-4)
    held = found.drop < 0.999 * BAR3
    np.testing.assert_allclose(found.flow[held], 1.5e-4)
    assert held.any()
    assert found.flow[-1] < 0.01 * 1.5e-4
    np.testing.assert_allclose(found.drop[~held][:-1], BAR3, rtol=1e-2)


def test_the_result_is_read_only() -> None:
    with pytest.raises(ValueError, match="read-only"):
        frozen(COPPER, 20.0, 0.0).wall[0] = 0.0


def test_it_is_bounded_and_ends_when_nobody_waits() -> None:
    case = case_of(COPPER, 20.0)
    with pytest.raises(TooCostlyError):
        stream.freeze(case, water_in(case), 1e-4, BAR3, work=work.Work(1000))
    with work.cancellable(np.ones(1, dtype=np.int64)), pytest.raises(CancelledError):
        stream.freeze(case, water_in(case), 1e-4, BAR3)


def test_a_stream_of_more_steps_than_are_kept_is_too_costly(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It is refused as a request that costs too much, and is no fault of the solver."""
    case = case_of(COPPER, 20.0)
    monkeypatch.setattr(stream, "ROWS", 5)
    with pytest.raises(TooCostlyError, match="more than 5 steps"):
        stream.freeze(case, water_in(case), 1e-4, BAR3)


@pytest.mark.parametrize("pipe", [COPPER, STEEL])
def test_a_still_freeze_goes_on_from_a_stream(pipe: tuple[str, str, str]) -> None:
    """Without flow, ready and an hour's hold are those of a freeze that never knew of streams.

    3 %: closure's own 2 %, and a state carried from other cells.
    """
    case = case_of(pipe, 20.0)
    plain, taken = (
        freeze.FreezeRun(case, needed_length=1.6 * case.bore, begun=begun)
        for begun in (None, frozen(pipe, 20.0, 0.0).begun)
    )
    assert plain.at_ready is not None
    assert taken.at_ready is not None
    assert taken.ready == pytest.approx(plain.ready, rel=0.03)
    assert taken.at_ready.heat_jacket == pytest.approx(plain.at_ready.heat_jacket, rel=0.03)
    held = [run.fed_to(6000.0).sound_length for run in (plain, taken)]
    assert held[1] == pytest.approx(held[0], rel=0.02)
    assert taken.fed_to(30.0).plug_length == 0.0


def test_what_a_freeze_goes_on_from_keeps_its_heat() -> None:
    """Enthalpy carried to other cells is the same in all, where both meshes reach."""
    old, new = np.array([1.0, 2.0, 3.0]), np.array([0.5, 2.5, 3.0])
    shares = recut.shares(old, new)
    np.testing.assert_allclose(shares.sum(axis=0), 1.0)
    np.testing.assert_allclose(shares @ new, old)
