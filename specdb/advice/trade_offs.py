"""Where a candidate pays for one thing with another, and which candidates no other one beats.

Both read what is proven, under the assumptions made, at the required conditions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from specdb.amounts import amount
from specdb.bounds import FloatArray, IntArray
from specdb.characteristics import CHARACTERISTICS
from specdb.criteria import BASES, CARRIERS, Judged
from specdb.duty import Requirement
from specdb.ranking import Ranking
from specdb.units import UnitSystem, show

RATIO_FACTOR = 2.0
"""A ratio is high from the median times this, low from the median over it: half or twice the particles pass (ours)."""
CAPACITY_SHARE = 0.10
"""A capacity is large or little from this share over or under the median (ours)."""
FEWEST = 3
"""A median is taken of at least so many candidates (ours)."""

_DIGITS = 9
"""Of the logarithm of a value: what differs less comes from arithmetic."""


@dataclass(frozen=True)
class Weighed:
    """What is told of one candidate. ``unbeaten`` is None where it is held against no other, or nothing measured is
    required."""

    trade_offs: tuple[TradeOff, ...]
    unbeaten: bool | None


UNWEIGHED = Weighed((), None)


def weigh(ranking: Ranking, rows: Sequence[int], among: IntArray) -> dict[int, Weighed]:
    """By row: the trade-offs among those in ``rows``, and whether one ``among`` those elements beats it."""
    traded, undefeated = trade_offs(ranking, rows), unbeaten(ranking, rows, among)
    return {row: Weighed(tuple(filter(None, [traded.get(row)])), undefeated.get(row)) for row in map(int, rows)}


# --- efficiency and capacity -----------------------------------------------------------------------


@dataclass(frozen=True)
class TradeOff:
    """A ratio and a capacity of one candidate, on opposite sides of the medians of those listed.

    Of a candidate that is ``efficient`` the ratio is a lower bound and ``capacity_g`` an upper one, else the reverse,
    both at the conditions of their requirements.
    """

    efficient: bool
    ratio_required: Requirement
    ratio: float
    median_ratio: float
    capacity_g: float
    median_capacity_g: float

    def words(self, units: UnitSystem = "si") -> str:
        size, scale = self.ratio_required.size_um, self.ratio_required.scale
        named = "its filtration ratio" + ("" if size is None else f" at {show(size, 'size', units, scale=scale)}")
        ratio, its_median = amount(self.ratio, "", units), amount(self.median_ratio, "", units)
        capacity, their_median = amount(self.capacity_g, "mass", units), amount(self.median_capacity_g, "mass", units)
        of_median, share = self.ratio / self.median_ratio, abs(self.capacity_g / self.median_capacity_g - 1)
        if self.efficient:
            return (
                f"High efficiency, little capacity: {named} is shown to be at least {ratio}, {of_median:.3g} times the "
                f"median of the candidates listed ({its_median}); its retained capacity at most {capacity}, "
                f"{share:.0%} below theirs ({their_median})."
            )
        return (
            f"Large capacity, low efficiency: its retained capacity is shown to be at least {capacity}, {share:.0%} "
            f"above the median of the candidates listed ({their_median}); {named} at most {ratio}, {of_median:.0%} of "
            f"theirs ({its_median})."
        )


def trade_offs(ranking: Ranking, rows: Sequence[int]) -> dict[int, TradeOff]:
    """By row, of the candidates in ``rows`` that have one; held against the medians of what those are proven to reach.

    Of several required sizes the finest is looked at, one on the scale of ISO 16889 first.
    """
    ratios, capacities = (_required_from_below(ranking, key) for key in ("filtration_ratio", "retained_capacity"))
    if not ratios or not capacities:
        return {}
    ratio = min(ratios, key=lambda each: (each.requirement.scale != "c", each.requirement.size_um or 0.0))
    capacity = capacities[0]
    median_ratio, median_capacity_g = (_median(each.low[np.asarray(rows, np.int64)]) for each in (ratio, capacity))
    if median_ratio is None or median_capacity_g is None:
        return {}
    found = {}
    for row in map(int, rows):
        for efficient in (True, False):
            # To be little is proven by an upper bound only: "at least 45 g" is not little.
            beta = float((ratio.low if efficient else ratio.high)[row])
            grams = float((capacity.high if efficient else capacity.low)[row])
            high, low = (
                (beta >= RATIO_FACTOR * median_ratio, grams <= (1 - CAPACITY_SHARE) * median_capacity_g)
                if efficient
                else (grams >= (1 + CAPACITY_SHARE) * median_capacity_g, beta <= median_ratio / RATIO_FACTOR)
            )
            if high and low:
                found[row] = TradeOff(efficient, ratio.requirement, beta, median_ratio, grams, median_capacity_g)
    return found


def _required_from_below(ranking: Ranking, characteristic: str) -> list[Judged]:
    return [
        each
        for each in ranking.judged
        if each.requirement.characteristic == characteristic
        and each.requirement.counts
        and np.isfinite(each.requirement.low)
    ]


def _median(proven: FloatArray) -> float | None:
    known = proven[np.isfinite(proven) & (proven > 0)]
    return float(np.median(known)) if len(known) >= FEWEST else None


# --- unbeaten --------------------------------------------------------------------------------------


def measured(ranking: Ranking) -> list[Judged]:
    """What candidates are held against each other by: criteria on tests, on a ratio scale, that count."""
    return [
        each
        for each in ranking.judged
        if each.requirement.characteristic in CARRIERS
        and _on_ratio_scale(each.requirement.characteristic)
        and each.requirement.counts
        and (np.isfinite(each.requirement.low) or np.isfinite(each.requirement.high))
    ]


def _on_ratio_scale(characteristic: str) -> bool:
    return characteristic not in CHARACTERISTICS or CHARACTERISTICS[characteristic].ratio_scale


def unbeaten(ranking: Ranking, rows: Sequence[int], among: IntArray) -> dict[int, bool]:
    """By row: whether no element in ``among`` is at least as good on every measured criterion and better on one.

    Compared is the bound on each side that is required; what is not proven is worse than anything that is, and what
    is not asked of an element's kind is as good as can be. Empty where nothing measured is required.
    """
    scores = _scores(measured(ranking))
    if not scores:
        return {}
    against = [score[among] for score in scores]
    return {row: not _is_beaten([score[row] for score in scores], against) for row in map(int, rows)}


def _is_beaten(own: Sequence[float], against: Sequence[FloatArray]) -> bool:
    as_good = np.arange(len(against[0]))
    for value, others in zip(own, against, strict=True):
        # Those that are left get few at once, so that of a large catalogue little is looked at more than once.
        as_good = as_good[others[as_good] >= value]
    return any(bool((others[as_good] > value).any()) for value, others in zip(own, against, strict=True))


def _scores(judged: Sequence[Judged]) -> list[FloatArray]:
    """One for each required side, the more the better: the logarithm of what is proven. Shapes (elements,)."""
    scores = []
    for each in judged:
        for required, shown, sign in ((each.requirement.low, each.low, 1), (each.requirement.high, each.high, -1)):
            if np.isfinite(required):
                score = _score(shown, sign)
                score[each.basis == BASES.index("not_applicable")] = np.inf
                scores.append(score)
    return scores


def _score(shown: FloatArray, sign: int) -> FloatArray:
    known = np.isfinite(shown) & ((shown > 0) | (sign < 0))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(known, np.round(sign * np.log(np.maximum(shown, 0.0)), _DIGITS), -np.inf)
