"""How pipes, fluids, layers and limits are named on site, for those who read no keys.

Closed tables beside the data that they name; a test finds an entry of a catalogue without words.
"""

from stillpipe.tables import materials, spellings

MATERIALS = {
    "copper_c12200": "copper",
    "carbon_steel": "steel",
    "stainless_304": "stainless steel 304",
    "stainless_316": "stainless steel 316",
    "pvc": "PVC",
    "cpvc": "CPVC",
    "pex": "PEX",
    "red_brass": "red brass",
    "cast_iron": "grey iron",
    "ductile_iron": "ductile iron",
}
"""What a pipe's wall is made of, by the key of the material."""
PRODUCTS = {
    "ASME B36.10M": "pipe", "ASME B36.19M": "pipe", "EN 10255": "tube", "ASTM B88": "tube",
    "EN 1057": "tube", "ASTM B43": "pipe", "ASTM D1785": "pipe", "ASTM F441": "pipe",
    "ASTM D2846": "tube", "ASTM F876": "tube", "AWWA C151": "pipe", "AWWA C106": "pipe",
}  # fmt: skip
"""Whether a standard is of pipe or tube."""
SCHEDULES = {
    "STD": "standard weight", "XS": "extra strong", "XXS": "double extra strong",
    "regular": "regular weight", "extra strong": "extra strong", "medium": "medium series",
    "heavy": "heavy series", "K": "type K", "L": "type L", "M": "type M",
}  # fmt: skip
"""What a schedule that is no number is called."""
NUMBERED = {"PC ": "pressure class ", "TC ": "thickness class ", "Class ": "class ", "SDR ": "SDR "}
"""How a schedule begins that has a number after a word, and what that word is written out."""
FLUIDS = {
    "water": "water",
    "seawater": "sea water",
    "ethylene_glycol": "water with ethylene glycol",
    "propylene_glycol": "water with propylene glycol",
}
"""What stands in a pipe, by the key of the fluid."""
LIMITS = {
    "TWA": "mean",
    "STEL": "mean",
    "IDLH": "immediate danger to life",
    "minimum": "too little oxygen",
}
"""What an exposure limit is about, by its quantity; the time of a mean stands beside it."""


def size(standard: str, text: str) -> str:
    """Return a size as it is said on site: ``1 1/2 in``, or ``15 mm`` where a standard has that."""
    if standard == spellings.BY_DIAMETER:
        return f"{text} mm"
    return f"{text.replace('-', ' ')} in"


def schedule(standard: str, text: str) -> str:
    """Return a schedule, type, class or wall as it is said on site."""
    if standard == spellings.BY_DIAMETER:
        return f"{text} mm wall"
    if text in SCHEDULES:
        return SCHEDULES[text]
    for begins, said in NUMBERED.items():
        if text.startswith(begins):
            return said + text.removeprefix(begins)
    return f"schedule {text}"


def pipe(standard: str, size_text: str, schedule_text: str, material: str) -> str:
    """Return a pipe of a standard in words: ``1 1/2 in copper tube, type L (ASTM B88)``."""
    product = f"{MATERIALS[material]} {PRODUCTS[standard]}"
    said = schedule(standard, schedule_text)
    return f"{size(standard, size_text)} {product}, {said} ({standard})"


def layer(key: str) -> str:
    """Return an insulation or a lining in words, as it is written within a sentence."""
    name = next(each.name for each in materials.layers() if each.key == key)
    return name[0].lower() + name[1:]
