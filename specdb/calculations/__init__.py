"""The trade's small sums, asked and answered as data: one registry for the library, the API and the command line.

They read no catalogue. Each is a :class:`Calculation`; :func:`calculate` asks one by its key.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import Field, ValidationError

from specdb.answers.shape import METHOD_VERSION, Answer, WithTable
from specdb.answers.tables import Table, yes_or_no
from specdb.calculations.base import Asked, Calculated, Calculation
from specdb.calculations.bubble_point import BUBBLE_PRESSURE, PORE_SIZE
from specdb.calculations.circuit_flows import BREATHER_AIR_FLOW, RETURN_FLOW, TURNOVER
from specdb.calculations.circuit_pressures import ELEMENT_PRESSURE, SUCTION_DROP
from specdb.calculations.cleanliness import CLEANLINESS_CODE
from specdb.calculations.cleanliness_classes import CLEANLINESS_CLASS
from specdb.calculations.contamination import ATTAINABLE_CLEANLINESS, REQUIRED_RATIO
from specdb.calculations.conversion import CONVERT
from specdb.calculations.filtration import EFFICIENCY, FILTRATION_RATIO, RATIO_AT_SIZE, SIZE_AT_RATIO
from specdb.calculations.fluids import COMPATIBILITY, DENSITY
from specdb.calculations.pressure_classes import PRESSURE_CLASS
from specdb.calculations.pressure_drop import PRESSURE_DROP
from specdb.calculations.service_life import SERVICE_INTERVAL
from specdb.calculations.sizes import SIZE_SCALE
from specdb.calculations.viscosity import VISCOSITY, VISCOSITY_INDEX
from specdb.errors import QuestionError, in_plain_words, shown
from specdb.units import UnitSystem

__all__ = [
    "CALCULATIONS",
    "Asked",
    "Calculated",
    "Calculation",
    "CalculationsAnswer",
    "calculate",
    "calculations",
    "read_asked",
]

CALCULATIONS: Mapping[str, Calculation] = {
    calculation.key: calculation
    for calculation in (
        EFFICIENCY,
        FILTRATION_RATIO,
        RATIO_AT_SIZE,
        SIZE_AT_RATIO,
        SIZE_SCALE,
        CLEANLINESS_CODE,
        CLEANLINESS_CLASS,
        REQUIRED_RATIO,
        ATTAINABLE_CLEANLINESS,
        VISCOSITY,
        VISCOSITY_INDEX,
        DENSITY,
        COMPATIBILITY,
        PRESSURE_DROP,
        PORE_SIZE,
        BUBBLE_PRESSURE,
        PRESSURE_CLASS,
        RETURN_FLOW,
        TURNOVER,
        ELEMENT_PRESSURE,
        SUCTION_DROP,
        BREATHER_AIR_FLOW,
        SERVICE_INTERVAL,
        CONVERT,
    )
}
"""Key: the calculation."""


def calculate(key: str, asked: Mapping[str, Any], units: UnitSystem = "si") -> Calculated:
    """Answer the calculation ``key`` ("cleanliness_code"; dashes serve too) for the fields ``asked``.

    Raises InputError that names every faulty field, QuestionError for a key that is none.
    """
    calculation = CALCULATIONS.get(key.replace("-", "_"))
    if calculation is None:
        raise QuestionError(
            "There is no such calculation.",
            value=key,
            remedy=f"There are {', '.join(known.name for known in CALCULATIONS.values())}.",
        )
    return calculation.compute(read_asked(calculation, asked), units)


def read_asked(calculation: Calculation, asked: Mapping[str, Any]) -> Asked:
    """The fields of a question from plain data. Raises QuestionError that names every faulty field."""
    try:
        return calculation.asked.model_validate(dict(asked))
    except ValidationError as error:
        known = f"Known are {', '.join(calculation.asked.model_fields)}."
        faults = [_fault(e, known) for e in error.errors()]
        raise QuestionError.of(faults) from None


def _fault(error: Any, known: str) -> QuestionError:
    field = ".".join(shown(str(part)) for part in error["loc"])
    if error["type"] == "extra_forbidden":
        return QuestionError("There is no such field.", field=field, remedy=known)
    if error["type"] == "missing":
        return QuestionError("This is needed.", field=field)
    return QuestionError(in_plain_words(error["type"], error["msg"]), field=field)


class FieldShown(Answer):
    name: str
    needed: bool
    description: str


class CalculationShown(Answer):
    key: str
    name: str = Field(description="as people type it, and as its address ends")
    title: str
    help: str
    fields: list[FieldShown]
    example: dict[str, str]
    source: str


class CalculationsAnswer(WithTable):
    """The calculations that there are."""

    method_version: str = METHOD_VERSION
    calculations: list[CalculationShown]

    def plain_table(self, units: UnitSystem = "si") -> Table:  # noqa: ARG002 - there are none
        """One row for each field of each calculation."""
        return Table(
            ("name", "title", "field", *yes_or_no("needed"), "description", "example", "source"),
            [
                (c.name, c.title, f.name, f.needed, f.description, c.example.get(f.name), c.source)
                for c in self.calculations
                for f in c.fields
            ],
        )


def calculations() -> CalculationsAnswer:
    """What may be asked of each calculation."""
    return CalculationsAnswer(
        calculations=[
            CalculationShown(
                key=c.key,
                name=c.name,
                title=c.title,
                help=c.help,
                fields=[
                    FieldShown(name=name, needed=field.is_required(), description=field.description or "")
                    for name, field in c.asked.model_fields.items()
                ],
                example=dict(c.example),
                source=c.source,
            )
            for c in CALCULATIONS.values()
        ]
    )
