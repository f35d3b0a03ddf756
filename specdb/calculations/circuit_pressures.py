"""What drop an element can see by its place in the circuit, and what drop a suction line can spare."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from specdb.answers.shape import QuantityShown, quantity
from specdb.answers.tables import Table, column, yes_or_no
from specdb.calculations.base import LEAST, MOST, Asked, Calculated, Calculation, Fields, QuantityTyped, shown_as
from specdb.characteristics import BYPASSES, LOCATIONS
from specdb.duty.question import OneOf
from specdb.errors import ConditionsError, QuestionError
from specdb.trade.circuit import (
    BYPASS_FULL_FLOW_FACTOR,
    STANDARD_ATMOSPHERE_KPA,
    bypass_full_flow_drop_kpa,
    greatest_element_drop_kpa,
    suction_drop_allowed_kpa,
)
from specdb.units import UnitSystem, read_quantity, show

_PLACES = tuple(location for location in LOCATIONS if location != "breather")
_COMMON = "common practice"
_BALANCE = "balance of absolute pressures"
COLLAPSE_ABOVE = (
    "The element's collapse pressure has to lie above this drop. That is another rating than the working pressure of "
    "its housing. The maker's ratings and the machine's maker decide."
)
COLD_BYPASS = (
    "A bypass takes more than its cracking pressure to pass the whole flow, most of all with cold oil. The factor of "
    f"{BYPASS_FULL_FLOW_FACTOR:g} is common practice; state the valve's own drop where it is known."
)
LINE_LEFT_OUT = (
    "This is for strainer, pipe, bends and valves together, the strainer with its dirt. The pump's height above the "
    "oil, the oil's speed and cold oil take their part of it. A starved pump is destroyed: its maker's figures decide."
)


class ElementPressureAsked(Asked):
    location: Annotated[str, OneOf(_PLACES)] = Field(description="place in the circuit", examples=["return"])
    bypass: Annotated[str, OneOf(BYPASSES)] | None = Field(
        None, description="where the bypass valve is; none unless said or its pressure is stated"
    )
    bypass_cracking_pressure: QuantityTyped | None = Field(
        None, description="drop at which it opens", examples=["170 kPa"]
    )
    bypass_full_flow_drop: QuantityTyped | None = Field(None, description="its drop at full flow of cold fluid")
    relief_pressure: QuantityTyped | None = Field(
        None, description="setting of the relief valve, or the system pressure; of a pressure filter without a bypass"
    )
    cold_drop: QuantityTyped | None = Field(None, description="clean drop of the element at the coldest start")
    maximum_pressure_drop: QuantityTyped | None = Field(
        None, description="without a bypass, on a return or off-line: the greatest drop that the circuit can put on it"
    )


class ElementPressureAnswer(Calculated):
    """The greatest drop that an element can see."""

    location: Literal["suction", "pressure", "return", "off-line"] = Field(description="place in the circuit")
    through_bypass: bool = Field(description="a bypass valve bounds the drop")
    drop: QuantityShown | None = Field(description="greatest drop across the element; null where nothing bounds it")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        return Table(
            ("location", *yes_or_no("through_bypass"), column("drop", "pressure", units)),
            [(self.location, self.through_bypass, None if self.drop is None else self.drop.value)],
        )


_PLACE_NAMES: dict[str, Literal["suction", "pressure", "return", "off-line"]] = {
    "suction": "suction", "pressure": "pressure", "return": "return", "off-line": "off-line",
}  # fmt: skip
_LACKING = {
    "pressure": "State relief_pressure, the setting of the relief valve, or else the system pressure.",
    "return": "Nothing general bounds it: state maximum_pressure_drop, or fit a bypass.",
    "off-line": "Nothing general bounds it: state maximum_pressure_drop, such as the greatest pressure of its pump.",
}


def element_pressure(asked: ElementPressureAsked, units: UnitSystem) -> ElementPressureAnswer:
    fields = Fields()
    pressures = {
        name: fields.quantity(name, text, "pressure") if (text := getattr(asked, name)) is not None else None
        for name in (
            *("bypass_cracking_pressure", "bypass_full_flow_drop"),
            *("relief_pressure", "cold_drop", "maximum_pressure_drop"),
        )
    }
    of_bypass = [name for name in ("bypass_cracking_pressure", "bypass_full_flow_drop") if pressures[name] is not None]
    bypassed = bool(of_bypass) if asked.bypass is None else asked.bypass != "none"
    if of_bypass and not bypassed:
        fields.refuse(of_bypass[0], "There is no bypass to have a pressure.", remedy="State bypass, or leave this out.")
    if bypassed and not of_bypass:
        fields.refuse("bypass_cracking_pressure", "The bypass has no pressure stated.", remedy="State when it opens.")
    fields.check()
    drop: float | None = None
    if bypassed:
        with fields.at("bypass_full_flow_drop"):
            drop = bypass_full_flow_drop_kpa(pressures["bypass_cracking_pressure"], pressures["bypass_full_flow_drop"])
        fields.check()
    else:
        drop = greatest_element_drop_kpa(
            asked.location,
            stated_kpa=pressures["maximum_pressure_drop"],
            relief_kpa=pressures["relief_pressure"],
            cold_drop_kpa=pressures["cold_drop"],
        )
    return ElementPressureAnswer(
        words=_element_words(asked, drop, bypassed, units),
        location=_PLACE_NAMES[asked.location],
        through_bypass=bypassed,
        drop=quantity(drop, "pressure", units),
        notes=fields.notes,
        cautions=[COLLAPSE_ABOVE, *([COLD_BYPASS] if bypassed and pressures["bypass_full_flow_drop"] is None else [])],
        source=_COMMON,
    )


def _element_words(asked: ElementPressureAsked, drop: float | None, bypassed: bool, units: UnitSystem) -> str:
    where = f"{'An' if asked.location == 'off-line' else 'A'} {asked.location} element"
    if drop is None:
        return f"{where} without a bypass sees a drop that nothing stated bounds. {_LACKING[asked.location]}"
    shown = show(drop, "pressure", units)
    if bypassed:
        if asked.bypass_full_flow_drop is not None:
            return f"{where} behind this bypass sees up to {shown}, the valve's drop at full flow."
        times = f"{BYPASS_FULL_FLOW_FACTOR:g} times its cracking pressure"
        return f"{where} behind this bypass sees up to {shown}: {times}."
    why = {
        "pressure": "dirt or cold oil can stop the flow, and then the relief valve's pressure, its own cold drop or "
        "the stated maximum, whichever is largest, lies across it",
        "suction": "a pump draws with no more than the atmosphere behind it",
    }.get(asked.location, "")
    because = f": {why}" if why else ", as stated"
    return f"{where} without a bypass sees up to {shown}{because}."


class SuctionDropAsked(Asked):
    pump_inlet_pressure: QuantityTyped = Field(
        description='least that the pump needs at its inlet: absolute, or below the air\'s as in "-20 kPa"',
        examples=["80 kPa abs"],
    )
    reservoir_pressure: QuantityTyped | None = Field(
        None, description="over the oil; 101.325 kPa absolute unless stated, less on high ground"
    )


class SuctionDropAnswer(Calculated):
    """The drop that a whole suction line can spare."""

    pump_inlet_pressure: QuantityShown = Field(description="absolute")
    reservoir_pressure: QuantityShown = Field(description="absolute")
    drop: QuantityShown = Field(description="for strainer, pipe and fittings together")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        names = [column(n, "pressure", units) for n in ("pump_inlet_pressure", "reservoir_pressure", "drop")]
        return Table(tuple(names), [(self.pump_inlet_pressure.value, self.reservoir_pressure.value, self.drop.value)])


def suction_drop(asked: SuctionDropAsked, units: UnitSystem) -> SuctionDropAnswer:
    fields = Fields()
    inlet = reservoir = STANDARD_ATMOSPHERE_KPA
    with fields.at("pump_inlet_pressure"):
        inlet = _absolute_kpa(asked.pump_inlet_pressure)
    with fields.at("reservoir_pressure"):
        reservoir = _absolute_kpa(asked.reservoir_pressure) if asked.reservoir_pressure is not None else reservoir
    fields.check()
    drop = 0.0
    with fields.at("pump_inlet_pressure"):
        drop = suction_drop_allowed_kpa(inlet, reservoir)
    fields.check()
    return SuctionDropAnswer(
        words=(
            f"With {show(reservoir, 'pressure', units)} over the oil and {show(inlet, 'pressure', units)} at the pump, "
            f"both absolute, the suction line may take {show(drop, 'pressure', units)}."
        ),
        pump_inlet_pressure=shown_as(inlet, "pressure", units),
        reservoir_pressure=shown_as(reservoir, "pressure", units),
        drop=shown_as(drop, "pressure", units),
        cautions=[LINE_LEFT_OUT],
        source=_BALANCE,
    )


def _absolute_kpa(text: str) -> float:
    """An absolute pressure as it stands; one below the air's with the atmosphere added."""
    stated = read_quantity(text, "pressure")
    if stated.reference == "absolute":
        value = stated.value
    elif stated.reference != "differential" and (stated.value <= 0 or stated.reference == "gauge"):
        value = stated.value + STANDARD_ATMOSPHERE_KPA
    else:
        raise QuestionError(
            "This may be over a vacuum or over the air's pressure.",
            value=text,
            remedy='Write "80 kPa abs" over a vacuum, or "-20 kPa" below the air\'s pressure.',
        )
    if not LEAST <= value <= MOST:
        raise ConditionsError("No such pressure is met.", value=text, remedy='Write it as in "80 kPa abs".')
    return value


ELEMENT_PRESSURE = Calculation(
    key="element_pressure",
    title="Greatest drop that an element can see",
    help="The drop that an element's collapse pressure has to exceed, by its place in the circuit and its bypass.",
    asked=ElementPressureAsked,
    answer=ElementPressureAnswer,
    compute=element_pressure,
    typed=("location",),
    source=_COMMON,
)
SUCTION_DROP = Calculation(
    key="suction_drop",
    title="Drop that a suction line can spare",
    help="The drop left for strainer, pipe and fittings between the reservoir and the pump.",
    asked=SuctionDropAsked,
    answer=SuctionDropAnswer,
    compute=suction_drop,
    typed=("pump_inlet_pressure",),
    source=_BALANCE,
)
