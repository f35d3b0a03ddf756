"""What may be asked, as it is typed: the duty, the original, and how much to answer.

Pydantic models; unknown fields are refused. A quantity is text with its unit or an object of value
and unit; both become text here, and :mod:`specdb.units` reads it when the duty is resolved.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from specdb.characteristics import (
    CAPACITY_BASES,
    CHARACTERISTICS,
    CONDITIONS,
    DROP_OF,
    FLUID_CLASSES,
    KINDS,
    SEALS,
    YES_NO,
    ATTRIBUTES,
)

TEXT_AT_MOST = 200
_PRINTABLE = r"^[^\x00-\x1f\x7f]*$"

_TEXT_SCHEMA = {"type": "string", "minLength": 1, "maxLength": TEXT_AT_MOST, "pattern": _PRINTABLE}
_QUANTITY_SCHEMA = {
    "anyOf": [
        _TEXT_SCHEMA,
        {
            "type": "object",
            "properties": {
                "value": {"type": "number"},
                "unit": {"type": "string", "maxLength": 40, "pattern": _PRINTABLE},
            },
            "required": ["value", "unit"],
            "additionalProperties": False,
        },
    ]
}


def _printable(text: str) -> str:
    if not 0 < len(text) <= TEXT_AT_MOST:
        raise ValueError(f"a text of 1 to {TEXT_AT_MOST} characters is expected")
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
        return _printable(f"{value['value']!r} {value['unit']}")
    if _finite(value):
        raise ValueError('a bare number has no unit; write a text such as "75 L/min" or {"value": 75, "unit": "L/min"}')
    raise ValueError('write a text such as "75 L/min" or {"value": 75, "unit": "L/min"}')


def _limit(value: object) -> str:
    return _printable(repr(value)) if _finite(value) else _quantity(value)


Text = Annotated[str, BeforeValidator(_text), WithJsonSchema(_TEXT_SCHEMA)]
QuantityText = Annotated[str, BeforeValidator(_quantity), WithJsonSchema(_QUANTITY_SCHEMA)]
LimitText = Annotated[
    str, BeforeValidator(_limit), WithJsonSchema({"anyOf": [{"type": "number"}, *_QUANTITY_SCHEMA["anyOf"]]})
]
"""A limit: a plain number for ratios and cycles, else a quantity."""


def _one_of(*words: str) -> Any:
    """A word of a list, read without regard to case."""
    known = {word.casefold(): word for word in words}

    def read(value: object) -> str:
        word = known.get(_text(value).strip().casefold())
        if word is None:
            raise ValueError(f"one of {', '.join(words)} is expected")
        return word

    return Annotated[str, BeforeValidator(read), WithJsonSchema({"type": "string", "enum": list(words)})]


JUDGED = tuple(key for key, c in CHARACTERISTICS.items() if c.sense != "shown")
CharacteristicKey = _one_of(*JUDGED)
YesNo = _one_of(*YES_NO)


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
    drop_of: _one_of(*DROP_OF) | None = None  # type: ignore[valid-type]
    capacity_basis: _one_of(*CAPACITY_BASES) | None = None  # type: ignore[valid-type]
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
    fluid_class: _one_of(*FLUID_CLASSES) | None = Field(None, alias="class")  # type: ignore[valid-type]


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
                    "properties": {"value": _QUANTITY_SCHEMA, "tolerance": _QUANTITY_SCHEMA},
                    "required": ["value"],
                    "additionalProperties": False,
                },
            ]
        }
    ),
]


class FitAsked(Strict):
    kind: _one_of(*KINDS) | None = None  # type: ignore[valid-type]
    thread: Text | None = None
    seal: _one_of(*SEALS) | None = None  # type: ignore[valid-type]
    seal_type: _one_of(*ATTRIBUTES["seal_type"].choices) | None = None  # type: ignore[valid-type]
    end_form: _one_of(*ATTRIBUTES["end_form"].choices) | None = None  # type: ignore[valid-type]
    flow_direction: _one_of(*ATTRIBUTES["flow_direction"].choices) | None = None  # type: ignore[valid-type]
    core: _one_of(*ATTRIBUTES["core"].choices) | None = None  # type: ignore[valid-type]
    bypass_valve: YesNo | None = None
    anti_drain_back: YesNo | None = None
    outside_diameter: Measure | None = None
    inside_diameter: Measure | None = None
    second_inside_diameter: Measure | None = None
    length: Measure | None = None
    gasket_outside_diameter: Measure | None = None
    gasket_inside_diameter: Measure | None = None
    clearance: QuantityText | None = Field(None, description="room around a spin-on beyond the original's measures")


class AssumptionsAsked(Strict):
    unstated_conditions_match: bool | None = Field(None, strict=True)
    about_within: bool | QuantityText | None = None
    viscous_share_at_least: bool | QuantityText | None = None
    converted_sizes_count: bool | None = Field(None, strict=True)
    bare_size_is: _one_of("c", "acftd") | None = None  # type: ignore[valid-type]


def _assumptions(value: object) -> object:
    """A list of names is each of them at its default."""
    if isinstance(value, list):
        if not all(isinstance(name, str) for name in value):
            raise ValueError("a list of names of assumptions is expected")
        return {name: "c" if name == "bare_size_is" else True for name in value}
    return value


class DutyAsked(Strict):
    """The duty. Everything is optional; what is not stated is not asked, or follows from the original."""

    flow: QuantityText | None = Field(None, description="flow through the filter")
    fluid: FluidAsked = FluidAsked()
    operating_temperature: QuantityText | None = None
    cold_start_temperature: QuantityText | None = None
    working_pressure: QuantityText | None = None
    bypass_cracking_pressure: QuantityText | None = None
    location: _one_of("suction", "pressure", "return", "off-line", "breather") | None = None  # type: ignore[valid-type]
    require: Annotated[list[RequirementAsked], Field(max_length=16)] = []
    fit: FitAsked = FitAsked()
    assumptions: Annotated[
        Literal["customary", "none"] | AssumptionsAsked,
        BeforeValidator(_assumptions),
        WithJsonSchema(
            {
                "anyOf": [
                    {"type": "string", "enum": ["customary", "none"]},
                    {"type": "array", "items": {"type": "string", "enum": list(AssumptionsAsked.model_fields)}},
                    {"$ref": "#/components/schemas/AssumptionsAsked"},
                ]
            }
        ),
    ] = "none"


class OriginalAsked(Strict):
    number: Text
    maker: Text | None = None


class Question(Strict):
    """Which elements serve this duty, or may stand in for this original?"""

    original: OriginalAsked | None = None
    duty: DutyAsked = DutyAsked()
    limit: Annotated[int, Field(ge=1, le=500, strict=True)] = 20
    include_without_evidence: Annotated[bool, Field(strict=True)] = False
    as_of: Text | None = Field(None, description="a revision number or a date: the catalogue as it was then")
