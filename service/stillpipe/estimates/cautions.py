"""Cautions that go with every freeze: coded, one sentence each."""

from stillpipe.estimates.job import Freeze, Note

GENERAL = (
    Note(
        "licensed-practice",
        "Follow local codes, the site's permit and licensed practice; this "
        "is an engineering estimate, not an authorisation.",
        "info",
    ),
    Note(
        "not-a-positive-isolation",
        "An ice plug is not a positive isolation: keep a plan, a "
        "shut-off and a way out for the case that it lets go.",
        "warn",
    ),
    Note("prove-before-cutting", "Prove the plug by venting the section before you cut.", "warn"),
    Note(
        "asphyxiation",
        "CO2 gas displaces air and gathers low: ventilate and carry a CO2 monitor.",
        "warn",
    ),
    Note(
        "cold-burns",
        "Dry ice and cold metal burn: wear insulating gloves and eye protection.",
        "warn",
    ),
    Note("vent-the-jacket", "Gas must be able to leave the jacket; never seal it.", "warn"),
    Note(
        "trapped-water",
        "Never freeze two points with water trapped between them and no "
        "vent: the ice can burst the pipe.",
        "warn",
    ),
)


def of_freeze(job: Freeze) -> tuple[Note, ...]:
    """Return the cautions of one freeze point: the general ones and its material's."""
    found = list(GENERAL)
    if job.material.caution_code:
        found.append(Note(job.material.caution_code, job.material.caution, "warn"))
    if job.fluid_temperature > 303.15:
        found.append(
            Note(
                "warm-fluid", "The fluid is warm: let it come near room temperature first.", "warn"
            )
        )
    if job.ambient_temperature <= 273.15:
        found.append(
            Note(
                "freezing-room",
                "The room is at or below freezing: the line freezes by itself, far beyond the "
                "plug; burst damage is likely.",
                "warn",
            )
        )
    return tuple(found)


CYLINDER = (
    Note(
        "cylinder-upright",
        "Stand the dip-tube cylinder upright, secure it against falling, open its valve slowly.",
        "warn",
    ),
    Note(
        "cylinder-no-flame",
        "Never warm a cylinder with a flame or steam; keep it below 50 degC and its relief free.",
        "warn",
    ),
    Note("noise", "Escaping CO2 is loud: wear hearing protection.", "info"),
)
"""Cautions that go with CO2 cylinders; common practice, no source."""

WORK = (
    Note("no-blows", "No blows on cold metal, no bending and no torch near the plug.", "warn"),
    Note("hot-pipe", "Never freeze a hot pipe; let the line cool and stand still first.", "warn"),
    Note(
        "plug-failure-plan",
        "Before cutting: caps, couplings and a drain at hand, a shut-off known, somebody at it.",
        "warn",
    ),
    Note(
        "not-alone",
        "Nobody works alone where CO2 is let out; leave at once when the monitor sounds.",
        "warn",
    ),
)
"""Cautions of the whole job; common practice, no source."""


def of_cylinder(job: Freeze) -> tuple[Note, ...]:
    """Return the cautions of feeding from cylinders at the job's cylinder temperature."""
    found = list(CYLINDER)
    if job.cylinder_temperature < 273.15:
        found.append(
            Note(
                "cold-cylinder",
                "A cold cylinder has a low pressure and feeds slowly: let it come to room "
                "temperature first.",
                "warn",
            )
        )
    return tuple(found)
