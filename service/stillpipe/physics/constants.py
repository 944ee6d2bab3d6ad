"""Constants of nature and of definition that several modules share, each once."""

ZERO_C = 273.15
"""0 degC [K], exact by definition."""
ATMOSPHERE = 101325.0
"""Standard atmosphere [Pa], exact by definition."""
GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s2], exact by definition."""
STEFAN_BOLTZMANN = 5.670374419e-8
"""[W/(m2 K4)]; CODATA 2018."""
DRY_ICE = 194.686
"""Sublimation temperature of CO2 at 1 atm [K], -78.464 degC; Giauque and Egan 1937.

J. Chem. Phys. 5 (1937) 45. The trade's -78.5 degC (common practice, no source) is this, rounded.
"""
