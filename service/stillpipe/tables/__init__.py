"""Published numbers with their sources, and look-up.

One CSV per standard, in the standard's own unit, with the unit in the column head; SOURCES.md
names the standard, its edition and where each number was taken from. Everything handed out is
a frozen dataclass in SI units.
"""
