"""What may be asked, as it is typed: the duty, the original, and how much to answer.

Pydantic models; unknown fields are refused. A quantity is text with its unit or an object of value
and unit; both become text here, and :mod:`specdb.units` reads it when the duty is resolved.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationError,
    WithJsonSchema,
)
from pydantic_core import core_schema

from specdb.characteristics import (
    ATTRIBUTES,
    CAPACITY_BASES,
    CHARACTERISTICS,
    CONDITIONS,
    DROP_OF,
    FLUID_CLASSES,
    KINDS,
    SEALS,
    YES_NO,
)
from specdb.errors import QuestionError, shown

TEXT_AT_MOST = 200
_PRINTABLE = r"^[^\x00-\x1f\x7f]*$"
_CLOCK = r"[0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?(Z|[+-][0-9]{2}:[0-9]{2})?"
_REVISION_OR_TIME = rf"^ *([0-9]{{1,18}}|[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}([T ]{_CLOCK})?) *$"

UNIT_AT_MOST = 40

_TEXT_SCHEMA = {"type": "string", "minLength": 1, "maxLength": TEXT_AT_MOST, "pattern": _PRINTABLE}
_QUANTITY_SCHEMA = {
    "anyOf": [
        _TEXT_SCHEMA,
        {
            "type": "object",
            "properties": {
                "value": {"type": "number"},
                "unit": {"type": "string", "minLength": 1, "maxLength": UNIT_AT_MOST, "pattern": _PRINTABLE},
            },
            "required": ["value", "unit"],
            "additionalProperties": False,
        },
    ]
}


def _printable(text: str, at_most: int = TEXT_AT_MOST) -> str:
    if not 0 < len(text) <= at_most:
        raise ValueError(f"a text of 1 to {at_most} characters is expected")
    if any(ord(c) < 32 or ord(c) == 127 or 0xD800 <= ord(c) <= 0xDFFF for c in text):
        raise ValueError("control characters and broken Unicode are not accepted")
    return text


def _finite(number: object) -> bool:
    if isinstance(number, bool) or not isinstance(number, int | float):
        return False
    try:
        return math.isfinite(number)
    except OverflowError:
        return False


def _number_text(number: object) -> str:
    """A finite JSON number as typed; of an integer that no double holds, the nearest one that does."""
    return repr(float(number)) if isinstance(number, int) and abs(number) > 2**53 else repr(number)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError("a text is expected")
    return _printable(value)


def _quantity(value: object) -> str:
    if isinstance(value, str):
        return _printable(value)
    if isinstance(value, dict) and set(value) == {"value", "unit"} and isinstance(value["unit"], str):
        if not _finite(value["value"]):
            raise ValueError("value must be a finite number")
        return f"{_number_text(value['value'])} {_printable(value['unit'], UNIT_AT_MOST)}"
    if _finite(value):
        raise ValueError('a bare number has no unit; write a text such as "75 L/min" or {"value": 75, "unit": "L/min"}')
    raise ValueError('write a text such as "75 L/min" or {"value": 75, "unit": "L/min"}')


def _whole(value: object) -> object:
    """JSON knows one kind of number: 20.0 is as whole as 20. A text is none, and neither is ``true``."""
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value // 1:
        raise ValueError("a whole number is expected")
    return value


def _limit(value: object) -> str:
    return _number_text(value) if _finite(value) else _quantity(value)


Text = Annotated[str, BeforeValidator(_text), WithJsonSchema(_TEXT_SCHEMA)]
QuantityText = Annotated[str, BeforeValidator(_quantity), WithJsonSchema(_QUANTITY_SCHEMA)]
LimitText = Annotated[
    str, BeforeValidator(_limit), WithJsonSchema({"anyOf": [{"type": "number"}, *_QUANTITY_SCHEMA["anyOf"]]})
]
"""A limit: a plain number for ratios and cycles, else a quantity."""


def _as_of(value: object) -> str:
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value < 2**53 and value == value // 1:
        return str(int(value))
    return _text(value)


AsOfText = Annotated[
    str,
    BeforeValidator(_as_of),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "integer", "minimum": 0, "maximum": 2**53 - 1},
                {"type": "string", "maxLength": TEXT_AT_MOST, "pattern": _REVISION_OR_TIME},
            ]
        }
    ),
]
"""A revision number, a date or a time; which of them, and whether there was one, the store decides."""


@dataclass(frozen=True)
class OneOf:
    """A word of a list, read without regard to case."""

    words: tuple[str, ...]

    def read(self, value: object) -> str:
        known = {word.casefold(): word for word in self.words}
        word = known.get(_text(value).strip().casefold())
        if word is None:
            raise ValueError(f'"{shown(value)}" is none of {", ".join(self.words)}')
        return word

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self.read, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"type": "string", "enum": list(self.words)}


JUDGED = tuple(key for key, c in CHARACTERISTICS.items() if c.sense != "shown")
CharacteristicKey = Annotated[str, OneOf(JUDGED)]
YesNo = Annotated[str, OneOf(YES_NO)]


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid")


class RequirementAsked(Strict):
    """One requirement: a characteristic, at least one limit, and the conditions it holds at."""

    characteristic: CharacteristicKey
    at_least: LimitText | None = None
    at_most: LimitText | None = None
    size: QuantityText | None = Field(None, description='with its scale: "10 um(c)" or "10 um(acftd)"')
    flow: QuantityText | None = None
    viscosity: QuantityText | None = None
    density: QuantityText | None = None
    terminal_pressure_drop: QuantityText | None = None
    cycle_pressure: QuantityText | None = None
    test_liquid: Text | None = None
    drop_of: Annotated[str, OneOf(DROP_OF)] | None = None
    capacity_basis: Annotated[str, OneOf(CAPACITY_BASES)] | None = None
    standard: Text | None = None
    dust: Text | None = None
    allow: QuantityText | None = Field(None, description='share by which the limit is relaxed: "5 %"')

    def conditions(self) -> dict[str, str]:
        """Conditions that are stated, as typed."""
        return {name: value for name in CONDITIONS if (value := getattr(self, name, None)) is not None}


class FluidAsked(Strict):
    grade: Text | None = Field(None, description="ISO 3448 viscosity grade: ISO VG 46")
    viscosity_index: Annotated[float, Field(ge=0, le=400, allow_inf_nan=False, strict=True)] | None = None
    viscosity: QuantityText | None = Field(None, description="kinematic viscosity at the operating temperature")
    density: QuantityText | None = None
    fluid_class: Annotated[str, OneOf(FLUID_CLASSES)] | None = Field(None, alias="class")


class MeasureAsked(Strict):
    value: QuantityText
    tolerance: QuantityText | None = None


def _measure(value: object) -> object:
    if isinstance(value, dict) and "unit" not in value:
        return value
    return {"value": value}


Measure = Annotated[
    MeasureAsked,
    BeforeValidator(_measure),
    WithJsonSchema(
        {
            "anyOf": [
                *_QUANTITY_SCHEMA["anyOf"],
                {
                    "type": "object",
                    "properties": {
                        "value": _QUANTITY_SCHEMA,
                        "tolerance": {"anyOf": [*_QUANTITY_SCHEMA["anyOf"], {"type": "null"}]},
                    },
                    "required": ["value"],
                    "additionalProperties": False,
                },
            ]
        }
    ),
]


class FitAsked(Strict):
    kind: Annotated[str, OneOf(KINDS)] | None = None
    thread: Text | None = None
    seal: Annotated[str, OneOf(SEALS)] | None = None
    seal_type: Annotated[str, OneOf(ATTRIBUTES["seal_type"].choices)] | None = None
    end_form: Annotated[str, OneOf(ATTRIBUTES["end_form"].choices)] | None = None
    flow_direction: Annotated[str, OneOf(ATTRIBUTES["flow_direction"].choices)] | None = None
    core: Annotated[str, OneOf(ATTRIBUTES["core"].choices)] | None = None
    bypass_valve: YesNo | None = None
    anti_drain_back: YesNo | None = None
    outside_diameter: Measure | None = None
    inside_diameter: Measure | None = None
    second_inside_diameter: Measure | None = None
    length: Measure | None = None
    gasket_outside_diameter: Measure | None = None
    gasket_inside_diameter: Measure | None = None
    clearance: QuantityText | None = Field(None, description="room around a spin-on beyond the original's measures")


def _share(default: str) -> Any:
    """A share in percent; ``true`` is the customary one."""

    def read(value: object) -> str | None:
        if isinstance(value, bool):
            return default if value else None
        return None if value is None else _quantity(value)

    return BeforeValidator(read)


_SHARE_SCHEMA = WithJsonSchema({"anyOf": [{"type": "boolean"}, {"type": "null"}, *_QUANTITY_SCHEMA["anyOf"]]})


def _scale(value: object) -> object:
    return "c" if value is True else None if value is False else value


class AssumptionsAsked(Strict):
    """What to take for granted beyond proof. Shares are written with their unit: "15 %"."""

    unstated_conditions_match: bool = Field(False, strict=True)
    about_within: Annotated[str | None, _share("15 %"), _SHARE_SCHEMA] = None
    viscous_share_at_least: Annotated[str | None, _share("70 %"), _SHARE_SCHEMA] = None
    converted_sizes_count: bool = Field(False, strict=True)
    bare_size_is: Annotated[
        Annotated[str, OneOf(("c", "acftd"))] | None,
        BeforeValidator(_scale),
        WithJsonSchema({"anyOf": [{"type": "string", "enum": ["c", "acftd"]}, {"type": "boolean"}, {"type": "null"}]}),
    ] = None


def _assumptions(value: object) -> object:
    """``"customary"`` is all of them at their defaults; a list of names is each of those at its default."""
    if isinstance(value, str):
        if value not in ("customary", "none"):
            raise ValueError('"customary", "none", a list of names or an object of names and values is expected')
        value = list(AssumptionsAsked.model_fields) if value == "customary" else []
    if isinstance(value, list):
        if not all(isinstance(name, str) for name in value):
            raise ValueError("a list of names of assumptions is expected")
        return dict.fromkeys(value, True)
    return value


class DutyAsked(Strict):
    """The duty. Everything is optional; what is not stated is not asked, or follows from the original."""

    flow: QuantityText | None = Field(None, description="flow through the filter")
    fluid: FluidAsked = FluidAsked()
    operating_temperature: QuantityText | None = None
    cold_start_temperature: QuantityText | None = None
    working_pressure: QuantityText | None = None
    bypass_cracking_pressure: QuantityText | None = None
    location: (
        Annotated[
            str,
            OneOf(
                (
                    "suction",
                    "pressure",
                    "return",
                    "off-line",
                    "breather",
                )
            ),
        ]
        | None
    ) = None
    require: Annotated[list[RequirementAsked], Field(max_length=16)] = []
    fit: FitAsked = FitAsked()
    assumptions: Annotated[
        AssumptionsAsked,
        BeforeValidator(_assumptions),
        WithJsonSchema(
            {
                "anyOf": [
                    {"type": "string", "enum": ["customary", "none"]},
                    {"type": "array", "items": {"type": "string", "enum": list(AssumptionsAsked.model_fields)}},
                    AssumptionsAsked.model_json_schema(),
                ]
            }
        ),
    ] = AssumptionsAsked()


class OriginalAsked(Strict):
    number: Text
    maker: Text | None = None
    allow: QuantityText | None = Field(None, description='share by which what is taken from it is relaxed: "5 %"')


class Question(Strict):
    """Which elements serve this duty, or may stand in for this original?"""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "duty": {
                        "flow": "75 L/min",
                        "bypass_cracking_pressure": "170 kPa",
                        "require": [
                            {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"},
                            {"characteristic": "retained_capacity", "at_least": {"value": 60, "unit": "g"}},
                        ],
                        "assumptions": "customary",
                    },
                    "limit": 5,
                }
            ]
        }
    )

    original: OriginalAsked | None = None
    duty: DutyAsked = DutyAsked()
    limit: Annotated[int, Field(ge=1, le=500), BeforeValidator(_whole)] = 20
    include_without_evidence: Annotated[bool, Field(strict=True)] = False
    as_of: AsOfText | None = Field(None, description="a revision number or a date: the catalogue as it was then")


def known_fields(place: Sequence[object]) -> tuple[str, ...]:
    """Names of the fields that may stand at a place of a question, such as ("duty", "require", 0)."""
    models: dict[tuple[object, ...], type[BaseModel]] = {
        (): Question,
        ("original",): OriginalAsked,
        ("duty",): DutyAsked,
        ("duty", "fluid"): FluidAsked,
        ("duty", "fit"): FitAsked,
        ("duty", "assumptions"): AssumptionsAsked,
        ("duty", "require"): RequirementAsked,
    }
    model = models.get(tuple(part for part in place if not isinstance(part, int)), MeasureAsked)
    return tuple(field.alias or name for name, field in model.model_fields.items())


def read_question(asked: object) -> Question:
    """A question from plain data. Raises InputError that names every faulty field."""
    try:
        return Question.model_validate(asked)
    except ValidationError as error:
        faults = [
            QuestionError(
                "There is no such field." if e["type"] == "extra_forbidden" else e["msg"].removeprefix("Value error, "),
                field=".".join(shown(str(part)) for part in e["loc"]),
                remedy=f"Known are {', '.join(known_fields(e['loc'][:-1]))}."
                if e["type"] == "extra_forbidden"
                else None,
            )
            for e in error.errors()
        ]
        raise QuestionError.of(faults) from None
