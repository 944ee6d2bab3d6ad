"""Constants of nature and of carbon dioxide, each once."""

DRY_ICE = 194.686
"""Surface of dry ice at 1 atm [K], -78.464 degC; Giauque and Egan, J. Chem. Phys. 5 (1937) 45."""
ZERO_C = 273.15
"""0 degC [K]."""
CO2_CRITICAL = 304.1282
"""Critical temperature of carbon dioxide [K]; Span and Wagner 1996."""
