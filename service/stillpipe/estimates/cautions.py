"""Cautions that go with every freeze: coded, one sentence each."""

from stillpipe.model.figures import Caution, Severity
from stillpipe.model.freeze_point import FreezePoint
from stillpipe.physics import constants

WARM = 303.15
"""A line warmer than this is cautioned [K]; common practice, no source."""

GENERAL = (
    Caution(
        "licensed-practice",
        "Follow local codes, the site's permit and licensed practice; this "
        "is an engineering estimate, not an authorisation.",
        Severity.INFO,
    ),
    Caution(
        "not-a-positive-isolation",
        "An ice plug is not a positive isolation: keep a plan, a "
        "shut-off and a way out for the case that it lets go.",
        Severity.WARN,
    ),
    Caution(
        "prove-before-cutting",
        "Prove the plug by venting the section before you cut.",
        Severity.WARN,
    ),
    Caution(
        "asphyxiation",
        "CO2 gas displaces air and gathers low: ventilate and carry a CO2 monitor.",
        Severity.WARN,
    ),
    Caution(
        "cold-burns",
        "Dry ice and cold metal burn: wear insulating gloves and eye protection.",
        Severity.WARN,
    ),
    Caution(
        "vent-the-jacket", "Gas must be able to leave the jacket; never seal it.", Severity.WARN
    ),
    Caution(
        "trapped-water",
        "Never freeze two points with water trapped between them and no "
        "vent: the ice can burst the pipe.",
        Severity.WARN,
    ),
)


def of_freeze(point: FreezePoint) -> tuple[Caution, ...]:
    """Return the cautions of one freeze point: the general ones and its material's."""
    found = list(GENERAL)
    if point.material.caution_code:
        found.append(Caution(point.material.caution_code, point.material.caution, Severity.WARN))
    if point.fluid.temperature > WARM:
        found.append(
            Caution(
                "warm-fluid",
                "The fluid is warm: let it come near room temperature first.",
                Severity.WARN,
            )
        )
    if point.ambient.temperature <= constants.ZERO_C:
        found.append(
            Caution(
                "freezing-room",
                "The room is at or below freezing: the line freezes by itself, far beyond the "
                "plug; burst damage is likely.",
                Severity.WARN,
            )
        )
    return tuple(found)


COLD_CYLINDER = 273.15
"""Below this the pressure in a cylinder is low [K]; common practice, no source."""

CYLINDER = (
    Caution(
        "cylinder-upright",
        "Stand the dip-tube cylinder upright, secure it against falling, open its valve slowly.",
        Severity.WARN,
    ),
    Caution(
        "cylinder-no-flame",
        "Never warm a cylinder with a flame or steam; keep it below 50 degC and its relief free.",
        Severity.WARN,
    ),
    Caution("noise", "Escaping CO2 is loud: wear hearing protection.", Severity.INFO),
)
"""Cautions that go with CO2 cylinders; common practice, no source."""

WORK = (
    Caution(
        "no-blows", "No blows on cold metal, no bending and no torch near the plug.", Severity.WARN
    ),
    Caution(
        "hot-pipe",
        "Never freeze a hot pipe; let the line cool and stand still first.",
        Severity.WARN,
    ),
    Caution(
        "plug-failure-plan",
        "Before cutting: caps, couplings and a drain at hand, a shut-off known, somebody at it.",
        Severity.WARN,
    ),
    Caution(
        "not-alone",
        "Nobody works alone where CO2 is let out; leave at once when the monitor sounds.",
        Severity.WARN,
    ),
)
"""Cautions of the whole job; common practice, no source."""


def of_cylinder(point: FreezePoint) -> tuple[Caution, ...]:
    """Return the cautions of feeding from cylinders at the job's cylinder temperature."""
    found = list(CYLINDER)
    if point.cylinder.temperature < COLD_CYLINDER:
        found.append(
            Caution(
                "cold-cylinder",
                "A cold cylinder has a low pressure and feeds slowly: let it come to room "
                "temperature first.",
                Severity.WARN,
            )
        )
    return tuple(found)


def of_feeding(point: FreezePoint) -> tuple[Caution, ...]:
    """Return the cautions of a freeze fed from cylinders."""
    return (*of_freeze(point), *of_cylinder(point))


def of_job(point: FreezePoint, others: tuple[Caution, ...]) -> tuple[Caution, ...]:
    """Return the cautions of a whole job and those of ``others``, each once."""
    return tuple(dict.fromkeys((*of_feeding(point), *WORK, *others)))
