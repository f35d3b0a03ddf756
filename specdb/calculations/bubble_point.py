"""Pore size and first bubble point."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from specdb.answers.shape import QuantityShown
from specdb.answers.tables import Table, column
from specdb.calculations.base import Asked, Calculated, Calculation, Fields, QuantityTyped, shown_as
from specdb.trade.bubble_point import bubble_pressure_pa, liquid_head_pa, pore_size_um
from specdb.units import UnitSystem, show

_SOURCE = (
    "Young–Laplace, d = 4 σ cos θ / p; surface tension of 2-propanol: J. J. Jasper, 1972, as the chemicals package "
    "has it"
)
NO_RATING = (
    "This is no filter rating. ISO 2942 verifies the integrity of an element's fabrication; by its scope the first "
    "bubble point is under no circumstances a functional characteristic and is not to be used to estimate rating, "
    "efficiency or capacity."
)
ROUND_PORE = "The sum is of one round pore that the liquid wets; pores of a filter medium are not round."


class _LiquidAsked(Asked):
    surface_tension_mn_m: Annotated[float, Field(ge=1, le=1000)] = Field(
        21.322, description="surface tension in mN/m; 2-propanol has 21.322 at 20 °C and 20.928 at 25 °C"
    )
    contact_angle_deg: Annotated[float, Field(ge=0, le=89)] = Field(
        0.0, description="contact angle in degrees; 0 for a liquid that wets fully"
    )
    depth: QuantityTyped | None = Field(None, description='depth of the pore in the liquid: "12 mm"; with density')
    density: QuantityTyped | None = Field(None, description='density of the liquid: "785 kg/m3"')


class PoreSizeAsked(_LiquidAsked):
    pressure: QuantityTyped = Field(description="pressure of the first bubble", examples=["8528 Pa"])


class BubblePressureAsked(_LiquidAsked):
    pore: QuantityTyped = Field(description="diameter of the pore", examples=["10 um"])


class PoreAnswer(Calculated):
    """A round pore and the pressure at which it bubbles."""

    pore: QuantityShown = Field(description="diameter of the round pore")
    pressure: QuantityShown = Field(description="pressure of the bubble, the head of the liquid included")
    head: QuantityShown = Field(description="of that, the head of the liquid above the pore")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        pressures = [column(name, "pressure", units) for name in ("pressure", "head")]
        return Table(
            (column("pore", "size", units), *pressures), [(self.pore.value, self.pressure.value, self.head.value)]
        )


def pore_size(asked: PoreSizeAsked, units: UnitSystem) -> PoreAnswer:
    fields = Fields()
    pressure_pa = fields.quantity("pressure", asked.pressure, "pressure") * 1000.0
    head_pa = _head_pa(asked, fields)
    fields.check()
    pore_um = float("nan")
    with fields.at("pressure"):
        pore_um = pore_size_um(
            pressure_pa,
            head_pa=head_pa,
            surface_tension_n_m=asked.surface_tension_mn_m / 1000.0,
            contact_angle_deg=asked.contact_angle_deg,
        )
    fields.check()
    return _answer(
        f"A first bubble at {show(pressure_pa / 1000.0, 'pressure', units)} comes from a round pore of "
        f"{show(pore_um, 'size', units)}.",
        (pore_um, pressure_pa, head_pa),
        units,
    )


def bubble_pressure(asked: BubblePressureAsked, units: UnitSystem) -> PoreAnswer:
    fields = Fields()
    pore_um = fields.quantity("pore", asked.pore, "size")
    head_pa = _head_pa(asked, fields)
    fields.check()
    pressure_pa = bubble_pressure_pa(
        pore_um,
        head_pa=head_pa,
        surface_tension_n_m=asked.surface_tension_mn_m / 1000.0,
        contact_angle_deg=asked.contact_angle_deg,
    )
    return _answer(
        f"A round pore of {show(pore_um, 'size', units)} bubbles at {show(pressure_pa / 1000.0, 'pressure', units)}.",
        (pore_um, pressure_pa, head_pa),
        units,
    )


def _head_pa(asked: _LiquidAsked, fields: Fields) -> float:
    if asked.depth is None and asked.density is None:
        return 0.0
    depth_mm = fields.quantity("depth", asked.depth, "length")
    density = fields.quantity("density", asked.density, "density")
    if asked.depth is None or asked.density is None:
        fields.refuse(
            "depth" if asked.depth is None else "density",
            "Depth and density together make the head of the liquid.",
            remedy="State both, or neither.",
        )
        return float("nan")
    return liquid_head_pa(depth_mm, density) if depth_mm > 0 and density > 0 else float("nan")


def _answer(words: str, sum_of: tuple[float, float, float], units: UnitSystem) -> PoreAnswer:
    pore_um, pressure_pa, head_pa = sum_of
    return PoreAnswer(
        words=words,
        pore=shown_as(pore_um, "size", units),
        pressure=shown_as(pressure_pa / 1000.0, "pressure", units),
        head=shown_as(head_pa / 1000.0, "pressure", units),
        cautions=[NO_RATING, ROUND_PORE],
        source=_SOURCE,
    )


PORE_SIZE = Calculation(
    key="pore_size",
    title="Pore size from a bubble point",
    help="The round pore from which the first bubble comes at a pressure. This is no filter rating.",
    asked=PoreSizeAsked,
    answer=PoreAnswer,
    compute=pore_size,
    typed=("pressure",),
    source=_SOURCE,
)
BUBBLE_PRESSURE = Calculation(
    key="bubble_pressure",
    title="Bubble pressure of a pore",
    help="The pressure at which a round pore bubbles.",
    asked=BubblePressureAsked,
    answer=PoreAnswer,
    compute=bubble_pressure,
    typed=("pore",),
    source=_SOURCE,
)
