"""The freezes of one freeze point at the points of a star, and the surfaces through them.

One freeze is solved on the fine grid, the likely one; those of the star on a coarse grid, of which
only the ratios to its own centre are taken.
"""

from collections.abc import Callable
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import course, moving
from stillpipe.estimates.cases import Cases
from stillpipe.estimates.course import Knots, Of
from stillpipe.physics import freeze
from stillpipe.physics.column import work
from stillpipe.uncertainty import draws, surface
from stillpipe.uncertainty.scenarios import Scenario

Array = NDArray[np.float64]

SLOWER = {
    "jacket_conductance": -1, "jacket_filling": 1, "convection": 1, "room_film": 1,
    "relative_humidity": 1, "wall_conductivity": -1, "wall_thickness": 1, "ice_conductivity": -1,
    "fluid_temperature": 1, "ambient_temperature": 1, "ice_fraction": 1,
}  # fmt: skip
"""Every input on which a freeze depends, and the side on which it is the slower."""
FLOW = (
    "jacket_conductance", "convection", "room_film", "wall_conductivity", "fluid_temperature"
)  # fmt: skip
"""Inputs on which the greatest flow depends by more than a few percent."""
MORE = 5
"""Inputs that are moved to both sides."""
CORNERS = 3
"""Pairs that are moved together; one less where the ice fraction is an input too."""
KNOTS = 8
"""Times from closure to the ready of a weak bond at which freezes are compared."""
FIRST_KNOT, LAST_KNOT = 0.02, 0.2
"""The first of these over the closure, and the last at least [-]."""
WEAK = 3.0
"""Knots reach as far as the plug of a bond so many times weaker than likely [-]."""
LONG = 1.3
"""And as one so many times as long as it must be [-]."""
UNCLOSED = np.log(2.0 * freeze.LONGEST_FREEZE)
"""What is taken for the logarithm of the closure of a freeze that does not close [log s]."""
SHORT_JACKET = "use a longer jacket: under so short a one so slow a freeze"


class Ensemble:
    """The freezes of one freeze point.

    ``need`` [m] is the grip with which the likely plug is ready.
    """

    def __init__(self, cases: Cases, need: float, spent: work.Work) -> None:
        """Solve nothing yet; ``spent`` counts the work."""
        self.cases, self.need, self.work = cases, need, spent
        self.names = cases.names
        self.solves: list[freeze.FreezeRun] = []

    @cached_property
    def fine(self) -> freeze.FreezeRun:
        """The likely freeze on the fine grid."""
        return self._solve(self.cases.likely, freeze.PRODUCTION)

    def _solve(self, scenario: Scenario, grid: freeze.Grid) -> freeze.FreezeRun:
        """Return the freeze under ``scenario``."""
        point, case = self.cases.point, self.cases.case(scenario)
        begun = None
        if point.fluid.flow > 0.0:
            fine = grid is freeze.PRODUCTION
            begun = moving.frozen(point, case, scenario, self.work, fine=fine).begun
        blame = (("jacket", "length"), SHORT_JACKET)
        with work.blamed(*(blame if begun is None else moving.NEAR_LIMIT)):
            run = freeze.FreezeRun(
                case, needed_length=point.bore, needed_grip=self.need, work=self.work, grid=grid,
                begun=begun,
            )  # fmt: skip
        self.solves.append(run)
        return run

    def _coarse(self, z: Array) -> freeze.FreezeRun | None:
        """Return the freeze at deviates ``z`` [-]; None where a flow surely keeps it open."""
        moved = {name: float(z[i]) for i, name in enumerate(self.names)}
        scenario = self.cases.scenario(moved)
        point = self.cases.point
        if point.fluid.flow > 0.0 and moving.prevents(
            point, self.cases.case(scenario), scenario, surely=bool(not z.any())
        ):
            return None
        return self._solve(scenario, freeze.COARSE)

    @cached_property
    def _first(self) -> list[freeze.FreezeRun | None]:
        """The centre and every input moved to its slower side."""
        star = surface.Star(tuple(SLOWER[n] for n in self.names))
        return [self._coarse(z) for z in star.points]

    @property
    def centre(self) -> freeze.FreezeRun | None:
        """The likely freeze on the coarse grid."""
        return self._first[0]

    @cached_property
    def knots(self) -> Knots:
        """Times since closure up to the ready of a weak bond."""
        run = self.centre
        if run is None or run.closure is None:
            return Knots(np.geomspace(1.0, 100.0, KNOTS))
        first, least = FIRST_KNOT * run.closure, LAST_KNOT * run.closure
        end = max(2.0 * ((run.ready or run.last.time) - run.closure), least)
        while run.closure + end < freeze.LONGEST_FREEZE:
            plug = course.of_run(run, Knots(np.array([0.5 * end, end])))[:, -1]
            if np.exp(plug[Of.GRIP]) >= WEAK * self.need and np.exp(plug[Of.SOUND]) >= (
                LONG * self.cases.point.bore
            ):
                break
            end *= 2.0
        end = max(min(end, freeze.LONGEST_FREEZE - run.closure), 2.0 * first)
        return Knots(np.geomspace(first, end, KNOTS))

    @cached_property
    def _effects(self) -> Array:
        """How much each input moves closure or the plug then [-]."""
        found = np.array([self._beginning(run) for run in self._first])
        moved = np.abs(found[1:] - found[0])
        return np.asarray(np.max(np.where(np.isnan(moved), 9.0, moved), axis=1))

    def _beginning(self, run: freeze.FreezeRun | None) -> Array:
        """Return logarithms by which the inputs are ranked: closure, sound length, grip."""
        if run is None or run.closure is None:
            return np.full(3, np.nan)
        middle = course.of_run(run, self.knots)[:, KNOTS // 2]
        return np.array([np.log(run.closure), middle[Of.SOUND], 0.5 * middle[Of.GRIP]])

    @cached_property
    def star(self) -> surface.Star:
        """The points that are solved: which inputs matter for this freeze point."""
        ranked = np.argsort(-self._effects, kind="stable").tolist()
        film = self.names.index("room_film")  # on it hang survival and thaw
        both = tuple(dict.fromkeys([film, *ranked]))[:MORE]
        a, b, c = ranked[:3]
        pairs = [(a, b), tuple(sorted((0, film))), (a, c)]
        count = CORNERS - (len(self.names) > len(SLOWER) - 1)
        corners = tuple(dict.fromkeys((p[0], p[1]) for p in pairs))[:count]
        return surface.Star(tuple(SLOWER[n] for n in self.names), both, corners)

    @cached_property
    def runs(self) -> list[freeze.FreezeRun | None]:
        """The freezes at all points of the star."""
        begun = len(self._first)
        return [*self._first, *(self._coarse(z) for z in self.star.points[begun:])]

    @cached_property
    def _terms(self) -> Array:
        """What surfaces over the star are made of, for every draw [-]."""
        return surface.terms(self._z, self.star.corners)

    @cached_property
    def _z(self) -> Array:
        """The draws of the inputs, shape (draws, inputs) [-]."""
        columns = [draws.of(name) for name in self.names]
        if not self.cases.is_water:
            columns[self.names.index("ice_fraction")] = self._ice_deviates
        return np.stack(columns, axis=1)

    @property
    def _ice_deviates(self) -> Array:
        """Deviates of the ice fraction among those that the fluid can reach [-]."""
        u = draws.uniform()[:, draws.NAMES.index("ice_fraction")]
        share = max(self.cases.freezing_chance, 1e-9)
        return np.asarray(draws.deviate(np.minimum(u / share, 1.0 - 1e-6)))

    @cached_property
    def possible(self) -> NDArray[np.bool_]:
        """Which draws the fluid can hold enough ice for."""
        u = draws.uniform()[:, draws.NAMES.index("ice_fraction")]
        return np.asarray(u < self.cases.freezing_chance)

    def logs(self, read: Callable[[freeze.FreezeRun | None], Array]) -> Array:
        """Return what ``read`` reads of a freeze for every draw, shape (draws, figures) [log]."""
        return self.surface(read).over(self._terms)

    def surface(self, read: Callable[[freeze.FreezeRun | None], Array]) -> surface.Surface:
        """Return the surface through what ``read`` reads of every freeze [log]."""
        found = surface.fitted(self.star, np.array([read(run) for run in self.runs]))
        return surface.Surface(
            read(self.fine), found.slopes, found.squares, found.products, found.corners
        )

    @cached_property
    def flow_logs(self) -> Array:
        """Greatest flow that still freezes shut, of the draws, shape (draws, 1) [log kg/s]."""
        star = surface.Star(tuple(SLOWER[n] for n in FLOW))
        found = []
        for z in star.points:
            scenario = self.cases.scenario({n: float(z[i]) for i, n in enumerate(FLOW)})
            flow = moving.greatest(self.cases.point, self.cases.case(scenario), scenario)
            found.append([np.log(max(flow, 1e-15))])
        columns = np.stack([draws.of(name) for name in FLOW], axis=1)
        return surface.fitted(star, np.array(found)).at(columns)
