"""Requests to estimates' inputs: every field strict, unknown members refused."""

from dataclasses import dataclass, replace
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields, validates_schema

from stillpipe.errors import Fault, OutOfValidityError, StillpipeError, UnknownEntryError
from stillpipe.estimates.job import Freeze
from stillpipe.tables import fluids, materials, pipes
from stillpipe.web import limits
from stillpipe.web.fields import Label, Number, Quantity, Text

ORIENTATIONS = ("horizontal", "vertical")
UNITS = ("si", "us")
BY_SIZE = ("standard", "size", "schedule")
BY_MEASURE = ("outside_diameter", "wall")


def layer_keys(kind: str) -> tuple[str, ...]:
    """Return the keys of the layers of ``kind``, ``insulation`` or ``lining``."""
    return tuple(m.key for m in materials.layers() if m.kind == kind)


class Strict(Schema):
    """Base of every request: unknown members are errors, messages are short."""

    class Meta:
        unknown = RAISE

    error_messages = {"unknown": "unknown member", "type": "must be an object"}  # noqa: RUF012

    def on_bind_field(self, field_name: str, field_obj: Any) -> None:
        """Give every field the same wording for what is missing or null."""
        field_obj.error_messages = {
            **field_obj.error_messages,
            "required": "required",
            "null": "must not be null",
            "type": "must be an object",
        }


class PipeSchema(Strict):
    """A pipe by standard, size and schedule, or by its measures and material."""

    standard = Text(choices=pipes.standards())
    size = Text()
    schedule = Text()
    outside_diameter = Quantity("outside_diameter")
    wall = Quantity("wall")
    material = Text(choices=tuple(m.key for m in materials.catalogue()))

    @validates_schema(pass_original=True, skip_on_field_errors=False)
    def one_way(self, _data: dict[str, Any], original: Any, **_: Any) -> None:
        """Refuse a pipe that is given in neither way or in both."""
        if not isinstance(original, dict):
            return
        given = set(original)
        sized, measured = given & set(BY_SIZE), given & set(BY_MEASURE)
        if sized and measured:
            raise ValidationError(
                {m: ["give either standard, size and schedule or measures"] for m in measured}
            )
        wanted = (*BY_MEASURE, "material") if measured else BY_SIZE
        lacking = [m for m in wanted if m not in given]
        if lacking:
            raise ValidationError({m: ["required"] for m in lacking})


class LiningSchema(Strict):
    """Scale or lining in the bore."""

    material = Text(choices=layer_keys("lining"), required=True)
    thickness = Quantity("lining_thickness", required=True)


class InsulationSchema(Strict):
    """Insulation on the pipe beside the jacket."""

    material = Text(choices=layer_keys("insulation"), required=True)
    thickness = Quantity("insulation_thickness", required=True)


class FluidSchema(Strict):
    """What fills the pipe."""

    type = Text(choices=tuple(f.key for f in fluids.catalogue()))
    concentration = Quantity("concentration")
    temperature = Quantity("fluid_temperature", required=True)
    flow = Quantity("flow")


class AmbientSchema(Strict):
    """The room."""

    temperature = Quantity("ambient_temperature", required=True)


class JacketSchema(Strict):
    """The jacket."""

    length = Quantity("jacket_length")
    conductance = Quantity("jacket_conductance")


class CylinderSchema(Strict):
    """The CO2 cylinder."""

    temperature = Quantity("cylinder_temperature")


class PlugTimeSchema(Strict):
    """Body of POST /v1/plug-time."""

    id = Label(longest=limits.ID_LENGTH)
    units = Text(choices=UNITS)
    pipe = fields.Nested(PipeSchema, required=True)
    lining = fields.Nested(LiningSchema)
    insulation = fields.Nested(InsulationSchema)
    fluid = fields.Nested(FluidSchema, required=True)
    ambient = fields.Nested(AmbientSchema, required=True)
    line_pressure = Quantity("line_pressure", required=True)
    orientation = Text(choices=ORIENTATIONS)
    jacket = fields.Nested(JacketSchema)
    adhesion = Quantity("adhesion")
    safety_factor = Number(*limits.SAFETY_FACTOR)
    cylinder = fields.Nested(CylinderSchema)


class HoldTimeSchema(PlugTimeSchema):
    """Body of POST /v1/hold-time."""

    hold = Quantity("hold")


@dataclass(frozen=True)
class Asked:
    """A request understood: the freeze point and which of its inputs the caller gave."""

    id: str | None
    units: str
    job: Freeze
    pipe: pipes.Pipe | None
    given: frozenset[str]
    hold: float = 3600.0


def asked(data: dict[str, Any]) -> Asked:
    """Turn a loaded request into inputs, defaults filled in.

    Raises
    ------
    StillpipeError
        naming every member that the catalogues do not know or do not cover
    """
    faults: list[Fault] = []
    given = data["pipe"]
    pipe, unknown = None, False
    try:
        pipe = pipes.find(*(given[m] for m in BY_SIZE)) if "standard" in given else None
    except UnknownEntryError as error:
        unknown, faults = True, [*error.faults]
    fluid = data["fluid"]
    kind = fluids.find(fluid.get("type", "water"))
    try:
        concentration = _concentration(kind, fluid)
    except StillpipeError as error:
        faults += error.faults
    if faults:
        raise (UnknownEntryError if unknown else OutOfValidityError)(*faults)
    job = _job(data, pipe, kind, concentration)
    names = frozenset(_names(data))
    return Asked(
        data.get("id"), data.get("units", "si"), job, pipe, names, data.get("hold", 3600.0)
    )


def _concentration(kind: fluids.Fluid, fluid: dict[str, Any]) -> float:
    """Return the concentration [kg/kg]; water has none, the others must be told theirs."""
    path = ("fluid", "concentration")
    if kind.basis == "none":
        if fluid.get("concentration", 0.0) > 0.0:
            raise OutOfValidityError(Fault(path, "water has no concentration; leave it out"))
        return 0.0
    value = fluid.get("concentration", kind.concentration_typical)
    if value is None:
        raise OutOfValidityError(Fault(path, f"required for {kind.key}"))
    fluids.check_concentration(kind, value, path)
    return float(value)


def _job(
    data: dict[str, Any], pipe: pipes.Pipe | None, kind: fluids.Fluid, concentration: float
) -> Freeze:
    given = data["pipe"]
    outside = pipe.outside_diameter if pipe else given["outside_diameter"]
    material = given.get("material", pipe.material if pipe else "")
    job = Freeze(
        outside_diameter=outside,
        wall=pipe.wall if pipe else given["wall"],
        material=materials.find(material),
        fluid=kind,
        concentration=concentration,
        fluid_temperature=data["fluid"]["temperature"],
        ambient_temperature=data["ambient"]["temperature"],
        line_pressure=data["line_pressure"],
        jacket_length=data.get("jacket", {}).get("length", 0.025 + outside),
    )
    return replace(job, **_optional(data))


def _optional(data: dict[str, Any]) -> dict[str, Any]:
    """Return the members of :class:`Freeze` which have defaults and which the caller gave."""
    found: dict[str, Any] = {
        k: data[k] for k in ("orientation", "adhesion", "safety_factor") if k in data
    }
    places = {
        "jacket_conductance": ("jacket", "conductance"),
        "flow": ("fluid", "flow"),
        "cylinder_temperature": ("cylinder", "temperature"),
        "lining_thickness": ("lining", "thickness"),
        "insulation_thickness": ("insulation", "thickness"),
    }
    for name, (part, member) in places.items():
        if member in data.get(part, {}):
            found[name] = data[part][member]
    for part in ("lining", "insulation"):
        if part in data:
            layer = materials.find_layer(data[part]["material"], part, (part, "material"))  # type: ignore[arg-type]
            found[f"{part}_conductivity"] = layer.conductivity
    return found


def _names(data: dict[str, Any], before: str = "") -> list[str]:
    """Return the dotted names of all members given."""
    found = []
    for name, value in data.items():
        found.append(before + name)
        if isinstance(value, dict):
            found += _names(value, f"{before}{name}.")
    return found
