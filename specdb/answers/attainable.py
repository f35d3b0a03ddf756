"""What cleanliness an element could hold at the duty, as an answer shows it."""

from __future__ import annotations

from pydantic import Field

from specdb.advice.attainable import Attainable, HeldAt
from specdb.advice.life import Bounded
from specdb.answers.life import EstimatedShown, estimated
from specdb.answers.shape import Answer, QuantityShown, bounds, number
from specdb.trade.contamination import Side
from specdb.units import UnitSystem, express


class CodeRangeShown(Answer):
    """Codes by ISO 4406 on one side of the filter, ``-`` at a size of which nothing is known."""

    dirtiest: str | None = Field(description="by the least ratio that the tests leave; null where they leave none")
    cleanest: str | None = Field(
        description="by the greatest that they leave, at most that of a perfect filter, behind which there is nothing"
    )
    estimate: str | None = Field(description="by the best estimates of the ratio")


class HeldAtShown(Answer):
    """One size: the element's ratio, and particles per mL of that size and larger."""

    size: QuantityShown
    ratio: EstimatedShown
    ingression: QuantityShown = Field(description="particles of the size and larger that get in")
    upstream: EstimatedShown = Field(description="particles per mL before the filter, as in the reservoir")
    downstream: EstimatedShown = Field(description="particles per mL right behind it")


class AttainableShown(Answer):
    """What the contamination balance of the duty makes of the element's ratios: an estimate, never proof."""

    upstream: CodeRangeShown = Field(description="before the filter, as in the reservoir and the circuit")
    downstream: CodeRangeShown = Field(description="right behind the filter")
    sizes: list[HeldAtShown] = Field(description="one for each size whose ingression is stated")
    assumed: list[str]
    words: str


def attainable_shown(found: Attainable, units: UnitSystem) -> AttainableShown:
    return AttainableShown(
        upstream=_codes(found, "upstream"),
        downstream=_codes(found, "downstream"),
        sizes=[_held(each, units) for each in found.held],
        assumed=list(found.assumed),
        words=found.words(units),
    )


def _codes(found: Attainable, side: Side) -> CodeRangeShown:
    return CodeRangeShown(dirtiest=found.dirtiest(side), cleanest=found.cleanest(side), estimate=found.estimate(side))


def _held(held: HeldAt, units: UnitSystem) -> HeldAtShown:
    size, rate = (express(held.size_um, "size", units), express(held.ingression_per_min, "count_rate", units))
    return HeldAtShown(
        size=QuantityShown(value=size[0], unit=f"{size[1]}(c)"),
        ratio=estimated(held.ratio, "", units),
        ingression=QuantityShown(value=rate[0], unit=rate[1]),
        upstream=_count(held.upstream, units),
        downstream=_count(held.downstream, units),
    )


def _count(of: Bounded, units: UnitSystem) -> EstimatedShown:
    """A count that may be none at all: a bound of 0 says something."""
    found = bounds(of.low, of.high, "counts", units)
    estimate = number(express(of.estimate, "counts", units)[0])
    return EstimatedShown(low=found.low, high=found.high, unit=found.unit, estimate=estimate)
