"""The freezes of one freeze point at the points of a star, and the surfaces through them.

One freeze is solved on the fine grid, the likely one; those of the star on a coarse grid, of which
only the ratios to its own centre are taken.
"""

import itertools
from collections.abc import Hashable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stillpipe.estimates import course, moving
from stillpipe.estimates.cases import Cases
from stillpipe.estimates.course import Knots, Of
from stillpipe.lazy import cached_property
from stillpipe.physics import freeze
from stillpipe.physics.column import work
from stillpipe.physics.column.layout import wall_insulates
from stillpipe.physics.frosting import FrostRun
from stillpipe.uncertainty import draws
from stillpipe.uncertainty.scenarios import Scenario
from stillpipe.uncertainty.surface import FURTHEST, STEP, Single, Star, Surface, fitted

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
MORE = 2
"""Inputs moved to both sides beside the film: those that move closure the most."""
LATE = ("room_film", "relative_humidity", "ambient_temperature")
"""Inputs of the room, on which survival and thaw hang: the first is moved to both sides; all are,
and the first two together, where something was seen."""
MILD = 12.0
"""A room is moved to both sides too where it is no more than so much warmer than ice [K]."""
FAR = 9.0
"""By how much an input without which nothing closes is taken to move closure [-]."""
LEAST_WARM = 0.5
"""By so much the room about which a star is laid is warmer than ice at least [K]."""
COLDEST = 0.02
"""Least share of the likely difference between room and ice that is told apart from none [-]."""
BRIEF = ("jacket_filling", "convection", "ice_conductivity", "fluid_temperature")
"""Inputs that act until closure and hardly after: such a freeze is followed no further."""
BRIEF_IN_METAL = "wall_thickness"
"""One more where the wall does not insulate: of the variance of what is told later its share is at
most 0.6 % of times, in iron 5 % of length, by single solutions of eleven pipes of metal."""
KNOTS, KNOTS_SOLUTION = 8, 12
"""Times from closure to the ready of a weak bond at which freezes are compared."""
FIRST_KNOT, LAST_KNOT = 0.02, 0.2
"""The first of these over the closure, and the last at least [-]."""
WEAK = 1.2
"""Knots reach as far as a plug of so many times the grip that is followed closely [-]."""
LONG = 1.3
"""And as one so many times as long as it must be [-]."""
SHORT_JACKET = "use a longer jacket: under so short a one so slow a freeze"


class Ensemble:
    """The freezes of one freeze point.

    ``need`` [m] is the grip up to which plugs are followed closely, as far as one is ready whose
    bond is weak. ``about``, shape (inputs,), are the deviates of the inputs about which the star
    is laid [-]: those of the likely freeze, 0 unless something was seen.
    """

    def __init__(
        self, cases: Cases, need: float, spent: work.Work,
        solves: list[freeze.FreezeRun | FrostRun],
        about: Array | None = None, asked: tuple[str, ...] = (), like: "Ensemble | None" = None,
    ) -> None:  # fmt: skip
        """Solve nothing yet; ``spent`` counts the work, ``solves`` keeps the freezes.

        Inputs that are ``asked`` about are moved to both sides, and together, in any case. Freezes
        of an ensemble ``like`` this, about the same, are shared.
        """
        self._asked = tuple(map(cases.names.index, asked))
        self.cases, self.need, self.work, self.solves = cases, need, spent, solves
        self.names = cases.names
        self.about = np.zeros(len(self.names)) if about is None else about.copy()
        self._warm()
        self._like = like
        self._brief: set[int] = set() if like is None else like._brief
        self._made: dict[bytes, freeze.FreezeRun | None] = {} if like is None else like._made

    @cached_property
    def fine(self) -> freeze.FreezeRun:
        """The likely freeze on the fine grid."""
        if self._like is not None:
            return self._like.fine
        return self._solve(self.at(np.zeros(len(self.names))), freeze.PRODUCTION)

    def at(self, z: Array) -> Scenario:
        """Return the values of the inputs at the star's place ``z`` from the likely freeze [-].

        Places are deviates, but for the room's temperature: see :meth:`_places`.
        """
        z = z.copy()
        if self._warmth > 0.0:
            z[self._room] = np.expm1(self._stretch * z[self._room]) / self._share
        moved = zip(self.names, (self.about + z).tolist(), strict=True)
        return self.cases.scenario(dict(moved))

    def _solve(
        self, scenario: Scenario, grid: freeze.Grid, *, brief: bool = False
    ) -> freeze.FreezeRun:  # fmt: skip
        """Return the freeze under ``scenario``, followed until ready or ``brief`` to closure."""
        point, case = self.cases.point, self.cases.case(scenario)
        begun = None
        if point.fluid.flow > 0.0:
            fine = grid is freeze.PRODUCTION
            begun = moving.frozen(point, case, scenario, self.work, fine=fine).begun
        blame = (("jacket", "length"), SHORT_JACKET)
        with work.blamed(*(blame if begun is None else moving.NEAR_LIMIT)):
            run = freeze.FreezeRun(
                case, needed_length=0.0 if brief else point.bore,
                needed_grip=0.0 if brief else self.need, work=self.work, grid=grid, begun=begun,
            )  # fmt: skip
        self.solves.append(run)
        if brief:
            self._brief.add(id(run))
        return run

    def _coarse(self, z: Array) -> freeze.FreezeRun | None:
        """Return the freeze at the star's place ``z``, once; None where a flow keeps it open."""
        key = z.tobytes()
        if key not in self._made:
            self._made[key] = self._moved(z)
        return self._made[key]

    def _moved(self, z: Array) -> freeze.FreezeRun | None:
        """Return what :meth:`_coarse` keeps."""
        scenario, point = self.at(z), self.cases.point
        if point.fluid.flow > 0.0 and moving.prevents(
            point, self.cases.case(scenario), scenario, surely=bool(not z.any())
        ):
            return None
        brief = bool(z[self._early].any())
        grid = freeze.COARSE if self.cases.is_water else freeze.COARSE_SOLUTION
        return self._solve(scenario, grid, brief=brief)

    def is_brief(self, run: freeze.FreezeRun) -> bool:
        """Tell whether ``run`` is followed to closure only."""
        return id(run) in self._brief

    @cached_property
    def _early(self) -> list[int]:
        """Which of the inputs act until closure and hardly after."""
        insulates = wall_insulates(self.cases.case(self.cases.likely))
        names = BRIEF if insulates else (*BRIEF, BRIEF_IN_METAL)
        return [self.names.index(name) for name in names]

    @cached_property
    def _first(self) -> list[freeze.FreezeRun | None]:
        """The centre and every input moved to its slower side."""
        star = Star(self._sides, line=not self.cases.is_water)
        return [self._coarse(z) for z in star.points]

    @property
    def centre(self) -> freeze.FreezeRun | None:
        """The likely freeze on the coarse grid."""
        return self._first[0]

    @cached_property
    def knots(self) -> Knots:
        """Times since closure up to the ready of a weak bond."""
        run, count = self.centre, KNOTS if self.cases.is_water else KNOTS_SOLUTION
        if run is None or run.closure is None:
            return Knots(np.geomspace(1.0, 100.0, count))
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
        return Knots(np.geomspace(first, end, count))

    @cached_property
    def _courses(self) -> dict[tuple[int, float], Array]:
        return {}

    def grown(self, run: freeze.FreezeRun | None, knots: Knots) -> Array:
        """Return what has grown in ``run`` at ``knots``, as :func:`course.of_run`, once."""
        if run is None or self.is_brief(run):
            return np.full((len(Of), len(knots.time)), np.nan)
        key = (id(run), float(knots.time[-1]))
        if key not in self._courses:
            self._courses[key] = course.of_run(run, knots)
        return self._courses[key]

    def skin(self, run: freeze.FreezeRun | None, knots: Knots, distance: float) -> Array:
        """Return how warm ``run`` is beside the jacket, as :func:`course.skin`."""
        return course.skin(run, knots, distance, run is not None and self.is_brief(run))

    @cached_property
    def _effects(self) -> Array:
        """How much each input moves closure, as a logarithm [-]; far, where it does not come."""
        closures = [None if run is None else run.closure for run in self._first]
        found = np.log(np.array(closures, dtype=float))
        moved = np.abs(found[1:] - found[0])[: len(self.names)]
        return np.asarray(np.where(np.isnan(moved), FAR, moved))

    @cached_property
    def star(self) -> Star:
        """The points that are solved: which inputs matter for this freeze point."""
        film, damp, room = late = [self.names.index(name) for name in LATE]
        order = np.argsort(-self._effects, kind="stable").tolist()
        ranked = [i for i in order if i not in late and self.names[i] != "ice_fraction"]
        learning = bool(self._asked) and self.cases.is_water
        sides = late if learning else [film, *([room] if self._warmth < MILD else [])]
        both = tuple(dict.fromkeys([*sides, *ranked[:MORE], *self._asked]))
        if not self.cases.is_water:
            return Star(self._sides, both, line=True, bend=ranked[0])
        pairs = [(ranked[0], ranked[1]), (0, film), *itertools.combinations(self._asked, 2)]
        pairs += [(film, damp)] if learning else []
        return Star(self._sides, both, tuple(dict.fromkeys(pairs)))

    @property
    def _sides(self) -> tuple[int, ...]:
        return tuple(SLOWER[n] for n in self.names)

    @cached_property
    def runs(self) -> list[freeze.FreezeRun | None]:
        """The freezes at all points of the star."""
        begun = len(self._first)
        return [*self._first, *(self._coarse(z) for z in self.star.points[begun:])]

    def terms(self, sample: draws.Sample) -> Single:
        """Return what surfaces over the star are made of, for every draw of ``sample`` [-]."""
        z = self.deviates(sample) - self.about
        np.clip(z, -FURTHEST, FURTHEST, out=z)
        self._places(z[:, self._room])
        return self.star.terms(z)

    def _places(self, z: Array) -> None:
        """Put deviates ``z`` of the room's temperature on a scale on which figures are straighter.

        In place. The room melts ice in proportion to how much warmer it is: by the logarithm of
        that, so that the star's first side is where it was.
        """
        if self._warmth > 0.0:
            z[:] = np.log(np.maximum(1.0 + self._share * z, COLDEST)) / self._stretch

    def _warm(self) -> None:
        """Lay the star about a room that is a little warmer than ice, where it may be so.

        Only such a room tells when a plug is lost; on closure it has no effect to speak of.
        """
        one, cold = self.cases.input("ambient_temperature").value(1.0), LEAST_WARM - self._warmer()
        if 0.0 < cold < LEAST_WARM + FURTHEST * one:
            self.about[self._room] += cold / one

    @property
    def _room(self) -> int:
        """Which of the inputs is the room's temperature."""
        return self.names.index("ambient_temperature")

    @cached_property
    def _warmth(self) -> float:
        """How much warmer the room is than ice, at the star's centre [K]."""
        return self._warmer()

    def _warmer(self) -> float:
        """Return how much warmer the room is than ice where the star is laid so far [K]."""
        point = self.cases.point
        moved = self.cases.input("ambient_temperature").value(float(self.about[self._room]))
        return point.ambient.temperature + moved - point.fluid.freezing_point

    @property
    def _share(self) -> float:
        """How much of that is one deviate of the room's temperature [-]."""
        return self.cases.input("ambient_temperature").value(1.0) / self._warmth

    @property
    def _stretch(self) -> float:
        """How much the logarithm of the room's warmth grows with each unit of the scale [-]."""
        return float(np.log1p(STEP * self._share)) / STEP

    def deviates(self, sample: draws.Sample) -> Array:
        """Return the draws of the inputs, shape (draws, inputs) [-]."""
        if self.cases.is_water:
            return sample.of_all(self.names)
        columns = [sample.of(name) for name in self.names]
        columns[self.names.index("ice_fraction")] = self._ice_deviates(sample)
        return np.stack(columns, axis=1)

    def _ice_deviates(self, sample: draws.Sample) -> Array:
        """Return deviates of the ice fraction among those that the fluid can reach [-]."""
        share = max(self.cases.freezing_chance, 1e-9)
        return draws.deviate(np.minimum(sample.shares("ice_fraction") / share, 1.0 - 1e-6))

    def possible(self, sample: draws.Sample) -> NDArray[np.bool_]:
        """Return for which draws of ``sample`` the fluid can hold enough ice."""
        return np.asarray(sample.shares("ice_fraction") < self.cases.freezing_chance)

    @cached_property
    def _flow(self) -> Surface:
        """The greatest flow that still freezes shut over ``FLOW`` [log kg/s]."""
        star = Star(tuple(SLOWER[n] for n in FLOW))
        found: list[float] = []
        for z in star.points:
            moved = zip(FLOW, (self._flowing + z).tolist(), strict=True)
            scenario = self.cases.scenario(dict(moved))
            case, near = self.cases.case(scenario), found[0] if found else 0.0
            found.append(moving.greatest(self.cases.point, case, scenario, near=near))
        return fitted(star, np.log(np.maximum(found, 1e-15))[:, None])

    def flow_logs(self, sample: draws.Sample) -> Array:
        """Return the greatest flow that still freezes shut, shape (draws, 1) [log kg/s]."""
        return self._flow.at(sample.of_all(FLOW) - self._flowing)

    @property
    def _flowing(self) -> Array:
        """The deviates about which it is solved [-]."""
        return self.about[[self.names.index(n) for n in FLOW]]

    @cached_property
    def _surfaces(self) -> dict[Hashable, Surface]:
        return {}

    def curves(self, of: Of, knots: Knots) -> Surface:
        """Return the surface through what has grown at ``knots``, as :func:`course.of_run`.

        Of :attr:`knots`, or of those and more.
        """
        early = len(self.knots.time)
        found = self._laid(self.knots)[of]
        if len(knots.time) > early:
            found = found.beside(self._laid(Knots(knots.time[early:]))[of])
        return found

    def _laid(self, knots: Knots) -> dict[Of, Surface]:
        """Return the surfaces through all that has grown at ``knots``, laid once.

        A plug's end steps from slice to slice, in a solution by less than its surfaces bend.
        """
        key, count = float(knots.time[-1]), len(knots.time)
        if key not in self._grown:
            found, fine = (
                np.array([self.grown(run, knots) for run in runs])
                for runs in (self.runs, [self.fine])
            )
            laid: dict[Of, Surface] = {}
            steps = list(course.STEPPING) if self.cases.is_water else []
            for rough, some in ((course.ROUGH, steps), (0.0, [of for of in Of if of not in steps])):
                rows, centre = (each[:, some].reshape(len(each), -1) for each in (found, fine))
                whole = replace(fitted(self.star, rows, rough), centre=centre[0])
                for n, of in enumerate(some):
                    laid[of] = whole.of(slice(n * count, (n + 1) * count))
            self._grown[key] = laid
        return self._grown[key]

    @cached_property
    def _grown(self) -> dict[float, dict[Of, Surface]]:
        return {}

    def surface(self, read: course.Read, key: Hashable) -> Surface:
        """Return the surface through what ``read`` reads of every freeze [logarithms].

        Laid once: ``key`` tells what is read from anything else.
        """
        if key not in self._surfaces:
            found = fitted(self.star, np.array([read(run) for run in self.runs]))
            self._surfaces[key] = replace(found, centre=read(self.fine))
        return self._surfaces[key]
