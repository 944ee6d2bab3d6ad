"""How finely freezes are cut up, as :class:`stillpipe.physics.column.mesh.Grid` has it.

Chosen by what figures cost and how far they lie from explicit solutions and from direct ones:
``tests/reference/test_held_2d.py``, ``test_grid.py``, ``test_percentiles.py``.
"""

from dataclasses import replace

from stillpipe.physics.column.mesh import Grid

PRODUCTION = Grid(
    axial=7, radial=8, eta=0.065, stretch=1.35, early=0.5, freeze_step=2.0, hold_step=6.0,
    inner_hold_step=4.0, thaw_step=2.0, melt_step=3.0, least=0.04, tolerance=2.0, pieces=4,
    bore_share=0.38, fin_share=1.0 / 34.0, plug_share=0.32, ahead=5.0, stride=4.0, grade=3.0,
    readable=6.0, fading_eta=0.04, fading_width=2.0,
)  # fmt: skip
COARSE = Grid(
    axial=6, radial=6, eta=0.1, stretch=1.4, finest=0.01, early=0.3, freeze_step=2.0,
    hold_step=9.0, thaw_step=9.0, skin_step=2.0, melt_step=4.0, least=0.1, tolerance=6.0, pieces=2,
    evenly=True, bore_share=0.5, fin_share=1.0 / 7.0, plug_share=0.5, ahead=2.0, grade=3.0,
    readable=4.0, fading_first=1.0, fading_eta=0.12, fading_width=1.5, melt_eta=0.08,
)  # fmt: skip
"""How a freeze is cut up of which only the ratio to another on the same grid is asked: of such
ratios closure is off by 0.4 % rms, ready by 0.3, length and thaw by 0.8, survival by 0.9, of 348
points of the stars of tests/reference/percentile_cases.py in rooms of 5 C and more."""
COARSE_SOLUTION = replace(COARSE, fin_share=1.0 / 28.0)
"""The same of a solution, whose plug ends less steeply."""
