"""Clean pressure drop at other conditions, from the stated points of one test."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from specdb.amounts import span
from specdb.answers.shape import QuantityShown, quantity
from specdb.answers.tables import Table, column
from specdb.bounds import BoolArray, FloatArray
from specdb.calculations.base import (
    Asked,
    Calculated,
    Calculation,
    Fields,
    PointsTyped,
    QuantityTyped,
    in_range,
    shown_as,
)
from specdb.characteristics import DROP_OF
from specdb.criteria.clean_pressure_drop import BAND_AT_LEAST
from specdb.criteria.evidence import SAME_POINT, near
from specdb.duty.points import Point, read_points
from specdb.duty.question import OneOf
from specdb.errors import ConditionsError, QuestionError
from specdb.trade.pressure_drop import drop_bounds, drop_estimate
from specdb.units import UnitSystem, read_quantity, show

_SOURCE = (
    "two-term (Forchheimer) law, drop = a·viscosity·density·flow + b·density·flow² (A. Lorenzi, Meccanica, 1975); "
    "bounds over all a and b that the points leave, each known to its printed digits and at best to 2 % (ours)"
)
NO_PROOF = "The estimate is no proof; only the bounds are shown by the points."


class PressureDropAsked(Asked):
    """Points of one test of one element or assembly, clean, and the conditions asked for."""

    flow: QuantityTyped = Field(description="flow asked for", examples=["100 L/min"])
    viscosity: QuantityTyped = Field(description="viscosity asked for", examples=["46 mm2/s"])
    points: PointsTyped = Field(
        description='drop, flow and viscosity of each point, perhaps density; a drop may be "<= 25 kPa", ">= 25 kPa" '
        'or "about 25 kPa"',
        examples=["25 kPa at 75 L/min, 32 mm2/s; 48 kPa at 120 L/min, 32 mm2/s"],
    )
    density: QuantityTyped | None = Field(None, description="density asked for, where the points state theirs")
    drop_of: Annotated[str, OneOf(DROP_OF)] | None = Field(
        None, description="what was tested: settles how a single point is estimated from"
    )
    viscous_share_at_least: QuantityTyped | None = Field(
        None, description='assume that at each point of an element at least this share is viscous: "70 %"'
    )


class PressureDropAnswer(Calculated):
    """What the points show of the drop at the conditions asked for."""

    flow: QuantityShown
    viscosity: QuantityShown
    drop_low: QuantityShown | None = Field(description="least drop that the points leave possible; null for none")
    drop_high: QuantityShown | None = Field(description="greatest drop that they leave possible; null for no upper end")
    estimate: QuantityShown = Field(description="best estimate; it proves nothing")
    basis: Literal["as_stated", "from_curve"] = Field(description="whether a bound is a point as stated")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        drops = (self.drop_low, self.drop_high, self.estimate)
        return Table(
            (
                *(column("flow", "flow", units), column("viscosity", "viscosity", units)),
                *(column(name, "pressure", units) for name in ("drop_low", "drop_high", "estimate")),
                "basis",
            ),
            [
                (
                    *(self.flow.value, self.viscosity.value),
                    *(None if drop is None else drop.value for drop in drops),
                    self.basis,
                )
            ],
        )


@dataclass(frozen=True)
class _Test:
    """The points, each array (points,); ``density`` is all NaN or all stated."""

    drop: FloatArray
    resolution: FloatArray
    flow: FloatArray
    viscosity: FloatArray
    density: FloatArray
    qualifier: list[str]

    def is_(self, *qualifiers: str) -> BoolArray:
        return np.array([qualifier in qualifiers for qualifier in self.qualifier])


def pressure_drop(asked: PressureDropAsked, units: UnitSystem) -> PressureDropAnswer:
    fields = Fields()
    density = None if asked.density is None else fields.quantity("density", asked.density, "density")
    flow = fields.quantity("flow", asked.flow, "flow")
    viscosity = fields.quantity("viscosity", asked.viscosity, "viscosity", density_kg_m3=density)
    share = _share(asked, fields)
    test: _Test | None = None
    with fields.at("points"):
        test = _test(asked.points, fields)
    if test is not None:
        density = _density(asked.density, density, test, fields)
    fields.check()
    assert test is not None
    assert density is not None
    own_density = np.where(np.isnan(test.density), 1.0, test.density)
    x, y = test.viscosity * own_density * test.flow, own_density * test.flow**2
    target = viscosity * density * flow, density * flow**2
    here = near(test.flow, flow, SAME_POINT) & near(test.viscosity, viscosity, SAME_POINT)
    here &= near(own_density, density, SAME_POINT)
    with fields.at("points"):
        low, high, as_stated = _bounds(test, x, y, target, here, share, fields)
    fields.check()
    fitted = _estimate(test, x, y, target, here, "viscous" if asked.drop_of == "element" else "worse")
    estimate = min(max(fitted, low), high)  # what is proven holds for the estimate too
    conditions = f"{show(flow, 'flow', units)} and {show(viscosity, 'viscosity', units)}"
    bounded = np.isfinite(low) or np.isfinite(high)
    shown = f"is {span(low, high, 'pressure', units)} by the points stated" if bounded else "has no proven bound"
    return PressureDropAnswer(
        words=f"At {conditions} the clean pressure drop {shown}; best estimate {show(estimate, 'pressure', units)}.",
        flow=shown_as(flow, "flow", units),
        viscosity=shown_as(viscosity, "viscosity", units),
        drop_low=quantity(low if np.isfinite(low) else None, "pressure", units),
        drop_high=quantity(high if np.isfinite(high) else None, "pressure", units),
        estimate=shown_as(estimate, "pressure", units),
        basis="as_stated" if as_stated else "from_curve",
        notes=fields.notes,
        cautions=[NO_PROOF],
        source=_SOURCE,
    )


def _share(asked: PressureDropAsked, fields: Fields) -> float | None:
    if asked.viscous_share_at_least is None:
        return None
    with fields.at("viscous_share_at_least"):
        percent = read_quantity(asked.viscous_share_at_least, "percent").value
        if not 0 <= percent <= 100:
            raise QuestionError("A share lies from 0 to 100 %.", value=asked.viscous_share_at_least)
        if asked.drop_of != "element":
            raise QuestionError(
                "This is assumed of an element only.", value=asked.viscous_share_at_least, remedy="Say drop_of element."
            )
        return percent / 100.0
    return None


def _test(text: str, fields: Fields) -> _Test:
    points = read_points(text, ("pressure", "flow", "viscosity"), ("density", "temperature"), qualified="pressure")
    rows = [_row(point, fields) for point in points]
    drop, resolution, flow, viscosity, density = np.array(rows, dtype=np.float64).T
    stated = density[~np.isnan(density)]
    if len(stated):
        # One test is run in one oil: what one of its points states of density holds for those that state none.
        density = np.where(np.isnan(density), stated[0], density)
    return _Test(drop, resolution, flow, viscosity, density, [point.qualifier for point in points])


def _row(point: Point, fields: Fields) -> tuple[float, float, float, float, float]:
    texts = point.texts
    drop, flow = read_quantity(texts["pressure"], "pressure"), read_quantity(texts["flow"], "flow")
    density = in_range(read_quantity(texts["density"], "density")) if "density" in texts else None
    at_degc = read_quantity(texts["temperature"], "temperature").value if "temperature" in texts else None
    viscosity = read_quantity(texts["viscosity"], "viscosity", density_kg_m3=density, temperature_degc=at_degc)
    if at_degc is not None and viscosity.unit != "SUS":
        raise point.fault("a temperature goes with Saybolt seconds only.", "State the viscosity, and no temperature.")
    for note in (f"points: {read.note}" for read in (flow, viscosity) if read.note):
        if note not in fields.notes:
            fields.notes.append(note)
    return (
        *(in_range(drop), drop.resolution, in_range(flow), in_range(viscosity)),
        float("nan") if density is None else density,
    )


def _density(text: str | None, asked: float | None, test: _Test, fields: Fields) -> float:
    """The density asked for: stated, or that of the test; 1 where neither side states one, so that it cancels."""
    if np.isnan(test.density[0]):
        if text is not None:
            fields.refuse(
                "density",
                "The points state no density to compare with.",
                value=text,
                remedy="State it in a point, or leave it out: one density on both sides cancels.",
            )
        return 1.0
    if asked is not None:
        return asked
    if not np.all(near(test.density, float(test.density[0]), SAME_POINT)):
        fields.refuse("density", "The points state different densities.", remedy="State the one asked for.")
    return float(test.density[0])


def _bounds(
    test: _Test,
    x: FloatArray,
    y: FloatArray,
    target: tuple[float, float],
    here: BoolArray,
    share: float | None,
    fields: Fields,
) -> tuple[float, float, bool]:
    """Least and greatest drop that the points leave, and whether one of them is a point as stated."""
    proves = test.is_("equal", "at_least"), test.is_("equal", "at_most")
    band = np.where(test.is_("equal"), np.maximum(test.resolution / 2, BAND_AT_LEAST * test.drop), 0.0)
    sides = np.where(proves[0], test.drop - band, -np.inf), np.where(proves[1], test.drop + band, np.inf)

    def bounds(shares: FloatArray | None) -> tuple[float, float, bool]:
        (x_target, y_target), (low, high) = target, sides
        found = drop_bounds([x], [y], [low], [high], x_target, x_target, y_target, y_target, shares)
        return float(found[0][0]), float(found[1][0]), bool(found[2][0])

    least, most, empty = bounds(None)
    if empty:
        raise ConditionsError(
            "No element drops like this: the points contradict each other.",
            remedy="Check the points; they must be of one test, clean, each with its own flow and viscosity.",
        )
    if not (proves[0] | proves[1]).any():
        least = -np.inf  # that a drop is not negative is no evidence
    elif share is not None:
        shared_least, shared_most, contradicts = bounds(np.where(proves[0] | proves[1], share, np.nan)[np.newaxis, :])
        if contradicts:
            fields.notes.append("viscous_share_at_least: the points rule this out; it was left aside.")
        else:
            least, most = shared_least, shared_most
    stated_low = float(np.where(here & proves[0], test.drop, -np.inf).max())
    stated_high = float(np.where(here & proves[1], test.drop, np.inf).min())
    measured = np.isfinite(stated_low) and np.isfinite(stated_high)
    low = stated_low if measured or stated_low >= least * (1 - 1e-9) else least
    high = stated_high if measured or stated_high <= most * (1 + 1e-9) else most
    as_stated = (np.isfinite(low) and low == stated_low) or (np.isfinite(high) and high == stated_high)
    # Two printings of one value can put the lower bound a hair above the upper one.
    return min(low, high), max(low, high), bool(as_stated)


def _estimate(
    test: _Test,
    x: FloatArray,
    y: FloatArray,
    target: tuple[float, float],
    here: BoolArray,
    single_point_rule: str,
) -> float:
    told = here & test.is_("equal", "about")
    if told.any():
        return float(test.drop[told].max())
    return float(drop_estimate([x], [y], [test.drop], target[0], target[1], single_point_rule)[0])


PRESSURE_DROP = Calculation(
    key="pressure_drop",
    title="Clean pressure drop at other conditions",
    help="What the stated points of one clean drop test show of the drop at another flow and viscosity.",
    asked=PressureDropAsked,
    answer=PressureDropAnswer,
    compute=pressure_drop,
    typed=(),
    source=_SOURCE,
)
