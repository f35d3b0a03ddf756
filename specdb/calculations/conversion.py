"""A quantity in another unit of its kind."""

from __future__ import annotations

from pydantic import Field

from specdb.answers.shape import QuantityShown, tidy
from specdb.answers.tables import Table, numbers
from specdb.calculations.base import Asked, Calculated, Calculation, Fields, QuantityTyped
from specdb.calculations.filtration import with_scale
from specdb.duty.question import Text
from specdb.errors import InputError, QuantityError
from specdb.units import KINDS, Quantity, UnitSystem, express, kinds_of, read_quantity, restate

_SOURCE = "NIST SP 811 (factors); Saybolt seconds: ASTM D2161"
_KNOWN = f"Units of these kinds are known: {', '.join(KINDS)}."
ONE_ATMOSPHERE = "Gauge, absolute and differential pressures are kept apart: no factor leads from one to another."


class ConvertAsked(Asked):
    value: QuantityTyped = Field(description="a quantity with its unit", examples=["75 psi"])
    to: Text | None = Field(None, description="the unit wanted; by default that of units", examples=["kPa"])
    density: QuantityTyped | None = Field(None, description="density, between kinematic and dynamic viscosity")
    temperature: QuantityTyped | None = Field(None, description="temperature of Saybolt seconds")


class ConvertAnswer(Calculated):
    """A quantity as read, and in the unit wanted."""

    kind: str = Field(description="kind of quantity")
    text: str = Field(description="the quantity as typed")
    converted: QuantityShown

    def plain_table(self, units: UnitSystem = "si") -> Table:  # noqa: ARG002 - the unit is a column
        return Table(
            ("kind", "text", *numbers("converted"), "unit"),
            [(self.kind, self.text, self.converted.value, self.converted.unit)],
        )


def convert(asked: ConvertAsked, units: UnitSystem) -> ConvertAnswer:
    fields = Fields()
    density = None if asked.density is None else fields.quantity("density", asked.density, "density")
    at_degc = None if asked.temperature is None else fields.quantity("temperature", asked.temperature, "temperature")
    wanted = _wanted(asked.to, fields)
    fields.check()
    quantity: Quantity | None = None
    with fields.at("value"):
        quantity = _read(asked.value, wanted, density, at_degc)
    fields.check()
    assert quantity is not None
    converted, code = express(quantity.value, quantity.kind, units)
    if asked.to is not None:
        with fields.at("to"):
            converted, code = restate(quantity, asked.to, density_kg_m3=density, temperature_degc=at_degc)
        fields.check()
    reference = "" if quantity.reference is None else f" {quantity.reference}"
    code = with_scale(code, quantity.scale)
    return ConvertAnswer(
        words=f"{asked.value.strip()} is {converted:.6g} {code}{reference}.",
        kind=quantity.kind,
        text=asked.value,
        converted=QuantityShown(value=tidy(converted), unit=code),
        notes=[] if quantity.note is None else [quantity.note],
        cautions=[] if quantity.reference is None else [ONE_ATMOSPHERE],
        source=_SOURCE,
    )


def _wanted(unit: str | None, fields: Fields) -> tuple[str, ...]:
    """Kinds of quantity that the wanted unit measures; none where any will do."""
    if unit is None:
        return ()
    with fields.at("to"):
        if kinds := kinds_of(unit):
            return kinds
        raise QuantityError("This is no unit known here.", value=unit, remedy=_KNOWN)
    return ()


def _read(text: str, wanted: tuple[str, ...], density: float | None, temperature: float | None) -> Quantity:
    """The quantity, of a kind that the wanted unit measures; "mm" are a length rather than a particle size, "µm" a
    particle size rather than an opening."""
    kinds = wanted or kinds_of(text)
    fault: InputError | None = None
    for kind in sorted(kinds, key=lambda k: (k == "opening", k == "size")):
        try:
            return read_quantity(text, kind, density_kg_m3=density, temperature_degc=temperature)
        except InputError as error:
            fault = fault or error
    raise fault or QuantityError(
        "This has no unit known here.", value=text, remedy=_KNOWN
    )


CONVERT = Calculation(
    key="convert",
    title="A quantity in another unit",
    help="A quantity in another unit of its kind.",
    asked=ConvertAsked,
    answer=ConvertAnswer,
    compute=convert,
    typed=("value", "to"),
    source=_SOURCE,
)
