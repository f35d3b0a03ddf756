"""What flows through a filter by its place in the circuit: return flow, off-line flow, the air of a breather."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from specdb.answers.shape import QuantityShown, tidy
from specdb.answers.tables import Table, column, numbers
from specdb.calculations.base import Asked, Calculated, Calculation, Fields, QuantityTyped, shown_as
from specdb.trade.circuit import (
    area_ratio_of,
    breather_air_flow_l_min,
    breather_air_flow_of_cycles_l_min,
    return_flow_l_min,
    rod_volume_l,
    turnover_flow_l_min,
    turnovers_per_hour_of,
)
from specdb.units import UnitSystem, show

_BALANCE = "balance of volumes and geometry"
_NAN = float("nan")
OF_ONE_CYLINDER = (
    "The sum is of one cylinder. Cylinders that move at once, loads that push them, accumulators and drains add their "
    "flow, and the filter has to pass the greatest of it."
)
AIR_BESIDES = (
    "Air that the oil gives off, warming and the fall of a load faster than it was lifted need more. The element is "
    "chosen for the air, whatever its filtration ratio in a liquid."
)
QUICKER_STROKE = (
    "One of the two strokes takes half of a cycle at most. If it is quicker, more air flows: state its time."
)


class ReturnFlowAsked(Asked):
    pump_flow: QuantityTyped = Field(description="flow of the pump", examples=["60 L/min"])
    area_ratio: Annotated[float, Field(ge=1, le=100)] | None = Field(
        None, description="of the cylinder, piston over ring, or its two diameters instead", examples=[2]
    )
    bore_diameter: QuantityTyped | None = Field(None, description='bore of the cylinder: "100 mm"; with rod_diameter')
    rod_diameter: QuantityTyped | None = Field(None, description='diameter of its rod: "70 mm"')


class ReturnFlowAnswer(Calculated):
    """What a cylinder that retracts sends through the return filter."""

    pump_flow: QuantityShown = Field(description="flow of the pump")
    area_ratio: float = Field(description="piston area over the area of the ring around the rod")
    return_flow: QuantityShown = Field(description="while the rod goes in")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        flows = [column(name, "flow", units) for name in ("pump_flow", "return_flow")]
        row = (self.pump_flow.value, self.area_ratio, self.return_flow.value)
        return Table((flows[0], *numbers("area_ratio"), flows[1]), [row])


def return_flow(asked: ReturnFlowAsked, units: UnitSystem) -> ReturnFlowAnswer:
    fields = Fields()
    pump = fields.quantity("pump_flow", asked.pump_flow, "flow")
    bore = fields.quantity("bore_diameter", asked.bore_diameter, "length")
    rod = fields.quantity("rod_diameter", asked.rod_diameter, "length")
    ratio = _area_ratio(asked, bore, rod, fields)
    fields.check()
    flow = return_flow_l_min(pump, ratio)
    return ReturnFlowAnswer(
        words=(
            f"With {show(pump, 'flow', units)} from the pump and an area ratio of {ratio:.4g} the return line sees "
            f"{show(flow, 'flow', units)} while the rod goes in."
        ),
        pump_flow=shown_as(pump, "flow", units),
        area_ratio=tidy(ratio),
        return_flow=shown_as(flow, "flow", units),
        notes=fields.notes,
        cautions=[OF_ONE_CYLINDER],
        source=_BALANCE,
    )


def _area_ratio(asked: ReturnFlowAsked, bore: float, rod: float, fields: Fields) -> float:
    if not _one_or_both(asked, "area_ratio", ("bore_diameter", "rod_diameter"), fields):
        return _NAN
    if asked.area_ratio is not None:
        return asked.area_ratio
    with fields.at("rod_diameter"):
        # A faulty diameter is told already.
        return _NAN if bore != bore or rod != rod else area_ratio_of(bore, rod)
    return _NAN


def _one_or_both(asked: Asked, one: str, both: tuple[str, str], fields: Fields) -> bool:
    """Whether either the one field is stated or the two that stand for it; if not, it is told."""
    lacking = [name for name in both if getattr(asked, name) is None]
    stated = getattr(asked, one) is not None
    if len(lacking) == (len(both) if stated else 0):
        return True
    fields.refuse(
        lacking[0] if len(lacking) == 1 and not stated else one,
        f"Either {one} or both {both[0]} and {both[1]} are wanted.",
        remedy="State the one or the two.",
    )
    return False


class TurnoverAsked(Asked):
    reservoir_volume: QuantityTyped = Field(description="fluid in the reservoir", examples=["400 L"])
    turnovers_per_hour: Annotated[float, Field(gt=0, le=1e6)] | None = Field(
        None, description="how often an hour the filter is to pass it, or flow instead", examples=[6]
    )
    flow: QuantityTyped | None = Field(None, description='flow of the off-line filter: "40 L/min"')


class TurnoverAnswer(Calculated):
    """An off-line flow and how often an hour it passes the reservoir."""

    reservoir_volume: QuantityShown = Field(description="fluid in the reservoir")
    turnovers_per_hour: float = Field(description="how often an hour the flow passes it")
    flow: QuantityShown = Field(description="of the off-line filter")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        volume, flow = column("reservoir_volume", "volume", units), column("flow", "flow", units)
        names = (volume, *numbers("turnovers_per_hour"), flow)
        return Table(names, [(self.reservoir_volume.value, self.turnovers_per_hour, self.flow.value)])


def turnover(asked: TurnoverAsked, units: UnitSystem) -> TurnoverAnswer:
    fields = Fields()
    volume = fields.quantity("reservoir_volume", asked.reservoir_volume, "volume")
    flow = fields.quantity("flow", asked.flow, "flow")
    if (asked.turnovers_per_hour is None) == (asked.flow is None):
        fields.refuse(
            "turnovers_per_hour" if asked.flow is None else "flow",
            "Either turnovers or a flow is wanted.",
            remedy="State one of turnovers_per_hour and flow; the other is worked out.",
        )
    fields.check()
    if asked.turnovers_per_hour is not None:
        turns, flow = asked.turnovers_per_hour, turnover_flow_l_min(volume, asked.turnovers_per_hour)
    else:
        turns = turnovers_per_hour_of(flow, volume)
    return TurnoverAnswer(
        words=(
            f"{show(flow, 'flow', units)} passes {show(volume, 'volume', units)} {turns:.4g} "
            f"{'time' if turns == 1 else 'times'} an hour."
        ),
        reservoir_volume=shown_as(volume, "volume", units),
        turnovers_per_hour=tidy(turns),
        flow=shown_as(flow, "flow", units),
        notes=fields.notes,
        source=_BALANCE,
    )


class BreatherAsked(Asked):
    """By how much the oil in the reservoir changes, and how fast."""

    volume: QuantityTyped | None = Field(
        None, description="by which the reservoir's oil changes, or rod_diameter and stroke instead", examples=["6 L"]
    )
    time: QuantityTyped | None = Field(
        None, description="that the fastest such change takes, or cycles_per_minute instead", examples=["10 s"]
    )
    rod_diameter: QuantityTyped | None = Field(None, description='of the cylinder: "70 mm"; with stroke')
    stroke: QuantityTyped | None = Field(None, description='of the cylinder: "500 mm"')
    cylinders: Annotated[int, Field(ge=1, le=1000)] = Field(1, description="how many such cylinders move at once")
    cycles_per_minute: Annotated[float, Field(gt=0, le=1e6)] | None = Field(
        None, description="how often a minute the oil falls and rises"
    )


class BreatherAnswer(Calculated):
    """The air that a breather passes at the fastest change of level."""

    volume: QuantityShown = Field(description="by which the oil in the reservoir changes")
    air_flow: QuantityShown = Field(description="of air through the breather, at the reservoir's pressure")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        names = (column("volume", "volume", units), column("air_flow", "flow", units))
        return Table(names, [(self.volume.value, self.air_flow.value)])


def breather_air_flow(asked: BreatherAsked, units: UnitSystem) -> BreatherAnswer:
    fields = Fields()
    volume = _level_change_l(asked, fields)
    hours = fields.quantity("time", asked.time, "time")
    if (asked.time is None) == (asked.cycles_per_minute is None):
        fields.refuse(
            "time" if asked.time is None else "cycles_per_minute",
            "Either the time of the change or cycles are wanted.",
            remedy="State one of time and cycles_per_minute.",
        )
    fields.check()
    cautions, moved = [AIR_BESIDES], show(volume, "volume", units)
    if asked.cycles_per_minute is None:
        air = breather_air_flow_l_min(volume, hours * 60.0)
        words = f"While the oil changes by {moved} within {str(asked.time).strip()}, the breather passes"
    else:
        air = breather_air_flow_of_cycles_l_min(volume, asked.cycles_per_minute)
        often = f"{asked.cycles_per_minute:.4g} times a minute"
        words = f"While the oil falls and rises by {moved} {often}, the breather passes at least"
        cautions.insert(0, QUICKER_STROKE)
    return BreatherAnswer(
        words=f"{words} {show(air, 'flow', units)} of air.",
        volume=shown_as(volume, "volume", units),
        air_flow=shown_as(air, "flow", units),
        notes=fields.notes,
        cautions=cautions,
        source=_BALANCE,
    )


def _level_change_l(asked: BreatherAsked, fields: Fields) -> float:
    """A stated volume, or that of the rods that go in and out."""
    volume = fields.quantity("volume", asked.volume, "volume")
    rod = fields.quantity("rod_diameter", asked.rod_diameter, "length")
    stroke = fields.quantity("stroke", asked.stroke, "length")
    if not _one_or_both(asked, "volume", ("rod_diameter", "stroke"), fields):
        return _NAN
    if asked.volume is not None:
        if asked.cylinders != 1:
            fields.refuse("cylinders", "A stated volume is that of all cylinders.", remedy="State the measures of one.")
        return volume
    return _NAN if rod != rod or stroke != stroke else rod_volume_l(rod, stroke) * asked.cylinders


RETURN_FLOW = Calculation(
    key="return_flow",
    title="Return flow of a cylinder",
    help="The flow on the return line while a cylinder's rod goes in: that of the pump times the area ratio.",
    asked=ReturnFlowAsked,
    answer=ReturnFlowAnswer,
    compute=return_flow,
    typed=("pump_flow", "area_ratio"),
    source=_BALANCE,
)
TURNOVER = Calculation(
    key="turnover",
    title="Turnover of a reservoir",
    help="The flow of an off-line filter from the turnovers an hour that are wanted, or the turnovers from the flow.",
    asked=TurnoverAsked,
    answer=TurnoverAnswer,
    compute=turnover,
    typed=("reservoir_volume", "turnovers_per_hour"),
    source=_BALANCE,
)
BREATHER_AIR_FLOW = Calculation(
    key="breather_air_flow",
    title="Air flow of a breather",
    help="The air that a breather has to pass while the oil in the reservoir falls or rises.",
    asked=BreatherAsked,
    answer=BreatherAnswer,
    compute=breather_air_flow,
    typed=("volume",),
    source=_BALANCE,
)
