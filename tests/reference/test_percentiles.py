"""Percentiles by the surface against direct solutions of the same 4,000 draws (a stored table).

The table: ``python tests/reference/make_percentiles.py``, a freeze on the fine grid for each draw.
"""

import csv
import functools

import numpy as np
import pytest

from reference import percentile_cases
from reference.make_percentiles import TABLE, P
from reference.percentile_cases import CASES, FIGURES, PercentileCase, percentile
