"""Particle sizes on the ACFTD scale and in µm(c)."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from specdb.answers.shape import QuantityShown, tidy
from specdb.answers.tables import Table, column
from specdb.calculations.base import Asked, Calculated, Calculation, Fields, QuantityTyped, in_range
from specdb.calculations.filtration import with_scale
from specdb.errors import QuestionError
from specdb.trade.size_scales import acftd_to_c, c_to_acftd
from specdb.units import UnitSystem, express, read_quantity

_SOURCE = (
    "ISO/TR 16386 and ISO 11171:1999, integer table (values partly from memory, agreeing with the points read in a "
    "public note on reporting to ISO 11171), straight lines between its points"
)
ONLY_THE_LABEL = (
    "Only the size label converts. Dust, counting and calibration of the older multi-pass test (ISO 4572) differ too, "
    "so a ratio to the older method is no ratio to ISO 16889."
)


class SizeScaleAsked(Asked):
    size: QuantityTyped = Field(description="a size with its scale, (acftd) or (c)", examples=["10 um(acftd)"])


class SizeScaleAnswer(Calculated):
    """One particle size on both scales."""

    scale: Literal["c", "acftd"] = Field(description="the scale that was asked")
    size_c: QuantityShown = Field(description="in µm(c), calibrated to ISO 11171")
    size_acftd: QuantityShown = Field(description="in µm on the ACFTD scale, calibrated to ISO 4402")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        return Table(
            ("scale", column("size_c", "size", units), column("size_acftd", "size", units)),
            [(self.scale, self.size_c.value, self.size_acftd.value)],
        )


def size_scale(asked: SizeScaleAsked, units: UnitSystem) -> SizeScaleAnswer:
    fields = Fields()
    with fields.at("size"):
        quantity = read_quantity(asked.size, "size")
        size = in_range(quantity)
        if quantity.scale not in ("c", "acftd"):
            raise QuestionError(
                "The size does not say its scale.", value=asked.size, remedy='Write "10 um(acftd)" or "10 um(c)".'
            )
        size_c = acftd_to_c(size) if quantity.scale == "acftd" else size
        size_acftd = c_to_acftd(size) if quantity.scale == "c" else size
    fields.check()
    by_c, by_acftd = f"{size_c:.4g} µm(c)", f"{size_acftd:.4g} µm(ACFTD)"
    first, second = (by_acftd, by_c) if quantity.scale == "acftd" else (by_c, by_acftd)
    unit = express(1.0, "size", units)[1]
    return SizeScaleAnswer(
        words=f"A particle of {first} is one of {second}.",
        scale="c" if quantity.scale == "c" else "acftd",
        size_c=QuantityShown(value=tidy(size_c), unit=with_scale(unit, "c")),
        size_acftd=QuantityShown(value=tidy(size_acftd), unit=with_scale(unit, "acftd")),
        cautions=[ONLY_THE_LABEL],
        source=_SOURCE,
    )


SIZE_SCALE = Calculation(
    key="size_scale",
    title="Particle size on the other scale",
    help="A particle size on the ACFTD scale in µm(c), or the other way.",
    asked=SizeScaleAsked,
    answer=SizeScaleAnswer,
    compute=size_scale,
    typed=("size",),
    source=_SOURCE,
)
