"""How long an element lasts by the dirt it holds, what capacity an interval needs, and what it costs."""

from __future__ import annotations

import math
from typing import Annotated

from pydantic import Field

from specdb.answers.shape import QuantityShown, number, quantity
from specdb.answers.tables import Table, column, numbers
from specdb.calculations.base import Asked, Calculated, Calculation, Fields, QuantityTyped, in_range, shown_as
from specdb.duty.question import Text
from specdb.errors import QuestionError
from specdb.trade.service_life import (
    LABORATORY_CAPACITY,
    capacity_needed_g,
    cost_per_1000_h,
    cost_per_gram,
    service_interval_h,
)
from specdb.units import UnitSystem, read_quantity, show

_SOURCE = "balance of masses, common practice"
_DEAREST = 1e9


class ServiceIntervalAsked(Asked):
    """A capacity for the interval that it gives, or an interval for the capacity that it needs."""

    capacity: QuantityTyped | None = Field(
        None, description="retained capacity of the element, or service_interval instead", examples=["85 g"]
    )
    ingression: QuantityTyped = Field(
        description='dirt that the element has to hold, by mass: "0 g/h" for none', examples=["0.05 g/h"]
    )
    service_interval: QuantityTyped | None = Field(
        None, description='how long the element has to last, for the capacity that it needs: "1000 h"'
    )
    capacity_used: QuantityTyped | None = Field(
        None, description='share of the capacity that is used when it is changed: "80 %"; all of it unless stated'
    )
    price: Annotated[float, Field(gt=0, le=_DEAREST)] | None = Field(
        None, description="of one element", examples=[48.5]
    )
    change_cost: Annotated[float, Field(ge=0, le=_DEAREST)] | None = Field(
        None, description="of one change without the element: labour, oil, disposal"
    )
    currency: Text | None = Field(None, description="word that stands beside amounts: EUR")


class ServiceIntervalAnswer(Calculated):
    """Retained capacity and the interval that goes with it; costs where a price is stated."""

    capacity: QuantityShown = Field(description="retained capacity")
    ingression: QuantityShown = Field(description="dirt by mass")
    capacity_used: QuantityShown = Field(description="share of the capacity that is used")
    interval: QuantityShown | None = Field(description="hours of work; null where no dirt comes in")
    cost_per_1000_h: float | None = Field(description="price and change, in the currency of the price")
    cost_per_gram: float | None = Field(description="price over retained capacity")
    currency: str | None = Field(description="word that stands beside the costs; null where there are none or no word")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        return Table(
            (
                column("capacity", "mass", units),
                column("ingression", "mass_rate", units),
                column("capacity_used", "percent", units),
                column("interval", "time", units),
                *(*numbers("cost_per_1000_h", "cost_per_gram"), "currency"),
            ),
            [
                (
                    *(self.capacity.value, self.ingression.value, self.capacity_used.value),
                    None if self.interval is None else self.interval.value,
                    *(self.cost_per_1000_h, self.cost_per_gram, self.currency),
                )
            ],
        )


def service_interval(asked: ServiceIntervalAsked, units: UnitSystem) -> ServiceIntervalAnswer:
    fields = Fields()
    capacity = fields.quantity("capacity", asked.capacity, "mass")
    wanted = fields.quantity("service_interval", asked.service_interval, "time")
    ingression, used = _ingression(asked.ingression, fields), _share(asked.capacity_used, fields)
    if (asked.capacity is None) == (asked.service_interval is None):
        fields.refuse(
            "capacity" if asked.capacity is None else "service_interval",
            "Either a capacity or an interval is wanted.",
            remedy="State one of capacity and service_interval; the other is worked out.",
        )
    if asked.price is None and asked.change_cost is not None:
        fields.refuse("price", "A change is no use without the price of an element.", remedy="State it too.")
    fields.check()
    if asked.capacity is None:
        with fields.at("ingression"):
            capacity = capacity_needed_g(wanted, ingression, used)
        fields.check()
    interval = service_interval_h(capacity, ingression, used)
    costs = (math.nan, math.nan)
    if asked.price is not None:
        per_hours = cost_per_1000_h(interval, asked.price, asked.change_cost or 0.0)
        costs = (per_hours if math.isfinite(interval) else math.nan, cost_per_gram(capacity, asked.price))
    return ServiceIntervalAnswer(
        words=_words(asked, (capacity, ingression, interval), costs, units),
        capacity=shown_as(capacity, "mass", units),
        ingression=shown_as(ingression, "mass_rate", units),
        capacity_used=shown_as(used * 100.0, "percent", units),
        interval=quantity(interval if math.isfinite(interval) else None, "time", units),
        cost_per_1000_h=number(costs[0]),
        cost_per_gram=number(costs[1]),
        currency=asked.currency.strip() if asked.currency is not None and asked.price is not None else None,
        notes=fields.notes,
        cautions=[LABORATORY_CAPACITY],
        source=_SOURCE,
    )


def _ingression(text: str, fields: Fields) -> float:
    """Grams per hour; none at all is a number as well."""
    with fields.at("ingression"):
        stated = read_quantity(text, "mass_rate")
        return 0.0 if stated.value == 0 else in_range(stated)
    return math.nan


def _share(text: str | None, fields: Fields) -> float:
    if text is None:
        return 1.0
    with fields.at("capacity_used"):
        percent = read_quantity(text, "percent").value
        if not 0.1 <= percent <= 100:
            raise QuestionError("A share of the capacity lies between 0.1 and 100 %.", value=text)
        return percent / 100.0
    return math.nan


def _words(
    asked: ServiceIntervalAsked,
    found: tuple[float, float, float],
    costs: tuple[float, float],
    units: UnitSystem,
) -> str:
    capacity, ingression, interval = found
    held, dirt = show(capacity, "mass", units), show(ingression, "mass_rate", units)
    used = f", {asked.capacity_used.strip()} of it used," if asked.capacity_used is not None else ""
    if not math.isfinite(interval):
        return f"Where no dirt comes in, {held} never fill: age, not dirt, ends the interval."
    hours = show(interval, "time", units)
    if asked.capacity is None:
        words = f"An interval of {hours} at {dirt} needs a retained capacity of {held}{used.rstrip(',')}."
    else:
        words = f"A retained capacity of {held}{used} fills at {dirt} in {hours}."
    if math.isfinite(costs[0]):
        currency = "" if asked.currency is None else f" {asked.currency.strip()}"
        change = "" if asked.change_cost is not None else ", the change itself left out"
        words += f" 1000 h of work cost {costs[0]:.4g}{currency}{change}; a gram retained {costs[1]:.4g}{currency}."
    return words


SERVICE_INTERVAL = Calculation(
    key="service_interval",
    title="Service interval of an element",
    help="How long a retained capacity lasts at an ingression of dirt, or what capacity an interval needs.",
    asked=ServiceIntervalAsked,
    answer=ServiceIntervalAnswer,
    compute=service_interval,
    typed=("capacity",),
    source=_SOURCE,
)
