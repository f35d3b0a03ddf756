"""Which class of spin-on covers a working pressure."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from specdb.amounts import span
from specdb.answers.shape import QuantityShown
from specdb.answers.tables import Table, column
from specdb.calculations.base import Asked, Calculated, Calculation, Fields, QuantityTyped, shown_as
from specdb.trade.pressure_classes import PRESSURE_CLASSES, class_covering
from specdb.units import UnitSystem, show

_SOURCE = "common practice, without a source; no standard draws these lines"
RATING_DECIDES = (
    "The maker's own ratings of the part in hand decide, and pressure peaks count. Collapse pressure of the element "
    "inside is another thing."
)


class PressureClassAsked(Asked):
    working_pressure: QuantityTyped = Field(description="highest working pressure, peaks included", examples=["20 bar"])


class PressureClassAnswer(Calculated):
    """The lowest class of spin-on that covers a working pressure."""

    working_pressure: QuantityShown
    pressure_class: Literal["low", "medium", "high"] | None = Field(description="null where no class covers it")
    class_working_pressure: QuantityShown | None = Field(description="highest working pressure of the class")
    burst_low: QuantityShown | None = Field(description="least pressure at which its housings customarily burst")
    burst_high: QuantityShown | None = Field(description="greatest of the customary burst ratings")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        pressures = (self.working_pressure, self.class_working_pressure, self.burst_low, self.burst_high)
        names = ("working_pressure", "class_working_pressure", "burst_low", "burst_high")
        return Table(
            ("pressure_class", *(column(name, "pressure", units) for name in names)),
            [(self.pressure_class, *(None if p is None else p.value for p in pressures))],
        )


_NAMES: dict[str, Literal["low", "medium", "high"]] = {"low": "low", "medium": "medium", "high": "high"}


def pressure_class(asked: PressureClassAsked, units: UnitSystem) -> PressureClassAnswer:
    fields = Fields()
    working = fields.quantity("working_pressure", asked.working_pressure, "pressure")
    fields.check()
    found = class_covering(working)
    asked_for = show(working, "pressure", units)
    if found is None:
        highest = show(PRESSURE_CLASSES[-1].working_kpa, "pressure", units)
        words = f"No class of spin-on covers {asked_for}: the highest ends at {highest}."
    else:
        words = (
            f"The {found.name}-pressure class covers {asked_for}: to {show(found.working_kpa, 'pressure', units)} "
            f"working, burst customarily {span(found.burst_low_kpa, found.burst_high_kpa, 'pressure', units)}."
        )
    return PressureClassAnswer(
        words=words,
        working_pressure=shown_as(working, "pressure", units),
        pressure_class=None if found is None else _NAMES[found.name],
        class_working_pressure=None if found is None else shown_as(found.working_kpa, "pressure", units),
        burst_low=None if found is None else shown_as(found.burst_low_kpa, "pressure", units),
        burst_high=None if found is None else shown_as(found.burst_high_kpa, "pressure", units),
        cautions=[RATING_DECIDES],
        source=_SOURCE,
    )


PRESSURE_CLASS = Calculation(
    key="pressure_class",
    title="Class of spin-on for a working pressure",
    help="Which class of spin-on, low, medium or high pressure, covers a working pressure.",
    asked=PressureClassAsked,
    answer=PressureClassAnswer,
    compute=pressure_class,
    typed=("working_pressure",),
    source=_SOURCE,
)
