"""Freeze estimates for pipes that cannot be drained.

The map
-------
web        HTTP in and out: the only place that knows flask, marshmallow and pint
estimates  use cases on frozen dataclasses in SI units
physics    pure SI functions and the solver kernel: no files, no state
tables     published numbers with their sources, and look-up
errors     one base class

Imports point one way: ``web -> estimates -> physics | tables -> errors``.
"""

__version__ = "0.2.0"

MODEL_VERSION = "1.0.1"
"""Version of the physical model and its assumptions; changes whenever a figure may change."""
