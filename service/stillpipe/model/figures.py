"""What every answer is made of: ranges, reasons, cautions, a verdict."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated, Any, Generic, TypeVar

from stillpipe.model.declare import Chance, Figure, Plain

F = TypeVar("F")


class Severity(StrEnum):
    """What a reason or caution means for the job."""

    STOP = "stop"
    WARN = "warn"
    INFO = "info"


class Verdict(StrEnum):
    """May the job be done."""

    GO = "go"
    CONDITIONAL = "conditional"
    NO_GO = "no-go"


@dataclass(frozen=True)
class Amount:
    """A figure whose ``kind`` of quantity is known only with it; ``value`` [SI]."""

    value: float
    kind: str


@dataclass(frozen=True)
class Reason:
    """Why a verdict is what it is: a stable ``code``, one sentence, a severity, its figures.

    The ``text`` says what, how much and when; ``action`` what to do.
    """

    code: Annotated[str, Plain(says="Stable code of the reason.")]
    text: Annotated[str, Plain(says="The reason: what, how much and when.")]
    severity: Annotated[Severity, Plain(says="What it means for the job.")] = Severity.WARN
    figure: Annotated[
        str | None,
        Plain(
            says="Which figure it is about: the path of a member of the reply, or of that of "
            "plug-time or hold-time where this one has none; null where it is about no figure."
        ),
    ] = None
    value: Annotated[Amount | None, Plain(says="That figure; null where it is never reached.")] = (
        None
    )
    limit: Annotated[Amount | None, Plain(says="What it is held against.")] = None
    chance: Annotated[
        float | None, Chance(says="On which it is decided; null where it hangs on none.")
    ] = None
    at: Annotated[
        float | None,
        Figure("time", says="When, since the first feed; of the air since the first release."),
    ] = None
    action: Annotated[str, Plain(says="What to do, in one sentence.")] = ""

    def within(self, member: str) -> "Reason":
        """Return the reason as it reads where its figure is one of ``member`` of a reply.

        Figures of the inputs stay where they are.
        """
        if self.figure is None or self.figure.startswith("inputs."):
            return self
        return replace(self, figure=f"{member}.{self.figure}")


@dataclass(frozen=True)
class Caution:
    """What to mind in any case: a stable ``code``, one sentence, a severity."""

    code: Annotated[str, Plain(says="Stable code of the caution.")]
    text: Annotated[str, Plain(says="The caution in one or two sentences.")]
    severity: Annotated[Severity, Plain(says="How much it matters.")] = Severity.WARN


LOW, MIDDLE, HIGH = 0.05, 0.5, 0.95
"""Percentiles of a range: the ends of a probabilistically symmetric coverage interval and the
median (the words of JCGM 101)."""
COVERAGE = 0.9
"""Coverage probability of a range [-]."""


@dataclass(frozen=True)
class Range:
    """A figure's 5th, 50th and 95th percentile; ``high`` None means never.

    ``more`` are further percentiles as pairs of probability [-] and value.
    """

    low: float
    likely: float
    high: float | None
    more: tuple[tuple[float, float | None], ...] = ()

    @property
    def longest(self) -> float:
        """The high end where there is one, else the likely figure."""
        return self.likely if self.high is None else self.high

    def scaled(self, factor: float) -> "Range":
        """Return the range times a positive ``factor``."""
        high = None if self.high is None else self.high * factor
        more = tuple((p, None if v is None else v * factor) for p, v in self.more)
        return Range(self.low * factor, self.likely * factor, high, more)

    def moved(self, by: float) -> "Range":
        """Return the range moved by a fixed amount."""
        high = None if self.high is None else self.high + by
        more = tuple((p, None if v is None else v + by) for p, v in self.more)
        return Range(self.low + by, self.likely + by, high, more)


def verdict_of(reasons: Iterable[Reason]) -> Verdict:
    """Return no-go where a reason stops the job, conditional where one warns, else go."""
    severities = {r.severity for r in reasons}
    if Severity.STOP in severities:
        return Verdict.NO_GO
    return Verdict.CONDITIONAL if Severity.WARN in severities else Verdict.GO


@dataclass(frozen=True)
class Effort:
    """What an answer took: ``freezes`` fed, and ``units`` of solver work [-]."""

    freezes: int = 0
    units: int = 0


@dataclass(frozen=True, kw_only=True)
class Answer(Generic[F]):
    """The answer of an estimate: its ``figures`` are a dataclass of declared fields."""

    reasons: tuple[Reason, ...]
    cautions: tuple[Caution, ...]
    figures: F
    effort: Effort = Effort()
    learned: Any = None
    """What was learned from observations, a dataclass of declared figures; None without any."""

    @property
    def verdict(self) -> Verdict:
        """What the reasons come to."""
        return verdict_of(self.reasons)


AnyAnswer = Answer[Any]
