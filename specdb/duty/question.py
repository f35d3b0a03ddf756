"""What may be asked, as it is typed: the duty, the original, and how much to answer.

Pydantic models; unknown fields are refused. A quantity is text with its unit or an object of value
and unit; both become text here, and :mod:`specdb.units` reads it when the duty is resolved.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar, get_args, get_origin

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    ValidationError,
    WithJsonSchema,
    model_validator,
)
from pydantic_core import core_schema
from typing_extensions import override

from specdb.characteristics import (
    ATTRIBUTES,
    BYPASSES,
    CAPACITY_BASES,
    CHARACTERISTICS,
    CONDITIONS,
    DROP_OF,
    FLUID_CLASSES,
    KINDS,
    LOCATIONS,
    SEALS,
    YES_NO,
)
from specdb.duty.rules import RULES, SIDES
from specdb.errors import QuantityError, QuestionError, SpecdbError, in_plain_words, meant_by, object_wanted, shown
from specdb.trade.contamination import ENVIRONMENTS
from specdb.units import read_number, show
from specdb.vocabulary import characteristics_meant, meant_of

TEXT_AT_MOST = 200
_PRINTABLE = r"^[^\x00-\x1f\x7f]*$"
_CLOCK = r"[0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?(Z|[+-][0-9]{2}:[0-9]{2})?"
_REVISION_OR_TIME = rf"^ *([0-9]{{1,18}}|[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}([T ]{_CLOCK})?) *$"

ELEMENT_ID = "^[0-9a-f]{16}$"

UNIT_AT_MOST = 40
MOST_REQUIREMENTS = 16
MOST_COMPARED = 20
MOST_PRICES = 20
PRICES_AT_MOST = 2000

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


def text_of(value: object) -> str:
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


def _plain_number(value: object) -> object:
    """A number as it is; of a text, what is wrong with it: an address and a command line have read theirs before."""
    if isinstance(value, str):
        try:
            number = read_number(value).value
        except QuantityError as error:
            raise ValueError(str(error)) from None
        raise ValueError(f"a plain number is expected, not a text: {number:.10g}, without quotes")
    return value


_PLAIN = BeforeValidator(_plain_number)


def _whole(value: object) -> object:
    """JSON knows one kind of number: 20.0 is as whole as 20. A text is none, and neither is ``true``."""
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value // 1:
        raise ValueError("a whole number is expected")
    return value


def _limit(value: object) -> str:
    return _number_text(value) if _finite(value) else _quantity(value)


Text = Annotated[str, BeforeValidator(text_of), WithJsonSchema(_TEXT_SCHEMA)]
ElementId = Annotated[str, Field(pattern=ELEMENT_ID)]
QuantityText = Annotated[str, BeforeValidator(_quantity), WithJsonSchema(_QUANTITY_SCHEMA)]
LimitText = Annotated[
    str, BeforeValidator(_limit), WithJsonSchema({"anyOf": [{"type": "number"}, *_QUANTITY_SCHEMA["anyOf"]]})
]
"""A limit: a plain number for ratios and cycles, else a quantity."""


def _as_of(value: object) -> str:
    if isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value < 2**53 and value == value // 1:
        return str(int(value))
    return text_of(value)


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


def _joined(word: str) -> str:
    return re.sub(r"[\s_-]+", "", word.casefold())


@dataclass(frozen=True)
class OneOf:
    """A word of a list, read without regard to case, blanks and hyphens: "offline" is "off-line"."""

    words: tuple[str, ...]

    def read(self, value: object) -> str:
        if not isinstance(value, str):
            raise ValueError(f"one of {', '.join(self.words)} is expected")
        known = {_joined(word): word for word in self.words}
        word = known.get(_joined(text_of(value)))
        if word is None:
            raise ValueError(self._refusal(value))
        return word

    def _refusal(self, value: str) -> str:
        listed, meant = ", ".join(self.words), meant_of(value, self.words)
        return f'"{shown(value)}" is not one of {listed}' + (f". {meant}" if meant else "")

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self.read, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"type": "string", "enum": list(self.words)}


class OneOfTheCharacteristics(OneOf):
    """The same of characteristics, which are many: what may be meant is told before all that there are."""

    @override
    def _refusal(self, value: str) -> str:
        meant = [key for key in characteristics_meant(value) if key in self.words]
        asked = f"Is {' or '.join(meant)} meant? " if meant else ""
        return f'"{shown(value)}" is no characteristic that can be required. {asked}Known are {", ".join(self.words)}'


JUDGED = tuple(key for key, c in CHARACTERISTICS.items() if c.sense != "shown")
CharacteristicKey = Annotated[str, OneOfTheCharacteristics(JUDGED)]
YesNo = Annotated[str, OneOf(YES_NO)]


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid")


class RequirementAsked(Strict):
    """One requirement: a characteristic, at least one limit, and the conditions it holds at."""

    characteristic: CharacteristicKey = Field(description="what is required")
    at_least: LimitText | None = Field(None, description="the least that serves")
    at_most: LimitText | None = Field(None, description="the most that serves")
    size: QuantityText | None = Field(None, description='with its scale: "10 um(c)" or "10 um(acftd)"')
    flow: QuantityText | None = Field(None, description="by default the duty's")
    viscosity: QuantityText | None = Field(None, description="by default the fluid's at operating temperature")
    density: QuantityText | None = Field(None, description="by default the fluid's")
    terminal_pressure_drop: QuantityText | None = Field(
        None, description="at which the capacity holds; by default the duty's bypass cracking pressure"
    )
    cycle_pressure: QuantityText | None = Field(None, description="of a fatigue test")
    test_liquid: Text | None = Field(None, description="of a bubble point")
    drop_of: Annotated[str, OneOf(DROP_OF)] | None = Field(None, description="what the clean drop is of")
    capacity_basis: Annotated[str, OneOf(CAPACITY_BASES)] | None = Field(None, description="which mass is meant")
    standard: Text | None = Field(None, description="that the test must have followed")
    dust: Text | None = Field(None, description="that the test must have used")
    allow: QuantityText | None = Field(None, description='share by which the limit is relaxed: "5 %"')

    def conditions(self) -> dict[str, str]:
        """Conditions that are stated, as typed."""
        return {name: value for name in CONDITIONS if (value := getattr(self, name, None)) is not None}


class FluidAsked(Strict):
    grade: Text | None = Field(None, description="ISO 3448 viscosity grade: ISO VG 46")
    viscosity_index: Annotated[float, Field(ge=0, le=400, allow_inf_nan=False, strict=True), _PLAIN] | None = Field(
        None, description="carries the grade to the operating temperature (ASTM D2270)"
    )
    points: Text | None = Field(
        None, description='viscosity at two temperatures: "46 mm2/s at 40 degC; 6.8 mm2/s at 100 degC"'
    )
    viscosity: QuantityText | None = Field(None, description="kinematic viscosity at the operating temperature")
    density: QuantityText | None = Field(
        None, description="at density_temperature; by default what is common of a class that is no mineral oil"
    )
    density_temperature: QuantityText | None = Field(
        None, description="temperature that the density holds at; by default the operating temperature"
    )
    fluid_class: Annotated[str, OneOf(FLUID_CLASSES)] | None = Field(
        None, alias="class", description="class by ISO 6743-4 that an element must list, and its seal and media suit"
    )


class MeasureAsked(Strict):
    value: QuantityText = Field(description="the measure")
    tolerance: QuantityText | None = Field(None, description="how far it may differ, either way")


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


def _attribute(key: str) -> Any:
    return Field(None, description=ATTRIBUTES[key].title)


class FitAsked(Strict):
    """What must fit: words that must be equal, and measures within a tolerance."""

    kind: Annotated[str, OneOf(KINDS)] | None = _attribute("kind")
    thread: Text | None = _attribute("thread")
    seal: Annotated[str, OneOf(SEALS)] | None = _attribute("seal")
    seal_type: Annotated[str, OneOf(ATTRIBUTES["seal_type"].choices)] | None = _attribute("seal_type")
    end_form: Annotated[str, OneOf(ATTRIBUTES["end_form"].choices)] | None = _attribute("end_form")
    flow_direction: Annotated[str, OneOf(ATTRIBUTES["flow_direction"].choices)] | None = _attribute("flow_direction")
    core: Annotated[str, OneOf(ATTRIBUTES["core"].choices)] | None = _attribute("core")
    bypass_valve: YesNo | None = _attribute("bypass_valve")
    anti_drain_back: YesNo | None = _attribute("anti_drain_back")
    outside_diameter: Measure | None = _attribute("outside_diameter")
    inside_diameter: Measure | None = _attribute("inside_diameter")
    second_inside_diameter: Measure | None = _attribute("second_inside_diameter")
    length: Measure | None = _attribute("length")
    gasket_outside_diameter: Measure | None = _attribute("gasket_outside_diameter")
    gasket_inside_diameter: Measure | None = _attribute("gasket_inside_diameter")
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

    unstated_conditions_match: bool = Field(
        False, strict=True, description="a condition that only the test leaves unstated is the required one"
    )
    about_within: Annotated[str | None, _share("15 %"), _SHARE_SCHEMA] = Field(
        None, description="an 'about' value holds within this share; true is 15 %"
    )
    viscous_share_at_least: Annotated[str | None, _share("70 %"), _SHARE_SCHEMA] = Field(
        None, description="at a test point of an element at least this share of the drop is viscous; true is 70 %"
    )
    converted_sizes_count: bool = Field(
        False, strict=True, description="sizes converted between scales count at their converted value"
    )
    bare_size_is: Annotated[
        Annotated[str, OneOf(("c", "acftd"))] | None,
        BeforeValidator(_scale),
        WithJsonSchema({"anyOf": [{"type": "string", "enum": ["c", "acftd"]}, {"type": "boolean"}, {"type": "null"}]}),
    ] = Field(None, description="a size with no scale is on this one; true is c")


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


class IngressionAsked(Strict):
    """What gets into the fluid: particles per minute for a target cleanliness, mass per hour for a service interval."""

    at_4: QuantityText | None = Field(None, description='particles of 4 µm(c) and larger: "1e8 /min"')
    at_6: QuantityText | None = Field(None, description="particles of 6 µm(c) and larger")
    at_14: QuantityText | None = Field(None, description="particles of 14 µm(c) and larger")
    environment: Annotated[str, OneOf(tuple(ENVIRONMENTS))] | None = Field(
        None, description="instead of at_14: the most that such a place brings in, from memory and unsourced"
    )
    mass: QuantityText | None = Field(None, description='dirt that the element has to hold: "0.5 g/h"')


def _switch(value: object) -> str:
    """"yes", "no", or the figure that a rule is given instead of its own."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, str | dict) and not _finite(value):
        raise ValueError("true, false or another figure is expected")
    return _limit(value)


Switch = Annotated[
    str,
    BeforeValidator(_switch),
    WithJsonSchema({"anyOf": [{"type": "boolean"}, {"type": "number"}, *_QUANTITY_SCHEMA["anyOf"]]}),
]


def _rule(key: str) -> Any:
    rule = RULES[key]
    other = ""
    if isinstance(rule.factor, str):
        other = f", {' or '.join(SIDES)} says of which side; {rule.factor} unless said"
    elif rule.factor is not None:
        figure = show(rule.factor, rule.kind) if rule.kind else f"{rule.factor:g}"
        other = f", another figure takes the place of {figure}"
    return Field("yes", description=f"{rule.title}; no switches the rule off{other}")


class DeriveAsked(Strict):
    """Rules that turn the duty into requirements: each works where its inputs are stated."""

    bypass_valve: Switch = _rule("bypass_valve")
    bypass_cracking: Switch = _rule("bypass_cracking")
    clean_drop_below_bypass: Switch = _rule("clean_drop_below_bypass")
    cold_start_bypass: Switch = _rule("cold_start_bypass")
    collapse: Switch = _rule("collapse")
    collapse_over_own_drop: Switch = _rule("collapse_over_own_drop")
    envelope: Switch = _rule("envelope")
    burst: Switch = _rule("burst")
    pressure_fatigue: Switch = _rule("pressure_fatigue")
    temperature_range: Switch = _rule("temperature_range")
    seal_and_fluid: Switch = _rule("seal_and_fluid")
    media_and_fluid: Switch = _rule("media_and_fluid")
    zinc_and_water: Switch = _rule("zinc_and_water")
    suction_drop: Switch = _rule("suction_drop")
    breather_kind: Switch = _rule("breather_kind")
    breather_air: Switch = _rule("breather_air")
    breather_particles: Switch = _rule("breather_particles")
    cleanliness: Switch = _rule("cleanliness")
    service_life: Switch = _rule("service_life")


def _derive(value: object) -> object:
    """``"none"`` switches every rule off, ``"all"`` none."""
    if isinstance(value, dict | DeriveAsked):
        return value
    if value not in ("all", "none"):
        raise ValueError('"all", "none" or an object of rules and switches is expected')
    return {} if value == "all" else dict.fromkeys(RULES, False)


def _price(value: object) -> str:
    """One price as text, "Quollbeck: Dulse 23 = 48.5"."""
    if isinstance(value, dict) and {"number", "price"} <= set(value) <= {"number", "price", "maker"}:
        maker = f"{text_of(value['maker'])}: " if value.get("maker") is not None else ""
        if not _finite(value["price"]):
            raise ValueError("price must be a finite number")
        return f"{maker}{text_of(value['number'])} = {_number_text(value['price'])}"
    if not isinstance(value, str):
        raise ValueError('a price has number and price, and may have maker: {"number": "12-2", "price": 39}')
    return text_of(value)


def _prices(value: object) -> str | None:
    if isinstance(value, list):
        return "; ".join(_price(each) for each in value)
    if value is not None and not isinstance(value, str):
        raise ValueError('a list of {"number": "12-2", "price": 39} is expected, or a text such as "12-2 = 39"')
    return None if value is None else _printable(value, PRICES_AT_MOST)


_PRICE_SCHEMA = {
    "type": "object",
    "properties": {"maker": _TEXT_SCHEMA, "number": _TEXT_SCHEMA, "price": {"type": "number", "minimum": 0}},
    "required": ["number", "price"],
    "additionalProperties": False,
}


class CostsAsked(Strict):
    """Prices belong to a question, not to the catalogue. All are in one currency."""

    currency: Text | None = Field(None, description="word that stands beside amounts: EUR")
    change_cost: Annotated[float, Field(ge=0, le=1e9, allow_inf_nan=False, strict=True), _PLAIN] | None = Field(
        None, description="cost of one change of the element, without the element"
    )
    prices: Annotated[
        str | None,
        BeforeValidator(_prices),
        WithJsonSchema(
            {
                "anyOf": [
                    {"type": "array", "items": _PRICE_SCHEMA, "maxItems": MOST_PRICES},
                    {"type": "string", "minLength": 1, "maxLength": PRICES_AT_MOST, "pattern": _PRINTABLE},
                    {"type": "null"},
                ]
            }
        ),
    ] = Field(None, description='price of an element: "Quollbeck: Dulse 23 = 48.50; 12-2 = 39"')


class DutyAsked(Strict):
    """The duty. Everything is optional; what is not stated is not asked, or follows from the original."""

    flow: QuantityText | None = Field(None, description="flow through the filter")
    pump_flow: QuantityText | None = Field(
        None, description="instead of flow: that of the pump, which area_ratio multiplies on a return line"
    )
    area_ratio: Annotated[float, Field(ge=1, le=100, allow_inf_nan=False, strict=True), _PLAIN] | None = Field(
        None, description="of the cylinder, piston over ring: the return flow is pump_flow times it"
    )
    fluid: FluidAsked = FluidAsked()
    operating_temperature: QuantityText | None = Field(None, description="temperature of the fluid at work")
    cold_start_temperature: QuantityText | None = Field(None, description="coldest temperature at which it starts")
    working_pressure: QuantityText | None = Field(None, description="pressure of the line that the filter is in")
    relief_pressure: QuantityText | None = Field(None, description="setting of the relief valve")
    bypass: Annotated[str, OneOf(BYPASSES)] | None = Field(None, description="where the bypass valve is")
    bypass_cracking_pressure: QuantityText | None = Field(
        None,
        description="drop at which it opens; also the terminal drop of a required capacity that states none",
    )
    bypass_full_flow_drop: QuantityText | None = Field(
        None, description="drop of the bypass valve at full flow of cold fluid"
    )
    maximum_pressure_drop: QuantityText | None = Field(
        None, description="without a bypass, on a return or off-line filter: greatest drop that the element can see"
    )
    pressure_cycles: Annotated[float, Field(gt=0, le=1e12, allow_inf_nan=False, strict=True), _PLAIN] | None = Field(
        None, description="cycles from none to working_pressure that a spin-on must stand"
    )
    location: Annotated[str, OneOf(LOCATIONS)] | None = Field(None, description="place in the circuit")
    pump_inlet_pressure: QuantityText | None = Field(
        None, description='least that the pump needs at its inlet: "80 kPa abs", "-20 kPa" against the air'
    )
    reservoir_volume: QuantityText | None = Field(None, description="fluid in the reservoir")
    turnovers_per_hour: Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False, strict=True), _PLAIN] | None = Field(
        None, description="how often an hour an off-line filter takes the reservoir's fluid: instead of flow"
    )
    air_flow: QuantityText | None = Field(None, description="of a breather: air at the fastest change of level")
    air_pressure_drop: QuantityText | None = Field(None, description="of a breather: most that the reservoir stands")
    target_cleanliness: Text | None = Field(None, description='code by ISO 4406 that the fluid must keep: "18/16/13"')
    ingression: IngressionAsked = IngressionAsked()
    service_interval: QuantityText | None = Field(None, description='how long an element must last: "1000 h"')
    capacity_used: QuantityText | None = Field(
        None, description="share of the retained capacity that is used by then; 100 % unless said"
    )
    derive: Annotated[
        DeriveAsked,
        BeforeValidator(_derive),
        WithJsonSchema({"anyOf": [{"type": "string", "enum": ["all", "none"]}, DeriveAsked.model_json_schema()]}),
    ] = Field(DeriveAsked(), description="rules that turn the duty into requirements")
    costs: CostsAsked = CostsAsked()
    require: Annotated[list[RequirementAsked], Field(max_length=MOST_REQUIREMENTS)] = []
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
    ] = Field(AssumptionsAsked(), description="what to take for granted beyond proof")


class OriginalAsked(Strict):
    number: Text = Field(description="part number of the element to be replaced")
    maker: Text | None = Field(None, description="its maker, where several have the number")
    allow: QuantityText | None = Field(None, description='share by which what is taken from it is relaxed: "5 %"')


_WINDOWS = Field(False, description="tell at which flow, viscosity and temperature each met criterion ends")


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
    limit: Annotated[int, Field(ge=1, le=500), BeforeValidator(_whole)] = Field(
        20, description="most candidates to list"
    )
    include_without_evidence: Annotated[bool, Field(strict=True)] = Field(
        False, description="list elements with nothing on file as well"
    )
    include_windows: Annotated[bool, Field(strict=True)] = _WINDOWS
    as_of: AsOfText | None = Field(None, description="a revision number or a date: the catalogue as it was then")


class ElementAsked(Strict):
    """One element, by its number (and its maker, where several have the number) or by its identifier."""

    number: Text | None = Field(None, description="part number")
    maker: Text | None = Field(None, description="its maker, where several have the number")
    element_id: ElementId | None = Field(None, description="its identifier in the catalogue")

    @model_validator(mode="after")
    def _named_once(self) -> ElementAsked:
        if (self.number is None) == (self.element_id is None) or (self.element_id and self.maker):
            raise ValueError("an element is named by its number and maker, or by its element_id")
        return self


_NAMED = ElementAsked.model_json_schema()["properties"]
NamedElement = Annotated[
    ElementAsked,
    WithJsonSchema(
        {
            "anyOf": [
                {
                    "type": "object",
                    "properties": {"number": _TEXT_SCHEMA, "maker": _NAMED["maker"]},
                    "required": ["number"],
                    "additionalProperties": False,
                },
                {
                    "type": "object",
                    "properties": {"element_id": {"type": "string", "pattern": ELEMENT_ID}},
                    "required": ["element_id"],
                    "additionalProperties": False,
                },
            ]
        }
    ),
]


class ComparisonAsked(Strict):
    """What do these elements show for this duty, or beside this original?"""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "elements": [{"maker": "Quollbeck", "number": "Dulse 24"}, {"number": "2024-07"}],
                    "duty": {
                        "require": [{"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"}],
                        "assumptions": "customary",
                    },
                }
            ]
        }
    )

    elements: Annotated[list[NamedElement], Field(min_length=1, max_length=MOST_COMPARED)] = Field(
        description="the elements, in the order in which they are to be shown"
    )
    original: OriginalAsked | None = None
    duty: DutyAsked = DutyAsked()
    include_windows: Annotated[bool, Field(strict=True)] = _WINDOWS
    as_of: AsOfText | None = Field(None, description="a revision number or a date: the catalogue as it was then")

    def question(self) -> Question:
        """The same duty, asked of every element on file."""
        return Question(original=self.original, duty=self.duty, as_of=self.as_of)


def models_in(annotation: object) -> Iterator[type[BaseModel]]:
    """Models within the annotation of a field: of ``X | None`` and of ``list[X]`` it is X."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from models_in(part)


def known_fields(place: Sequence[object], asked: type[BaseModel] = Question) -> tuple[str, ...]:
    """Names of the fields that may stand at a place of what is asked, such as ("duty", "require", 0)."""
    return tuple(field.alias or name for name, field in _model_at(place, asked).model_fields.items())


def fields_below(place: Sequence[object], asked: type[BaseModel] = Question) -> dict[str, str]:
    """Where each field stands that is deeper than a place of what is asked, seen from there, by its name: in a duty
    "grade" is "fluid.grade". Fields within lists and measures are left out; of several of a name it is the least deep.
    """
    found: dict[str, str] = {}
    waiting = [("", _model_at(place, asked))]
    for prefix, model in waiting:
        for own, field in model.model_fields.items():
            name = field.alias or own
            inner = next(models_in(field.annotation), None)
            if prefix:
                found.setdefault(name, f"{prefix}{name}")
            if inner not in (None, MeasureAsked) and get_origin(field.annotation) is not list:
                waiting.append((f"{prefix}{name}.", inner))
    return found


def _model_at(place: Sequence[object], asked: type[BaseModel]) -> type[BaseModel]:
    model = asked
    for part in place:
        fields = {field.alias or name: field for name, field in model.model_fields.items()}
        if part in fields:
            model = next(models_in(fields[str(part)].annotation), model)
    return model


Asked = TypeVar("Asked", bound=BaseModel)


def read_question(asked: object) -> Question:
    """A question from plain data. Raises InputError that names every faulty field."""
    return _read(Question, asked)


def read_comparison(asked: object) -> ComparisonAsked:
    """What is to be compared, from plain data. Raises InputError that names every faulty field."""
    return _read(ComparisonAsked, asked)


def _read(model: type[Asked], asked: object) -> Asked:
    try:
        return model.model_validate(asked)
    except ValidationError as error:
        from specdb.duty.left import faults_in_the_rest  # which reads duties, and so stands above this

        faults: list[SpecdbError] = [_fault(model, e["type"], e["loc"], e["msg"], e["input"]) for e in error.errors()]
        faults += faults_in_the_rest(asked, [e["loc"] for e in error.errors()])
        raise QuestionError.of(faults) from None


def _fault(
    model: type[BaseModel], kind: str, place: tuple[int | str, ...], message: str, found: object
) -> QuestionError:
    remedy = None
    if kind == "extra_forbidden":
        known, name = known_fields(place[:-1], model), str(place[-1])
        below, near = fields_below(place[:-1], model).get(name), meant_by(name, known)
        meant = f"Is {near} meant? " if near else ""
        remedy = f"Is {below} meant?" if below else f"{meant}Known are {', '.join(known)}."
        message = "There is no such field."
    elif kind == "missing":
        message = "This is needed and was not stated."
        beside = [name for name in known_fields(place[:-1], model) if isinstance(found, dict) and name in found]
        remedy = f"State it, or leave out {' and '.join(beside)}." if beside else None
    elif kind == "string_pattern_mismatch" and place[-1:] == ("element_id",):
        remedy = "An element_id is 16 digits from 0 to 9 and a to f."
    field = ".".join(shown(str(part)) for part in place) or None
    message = message if remedy or kind == "missing" else in_plain_words(kind, message)
    remedy = remedy or object_wanted(kind, place)
    message = message[:1].upper() + message[1:]
    return QuestionError(message if message.endswith((".", "?")) else f"{message}.", field=field, remedy=remedy)
