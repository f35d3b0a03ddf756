"""What cleanliness each element could hold: its ratios, put into the contamination balance of the duty.

The bounds of the ratio at 4, 6 and 14 µm(c) are those of the criterion that judges it, at the duty's flow. A
laboratory's ratio bounds no machine, so that whatever comes out is an estimate, bounds and all; it takes no part in a
verdict or in the order.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from specdb.advice.life import Bounded
from specdb.bounds import RELATIVE_SLACK
from specdb.criteria import Judged, judge
from specdb.duty import Requirement
from specdb.ranking import Ranking
from specdb.trade.cleanliness import SIZES_UM, ScaleNumber, scale_number
from specdb.trade.contamination import (
    ENVIRONMENT_SIZES_UM,
    Side,
    count_downstream,
    count_upstream,
)
from specdb.units import UnitSystem, show
from specdb.wording import assumed, granted

_SIZES_UM = SIZES_UM["automatic"]
_SOME_RATIO = 1.0
"""Required where no target asks for a ratio, so that of several tests the least favourable is told."""


@dataclass(frozen=True)
class HeldAt:
    """One size in µm(c): the element's ratio there, and the particles per mL of that size and larger in balance.

    Of the counts 0 is a bound like any other; -inf stands below and inf above where nothing bounds them.
    """

    size_um: float
    ingression_per_min: float
    ratio: Bounded
    upstream: Bounded
    downstream: Bounded

    def count(self, side: Side) -> Bounded:
        return self.upstream if side == "upstream" else self.downstream


@dataclass(frozen=True)
class Attainable:
    """What one element could hold at the duty's flow and ingression, at the sizes whose ingression is stated."""

    flow_l_min: float
    held: tuple[HeldAt, ...]
    assumed: tuple[str, ...]

    @property
    def known(self) -> bool:
        """Whether anything on file tells its ratio at one of the sizes."""
        return any(held.ratio.known for held in self.held)

    def dirtiest(self, side: Side) -> str | None:
        """Code of the most particles that the bounds of the ratio leave; ``-`` at a size without an upper end, None
        where there is none at all."""
        return _code({held.size_um: held.count(side).high for held in self.held})

    def cleanest(self, side: Side) -> str | None:
        """Code of the least particles that they leave, 0 where it is none; ``-`` at a size without a lower end."""
        return _code({held.size_um: held.count(side).low for held in self.held})

    def estimate(self, side: Side) -> str | None:
        """Code by the best estimates of the ratio; >28 where the estimate is 1 or less and the count grows on."""
        found = {held.size_um: held.count(side).estimate for held in self.held}
        return _code({size: math.nan if math.isnan(n) else min(n, _BEYOND) for size, n in found.items()})

    def words(self, units: UnitSystem = "si") -> str:
        """What follows, in sentences that could be read to a customer."""
        if not self.known:
            return "Cleanliness: nothing is on file that tells its filtration ratio at 4, 6 or 14 µm(c)."
        told = [found for side in _SIDES if (found := self._side(side))]
        dashed = f"; {_DASHED}" if any("-" in code for code in told) else ""
        taken = f" ({granted(self.assumed)})" if self.assumed else ""
        return (
            f"Cleanliness that it could hold at {show(self.flow_l_min, 'flow', units)}: "
            f"{'; '.join(told) or 'nothing on file bounds it'}{dashed}{taken}. {NEVER_PROOF}"
        )

    def _side(self, side: Side) -> str:
        cleanest, dirtiest, estimate = self.cleanest(side), self.dirtiest(side), self.estimate(side)
        if dirtiest is None and _least(cleanest):
            return "" if estimate is None else f"{side} about {estimate}"
        if dirtiest is None:
            between = f"{cleanest} or dirtier"
        elif dirtiest == cleanest or _least(dirtiest):
            between = dirtiest
        else:
            between = f"{dirtiest} or cleaner" if _least(cleanest) else f"{cleanest} to {dirtiest}"
        if (estimate or between) == between:
            return f"{side} {between}"
        return f"{side} about {estimate} (by the bounds of its ratio {between})"


_DASHED = "- where nothing tells"
NEVER_PROOF = "An estimate, never proof: a laboratory's ratio bounds no machine."

_SIDES: tuple[Side, ...] = ("upstream", "downstream")
_BEYOND = 1e12
"""Particles per mL above any scale number: stands for a count that grows without end."""


def _least(code: str | None) -> bool:
    """Whether no fluid could be cleaner: scale number 0 wherever it says something."""
    return code is None or set(code.split("/")) <= {"0", "-"}


def _code(counts_per_ml: dict[float, float]) -> str | None:
    """Scale numbers of counts, ``-`` where there is none or no end to it; None where that is so at every size."""
    places = []
    for size in _SIZES_UM:
        count = counts_per_ml.get(size, math.nan)
        places.append(ScaleNumber(scale_number(count)) if math.isfinite(count) else ScaleNumber(None))
    return None if all(place.number is None for place in places) else "/".join(map(str, places))


def attainable(ranking: Ranking, rows: Sequence[int]) -> dict[int, Attainable]:
    """Row of an element: what it could hold. Empty where flow or ingression is not stated; breathers, which filter no
    fluid, are left out."""
    stated = ranking.duty.circumstances
    if stated.flow_l_min is None or not stated.ingression_per_min or stated.location == "breather":
        return {}
    kind = ranking.snapshot.elements.words["kind"].equals("breather")
    shown = np.unique([row for row in rows if not kind[row]]).astype(np.int64)
    if not len(shown):
        return {}
    judged = {
        size: judge(ranking.snapshot.only(shown), _asked(ranking, size), ranking.duty.assumptions)
        for size in sorted(stated.ingression_per_min)
    }
    return {int(row): _of_element(ranking, judged, place) for place, row in enumerate(shown)}


def _asked(ranking: Ranking, size_um: float) -> Requirement:
    """The ratio at one size, with the target's limit if there is one: what is told then agrees with its verdict."""
    of_target = [r.low for r in ranking.duty.requirements if r.rule == "cleanliness" and r.size_um == size_um]
    return Requirement(
        id="attainable_cleanliness",
        characteristic="filtration_ratio",
        origin="derived",
        low=of_target[0] if of_target else _SOME_RATIO,
        size_um=size_um,
        scale="c",
        flow_l_min=ranking.duty.circumstances.flow_l_min,
    )


def _of_element(ranking: Ranking, judged: dict[float, Judged], place: int) -> Attainable:
    stated = ranking.duty.circumstances
    flow = stated.flow_l_min or math.nan
    held = [
        _held(size, stated.ingression_per_min[size], flow, _ratio(of_size, place), stated.environment is not None)
        for size, of_size in judged.items()
    ]
    names = dict.fromkeys(name for of_size in judged.values() for name in assumed(of_size, place))
    return Attainable(flow, _falling(held), tuple(names))


def _ratio(judged: Judged, place: int) -> Bounded:
    low, high, estimate = (float(column[place]) for column in (judged.low, judged.high, judged.estimate))
    return Bounded(low if low > 0 else 0.0, high if math.isfinite(high) else math.inf, estimate)


def _held(size_um: float, per_min: float, flow_l_min: float, ratio: Bounded, of_environment: bool) -> HeldAt:
    upstream = _count("upstream", ratio, per_min, flow_l_min)
    downstream = _count("downstream", ratio, per_min, flow_l_min)
    if of_environment and size_um in ENVIRONMENT_SIZES_UM and per_min > 0:
        # The most that may get in: the fluid may be as much cleaner as less gets in.
        upstream, downstream = (Bounded(-math.inf, count.high, math.nan) for count in (upstream, downstream))
    return HeldAt(size_um, per_min, ratio, upstream, downstream)


def _count(side: Side, ratio: Bounded, per_min: float, flow_l_min: float) -> Bounded:
    """Particles per mL; the count falls as the ratio grows, so that each bound gives the other's.

    Where nothing gets in, a ratio above 1 clears the fluid in time and one of 1 leaves it as it is, which nobody knows.
    """
    of = count_upstream if side == "upstream" else count_downstream

    def count(of_ratio: float) -> float:
        return of(of_ratio, per_min, flow_l_min) if of_ratio > 1 else math.inf

    if per_min == 0:
        return Bounded(0.0, count(ratio.low), 0.0 if ratio.estimate > 1 else math.nan)
    estimate = math.nan if math.isnan(ratio.estimate) else count(ratio.estimate)
    return Bounded(count(ratio.high), count(ratio.low), estimate)


def _falling(held: Sequence[HeldAt]) -> tuple[HeldAt, ...]:
    """There are no more of the larger particles than of the smaller: what bounds one size bounds the others too."""
    upstream, downstream = (_falling_counts([each.count(side) for each in held]) for side in _SIDES)
    return tuple(
        replace(each, upstream=before, downstream=behind)
        for each, before, behind in zip(held, upstream, downstream, strict=True)
    )


def _falling_counts(counts: Sequence[Bounded]) -> list[Bounded]:
    """Counts of rising sizes. Where tests of several sizes contradict each other nothing is left."""
    high = np.minimum.accumulate([count.high for count in counts])
    low = np.maximum.accumulate([count.low for count in counts[::-1]])[::-1]
    estimate = np.fmin.accumulate([count.estimate for count in counts])
    if (low > high * (1 + RELATIVE_SLACK)).any():
        return [Bounded(-math.inf, math.inf, math.nan)] * len(counts)
    return [
        Bounded(float(lo), float(hi), math.nan if math.isnan(count.estimate) else float(np.clip(best, lo, hi)))
        for count, lo, hi, best in zip(counts, low, high, estimate, strict=True)
    ]
