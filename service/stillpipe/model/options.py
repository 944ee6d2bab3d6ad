"""A job with its variants side by side, and whether it is asked what would make it go."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, Self

from stillpipe.errors import Fault, OutOfValidityError, StillpipeError
from stillpipe.model import declare
from stillpipe.model.cylinder import Cylinder
from stillpipe.model.declare import Flag, Many, Text, members
from stillpipe.model.freeze_point import Ambient, Insulation, Jacket, gathered
from stillpipe.model.job import Cooling, Job, LineFluid
from stillpipe.model.money import Rates
from stillpipe.model.pipe import Pipe
from stillpipe.model.requests import MOST_POINTS
from stillpipe.model.site import Room

MOST_OPTIONS = 6
"""Most variants of a job in one request."""
MOST_TOGETHER = 2 * MOST_POINTS
"""Most freeze points of a job and all of its variants."""

_own = members(Job)


@dataclass(frozen=True, kw_only=True)
class JobOption:
    """A variant of a job: what it has otherwise, a whole member at a time."""

    name: Annotated[str, Text(says="What the variant is called; no two alike.", limit="option")]
    pipe: Annotated[Pipe | None, _own["pipe"].declaration] = None
    insulation: Annotated[Insulation | None, _own["insulation"].declaration] = None
    fluid: Annotated[LineFluid | None, _own["fluid"].declaration] = None
    ambient: Annotated[Ambient | None, _own["ambient"].declaration] = None
    line_pressure: Annotated[float | None, _own["line_pressure"].declaration] = None
    jacket: Annotated[Jacket | None, _own["jacket"].declaration] = None
    cylinder: Annotated[Cylinder | None, _own["cylinder"].declaration] = None
    jackets_per_cylinder: Annotated[int | None, _own["jackets_per_cylinder"].declaration] = None
    exchange_duration: Annotated[float | None, _own["exchange_duration"].declaration] = None
    jackets: Annotated[int | None, _own["jackets"].declaration] = None
    crew: Annotated[int | None, _own["crew"].declaration] = None
    cooling: Annotated[Cooling | None, _own["cooling"].declaration] = None
    setup: Annotated[float | None, _own["setup"].declaration] = None
    repair: Annotated[float | None, _own["repair"].declaration] = None
    room: Annotated[Room | None, _own["room"].declaration] = None
    rates: Annotated[Rates | None, _own["rates"].declaration] = None
    decision_probability: Annotated[float | None, _own["decision_probability"].declaration] = None

    @property
    def own(self) -> dict[str, Any]:
        """What it has otherwise, by member."""
        return {n: value for n, value in declare.stated(self).items() if n != "name"}


@dataclass(frozen=True, kw_only=True)
class JobEstimateRequest(Job):
    """Body of POST /v1/job-estimate."""

    remedies: Annotated[
        bool, Flag(says="Whether the answer tells what would make the job go; that takes longer.")
    ] = False
    options: Annotated[
        tuple[JobOption, ...], Many(MOST_OPTIONS, says="Variants of the job, side by side.")
    ] = ()
    variants: tuple[Job, ...] = ()
    """The job of each option, worked out."""

    def completed(self) -> Self:
        """Return the request with every member worked out, and the job of each option."""
        errors: list[StillpipeError] = []
        names = [option.name for option in self.options]
        for i, name in enumerate(names):
            if name in names[:i]:
                fault = Fault(("options", i, "name"), "is another option's name too")
                errors.append(OutOfValidityError(fault))
        try:
            whole = super(JobEstimateRequest, self._plain({})).completed()
        except StillpipeError as error:
            raise gathered([*errors, error]) from None
        if len(whole.each) * (len(names) + 1) > MOST_TOGETHER:
            detail = f"job and options must have at most {MOST_TOGETHER} freeze points together"
            errors.append(OutOfValidityError(Fault(("options",), detail)))
        variants, shown = [], []
        for i, option in enumerate(self.options):
            try:
                variant = super(JobEstimateRequest, self._plain(option.own)).completed()
            except StillpipeError as error:
                errors.append(error.within("options", i))
                continue
            variants.append(variant)
            used = {name: getattr(variant, name) for name in option.own}
            shown.append(replace(option, **used))
        if errors:
            raise gathered(errors)
        return replace(
            whole, remedies=self.remedies, options=tuple(shown), variants=tuple(variants)
        )  # fmt: skip

    def _plain(self, own: Mapping[str, Any]) -> Self:
        """Return the job alone, as stated but for its ``own`` members."""
        return replace(self, **own, options=(), remedies=False)
