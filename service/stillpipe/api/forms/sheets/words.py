"""Closed tables of words for the codes of a reply, so that none of them stands on a sheet."""

import re

from stillpipe.api.forms.sheets.content import Mark
from stillpipe.model.site import PlaceKind

CELSIUS = re.compile(r"(\d) (?:degC|C)\b")
"""Degrees Celsius in a sentence of the service."""
PLACES = {
    PlaceKind.FREEZE_POINT: "freeze point",
    PlaceKind.CUT: "cut",
    PlaceKind.HEAT_SOURCE: "torch or other heat",
    PlaceKind.FITTING: "fitting",
    PlaceKind.VALVE: "valve",
    PlaceKind.SUPPORT: "support",
    PlaceKind.VENT: "vent",
}
"""What lies along a run."""
RULES = {
    "jackets": "jacket to jacket", "plugs": "plug to plug", "cut": "plug to cut",
    "torch": "plug to torch", "fitting": "plug to fitting", "valve": "plug to valve",
    "vent": "plug to vent", "support": "jacket to support",
}  # fmt: skip
"""What is kept apart; distances are stated between middles."""
EVENTS = {
    "arrive": "Arrive",
    "cooled": "Line cool enough",
    "move": "Move to the next points",
    "feed": "First feed",
    "frost-by": "Frost seen",
    "closed": "Frozen shut",
    "ready": "Ready: prove, then cut",
    "exchange": "Exchange a cylinder",
    "stop": "Stop feeding",
    "bond-lost": "Plug may let go",
    "help-thaw": "Help it thaw",
    "thawed": "Bore open",
}
"""The moments of a job, for the fitter."""
STEPS = {
    "arrive": "We arrive, air the room, shut the valves and make ready.",
    "cooled": "The line has cooled enough to be frozen.",
    "feed": "Freezing begins. It hisses, and white mist may show around the pipe.",
    "ready": "The ice is proved to be firm, then the repair begins.",
    "stop": "The repair is done and tested. Freezing ends.",
    "help-thaw": "Where ice is left, we help it melt with warm water or warm air.",
    "thawed": "The ice has melted, and the line can be used again.",
}
"""The moments of a job that a customer is told, in their order."""
VERDICTS = {Mark.GO: "Go", Mark.CONDITIONAL: "Conditional", Mark.NO_GO: "No-go"}
"""What a verdict is called."""
FITTER = {
    Mark.GO: "The job can be done as planned.",
    Mark.CONDITIONAL: "The job can be done once what is listed here is settled.",
    Mark.NO_GO: "Do not do the job as planned.",
}
"""What a verdict means to the fitter."""
CUSTOMER = {
    Mark.GO: "This can be done as planned.",
    Mark.CONDITIONAL: "This can be done once the points below are settled.",
    Mark.NO_GO: "This cannot be done as planned.",
}
"""What a verdict means to the customer."""
SETTLE = "Your fitter has technical points to settle first, and will tell you which."
REASONS = {
    "cool-first": "The line is warm and has to cool down first.",
    "flowing": "Water still moves in the line. It has to be stopped first.",
    "flow-near-limit": "Water still moves in the line. It has to be stopped if at all possible.",
    "air-not-judged": "We still have to look at the room and how it can be aired.",
    "air-dangerous": "The room is not aired well enough for the gas that is let out.",
    "oxygen-deficient": "The room is not aired well enough for the gas that is let out.",
    "over-twa": "The room has to be aired better than it is.",
    "over-stel": "The room has to be aired better than it is.",
    "slush": "What is in the line does not freeze firmly enough.",
    "may-stay-slush": "What is in the line may not freeze firmly enough.",
    "never-closes": "This pipe cannot be frozen shut as it is.",
    "may-not-close": "It is not certain that this pipe can be frozen shut as it is.",
    "never-ready": "The ice would not hold the pressure in the line: it has to be lowered.",
    "may-not-be-ready": "It is not certain that the ice holds the pressure in the line.",
    "over-rating": "The pressure in the line is higher than the pipe is made for.",
    "pipe-material": "Whether this kind of pipe may be frozen has to be settled with its maker.",
    "never-cools": "The line is too warm, and cannot be cooled as planned.",
    "alone": "We come with two persons at least.",
    "too-few-hands": "More hands or more tools are needed than were planned.",
    "room-below-freezing": "The room is so cold that the whole line could freeze: warm it.",
}
"""What a reason means to the customer, each in plain words; any other is ``SETTLE``."""


def of(table: dict[str, str], code: str) -> str:
    """Return the words for ``code``; one that has none is written without its dashes."""
    said = table.get(code)
    return said if said is not None else code.replace("-", " ").replace("_", " ").capitalize()


def said(text: str) -> str:
    """Return a sentence of the service with its signs as they are written."""
    return CELSIUS.sub("\\1\u00a0°C", text).replace(" degF", " °F").replace("CO2", "CO₂")
