"""The real kernel against published solutions in closed form, and with another coolant.

Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959: Neumann's solution of a freezing
half-space (section 11.2), to which a bore tends while its ice is thin, and the series of a cylinder
that gives its heat to a surrounding through a film (section 7.7). Both formulae from memory; the
roots of the first are held by values computed apart. No published measurement of water freezing in
a cooled tube is compared here: none was found whose text gives diameter, coolant and time.
"""

from collections.abc import Callable
from dataclasses import replace
from math import erf, erfc, exp, log, pi, sqrt

import numpy as np
import pytest
from scipy.special import j0, j1

from reference import one_dimensional as line
from stillpipe.physics import freeze
from stillpipe.physics.column import layout
from stillpipe.physics.column.work import Work

RADIUS = 0.02
PERFECT = 1e8
"""A film [W/(m2 K)] that is no resistance."""
FINE = replace(line.grid(radial=480, eta=0.001), early=1e-4, tolerance=0.01)
WATER = line.Constant(2.22, 2050.0e3, 333.55e6, 0.58, 4200.0e3)
ZERO_C = line.TM


def root(f: Callable[[float], float], low: float, high: float) -> float:
    """Where ``f``, below zero at ``low`` and above at ``high``, is zero."""
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if f(middle) < 0.0 else (low, middle)
    return 0.5 * (low + high)


def neumann(m: line.Constant, subcooling: float, superheat: float = 0.0) -> float:
    """Neumann's lambda: ice of thickness 2 lambda sqrt(alpha t); temperatures [K]."""
    spread = sqrt(m.k_ice / m.heat_ice * m.heat_liquid / m.k_liquid)
    warm = m.k_liquid / m.k_ice * spread * superheat / subcooling

    def balance(x: float) -> float:
        liquid = warm * exp(-((x * spread) ** 2)) / erfc(x * spread)
        latent = x * sqrt(pi) * m.latent / (m.heat_ice * subcooling)
        return latent + liquid - exp(-x * x) / erf(x)

    return root(balance, 1e-6, 2.0)


def found(m: line.Constant, start: float) -> float:
    """Lambda of ice that begins to grow in a bore, thicknesses of R/20 and R/10 led to none."""
    case = line.case(m, RADIUS, PERFECT, start)
    run = freeze.FreezeRun(case, needed_length=1e-9, work=Work(10**12), grid=FINE)
    history = run.history()
    thickness = 1.0 - np.sqrt(history.liquid_fraction)
    parts = np.array([0.05, 0.1])
    time = np.interp(parts, thickness, history.time)
    lambdas = parts * RADIUS / (2.0 * np.sqrt(m.k_ice / m.heat_ice * time))
    return float(2.0 * lambdas[0] - lambdas[1])


# lambda exp(lambda^2) erf(lambda) = Ste / sqrt(pi) solved with a general library; the last with
# ice 2.22 W/(m K) and 2050 J/(kg K), water 0.58 and 4200, 1000 kg/m3, 333.55 kJ/kg, the wall at
# -78.5 C and the water at 20 C. Tolerance 1e-6.
@pytest.mark.parametrize(
    ("stefan", "expected"), [(0.1, 0.22001627), (0.5, 0.46478592), (1.0, 0.62006263)]
)
def test_the_root_of_neumann_is_that_of_a_general_library(stefan: float, expected: float) -> None:
    assert neumann(replace(WATER, latent=2050.0e3 * 50.0 / stefan), 50.0) == pytest.approx(
        expected, abs=1e-6
    )


def test_the_root_of_neumann_over_warm_water_is_that_of_a_general_library() -> None:
    assert neumann(WATER, 78.5, 20.0) == pytest.approx(0.404778, abs=1e-6)


# Carslaw and Jaeger 11.2. Found 0.02, 0.13 and 0.20 % above with rings of R/480; with R/960
# -0.02, 0.02 and 0.05 %. Tolerance 0.3 %.
@pytest.mark.parametrize("stefan", [0.1, 0.5, 1.0])
def test_thin_ice_in_a_bore_grows_as_on_a_plane_wall(stefan: float) -> None:
    """Ice on the wall of water at 0 C begins to grow by Neumann's solution, within 0.3 %."""
    m = replace(WATER, latent=WATER.heat_ice * line.SUBCOOLING / stefan)
    assert found(m, ZERO_C + 1e-9) == pytest.approx(neumann(m, line.SUBCOOLING), rel=0.003)


# Found 0.09 to 0.10 % above.
@pytest.mark.parametrize("celsius", [10.0, 20.0, 30.0])
def test_thin_ice_in_a_bore_of_warm_water_grows_as_on_a_plane_wall(celsius: float) -> None:
    """So does ice in water at 10 to 30 C that is at rest, within 0.3 %."""
    expected = neumann(WATER, line.SUBCOOLING, celsius)
    assert found(WATER, ZERO_C + celsius) == pytest.approx(expected, rel=0.003)


def test_a_published_melting_front_is_that_of_thin_ice() -> None:
    """A front of 81 % of 0.1 m after 10 h, read in the pyfsi/coconut repository, within 1 %.

    Its example of the one-phase Stefan problem: 1.5 W/(m K), 2500 J/(kg K), 870 kg/m3,
    179 kJ/kg, 10 K. Only the Stefan number and the diffusivity count, freezing or melting.
    """
    stefan, alpha = 2500.0 * 10.0 / 179e3, 1.5 / (870.0 * 2500.0)
    m = replace(WATER, latent=WATER.heat_ice * line.SUBCOOLING / stefan)
    front = 2.0 * found(m, ZERO_C + 1e-9) * sqrt(alpha * 36000.0)
    assert front == pytest.approx(0.081, rel=0.01)


def given_off(biot: float, fourier: float) -> float:
    """Share of a cylinder's heat gone by ``fourier``, Carslaw and Jaeger 7.7, 60 terms."""
    zeros = np.concatenate(([1e-12], np.arange(1, 60) * pi))  # brackets: one root in each
    left = 0.0
    for low, high in zip(zeros[:-1], zeros[1:] + 0.3 * pi, strict=True):
        beta = _first_root(biot, float(low), float(high))
        left += 4.0 * biot**2 / (beta**2 * (beta**2 + biot**2)) * exp(-(beta**2) * fourier)
    return 1.0 - left


def _first_root(biot: float, low: float, high: float) -> float:
    """The first root of beta J1(beta) = Bi J0(beta) above ``low``."""
    grid = np.linspace(low + 1e-9, high, 400)
    values = grid * j1(grid) - biot * j0(grid)
    i = int(np.flatnonzero(np.diff(np.sign(values)))[0])
    sign = 1.0 if values[i] < 0.0 else -1.0
    return root(lambda b: sign * float(b * j1(b) - biot * j0(b)), float(grid[i]), grid[i + 1])


# The latent heat is 1/20 of the heat of one kelvin of 128: what is drawn is heat of cooling. Found
# within 0.016 %. First roots for Bi 0.5, 1 and 10: 0.9408, 1.2558, 2.1795, as printed in tables.
@pytest.mark.parametrize(
    ("biot", "fourier"),
    [(0.5, 0.02), (0.5, 0.1), (0.5, 0.4), (1.0, 0.02), (1.0, 0.1), (1.0, 0.3), (10.0, 0.02),
     (10.0, 0.1), (10.0, 0.18)],
)  # fmt: skip
def test_a_bore_gives_off_its_heat_by_the_series_of_a_cylinder(biot: float, fourier: float) -> None:
    """Heat drawn before any ice counts follows Carslaw and Jaeger's series, within 0.05 %."""
    heat, k = 4.2e6, 0.6
    m = line.Constant(k, heat, 0.05 * heat, k, heat)
    start = ZERO_C + 50.0
    case = replace(line.case(m, RADIUS, biot * k / RADIUS, start), medium=line.medium(m, steps=2))
    grid = line.grid(radial=240, eta=0.001)
    history = freeze.FreezeRun(case, needed_length=1e-9, work=Work(10**12), grid=grid).history()
    time = fourier * RADIUS**2 * heat / k
    assert time < history.time[-1]
    whole = heat * pi * RADIUS**2 * case.jacket_length * (start - ZERO_C + line.SUBCOOLING)
    drawn = float(np.interp(time, history.time, history.heat_jacket)) / whole
    assert drawn == pytest.approx(given_off(biot, fourier), rel=0.0005)


@pytest.mark.parametrize("celsius", [-5.0, -10.0, -20.0, -40.0])
def test_another_coolant_is_a_matter_of_its_temperature(
    monkeypatch: pytest.MonkeyPatch, celsius: float
) -> None:
    """Brine or cold air round a tube: London and Seban's time with its temperature, in 0.2 %.

    So a freeze measured with another coolant than dry ice can be run: its temperature takes dry
    ice's place where a case is laid out, its film the jacket's.
    """
    monkeypatch.setattr(layout, "DRY_ICE", ZERO_C + celsius)
    latent = 917.0 * 333.55e3
    ice = line.Constant(2.22, 1e-4 * latent / -celsius, latent, 0.58, 4.2e6)
    ri, ro, film = 0.012, 0.013, 400.0
    laid = replace(
        line.case(ice, ri, film),
        outer_diameter=2.0 * ro,
        wall_thickness=ro - ri,
        wall_conductivity=50.0,
        ambient_temperature=ZERO_C,
    )
    resistance = 1.0 / (2.0 * 2.22) + log(ro / ri) / 50.0 + 1.0 / (film * ro)
    expected = latent * ri**2 / (2.0 * -celsius) * resistance
    assert line.closure(laid) == pytest.approx(expected, rel=0.002)
