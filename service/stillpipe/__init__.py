"""Freeze estimates for pipes that cannot be drained.

The map
-------
register     a register of pipes of any length, on Dask
server       HTTP and what runs it: the only place that knows flask and gunicorn
api          body in, body out: validation, echo, units, problems, pictures, tables
estimates    one freeze point solved once, and a module for each estimate that asks it
uncertainty  the uncertain inputs: table, draws, response surface
model        what a caller states and gets, each input and figure declared once
physics      pure SI functions and the solver: no state
tables       published numbers with their sources, and look-up
errors       one base class
lazy         what an object works out once

Imports point one way, from the top of this list to its end.
"""

__version__ = "0.14.0"

MODEL_VERSION = "3.8.0"
"""Version of the physical model and its assumptions; changes whenever a figure may change."""
