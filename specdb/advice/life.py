"""How long each element lasts by the dirt it holds, beside the original and what is asked, and what that costs.

Capacities come from the criterion that judges them, at the duty's flow and the drop at which its bypass opens. Nothing
here takes part in a verdict or in the order.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from specdb.amounts import amount, span
from specdb.bounds import MISSES, NOT_SHOWN, RELATIVE_SLACK, IntArray
from specdb.catalog.identity import identity_key
from specdb.catalog.search import not_on_file
from specdb.catalog.snapshot import Snapshot
from specdb.criteria import Judged, judge
from specdb.duty import Requirement
from specdb.duty.circumstances import Circumstances, Price
from specdb.errors import QuestionError
from specdb.ranking import Ranking
from specdb.trade.service_life import (
    LABORATORY_CAPACITY,
    capacity_needed_g,
    changed_after_h,
    cost_per_1000_h,
    cost_per_gram,
    relative_bounds,
    service_interval_h,
)
from specdb.units import UnitSystem, show
from specdb.wording import assumed, granted

SHORT_OF_ORIGINAL = 0.5
"""An element that lasts less than this share of the original's life is called small (ours)."""
LONG_FOR_DUTY = 3.0
"""One that lasts more than so many times the interval asked for, or the original's life, is called large (ours)."""

NEAR_OFFERED_OF = 5
"""Prices without an element that near numbers are offered for: each is a search of the whole catalogue."""

_SOME_CAPACITY_G = 1e-9
"""Required where no interval asks for a capacity, so that of several tests the least favourable is told."""


@dataclass(frozen=True)
class Bounded:
    """What is proven of a positive quantity and its best estimate: 0 below and inf above where nothing bounds it, NaN
    where there is no estimate."""

    low: float
    high: float
    estimate: float

    def below(self, limit: float) -> bool | None:
        """Whether it lies below ``limit``, by what is proven, else by the estimate; None where neither tells."""
        if self.proven_below(limit) or self.low >= limit * (1 - RELATIVE_SLACK):
            return self.proven_below(limit)
        return self.estimate < limit if math.isfinite(self.estimate) else None

    def proven_below(self, limit: float) -> bool:
        return self.high < limit * (1 - RELATIVE_SLACK)

    def above(self, limit: float) -> bool | None:
        """The same of lying above it."""
        if self.proven_above(limit) or self.high <= limit * (1 + RELATIVE_SLACK):
            return self.proven_above(limit)
        return self.estimate > limit if math.isfinite(self.estimate) else None

    def proven_above(self, limit: float) -> bool:
        return self.low > limit * (1 + RELATIVE_SLACK)

    @property
    def known(self) -> bool:
        return self.low > 0 or math.isfinite(self.high) or math.isfinite(self.estimate)

    def words(self, kind: str, units: UnitSystem) -> str:
        """Bounds in words, with the estimate where they leave one open: "at least 60 g, by estimate 64 g"."""
        low = self.low if self.low > 0 else -math.inf
        ends = [amount(end, kind, units) for end in (low, self.high) if math.isfinite(end)]
        if not math.isfinite(self.estimate):
            return span(low, self.high, kind, units)
        estimate = amount(self.estimate, kind, units)
        if estimate in ends:
            return span(low, self.high, kind, units)
        return f"{span(low, self.high, kind, units)}, by estimate {estimate}" if ends else f"by estimate {estimate}"


@dataclass(frozen=True)
class ServiceLife:
    """Life of one element. ``interval_h`` is None where no dirt comes in; ``to_original`` is how many times as long as
    the original it lasts, None where there is none or it is the original; costs are None where no price is stated.

    ``changed_after_h`` is the shorter of the interval and the one asked for: costs are worked out on it. None where
    neither ends.

    ``short`` is whether it lasts less long than asked, None where that cannot be told or nothing is asked.
    """

    circumstances: Circumstances
    capacity_g: Bounded
    interval_h: Bounded | None
    to_original: Bounded | None
    short: bool | None
    changed_after_h: Bounded | None
    price: float | None
    cost_per_1000_h: Bounded | None
    cost_per_gram: Bounded | None
    assumed: tuple[str, ...]

    @property
    def asked_h(self) -> float | None:
        """The interval asked for, None also where no dirt ends one."""
        return None if self.interval_h is None else self.circumstances.service_interval_h

    @property
    def too_small(self) -> bool | None:
        """Shorter than asked, or than the stated share of the original's life; None where it cannot be told, or there
        is nothing to hold it against."""
        found = [] if self.asked_h is None else [self.short]
        return _any(found if self.to_original is None else [*found, self.to_original.below(SHORT_OF_ORIGINAL)])

    @property
    def too_large(self) -> bool | None:
        """Longer than so many times what is asked, or the original's life; None as above."""
        found = [] if self._long is None else [self._long[0].above(self._long[1])]
        return _any(found if self.to_original is None else [*found, self.to_original.above(LONG_FOR_DUTY)])

    @property
    def _long(self) -> tuple[Bounded, float] | None:
        """The interval, and what it is called large above."""
        if self.interval_h is None or self.asked_h is None:
            return None
        return self.interval_h, LONG_FOR_DUTY * self.asked_h

    def words(self, units: UnitSystem = "si") -> str:
        """What follows, in sentences that could be read to a customer."""
        if not self.capacity_g.known:
            return " ".join(["Life: nothing is on file that tells its retained capacity.", *self._costs()])
        sentences = [self._life(units), *self._small(units), *self._large(units), *self._costs()]
        return f"Life: {' '.join(sentences)}"

    def _life(self, units: UnitSystem) -> str:
        stated = self.circumstances
        told = f"it retains {self.capacity_g.words('mass', units)}"
        if self.interval_h is None:
            return f"{told}; no dirt comes in, so that age ends its life and not dirt."
        used = f" with {stated.capacity_used * 100:.3g} % of that used" if stated.capacity_used < 1 else ""
        dirt = show(stated.ingression_g_h or 0.0, "mass_rate", units)
        told += f", which{used} lasts {self.interval_h.words('time', units)} at {dirt}"
        if self.to_original is not None and self.to_original.known:
            told += f", {self.to_original.words('', units)} times the original's life"
        return f"{told} ({granted(self.assumed)})." if self.assumed else f"{told}."

    def _small(self, units: UnitSystem) -> list[str]:
        found = []
        if self.short and self.asked_h is not None and self.interval_h is not None:
            how = _by_estimate(self.interval_h.proven_below(self.asked_h))
            found.append(f"shorter{how} than the {show(self.asked_h, 'time', units)} asked for")
        if self.to_original is not None and self.to_original.below(SHORT_OF_ORIGINAL):
            how = _by_estimate(self.to_original.proven_below(SHORT_OF_ORIGINAL))
            found.append(f"less{how} than {SHORT_OF_ORIGINAL:g} times the original's life")
        return [f"Small: {' and '.join(found)}, so that it is changed often."] if found else []

    def _large(self, units: UnitSystem) -> list[str]:
        found = []
        if self._long is not None and self._long[0].above(self._long[1]):
            how = _by_estimate(self._long[0].proven_above(self._long[1]))
            asked = show(self.asked_h or 0.0, "time", units)
            found.append(f"more{how} than {LONG_FOR_DUTY:g} times the {asked} asked for")
        if self.to_original is not None and self.to_original.above(LONG_FOR_DUTY):
            how = _by_estimate(self.to_original.proven_above(LONG_FOR_DUTY))
            found.append(f"more{how} than {LONG_FOR_DUTY:g} times the original's life")
        what_follows = "it holds more fluid, costs more for each element, and may age before it fills"
        return [f"Large: {' and '.join(found)}; {what_follows}."] if found else []

    def _costs(self) -> list[str]:
        costs, told = self.circumstances.costs, []
        currency = "" if costs.currency is None else f" {costs.currency}"
        if self.cost_per_1000_h is not None and self.cost_per_1000_h.known:
            spent = self.cost_per_1000_h.words("", "si")
            told.append(f"changed {self._changed()}, 1000 h of work cost {spent}{currency}")
        if self.cost_per_gram is not None and self.cost_per_gram.known:
            told.append(f"a gram retained costs {self.cost_per_gram.words('', 'si')}{currency}")
        if not told or self.price is None:
            return []
        change = "without the change"
        if costs.change_cost is not None:
            change = f"and {costs.change_cost:g}{currency} for each change"
        return [f"At a price of {self.price:g}{currency} {change}: {'; '.join(told)}."]

    def _changed(self) -> str:
        """When it is changed: which of life and schedule comes first."""
        scheduled_h = self.circumstances.service_interval_h
        if scheduled_h is None:
            return "at the end of its life"
        schedule = f"at the service interval of {show(scheduled_h, 'time')}"
        sooner = False if self.interval_h is None else self.interval_h.below(scheduled_h)
        if sooner is None:
            return f"{schedule} or at the end of its life, whichever is sooner"
        if self.interval_h is None:
            return schedule
        if not sooner:
            proven = self.interval_h.low >= scheduled_h * (1 - RELATIVE_SLACK)
            return f"{schedule}, which its life covers{_by_estimate(proven).removesuffix(',')}"
        how = _by_estimate(self.interval_h.proven_below(scheduled_h))
        return f"at the end of its life, sooner{how} than the service interval of {show(scheduled_h, 'time')}"


def _by_estimate(proven: bool) -> str:
    return "" if proven else ", by estimate,"


def service_lives(ranking: Ranking, rows: Sequence[int]) -> dict[int, ServiceLife]:
    """Row of an element, of ``rows`` and the original: its life. Empty where the duty states no ingression by mass."""
    stated = ranking.duty.circumstances
    if stated.ingression_g_h is None:
        return {}
    judged = judge(ranking.snapshot, _capacity_required(stated), ranking.duty.assumptions)
    prices = _prices(ranking.snapshot, stated.costs.prices)
    original = ranking.duty.original
    if original is None:
        return {row: _life(stated, judged, row, None, prices.get(row)) for row in rows}
    reference = _capacity(judged, original)
    return {
        row: _life(stated, judged, row, None if row == original else reference, prices.get(row))
        for row in (*rows, original)
    }


def life_notes(ranking: Ranking) -> list[str]:
    """What is to be told once of all lives: that they are estimates, and why costs are left out."""
    stated = ranking.duty.circumstances
    costs = stated.costs
    if stated.ingression_g_h is None:
        if costs.prices or costs.change_cost is not None:
            return ["No cost is worked out: it needs the dirt that comes in, by mass (ingression.mass)."]
        return []
    notes = [LABORATORY_CAPACITY]
    if costs.change_cost is not None and not costs.prices:
        notes.append("The cost of a change is not used: no price of an element is stated (costs.prices).")
    return notes


def _capacity_required(stated: Circumstances) -> Requirement:
    """The same that the rule on the service interval derives, so that what is told here agrees with its verdict."""
    asked, ingression = stated.service_interval_h, stated.ingression_g_h
    needed = capacity_needed_g(asked, ingression, stated.capacity_used) if asked and ingression else _SOME_CAPACITY_G
    return Requirement(
        id="service_life",
        characteristic="retained_capacity",
        origin="derived",
        low=needed,
        flow_l_min=stated.flow_l_min,
        terminal_pressure_drop_kpa=stated.bypass_cracking_kpa,
    )


def _capacity(judged: Judged, row: int) -> Bounded:
    low, high, estimate = (float(column[row]) for column in (judged.low, judged.high, judged.estimate))
    return Bounded(
        low if np.isfinite(low) else 0.0,
        high if np.isfinite(high) else math.inf,
        estimate if np.isfinite(estimate) else math.nan,
    )


def _life(
    stated: Circumstances, judged: Judged, row: int, original: Bounded | None, price: float | None
) -> ServiceLife:
    capacity = _capacity(judged, row)
    interval = _interval(capacity, stated) if stated.ingression_g_h else None
    relative = None if original is None else _relative(capacity, original)
    changed = _changed_after(interval, stated.service_interval_h)
    costs: tuple[Bounded | None, Bounded | None] = None, None
    if price is not None:
        change = stated.costs.change_cost or 0.0
        per_hours = None if changed is None else _falling(changed, lambda h: cost_per_1000_h(h, price, change))
        costs = per_hours, _falling(capacity, lambda g: cost_per_gram(g, price))
    return ServiceLife(
        circumstances=stated,
        capacity_g=capacity,
        interval_h=interval,
        to_original=relative,
        short=_short(judged, row) if stated.service_interval_h is not None else None,
        changed_after_h=changed,
        price=price,
        cost_per_1000_h=costs[0],
        cost_per_gram=costs[1],
        assumed=assumed(judged, row),
    )


def _short(judged: Judged, row: int) -> bool | None:
    """Whether the capacity falls short of what the interval needs: by the verdict, else by its lean."""
    decided = int(judged.verdict[row]) or int(judged.lean[row])
    return None if decided == NOT_SHOWN else decided == MISSES


def _interval(capacity: Bounded, stated: Circumstances) -> Bounded:
    """The interval rises with capacity, so that each bound gives its own."""

    def hours(capacity_g: float) -> float:
        return service_interval_h(capacity_g, stated.ingression_g_h or 0.0, stated.capacity_used)

    estimate = hours(capacity.estimate) if math.isfinite(capacity.estimate) else math.nan
    return Bounded(hours(capacity.low), hours(capacity.high), estimate)


def _changed_after(interval: Bounded | None, scheduled_h: float | None) -> Bounded | None:
    """The sooner of both rises with the interval, so that each bound gives its own; the schedule alone where no dirt
    comes in."""
    if interval is None:
        return None if scheduled_h is None else Bounded(scheduled_h, scheduled_h, scheduled_h)
    low, high, estimate = (changed_after_h(h, scheduled_h) for h in (interval.low, interval.high, interval.estimate))
    # A life that is proven to outlast the schedule needs no estimate.
    return Bounded(low, high, low if low == high else estimate)


def _relative(capacity: Bounded, original: Bounded) -> Bounded:
    """At one ingression and one share used, lives stand to each other as capacities do."""
    low, high = relative_bounds(capacity.low, capacity.high, original.low, original.high)
    return Bounded(low, high, capacity.estimate / original.estimate)


def _falling(of: Bounded, cost: Callable[[float], float]) -> Bounded:
    """What falls as the quantity grows: its upper bound comes from the lower one, and the other way round."""
    low = cost(of.high) if math.isfinite(of.high) else 0.0
    return Bounded(
        low,
        cost(of.low) if of.low > 0 else math.inf,
        cost(of.estimate) if math.isfinite(of.estimate) else math.nan,
    )


def _any(found: Sequence[bool | None]) -> bool | None:
    """Whether one of them is so; None where none is and one cannot be told, or there are none."""
    if any(found):
        return True
    return None if not found or None in found else False


def prices_not_used(ranking: Ranking, rows: Sequence[int]) -> list[str]:
    """A sentence on each price that is not that of one element of ``rows`` or the original. Empty as
    :func:`service_lives`."""
    stated, elements = ranking.duty.circumstances, ranking.snapshot.elements
    if stated.ingression_g_h is None:
        return []
    told, unknown = [], 0
    for price in stated.costs.prices:
        having = _rows_named(ranking.snapshot, price)
        named = f"{price.maker} {price.number}" if price.maker else price.number
        if len(having) > 1:
            makers = ", ".join(str(elements.maker[row]) for row in having)
            told.append(f"The price of {named} is not used: several makers have this number ({makers}).")
        elif not len(having):
            unknown += 1
            near = _near(ranking.snapshot, price) if unknown <= NEAR_OFFERED_OF else ""
            told.append(f"The price of {named} is not used: no element that was judged has this name.{near}")
    for row, several in _prices_of_rows(ranking.snapshot, stated.costs.prices).items():
        named = f"{elements.maker[row]} {elements.number[row]}"
        if len(several) > 1:
            amounts = " and ".join(f"{price:g}" for price in sorted(several))
            told.append(f"The price of {named} is not used: it is stated as {amounts}.")
        elif row not in rows and row != ranking.duty.original:
            told.append(f"The price of {named} is not used: {_unlisted(ranking, row)}.")
    return told


def _unlisted(ranking: Ranking, row: int) -> str:
    places = np.flatnonzero(ranking.candidates == row)
    if len(places):
        return f"it stands at rank {places[0] + 1}, beyond the candidates that are listed (limit)"
    return "nothing is on file of it for any criterion"


def _near(snapshot: Snapshot, price: Price) -> str:
    """Numbers on file near the one that a price names, among those that were not judged as well."""
    try:
        near = (snapshot.whole or snapshot).numbers.near_number(price.number, price.maker)
        return f" {not_on_file(price.number, price.maker, near).remedy}"
    except QuestionError:  # a name that no element can have
        return ""


def _prices(snapshot: Snapshot, prices: Sequence[Price]) -> dict[int, float]:
    """Row of an element: its price, where one is stated of it alone."""
    found = _prices_of_rows(snapshot, prices)
    return {row: min(several) for row, several in found.items() if len(several) == 1}


def _prices_of_rows(snapshot: Snapshot, prices: Sequence[Price]) -> dict[int, set[float]]:
    found: dict[int, set[float]] = {}
    for price in prices:
        rows = _rows_named(snapshot, price)
        if len(rows) == 1:
            found.setdefault(int(rows[0]), set()).add(price.price)
    return found


def _rows_named(snapshot: Snapshot, price: Price) -> IntArray:
    elements = snapshot.elements
    try:
        rows = np.flatnonzero(elements.number_key == identity_key(price.number))
        return rows if price.maker is None else rows[elements.maker_key[rows] == identity_key(price.maker)]
    except QuestionError:  # a name that no element can have
        return np.zeros(0, np.int64)
