"""Filtration ratio and efficiency, from counts too, and reading one between tested sizes."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Literal

from pydantic import Field

from specdb.amounts import amount
from specdb.answers.shape import QuantityShown, tidy
from specdb.answers.tables import Table, column, numbers
from specdb.calculations.base import (
    MOST,
    Asked,
    Calculated,
    Calculation,
    Fields,
    NumberTyped,
    PointsTyped,
    QuantityTyped,
    in_range,
    shown_as,
)
from specdb.duty.points import NUMBER, Point, read_points
from specdb.errors import ConditionsError, QuestionError
from specdb.trade.filtration import (
    CUSTOMARY_PAIRS,
    beta_from_efficiency,
    customary_beta,
    efficiency_band,
    efficiency_from_beta,
    interpolate_ratio,
    ratio_from_counts,
    size_at_ratio,
)
from specdb.units import Quantity, UnitSystem, express, kinds_of, read_number, read_quantity

_DEFINITION = "ISO 16889 (multi-pass test): efficiency = 100 (β - 1) / β, β = particles upstream / particles downstream"
_CUSTOMARY = "customarily printed pairs: common practice"
_PLOT = (
    "ISO 16889 (multi-pass test): a straight line, logarithm of β over size, between two tested points; "
    "the form of the plot is from memory"
)
NO_MACHINE = "A ratio is that of one laboratory test, with its dust, flow and sizes; it bounds no machine."
_MOST_DECIMALS = 8


class FiltrationAnswer(Calculated):
    """A filtration ratio and the efficiency that it is."""

    ratio: float | None = Field(description="filtration ratio (β); null where the efficiency is 100 %, which has none")
    efficiency: QuantityShown = Field(description="share of the particles of a size and larger that is kept back")
    ratio_low: float | None = Field(None, description="least ratio that the printed digits of the efficiency leave")
    ratio_high: float | None = Field(None, description="greatest ratio that they leave; null for no upper end")
    customary_ratio: float | None = Field(None, description="the ratio that this efficiency is customarily printed for")
    customary_efficiency: QuantityShown | None = Field(None, description="the efficiency customarily printed for it")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        customary = None if self.customary_efficiency is None else self.customary_efficiency.value
        efficiency, printed = (column(name, "percent", units) for name in ("efficiency", "customary_efficiency"))
        return Table(
            (*numbers("ratio"), efficiency, *numbers("ratio_low", "ratio_high", "customary_ratio"), printed),
            [(self.ratio, self.efficiency.value, self.ratio_low, self.ratio_high, self.customary_ratio, customary)],
        )


class EfficiencyAsked(Asked):
    ratio: NumberTyped = Field(description="filtration ratio (β)", examples=["200"])


def efficiency(asked: EfficiencyAsked, units: UnitSystem) -> FiltrationAnswer:
    fields = Fields()
    ratio = fields.number("ratio", asked.ratio)
    fields.check()
    answer = _of_ratio(ratio, "", units)
    if ratio < 1:
        answer.cautions.append(
            "This was read as a ratio. If the share that is kept back was meant, it is an efficiency of "
            f"{in_percent(100 * ratio)}: ask for the filtration ratio of that."
        )
    return answer


def _of_ratio(ratio: float, opening: str, units: UnitSystem) -> FiltrationAnswer:
    percent = efficiency_from_beta(ratio)
    printed = next((e for e, beta in CUSTOMARY_PAIRS.items() if math.isclose(beta, ratio, rel_tol=1e-9)), None)
    named = f"{opening}A filtration ratio of {amount(ratio, '', units)}"
    if ratio < 1:
        words = f"{named} is an efficiency of {in_percent(percent)}: more particles downstream than upstream."
    elif ratio == 1:
        words = f"{named} is an efficiency of 0 %: as many particles downstream as upstream."
    else:
        words = f"{named} keeps back {in_percent(percent)} of the particles: 1 in {amount(ratio, '', units)} passes."
    if printed is not None and not math.isclose(printed, percent, rel_tol=1e-9):
        words += f" Customarily printed as {printed:g} %."
    return FiltrationAnswer(
        words=words,
        ratio=ratio,
        efficiency=shown_as(percent, "percent", units),
        customary_efficiency=None if printed is None else shown_as(printed, "percent", units),
        cautions=[NO_MACHINE],
        source=f"{_DEFINITION}; {_CUSTOMARY}",
    )


def in_percent(percent: float) -> str:
    """An efficiency in as many digits as tell it from 100 %."""
    missing = 100.0 - percent
    if missing <= 0.5 * 10**-_MOST_DECIMALS:
        return f"more than {100 - 10**-_MOST_DECIMALS:.{_MOST_DECIMALS}f} %"
    if percent < 90:
        return f"{percent:.4g} %"
    decimals = min(_MOST_DECIMALS, 2 - math.floor(math.log10(missing)))
    return f"{percent:.{decimals}f}".rstrip("0").rstrip(".") + " %"


class RatioAsked(Asked):
    """An efficiency, or the counts of one size upstream and downstream."""

    efficiency: NumberTyped | None = Field(None, description="efficiency in percent", examples=["98.7 %"])
    upstream: NumberTyped | None = Field(
        None, description='particles upstream of a size and larger: "2000 /mL", or bare counts on both sides'
    )
    downstream: NumberTyped | None = Field(None, description="particles downstream, in the same unit")


def filtration_ratio(asked: RatioAsked, units: UnitSystem) -> FiltrationAnswer:
    counted = (asked.upstream is not None) + (asked.downstream is not None)
    if (asked.efficiency is not None) + (counted > 0) != 1 or counted == 1:
        raise QuestionError(
            "An efficiency or two counts make a filtration ratio.",
            field="efficiency" if counted != 1 else "downstream" if asked.downstream is None else "upstream",
            remedy="State either the efficiency, or particles upstream and downstream.",
        )
    if asked.efficiency is not None:
        return _of_efficiency(asked.efficiency, units)
    return _of_counts(asked.upstream or "", asked.downstream or "", units)


def _of_efficiency(text: str, units: UnitSystem) -> FiltrationAnswer:
    fields = Fields()
    with fields.at("efficiency"):
        quantity = read_quantity(text, "percent", unit="%")
        percent = quantity.value
        if not -MOST <= percent <= 100:
            raise QuestionError("An efficiency cannot exceed 100 %.", value=text, remedy="State at most 100 %.")
        if 0 < percent < 1 and not kinds_of(text):
            raise QuestionError(
                f"This may mean {percent:g} % or {percent * 100:g} %.",
                value=text,
                remedy="Write it in percent, with the sign.",
            )
        low, high = efficiency_band(percent, quantity.resolution)
    fields.check()
    ratio = beta_from_efficiency(percent) if percent < 100 else None
    customary = customary_beta(percent)
    upper = f"to {amount(high, '', units)}" if math.isfinite(high) else "and no upper end"
    digits = f"its printed digits leave {amount(low, '', units)} {upper}"
    if ratio is None:
        words = f"100 % proves no filtration ratio; {digits}."
    elif customary is not None and not math.isclose(customary, ratio, rel_tol=1e-9):
        words = (
            f"An efficiency of {in_percent(percent)} is customarily printed for a filtration ratio of {customary:g}; "
            f"the sum itself gives {amount(ratio, '', units)}, and {digits}."
        )
    else:
        words = f"An efficiency of {in_percent(percent)} is a filtration ratio of {amount(ratio, '', units)}; {digits}."
    return FiltrationAnswer(
        words=words,
        ratio=ratio,
        efficiency=shown_as(percent, "percent", units),
        ratio_low=low,
        ratio_high=high if math.isfinite(high) else None,
        customary_ratio=customary,
        customary_efficiency=None if customary is None else shown_as(percent, "percent", units),
        cautions=[NO_MACHINE],
        source=f"{_DEFINITION}; {_CUSTOMARY}",
    )


def _of_counts(upstream: str, downstream: str, units: UnitSystem) -> FiltrationAnswer:
    fields = Fields()
    bare = []
    for field, text in (("upstream", upstream), ("downstream", downstream)):
        with fields.at(field):
            bare.append(not kinds_of(text))
    fields.check()
    if bare[0] != bare[1]:
        fields.refuse(
            "upstream" if bare[0] else "downstream",
            "Only one of the two counts has a unit.",
            value=upstream if bare[0] else downstream,
            remedy='State both with their unit, "2000 /mL", or both as counted in one volume.',
        )
        fields.check()
    counts = []
    for field, text in (("upstream", upstream), ("downstream", downstream)):
        with fields.at(field):
            count = read_number(text).value if bare[0] else read_quantity(text, "counts").value
            if count:
                in_range(Quantity("counts", count, 0.0, text, "1/mL"))
            counts.append(count)
    fields.check()
    with fields.at("downstream"):
        ratio = ratio_from_counts(counts[0], counts[1])
    fields.check()
    return _of_ratio(ratio, f"{upstream.strip()} upstream over {downstream.strip()} downstream. ", units)


# --- between tested sizes -------------------------------------------------------------------------


class PointOnCurve(Calculated):
    """A size and the filtration ratio there, read between two tested points."""

    size: QuantityShown
    scale: Literal["c", "acftd"] | None = Field(description="scale of all sizes; null where none is stated")
    ratio: float
    efficiency: QuantityShown
    size_below: QuantityShown = Field(description="the tested size at or below it")
    ratio_below: float
    size_above: QuantityShown = Field(description="the tested size above it")
    ratio_above: float

    def plain_table(self, units: UnitSystem = "si") -> Table:
        below, above = column("size_below", "size", units), column("size_above", "size", units)
        return Table(
            (
                *(column("size", "size", units), "scale", *numbers("ratio"), column("efficiency", "percent", units)),
                *(below, *numbers("ratio_below"), above, *numbers("ratio_above")),
            ),
            [
                (
                    *(self.size.value, self.scale, self.ratio, self.efficiency.value),
                    *(self.size_below.value, self.ratio_below, self.size_above.value, self.ratio_above),
                )
            ],
        )


_POINTS = "tested sizes and their ratios, two or more"
_POINTS_EXAMPLE = "5 um(c) = 20; 10 um(c) = 200"


class RatioAtSizeAsked(Asked):
    size: QuantityTyped = Field(description="the size asked for, on the scale of the test", examples=["8 um(c)"])
    points: PointsTyped = Field(description=_POINTS, examples=[_POINTS_EXAMPLE])


class SizeAtRatioAsked(Asked):
    ratio: NumberTyped = Field(description="the filtration ratio asked for", examples=["75"])
    points: PointsTyped = Field(description=_POINTS, examples=[_POINTS_EXAMPLE])


_Tested = tuple[float, float]


def ratio_at_size(asked: RatioAtSizeAsked, units: UnitSystem) -> PointOnCurve:
    fields = Fields()
    scale, tested = "?", list[_Tested]()
    with fields.at("points"):
        scale, tested = _curve(asked.points)
    size = float("nan")
    with fields.at("size"):
        quantity = read_quantity(asked.size, "size")
        size = in_range(quantity)
        if tested and quantity.scale != scale:
            raise QuestionError(
                f"The size is on {_scale_words(quantity.scale)}, the tested sizes on {_scale_words(scale)}.",
                value=asked.size,
                remedy="State all sizes on the scale of the test.",
            )
    fields.check()
    with fields.at("size"):
        below, above = _around(size, [s for s, _ in tested], tested, "size")
        ratio = interpolate_ratio(size, *below, *above)
    fields.check()
    return _on_curve(size, ratio, below, above, scale, units)


def size_at(asked: SizeAtRatioAsked, units: UnitSystem) -> PointOnCurve:
    fields = Fields()
    scale, tested = "?", list[_Tested]()
    with fields.at("points"):
        scale, tested = _curve(asked.points)
    ratio = fields.number("ratio", asked.ratio)
    fields.check()
    with fields.at("ratio"):
        below, above = _around(ratio, [r for _, r in tested], tested, "ratio")
        if below[1] == above[1]:
            raise ConditionsError(
                "The ratio is the same at both tested sizes: no one size has it.", value=asked.ratio
            )
        size = size_at_ratio(ratio, *below, *above)
    fields.check()
    return _on_curve(size, ratio, below, above, scale, units)


def _curve(text: str) -> tuple[str, list[_Tested]]:
    """The one scale of the tested sizes, and (size in µm, ratio) in rising order of size."""
    points = read_points(text, ("size", NUMBER))
    if len(points) < 2:
        raise QuestionError("One point is no curve.", value=text, remedy="State two tested sizes or more.")
    read = [_tested_point(point) for point in points]
    scales = {quantity.scale or "?" for quantity, _ in read}
    if len(scales) > 1:
        raise QuestionError("The tested sizes are on different scales.", value=text, remedy="Keep to one test.")
    tested = sorted((quantity.value, ratio) for quantity, ratio in read)
    for (size, ratio), (next_size, next_ratio) in pairwise(tested):
        if size == next_size:
            raise QuestionError(f"The size {size:g} µm is stated twice.", value=text, remedy="State each size once.")
        if next_ratio < ratio:
            raise ConditionsError(
                f"The ratio falls from {ratio:g} to {next_ratio:g} as size grows from {size:g} to {next_size:g} µm, "
                "which the ratios of one test do not.",
                value=text,
                remedy="Check the points.",
            )
    return scales.pop(), tested


def _tested_point(point: Point) -> tuple[Quantity, float]:
    size = read_quantity(point.texts["size"], "size")
    in_range(size)
    ratio = in_range(Quantity(NUMBER, read_number(point.texts[NUMBER]).value, 0.0, point.texts[NUMBER], ""))
    return size, ratio


def _around(value: float, of_points: list[float], tested: list[_Tested], what: str) -> tuple[_Tested, _Tested]:
    """The two neighbouring tested points that ``value`` lies between; the first pair, on a tested point."""
    for i, (low, high) in enumerate(pairwise(of_points)):
        if low <= value <= high:
            return tested[i], tested[i + 1]
    raise ConditionsError(
        f"The {what} lies outside the tested ones, and nothing is extrapolated.",
        value=f"{value:g}",
        remedy=f"Ask for one from {of_points[0]:g} to {of_points[-1]:g}.",
    )


def _on_curve(
    size: float, ratio: float, below: _Tested, above: _Tested, scale: str, units: UnitSystem
) -> PointOnCurve:
    def shown(size_um: float) -> QuantityShown:
        value, unit = express(size_um, "size", units)
        return QuantityShown(value=tidy(value), unit=with_scale(unit, scale))

    def named(size_um: float) -> str:
        return f"{size_um:.4g} {with_scale('µm', scale)}"

    return PointOnCurve(
        words=f"At {named(size)} the filtration ratio is {amount(ratio, '', units)} "
        f"({in_percent(efficiency_from_beta(ratio))}), read between {below[1]:.4g} at {named(below[0])} "
        f"and {above[1]:.4g} at {named(above[0])}.",
        size=shown(size),
        scale="c" if scale == "c" else "acftd" if scale == "acftd" else None,
        ratio=ratio,
        efficiency=shown_as(efficiency_from_beta(ratio), "percent", units),
        size_below=shown(below[0]),
        ratio_below=below[1],
        size_above=shown(above[0]),
        ratio_above=above[1],
        notes=["The sizes state no scale; they were taken to be on one."] if scale == "?" else [],
        cautions=[NO_MACHINE],
        source=_PLOT,
    )


def with_scale(unit: str, scale: str | None) -> str:
    """A unit of size with the mark of its scale: "µm(c)"."""
    return {"c": f"{unit}(c)", "acftd": f"{unit}(ACFTD)"}.get(scale or "?", unit)


def _scale_words(scale: str | None) -> str:
    return {"c": "µm(c)", "acftd": "the ACFTD scale"}.get(scale or "?", "no stated scale")


EFFICIENCY = Calculation(
    key="efficiency",
    title="Efficiency of a filtration ratio",
    help="The share of particles of a size and larger that an element of this filtration ratio keeps back.",
    asked=EfficiencyAsked,
    answer=FiltrationAnswer,
    compute=efficiency,
    typed=("ratio",),
    source=f"{_DEFINITION}; {_CUSTOMARY}",
)
FILTRATION_RATIO = Calculation(
    key="filtration_ratio",
    title="Filtration ratio of an efficiency or of counts",
    help="The filtration ratio (β) of an efficiency, or of particle counts upstream and downstream.",
    asked=RatioAsked,
    answer=FiltrationAnswer,
    compute=filtration_ratio,
    typed=("efficiency",),
    source=f"{_DEFINITION}; {_CUSTOMARY}",
)
RATIO_AT_SIZE = Calculation(
    key="ratio_at_size",
    title="Filtration ratio at a size between tested ones",
    help="The filtration ratio at a size, read between the two tested sizes around it.",
    asked=RatioAtSizeAsked,
    answer=PointOnCurve,
    compute=ratio_at_size,
    typed=("size",),
    source=_PLOT,
)
SIZE_AT_RATIO = Calculation(
    key="size_at_ratio",
    title="Size at which a filtration ratio is reached",
    help="The size at which a filtration ratio is reached, read between the two tested points around it.",
    asked=SizeAtRatioAsked,
    answer=PointOnCurve,
    compute=size_at,
    typed=("ratio",),
    source=_PLOT,
)
