"""Properties of pipe materials, insulation and linings (sources in SOURCES.md)."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, cast

from stillpipe.errors import Fault, UnknownEntryError
from stillpipe.tables import reading

Path = tuple[str | int, ...]
LayerKind = Literal["insulation", "lining"]


@dataclass(frozen=True)
class Material:
    """A pipe material.

    Parameters
    ----------
    key, name
        key used by the pipe tables; name for people
    conductivity_293
        thermal conductivity at 293 K [W/(m K)]
    conductivity_195
        the same at 195 K, dry ice [W/(m K)]; None where no published fit was found
    density
        [kg/m3]
    specific_heat
        about -40 to 0 °C where published there, otherwise at 20 °C [J/(kg K)]
    youngs_modulus
        at 20 °C [Pa]
    poisson_ratio
        [-]
    service_max, service_min
        recommended limits of the bare material in service [K]; joints are often lower
    caution_code, caution
        code and text of the caution for use below ``service_min``; empty where dry ice is
        within the limits
    condition
        what must be settled before such a pipe is frozen at all, one sentence; empty where nothing
    emissivity
        of the outside surface as usually found, dull or oxidized [-]
    allowable_stress
        stress S for the design pressure 2 S t / D [Pa], at room temperature, without joint
        factor, thread, corrosion or mill allowance
    source
        where the thermal and mechanical numbers come from
    """

    key: str
    name: str
    conductivity_293: float
    conductivity_195: float | None
    density: float
    specific_heat: float
    youngs_modulus: float
    poisson_ratio: float
    service_max: float
    service_min: float
    caution_code: str
    caution: str
    condition: str
    emissivity: float
    allowable_stress: float
    source: str

    @property
    def heat_capacity(self) -> float:
        """Heat capacity [J/(m3 K)]."""
        return self.density * self.specific_heat

    @property
    def conductivity(self) -> float:
        """Mean thermal conductivity between 195 and 293 K [W/(m K)].

        The mean of the two ends where both are published, otherwise the value at 293 K.
        """
        if self.conductivity_195 is None:
            return self.conductivity_293
        return 0.5 * (self.conductivity_195 + self.conductivity_293)


@dataclass(frozen=True)
class Layer:
    """Insulation on a pipe, or a lining or scale inside it.

    ``conductivity`` is the thermal conductivity [W/(m K)].
    """

    key: str
    name: str
    kind: LayerKind
    conductivity: float
    source: str


def _material(row: reading.Row) -> Material:
    return Material(
        key=row["key"],
        name=row["name"],
        conductivity_293=reading.required(row, "conductivity_293K"),
        conductivity_195=reading.optional(row, "conductivity_195K"),
        density=reading.required(row, "density"),
        specific_heat=reading.required(row, "specific_heat"),
        youngs_modulus=reading.required(row, "youngs_modulus"),
        poisson_ratio=float(row["poisson_ratio"]),
        service_max=reading.required(row, "service_max"),
        service_min=reading.required(row, "service_min"),
        caution_code=row["caution_code"],
        caution=row["caution"],
        condition=row["condition"],
        emissivity=float(row["emissivity"]),
        allowable_stress=reading.required(row, "allowable_stress"),
        source=row["source"],
    )


def _layer(row: reading.Row) -> Layer:
    return Layer(
        key=row["key"],
        name=row["name"],
        kind=cast(LayerKind, row["kind"]),
        conductivity=reading.required(row, "conductivity"),
        source=row["source"],
    )


@lru_cache(maxsize=1)
def catalogue() -> tuple[Material, ...]:
    """Every pipe material."""
    return tuple(_material(row) for row in reading.rows("materials.csv"))


@lru_cache(maxsize=1)
def layers() -> tuple[Layer, ...]:
    """Every insulation and lining."""
    return tuple(_layer(row) for row in reading.rows("layers.csv"))


def find(key: str, path: Path = ("pipe", "material")) -> Material:
    """One pipe material by its key.

    Raises
    ------
    UnknownEntryError
        naming ``path`` and the keys there are
    """
    for material in catalogue():
        if material.key == key:
            return material
    known = ", ".join(m.key for m in catalogue())
    raise UnknownEntryError(Fault(path, f"There is no material {key!r}; there are: {known}."))


def find_layer(key: str, kind: LayerKind, path: Path) -> Layer:
    """One insulation or lining by its key.

    Raises
    ------
    UnknownEntryError
        naming ``path`` and the keys there are of that kind
    """
    of_kind = tuple(layer for layer in layers() if layer.kind == kind)
    for layer in of_kind:
        if layer.key == key:
            return layer
    known = ", ".join(layer.key for layer in of_kind)
    raise UnknownEntryError(Fault(path, f"There is no {kind} {key!r}; there are: {known}."))
