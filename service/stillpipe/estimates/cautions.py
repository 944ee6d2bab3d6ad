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
