"""How long an element lasts by the dirt it holds, and what that costs, as an answer shows it."""

from __future__ import annotations

import math

from pydantic import Field

from specdb.advice.life import Bounded, ServiceLife
from specdb.amounts import amount, span
from specdb.answers.shape import Answer, BoundsShown, bounds, number
from specdb.units import UnitSystem, express


class EstimatedShown(BoundsShown):
    """What is proven of a quantity, and its best estimate."""

    estimate: float | None

    def figures(self) -> str:
        """Without the unit, for a column that names it: "1320", "at least 600, estimate 640". An estimate that is one
        of the bounds is not told again."""
        low, high = (-math.inf if self.low is None else self.low), (math.inf if self.high is None else self.high)
        proven = "" if self.low is None and self.high is None else span(low, high, "", "si")
        if self.estimate in (None, self.low, self.high):
            return proven or "not known"
        return ", ".join(filter(None, (proven, f"estimate {amount(self.estimate, '', 'si')}")))


class ServiceLifeShown(Answer):
    """Life of an element as the duty's ingression by mass fills it, beside the original and what is asked."""

    capacity: EstimatedShown = Field(description="retained capacity at the duty's flow and bypass cracking pressure")
    interval: EstimatedShown | None
    relative_to_original: EstimatedShown | None
    too_small: bool | None
    too_large: bool | None
    changed_after: EstimatedShown | None = Field(
        description="the shorter of `interval` and the service interval that is asked; null where neither ends it"
    )
    price: float | None
    cost_per_1000_h: EstimatedShown | None = Field(description="its unit is the currency as typed")
    cost_per_gram: EstimatedShown | None = Field(description="its unit is the currency as typed")
    assumed: list[str]
    words: str


def life_shown(life: ServiceLife, units: UnitSystem) -> ServiceLifeShown:
    currency = life.circumstances.costs.currency

    def costs(of: Bounded | None) -> EstimatedShown | None:
        return None if of is None else estimated(of, "", "si").model_copy(update={"unit": currency})

    return ServiceLifeShown(
        capacity=estimated(life.capacity_g, "mass", units),
        interval=None if life.interval_h is None else estimated(life.interval_h, "time", units),
        relative_to_original=None if life.to_original is None else estimated(life.to_original, "", units),
        too_small=life.too_small,
        too_large=life.too_large,
        changed_after=None if life.changed_after_h is None else estimated(life.changed_after_h, "time", units),
        price=life.price,
        cost_per_1000_h=costs(life.cost_per_1000_h),
        cost_per_gram=costs(life.cost_per_gram),
        assumed=list(life.assumed),
        words=life.words(units),
    )


def estimated(of: Bounded, kind: str, units: UnitSystem) -> EstimatedShown:
    """Nothing below is no bound, and none above neither."""
    found = bounds(of.low if of.low > 0 else float("-inf"), of.high, kind, units)
    estimate = express(of.estimate, kind, units)[0] if kind else of.estimate
    return EstimatedShown(low=found.low, high=found.high, unit=found.unit, estimate=number(estimate))
