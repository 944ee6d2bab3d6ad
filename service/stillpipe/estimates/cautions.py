"""Cautions: coded, one or two sentences each; an answer has each code once."""

from stillpipe.model.figures import Caution, Severity
from stillpipe.model.freeze_point import FreezePoint

WARM = 303.15
"""A line warmer than this is cautioned [K]; common practice, no source."""
COLD_CYLINDER = 273.15
"""Below this the pressure in a cylinder is low [K]; common practice, no source."""

LICENSED = Caution(
    "licensed-practice",
    "Follow local codes, the site's permit, the rules for confined spaces and licensed practice; "
    "this is an engineering estimate, not an authorisation.",
    Severity.INFO,
)
GAS = (
    Caution(
        "asphyxiation",
        "CO2 gas displaces air and gathers low: pits, cellars and the floor are worse than the "
        "room's mean. Ventilate before the first feed and until the last of the gas is gone.",
        Severity.WARN,
    ),
    Caution(
        "co2-monitor",
        "Carry a CO2 monitor at the height where you work: an estimate does not replace measuring.",
        Severity.WARN,
    ),
)
NOT_ALONE = Caution(
    "not-alone",
    "Nobody works alone where CO2 is let out; leave at once when the monitor sounds.",
    Severity.WARN,
)
GENERAL = (
    LICENSED,
    Caution(
        "not-a-positive-isolation",
        "An ice plug is not a positive isolation: keep a plan, a shut-off and a way out for the "
        "case that it lets go.",
        Severity.WARN,
    ),
    Caution(
        "prove-before-cutting",
        "Prove the plug by venting the section before you cut.",
        Severity.WARN,
    ),
    *GAS,
    Caution(
        "cold-burns",
        "Dry ice, and metal as cold as it, burn at a touch: wear insulating gloves and eye "
        "protection.",
        Severity.WARN,
    ),
    Caution(
        "vent-the-jacket",
        "Dry ice swells to many times its volume as it turns to gas: keep a way out of the jacket "
        "open for it all the time.",
        Severity.WARN,
    ),
    Caution(
        "trapped-water",
        "Two plugs squeeze the water between them until the pipe bursts: keep a vent between them "
        "open from before the first feed until both have thawed.",
        Severity.WARN,
    ),
)
"""Cautions of every freeze; common practice, no source."""

AIR = (*GAS, NOT_ALONE, LICENSED)
"""Cautions of a room that CO2 is let into."""

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
        "no-blows",
        "Do not strike or bend cold metal, and light no torch near the plug.",
        Severity.WARN,
    ),
    Caution(
        "hot-pipe",
        "Never freeze a hot pipe: let the line cool and stand still first.",
        Severity.WARN,
    ),
    Caution(
        "plug-failure-plan",
        "Before cutting, have caps, couplings and a drain at hand, know the nearest shut-off and "
        "have somebody stand at it.",
        Severity.WARN,
    ),
    Caution(
        "no-flame-thaw",
        "Let the plug thaw by itself, or help it with warm water or warm air: never with a flame.",
        Severity.WARN,
    ),
    NOT_ALONE,
)
"""Cautions of the whole job; common practice, no source."""


def of_freeze(point: FreezePoint) -> tuple[Caution, ...]:
    """Return the cautions of one freeze point: the general ones and its material's."""
    found = list(GENERAL)
    if point.material.caution_code:
        found.append(Caution(point.material.caution_code, point.material.caution, Severity.WARN))
    if point.fluid.temperature > WARM:
        text = "The fluid is warm: let it come near room temperature first."
        found.append(Caution("warm-fluid", text, Severity.WARN))
    if point.ambient.temperature <= point.fluid.freezing_point:
        text = (
            "The room is no warmer than the fluid's freezing point: the line freezes by itself, "
            "far beyond the plug; burst damage is likely."
        )
        found.append(Caution("freezing-room", text, Severity.WARN))
    return tuple(found)


def of_cylinder(point: FreezePoint) -> tuple[Caution, ...]:
    """Return the cautions of feeding from cylinders at the job's cylinder temperature."""
    if point.cylinder.temperature >= COLD_CYLINDER:
        return CYLINDER
    text = (
        "A cold cylinder has a low pressure and feeds slowly: let it come to room temperature "
        "first."
    )
    return (*CYLINDER, Caution("cold-cylinder", text, Severity.WARN))


def of_feeding(point: FreezePoint) -> tuple[Caution, ...]:
    """Return the cautions of a freeze fed from cylinders."""
    return (*of_freeze(point), *of_cylinder(point))


def of_job(point: FreezePoint) -> tuple[Caution, ...]:
    """Return the cautions of a whole job."""
    return (*of_feeding(point), *WORK)
