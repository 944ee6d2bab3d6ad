"""Cylinders of liquid CO2 and how they are used."""

from dataclasses import dataclass, replace
from typing import Annotated

from stillpipe.model.declare import COMPUTED, Choice, Count, Flag, Quantity
from stillpipe.model.figures import Range
from stillpipe.physics import co2
from stillpipe.physics.constants import ZERO_C
from stillpipe.tables import cylinders

IDS = tuple(c.id for c in cylinders.catalogue())
DEFAULT = "co2-22.7kg"
CUSTOM = "custom"
"""Id of a cylinder that is given by its net mass."""
FILL_RATIO = 680.0
"""Greatest filling density of CO2 cylinders [kg/m3]; 68 %, 49 CFR 173.304a."""


@dataclass(frozen=True, kw_only=True)
class CylinderTemperature:
    """The CO2 cylinder, as far as a freeze alone needs it."""

    temperature: Annotated[
        float,
        Quantity(
            "temperature", ZERO_C - 40.0, ZERO_C + 50.0, says="Of the liquid CO2.",
            limit="cylinder_temperature",
        ),
    ] = 293.15  # fmt: skip

    @property
    def has_liquid(self) -> bool:
        """Whether there is liquid at this temperature."""
        return self.temperature < co2.CRITICAL

    @property
    def cooling(self) -> float | None:
        """Heat that one kilogram of the liquid takes up [J/kg], None where there is none."""
        return co2.cooling(self.temperature) if self.has_liquid else None


@dataclass(frozen=True, kw_only=True)
class Cylinder(CylinderTemperature):
    """A cylinder of the catalogue, or one by its net mass."""

    id: Annotated[
        str, Choice(IDS, says=f"Of the catalogue; {DEFAULT} by default.", limit="cylinder")
    ] = COMPUTED
    net_mass: Annotated[float, Quantity("mass", 0.5, 100.0, says="CO2 in a full one.")] = COMPUTED
    fill_ratio: Annotated[
        float,
        Quantity("density", 300.0, 900.0, says="Net mass over inside volume; with net_mass only."),
    ] = COMPUTED
    dip_tube: Annotated[bool, Flag(says="Whether it gives liquid while upright.")] = COMPUTED

    @staticmethod
    def conflicts(given: frozenset[str]) -> dict[str, str]:
        """Return what is wrong with the set of members that are given, by member."""
        both = {"net_mass", "fill_ratio"} & given
        if "id" in given and both:
            return dict.fromkeys(both, "give either id or net mass")
        if "fill_ratio" in given and "net_mass" not in given:
            return {"fill_ratio": "belongs to a cylinder given by its net_mass"}
        return {}

    def completed(self) -> "Cylinder":
        """Return the cylinder with its masses, from the catalogue unless given by net mass."""
        if self.id == CUSTOM:
            return self
        if self.net_mass and self.id is None:
            return replace(
                self,
                id=CUSTOM,
                fill_ratio=self.fill_ratio or FILL_RATIO,
                dip_tube=self.dip_tube is not False,
            )
        row = cylinders.find(self.id or DEFAULT)
        return replace(
            self,
            id=row.id,
            net_mass=row.net_mass,
            fill_ratio=row.fill_ratio,
            dip_tube=row.dip_tube and self.dip_tube is not False,
        )

    @property
    def usable(self) -> Range:
        """Liquid that it delivers [kg]: likely between two ends.

        Low: drawn so slowly that it stays at its temperature; high: so fast that it takes no heat
        in. A plan is made on the low end, because a cylinder that ends early cannot be helped.
        """
        slow = 1.0 - co2.left_isothermal(self.temperature, self.fill_ratio)
        fast = 1.0 - co2.left_adiabatic(self.temperature, self.fill_ratio)
        low, high = sorted((slow, fast))
        return Range(low, 0.5 * (low + high), high).scaled(self.net_mass)


@dataclass(frozen=True, kw_only=True)
class Stock:
    """So many cylinders of a kind."""

    id: Annotated[str, Choice(IDS, says="Which cylinder of the catalogue.", limit="cylinder")]
    count: Annotated[int, Count(0, 100, says="How many are at hand.", limit="stock")]

    def cylinder(self, temperature: float) -> Cylinder:
        """Return one of them at ``temperature`` [K]."""
        return Cylinder(id=self.id, temperature=temperature).completed()
