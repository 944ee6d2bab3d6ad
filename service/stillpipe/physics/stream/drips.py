"""Flow as a fitter counts it at an open end."""

from stillpipe.physics import media

PER_CUBIC_METRE = 20.0e6
"""Drops of 1/20 mL; common practice, no source."""
PER_MINUTE = 60.0 * PER_CUBIC_METRE / media.WATER_DENSITY
"""Drips a minute for each kg/s of flow [s/(kg min)]."""
