"""The real kernel against closed forms and published-form solutions in one dimension."""

from dataclasses import replace

import numpy as np
import pytest

from reference import one_dimensional as line
from stillpipe.physics import freeze

K, HEAT, RADIUS = 2.0, 2.0e6, 0.02
ALPHA = K / HEAT
PERFECT = 1e8
"""A film [W/(m2 K)] that is no resistance: Bi = 1e6."""


def saturated(stefan: float, biot: float) -> freeze.Case:
    """A cylinder of liquid at its freezing point, cooled at Stefan and Biot numbers given."""
    latent = HEAT * line.SUBCOOLING / stefan
    substance = line.Constant(K, HEAT, latent, 0.6, 4.2e6)
    film = PERFECT if biot == np.inf else biot * K / RADIUS
    return line.case(substance, RADIUS, film)


# Fourier number alpha t / R2 of total solidification, inward, saturated liquid. Source: two
# independent computations made for this project (a spectral front-fixing and an enthalpy
# solution) that agree to the digits given; no table was found in print. Tolerance 0.3 %.
@pytest.mark.parametrize(
    ("stefan", "biot", "fourier"),
    [
        (0.1, np.inf, 2.668245),
        (0.1, 10.0, 3.200320),
        (0.1, 1.0, 7.894900),
        (0.5, np.inf, 0.643576),
        (0.5, 10.0, 0.770299),
        (0.5, 1.0, 1.814037),
    ],
)
def test_a_saturated_cylinder_closes_at_the_reference_fourier_number(
    stefan: float, biot: float, fourier: float
) -> None:
    """Closure of a saturated cylinder comes at the reference time, within 0.3 %."""
    time = line.closure(saturated(stefan, biot))
    assert ALPHA * time / RADIUS**2 == pytest.approx(fourier, rel=0.003)


# Same source as above; tolerance 0.5 %.
@pytest.mark.parametrize(("frozen", "fourier"), [(0.5, 0.240492), (0.9, 0.594279)])
def test_the_front_passes_half_and_nine_tenths_of_the_radius_in_time(
    frozen: float, fourier: float
) -> None:
    """The front is where the reference has it on the way in, within 0.5 %."""
    history = line.freeze_shut(saturated(0.5, np.inf))
    time = np.interp(-((1.0 - frozen) ** 2), -history.liquid_fraction, history.time)
    assert ALPHA * time / RADIUS**2 == pytest.approx(fourier, rel=0.005)


# Ratio of closure times, conduction only, water k 2.22 / 0.58 W/(m K), c 2050 / 4200 J/(kg K),
# rho 1000 kg/m3, L 333.55 kJ/kg, surface at -78.5 C. Source: as above, spectral and enthalpy
# solutions agree. Tolerance 1 %.
@pytest.mark.parametrize(("celsius", "ratio"), [(10.0, 1.072), (20.0, 1.140), (30.0, 1.206)])
def test_warm_water_delays_closure_by_the_reference_ratio(celsius: float, ratio: float) -> None:
    """Sensible heat delays closure by the reference ratio, within 1 %."""
    water = line.Constant(2.22, 2050.0e3, 333.55e6, 0.58, 4200.0e3)
    cold = line.closure(line.case(water, RADIUS, PERFECT))
    warm = line.closure(line.case(water, RADIUS, PERFECT, line.TM + celsius))
    assert warm / cold == pytest.approx(ratio, rel=0.01)


# Quasi-steady cylinder with wall and film, t = rho L ri2 / (2 dT) (1/(2k) + ln(ro/ri)/kw +
# 1/(ho ro)): London and Seban, Trans. ASME 65 (1943) 771. NPS 2 Sch 40 steel and PVC;
# rho 917 kg/m3, L 333.55 kJ/kg, k 2.22 W/(m K), dT 78.5 K, ho 300 W/(m2 K). Tolerance 0.2 %.
@pytest.mark.parametrize(
    ("ri", "ro", "kw", "minutes"),
    [(0.02624, 0.03015, 50.0, 7.57), (0.02625, 0.030165, 0.16, 26.95)],
)
def test_a_cylinder_without_sensible_heat_follows_london_and_seban(
    ri: float, ro: float, kw: float, minutes: float
) -> None:
    """With a vanishing Stefan number closure is London and Seban's, within 0.2 %."""
    latent = 917.0 * 333.55e3
    ice = line.Constant(2.22, 1e-4 * latent / line.SUBCOOLING, latent, 0.58, 4.2e6)
    laid = replace(
        line.case(ice, ri, 300.0),
        outer_diameter=2.0 * ro,
        wall_thickness=ro - ri,
        wall_conductivity=kw,
        ambient_temperature=line.TM,
    )
    assert line.closure(laid) / 60.0 == pytest.approx(minutes, rel=0.002)


def test_a_lining_delays_closure_as_a_resistance_in_series() -> None:
    """Scale inside the bore adds rho L ri2 / (2 dT) ln(r/ri)/k (London and Seban), in 0.2 %."""
    latent = 917.0 * 333.55e3
    ice = line.Constant(2.22, 1e-4 * latent / line.SUBCOOLING, latent, 0.58, 4.2e6)
    bare = line.case(ice, RADIUS, 300.0)
    resistance = np.log(1.1) / 1.0
    lined = replace(bare, bore=2.0 * RADIUS / 1.1, lining_resistance=resistance)
    ri = RADIUS / 1.1
    expected = (
        latent * ri**2 / (2.0 * line.SUBCOOLING)
        * (1.0 / (2.0 * 2.22) + resistance + 1.0 / (300.0 * RADIUS))
    )  # fmt: skip
    assert line.closure(lined) == pytest.approx(expected, rel=0.002)
