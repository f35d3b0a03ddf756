"""Hydraulic fluids: density at a temperature, and what a fluid does to seals, media and zinc."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from specdb.answers.shape import Answer, QuantityShown
from specdb.answers.tables import Table, column, numbers
from specdb.calculations.base import Asked, Calculated, Calculation, Fields, QuantityTyped, shown_as
from specdb.characteristics import FLUID_CLASSES, MEDIA, SEALS, YES_NO
from specdb.duty.question import OneOf
from specdb.errors import QuestionError
from specdb.trade.compatibility import Cell, Level, media_with, seal_with, zinc_with
from specdb.trade.fluids import REFERENCE_DEGC, Family, density_at, fluid_of, typical_density
from specdb.units import UnitSystem, show

FluidClassTyped = Annotated[str, OneOf(FLUID_CLASSES)]
Band = tuple[float, float, float]
Part = Literal["seal", "media", "zinc"]

_DENSITY = (
    "typical densities, and what they lose for each °C on a straight line: common practice, from memory, but for the "
    "0.7 kg/m³ that mineral oil loses at most, which an independent oil laboratory's figures give"
)
_TABLE = "Lube-Tech 138, 2022, for seals in esters; the rest common practice, from memory, which never says suitable"
DATA_SHEET_DECIDES = "The fluid's own data sheet decides; a class is no more than a range of fluids."
NO_CLEARANCE = (
    "A table speaks of kinds of material. Compound, temperature, additives and what was in the circuit before decide: "
    "ask the makers of element and fluid, and have a competent person check, before a fluid or a seal is changed."
)
UNKNOWN_IS_NO_YES = "Unknown is no permission: no source was at hand that clears it."


# --- density --------------------------------------------------------------------------------------


class DensityAsked(Asked):
    """A class of fluid and a temperature; the density at another, where it is known."""

    fluid_class: FluidClassTyped = Field(description="class by ISO 6743-4", examples=["HM"])
    temperature: QuantityTyped = Field(description="temperature at which it is wanted", examples=["50 degC"])
    density: QuantityTyped | None = Field(None, description='from the fluid\'s data sheet: "872 kg/m3"')
    density_temperature: QuantityTyped | None = Field(
        None, description=f'temperature at which that density is stated: "{REFERENCE_DEGC:g} degC" unless stated'
    )


class DensityAnswer(Calculated):
    """Density of a fluid at a temperature: the usual one between the least and the greatest that is common."""

    fluid_class: str = Field(description="class by ISO 6743-4")
    family: Family = Field(description="family of the class")
    temperature: QuantityShown
    density: QuantityShown = Field(description="the usual one")
    density_low: QuantityShown = Field(description="the least that is common")
    density_high: QuantityShown = Field(description="the greatest that is common")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        shown = (self.temperature, self.density, self.density_low, self.density_high)
        names = [column(name, "density", units) for name in ("density", "density_low", "density_high")]
        return Table(
            ("fluid_class", "family", column("temperature", "temperature", units), *names),
            [(self.fluid_class, self.family, *(each.value for each in shown))],
        )


def density(asked: DensityAsked, units: UnitSystem) -> DensityAnswer:
    fields = Fields()
    temperature = fields.quantity("temperature", asked.temperature, "temperature")
    stated = fields.quantity("density", asked.density, "density")
    stated_at = REFERENCE_DEGC
    if asked.density_temperature is not None:
        stated_at = fields.quantity("density_temperature", asked.density_temperature, "temperature")
        if asked.density is None:
            fields.refuse("density", "A temperature is stated and no density at it.", remedy="State both, or neither.")
    fields.check()
    if asked.density is None:
        known = asked.fluid_class
        band = _typical(asked.fluid_class, temperature, fields)
    else:
        known = f"{asked.fluid_class} of {show(stated, 'density', units)} at {show(stated_at, 'temperature', units)}"
        band = _carried(asked.fluid_class, (stated, stated_at), temperature, fields)
        if asked.density_temperature is None:
            fields.notes.append(f"density: taken to be stated at {REFERENCE_DEGC:g} °C, as data sheets customarily do")
    low, usual, high = band
    words = f"At {show(temperature, 'temperature', units)} {known} weighs about {show(usual, 'density', units)}"
    if low < high:
        words += f", customarily {show(low, 'density', units)} to {show(high, 'density', units)}"
    return DensityAnswer(
        words=f"{words}.",
        fluid_class=asked.fluid_class,
        family=fluid_of(asked.fluid_class).family,
        temperature=shown_as(temperature, "temperature", units),
        density=shown_as(usual, "density", units),
        density_low=shown_as(low, "density", units),
        density_high=shown_as(high, "density", units),
        notes=fields.notes,
        cautions=[DATA_SHEET_DECIDES],
        source=_DENSITY,
    )


def _typical(fluid_class: str, temperature_degc: float, fields: Fields) -> Band:
    found: Band | None = None
    with fields.at("temperature"):
        found = typical_density(fluid_class, temperature_degc)
    fields.check()
    if found is None:
        raise QuestionError(
            f"{fluid_class} leaves its base fluid open, so it has no typical density.",
            field="density",
            remedy="State the density from the fluid's data sheet.",
        )
    return found


def _carried(fluid_class: str, stated: tuple[float, float], temperature_degc: float, fields: Fields) -> Band:
    with fields.at("density_temperature" if stated[1] != REFERENCE_DEGC else "density"):
        density_at(*stated, stated[1], fluid_class)
    fields.check()
    found: Band = (float("nan"),) * 3
    with fields.at("temperature"):
        found = density_at(*stated, temperature_degc, fluid_class)
    fields.check()
    return found


# --- compatibility --------------------------------------------------------------------------------


class CompatibilityAsked(Asked):
    """A class of fluid and what it shall not spoil; without any of these, all that the table knows of the class."""

    fluid_class: FluidClassTyped = Field(description="class by ISO 6743-4", examples=["HEES"])
    seal: Annotated[str, OneOf(SEALS)] | None = Field(None, description="material of the seal", examples=["FKM"])
    media: Annotated[str, OneOf(MEDIA)] | None = Field(None, description="filter media")
    zinc_parts: Annotated[str, OneOf(YES_NO)] | None = Field(
        None, description="yes where parts in the fluid bear zinc"
    )


class MaterialShown(Answer):
    """One material in the fluid."""

    part: Part = Field(description="what it is of")
    material: str = Field(description="as the vocabulary spells it")
    level: Level = Field(description="what the table says")
    why: str | None = Field(description="what the fluid does to it; null where there is nothing to say")
    source: str = Field(description="where the cell comes from")


class CompatibilityAnswer(Calculated):
    """What a class of fluid does to seals, media and zinc."""

    fluid_class: str = Field(description="class by ISO 6743-4")
    family: Family = Field(description="family of the class")
    meaning: str = Field(description="what the class is")
    water_over_percent: float | None = Field(
        description="share of water that the class typically exceeds; null where it bears none"
    )
    materials: list[MaterialShown] = Field(description="what was asked of; all of the table where nothing was")

    def plain_table(self, units: UnitSystem = "si") -> Table:  # noqa: ARG002 - there are none
        return Table(
            ("fluid_class", "family", *numbers("water_over_percent"), "part", "material", "level", "why", "source"),
            [
                (self.fluid_class, self.family, self.water_over_percent, m.part, m.material, m.level, m.why, m.source)
                for m in self.materials
            ],
        )


def compatibility(asked: CompatibilityAsked, units: UnitSystem) -> CompatibilityAnswer:  # noqa: ARG001 - it has none
    fluid, everything = fluid_of(asked.fluid_class), not (asked.seal or asked.media or asked.zinc_parts)
    found = _of_the_table(asked, everything)
    if everything:
        words = f"{fluid.key} is {fluid.meaning}; the list holds all that the table says of it."
    else:
        words = f"With {fluid.key} ({fluid.meaning}): {'; '.join(_words(*each) for each in found)}."
    return CompatibilityAnswer(
        words=words,
        fluid_class=fluid.key,
        family=fluid.family,
        meaning=fluid.meaning,
        water_over_percent=fluid.water_over_percent,
        notes=[f"{fluid.key} as {fluid.meaning}: {fluid.source}"],
        materials=[
            MaterialShown(part=part, material=material, level=cell.level, why=cell.why or None, source=cell.source)
            for part, material, cell in found
        ],
        cautions=[NO_CLEARANCE, *([UNKNOWN_IS_NO_YES] if any(c.level == "unknown" for *_, c in found) else [])],
        source=_TABLE,
    )


def _of_the_table(asked: CompatibilityAsked, everything: bool) -> list[tuple[Part, str, Cell]]:
    """Part, material and cell of what is asked, or of all that there is."""
    fluid = asked.fluid_class
    seals = SEALS if everything else tuple(filter(None, (asked.seal,)))
    media = MEDIA if everything else tuple(filter(None, (asked.media,)))
    found: list[tuple[Part, str, Cell]] = [("seal", each, seal_with(each, fluid)) for each in seals]
    found += [("media", each, media_with(each, fluid)) for each in media]
    if everything or asked.zinc_parts == "yes":
        found.append(("zinc", "zinc", zinc_with(fluid)))
    if not found:
        raise QuestionError(
            "Parts without zinc leave nothing to judge.",
            field="zinc_parts",
            value=asked.zinc_parts,
            remedy="State seal or media, or leave all of them out.",
        )
    return found


def _words(part: Part, material: str, cell: Cell) -> str:
    return f"{'zinc on parts' if part == 'zinc' else f'{material} as {part}'}: {cell.words}"


DENSITY = Calculation(
    key="density",
    title="Density at a temperature",
    help="The density of a hydraulic fluid at a temperature, from its class or its density at another.",
    asked=DensityAsked,
    answer=DensityAnswer,
    compute=density,
    typed=("fluid_class", "temperature"),
    source=_DENSITY,
)
COMPATIBILITY = Calculation(
    key="compatibility",
    title="Seals, media and zinc with a fluid",
    help="What a class of fluid does to a seal, to filter media and to zinc, each with its source.",
    asked=CompatibilityAsked,
    answer=CompatibilityAnswer,
    compute=compatibility,
    typed=("fluid_class",),
    source=_TABLE,
)
