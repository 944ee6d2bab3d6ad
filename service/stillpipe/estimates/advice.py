"""What each cause of a frost that is late, early or missing means, and how to look for it."""

from dataclasses import dataclass

from stillpipe.estimates import chances, feeding
from stillpipe.estimates.solution import Solution
from stillpipe.model.figures import MIDDLE
from stillpipe.model.requests import FrostCheckRequest
from stillpipe.physics.constants import ZERO_C
from stillpipe.physics.stream import drips

SOUND = "nothing-wrong"
HOUR = 3600.0
MM = 1e3
MOST_DRIPS = 600.0
"""More drips a minute than this are nobody's count [1/min]."""


@dataclass(frozen=True, kw_only=True)
class Advice:
    """Of one cause: the ``text`` of it, what to look at ``first``, and what ``tells`` it.

    ``rank`` of that observation: of two causes the one is made that has the lower.
    """

    text: str
    first: str
    tells: str
    rank: int


ADVICE = {
    "cylinder-empty": Advice(
        text="The cylinder is empty, or feeds gas: no dip tube, not upright, or too warm or cold.",
        first="Weigh the cylinder, stand it upright, exchange it.",
        tells="Weigh the cylinder{lighter}: an empty one, or one that feeds gas, is hardly lighter "
        "than at the start.",
        rank=1,
    ),
    "insulated": Advice(
        text="Insulation or tape beside the jacket hides the frost.",
        first="Bare the pipe beside the jacket and look again.",
        tells="Bare the pipe beside the jacket: if it is hidden, frost is there.",
        rank=2,
    ),
    "dry-air": Advice(
        text="The air is dry: frost settles late, only on a pipe colder than the air's frost "
        "point. The plug is not later for it.",
        first="Breathe on the pipe beside the jacket; feel it with a gloved hand.",
        tells="Take the pipe's temperature 10 mm beside the jacket: below 0 degC without frost, "
        "the air is dry.",
        rank=3,
    ),
    "warm-water": Advice(
        text="The water is warmer than stated.{warmth}",
        first="Take the line's temperature; let it come near room temperature.",
        tells="Take the pipe's temperature 300 mm from the jacket: it is that of the water, "
        "{water} degC as stated.",
        rank=4,
    ),
    "wrong-fluid": Advice(
        text="The line holds glycol, or more of it than stated: the pipe frosts a little sooner, "
        "but the plug is late, or stays slush.",
        first="Draw a sample and measure it with a refractometer.",
        tells="Draw a sample and measure it with a refractometer: it shows glycol.",
        rank=5,
    ),
    "pipe-empty": Advice(
        text="The pipe is empty or holds air under the jacket: only its wall is cooled.",
        first="Open a bleed above the jacket and see that water comes; tap the pipe and listen.",
        tells="Open a bleed above the jacket: from an empty pipe no water comes.",
        rank=6,
    ),
    "smaller-pipe": Advice(
        text="The pipe is smaller, or its wall thinner, than stated.",
        first="Measure the outside diameter, and the wall where an end is open.",
        tells="Measure the outside diameter: {diameter} mm as stated.",
        rank=7,
    ),
    "lined-pipe": Advice(
        text="The pipe is larger than stated, which delays frost; or scale or a lining is in the "
        "bore, which brings it sooner and delays the plug.",
        first="Measure the outside diameter; look at an opened end.",
        tells="Measure the outside diameter, {diameter} mm as stated, and look at an opened end.",
        rank=8,
    ),
    "colder": Advice(
        text="The line or the room is colder than stated.",
        first="Take the temperature of both.",
        tells="Take the pipe's temperature 300 mm from the jacket: it is that of the water, "
        "{water} degC as stated.",
        rank=4,
    ),
    "flow": Advice(
        text="Water is moving{enough}.",
        first="Close the valves on both sides; listen; feel for warmth.",
        tells="Close the valves on both sides, then feel the pipe 50 mm beside the jacket: where "
        "only a flow kept it warm, it turns cold within minutes.",
        rank=9,
    ),
    "jacket": Advice(
        text="The jacket leaks, is not filled, or sits on paint or scale.",
        first="Feed until gas leaves steadily; press the snow home; clean the pipe and seal the "
        "ends.",
        tells="Look into the jacket: packed snow against the pipe all round speaks for another "
        "cause.",
        rank=10,
    ),
    "nothing-wrong": Advice(
        text="Nothing is wrong: what is seen fits a still, full line of this pipe.",
        first="Keep feeding; prove the plug before cutting.",
        tells="Look again {again} s after the first feed: by then a sound freeze has frost.",
        rank=11,
    ),
}  # fmt: skip
"""By the code of the cause: common practice, no source, and what the solver finds."""


STATED = {
    "cylinder-empty": "The cylinder is so warm, as stated, that it holds no liquid CO2.",
    "wrong-fluid": "What the line holds, as stated, stays slush.",
    "flow": "The flow, as stated, carries in more heat than the jacket takes out.",
}
"""What is wrong where what is stated leaves no doubt of it."""


class Adviser:
    """Words for the causes of one answer."""

    def __init__(
        self, request: FrostCheckRequest, solution: Solution, latest: float | None,
        warmth: float | None,
    ) -> None:  # fmt: skip
        """``latest`` [s] is by when a sound freeze has frost at the 95th percentile, if it has.

        ``warmth`` of water [K] with which that would be now, None where no warmth does it.
        """
        self._request, self._solution = request, solution
        self._latest, self._warmth = latest, warmth

    @property
    def _is_overdue(self) -> bool:
        return self._latest is not None and self._request.elapsed > self._latest

    def text(self, code: str) -> str:
        """Return what is wrong."""
        return ADVICE[code].text.format(enough=self._enough(), warmth=self._explained())

    def tells(self, code: str, other: str | None) -> str:
        """Return what tells a cause from the ``other`` likeliest one; empty where none is."""
        pair = [c for c in (code, other) if c is not None]
        waits = not self._request.frost_seen and not self._is_overdue
        if SOUND in pair and waits and self._latest is not None:
            return ADVICE[SOUND].tells.format(again=f"{self._latest:.0f}")
        known = [ADVICE[c] for c in pair if c != SOUND]
        if not known:
            return ""
        return min(known, key=lambda a: a.rank).tells.format(
            lighter=self._lighter(), diameter=f"{MM * self._request.pipe.outside_diameter:.1f}",
            water=f"{self._request.fluid.temperature - ZERO_C:.0f}",
        )  # fmt: skip

    def _lighter(self) -> str:
        """Say what a sound freeze has drawn by now."""
        before, elapsed = self._solution.before, self._request.elapsed
        if before.stays_slush or before.hopeless or elapsed <= 0.0:
            return ""
        drawn = chances.percentile(feeding.drawn_by(before, elapsed), MIDDLE)
        return "" if drawn is None else f", of which {drawn:.1f} kg is gone by now if all is sound"

    def _explained(self) -> str:
        """Say how warm the water would have to be."""
        if not self._is_overdue or self._request.frost_seen:
            return ""
        if self._warmth is None:
            return " No warmth that was tried explains so long a delay alone."
        return f" Water at {self._warmth - ZERO_C:.0f} degC would explain the delay."

    def _enough(self) -> str:
        """Say what flow keeps the likely plug open."""
        limit = self._solution.flow_limit
        if limit is None or limit.likely <= 0.0:
            return ""
        falling = limit.likely * drips.PER_MINUTE
        counted = f" ({falling:.0f} drips a minute)" if falling <= MOST_DRIPS else ""
        return f": {float(f'{limit.likely * HOUR:.2g}'):g} kg/h{counted} are enough"
