"""Viscosity of a hydraulic oil at a temperature, and the viscosity index."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from specdb.answers.shape import QuantityShown, tidy
from specdb.answers.tables import Table, column, numbers, whole_numbers
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
from specdb.duty.conditions import read_grade
from specdb.duty.points import Point, read_points
from specdb.duty.question import Text
from specdb.errors import ConditionsError, QuestionError
from specdb.trade.viscosity import grade_band, nu100_from_index, viscosity_at, viscosity_band_at
from specdb.trade.viscosity import viscosity_index as index_of
from specdb.units import UnitSystem, read_quantity, show

_AT_TEMPERATURE = (
    "ASTM D341 (temperature), ASTM D2270 (viscosity index), ISO 3448:1992 (grades: midpoint ± 10 % at 40 °C)"
)
_INDEX = "ASTM D2270"
_REFERENCE_DEGC = 40.0
_SAME_DEGC = 0.01
NEWTONIAN = (
    "The line serves oils that flow freely: not near or below the pour point, and not for oils with a high share of "
    "polymer at high shear (common practice)."
)


class ViscosityAsked(Asked):
    """A temperature, and what is known of the oil: a grade with its viscosity index, one point at 40 °C with it, or two
    points."""

    temperature: QuantityTyped = Field(description="temperature asked for", examples=["0 degC"])
    grade: Text | None = Field(
        None, description="ISO 3448 grade; with its viscosity index unless at 40 °C", examples=["ISO VG 46"]
    )
    viscosity_index: Annotated[float, Field(ge=0, le=400)] | None = Field(
        None, description="viscosity index, with a grade or with one point", examples=[100]
    )
    points: PointsTyped | None = Field(
        None, description='one point at 40 °C, or two: "46 mm2/s at 40 degC; 6.8 mm2/s at 100 degC"'
    )
    density: QuantityTyped | None = Field(None, description="density there, for the dynamic viscosity as well")


class ViscosityAnswer(Calculated):
    """Viscosity at a temperature; of a grade the middle, with the bounds that its tolerance leaves."""

    temperature: QuantityShown
    viscosity: QuantityShown
    viscosity_low: QuantityShown | None = Field(None, description="of a grade: the least that its band leaves")
    viscosity_high: QuantityShown | None = Field(None, description="of a grade: the greatest that its band leaves")
    dynamic_viscosity: QuantityShown | None = Field(None, description="viscosity times the stated density")

    def plain_table(self, units: UnitSystem = "si") -> Table:
        names = ("viscosity", "viscosity_low", "viscosity_high")
        shown = (self.viscosity, self.viscosity_low, self.viscosity_high, self.dynamic_viscosity)
        return Table(
            (
                column("temperature", "temperature", units),
                *(column(name, "viscosity", units) for name in names),
                *numbers("dynamic_viscosity_mpa_s"),
            ),
            [(self.temperature.value, *(None if q is None else q.value for q in shown))],
        )


_Band = tuple[float, float, float]


def viscosity(asked: ViscosityAsked, units: UnitSystem) -> ViscosityAnswer:
    fields = Fields()
    temperature = fields.quantity("temperature", asked.temperature, "temperature")
    density = fields.quantity("density", asked.density, "density")
    if (asked.grade is None) == (asked.points is None):
        fields.refuse(
            "grade" if asked.grade is not None else "points",
            "A grade or points make the line.",
            remedy="State either a grade, or one point at 40 °C or two points.",
        )
        fields.check()
    if asked.grade is not None:
        known, (low, middle, high) = _of_grade(asked.grade, asked.viscosity_index, temperature, fields)
    else:
        known, middle = _of_points(asked.points or "", asked.viscosity_index, temperature, fields)
        low = high = middle
    said = f"At {show(temperature, 'temperature', units)} {known} has {show(middle, 'viscosity', units)}"
    if low < high:
        said += f"; the grade's tolerance leaves {show(low, 'viscosity', units)} to {show(high, 'viscosity', units)}"
    return ViscosityAnswer(
        words=f"{said}.",
        temperature=shown_as(temperature, "temperature", units),
        viscosity=shown_as(middle, "viscosity", units),
        viscosity_low=shown_as(low, "viscosity", units) if low < high else None,
        viscosity_high=shown_as(high, "viscosity", units) if low < high else None,
        dynamic_viscosity=None
        if asked.density is None
        else QuantityShown(value=tidy(middle * density / 1000.0), unit="mPa·s"),
        notes=fields.notes,
        cautions=[NEWTONIAN],
        source=_AT_TEMPERATURE,
    )


def _of_grade(text: str, index: float | None, temperature: float, fields: Fields) -> tuple[str, _Band]:
    band: _Band = (float("nan"),) * 3
    number = 0
    with fields.at("grade"):
        number = read_grade(text)
        band = grade_band(number)
    if index is None and abs(temperature - _REFERENCE_DEGC) > _SAME_DEGC:
        fields.refuse(
            "viscosity_index",
            "A grade gives the viscosity at 40 °C only.",
            remedy="State viscosity_index, or two points instead of the grade.",
        )
    fields.check()
    if index is None:
        return f"ISO VG {number}", band
    with fields.at("viscosity_index"):
        nu100_from_index(band[0], index)
    fields.check()
    with fields.at("temperature"):
        band = viscosity_band_at(temperature, number, index)
    fields.check()
    return f"ISO VG {number} of viscosity index {index:g}", band


def _of_points(text: str, index: float | None, temperature: float, fields: Fields) -> tuple[str, float]:
    line: list[tuple[float, float]] = []
    with fields.at("points"):
        line = [_point(point, fields) for point in read_points(text, ("viscosity", "temperature"), ("density",))]
        if len(line) > 2:
            raise QuestionError("Two points make the line.", value=text, remedy="State the two furthest apart.")
        if len(line) == 1 and abs(line[0][1] - _REFERENCE_DEGC) > _SAME_DEGC:
            raise ConditionsError(
                "One point makes a line with a viscosity index only at 40 °C.",
                value=text,
                remedy="State the viscosity at 40 °C, or at two temperatures.",
            )
    if len(line) == 2 and index is not None:
        fields.refuse("viscosity_index", "Two points leave nothing to a viscosity index.", remedy="Leave it out.")
    if len(line) == 1 and index is None:
        fields.refuse("viscosity_index", "One point alone makes no line.", remedy="State it, or a second point.")
    fields.check()
    if index is not None:
        with fields.at("viscosity_index"):
            line.append((nu100_from_index(line[0][0], index), 100.0))
        fields.check()
    result = float("nan")
    (nu1, t1), (nu2, t2) = line
    with fields.at("points"):
        viscosity_at(t1, nu1, t1, nu2, t2)
    fields.check()
    with fields.at("temperature"):
        result = viscosity_at(temperature, nu1, t1, nu2, t2)
    fields.check()
    words = " and ".join(f"{nu:.4g} mm²/s at {t:.4g} °C" for nu, t in line[: 1 if index is not None else 2])
    return f"an oil of {words}" + ("" if index is None else f" and viscosity index {index:g}"), result


def _point(point: Point, fields: Fields) -> tuple[float, float]:
    texts = point.texts
    temperature = read_quantity(texts["temperature"], "temperature").value
    density = in_range(read_quantity(texts["density"], "density")) if "density" in texts else None
    quantity = read_quantity(texts["viscosity"], "viscosity", density_kg_m3=density, temperature_degc=temperature)
    if quantity.note:
        fields.notes.append(f"points: {quantity.note}")
    return in_range(quantity), temperature


class ViscosityIndexAsked(Asked):
    viscosity_40: QuantityTyped = Field(description="kinematic viscosity at 40 °C", examples=["73.30 mm2/s"])
    viscosity_100: QuantityTyped = Field(description="kinematic viscosity at 100 °C", examples=["8.86 mm2/s"])


class ViscosityIndexAnswer(Calculated):
    """How little the viscosity of an oil changes with temperature."""

    viscosity_index: float = Field(description="not rounded")
    reported: int = Field(description="rounded to a whole number, as it is reported")

    def plain_table(self, units: UnitSystem = "si") -> Table:  # noqa: ARG002 - an index has none
        columns = (*numbers("viscosity_index"), *whole_numbers("reported"))
        return Table(columns, [(self.viscosity_index, self.reported)])


def viscosity_index(asked: ViscosityIndexAsked, units: UnitSystem) -> ViscosityIndexAnswer:
    fields = Fields()
    at_40 = fields.quantity("viscosity_40", asked.viscosity_40, "viscosity", temperature_degc=40.0)
    at_100 = fields.quantity("viscosity_100", asked.viscosity_100, "viscosity", temperature_degc=100.0)
    fields.check()
    index = float("nan")
    with fields.at("viscosity_100"):
        index = index_of(at_40, at_100)
    fields.check()
    return ViscosityIndexAnswer(
        words=f"{show(at_40, 'viscosity', units)} at 40 °C and {show(at_100, 'viscosity', units)} at 100 °C make a "
        f"viscosity index of {round(index)}.",
        viscosity_index=index,
        reported=round(index),
        notes=fields.notes,
        source=_INDEX,
    )


VISCOSITY = Calculation(
    key="viscosity",
    title="Viscosity at a temperature",
    help="The viscosity of an oil at a temperature, from its grade and viscosity index or from one or two points.",
    asked=ViscosityAsked,
    answer=ViscosityAnswer,
    compute=viscosity,
    typed=("temperature",),
    source=_AT_TEMPERATURE,
)
VISCOSITY_INDEX = Calculation(
    key="viscosity_index",
    title="Viscosity index",
    help="The viscosity index of an oil from its viscosities at 40 and 100 °C.",
    asked=ViscosityIndexAsked,
    answer=ViscosityIndexAnswer,
    compute=viscosity_index,
    typed=("viscosity_40", "viscosity_100"),
    source=_INDEX,
)
