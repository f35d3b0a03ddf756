"""What the trade's small sums have in common: how they are asked, how they answer, and how their fields are read."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from specdb.answers.shape import METHOD_VERSION, QuantityShown, WithTable, tidy
from specdb.duty.question import LimitText, QuantityText
from specdb.errors import InputError, QuantityError, QuestionError, SpecdbError
from specdb.units import Quantity, UnitSystem, express, read_number, read_quantity

LEAST, MOST = 1e-9, 1e9
"""Range of every quantity that goes into a sum, in its canonical unit: beyond it lies nothing that the trade measures,
and within it no sum leaves the range of a double."""

TEXT_AT_MOST = 200
POINTS_TEXT_AT_MOST = 1000
_PRINTABLE = r"^[^\x00-\x1f\x7f]*$"


class Asked(BaseModel):
    """What a calculation is asked: texts with units, as people type them. Unknown fields are refused."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Calculated(WithTable):
    """What a calculation answers. ``words`` is what could be read to a customer."""

    method_version: str = METHOD_VERSION
    words: str
    notes: list[str] = Field([], description="how the question was read, where that is worth knowing")
    cautions: list[str] = Field([], description="to be shown wherever the number is read")
    source: str = Field(description="where the sum and its figures come from")


@dataclass(frozen=True)
class Calculation:
    """One of the trade's small sums.

    ``compute`` takes an ``asked`` and the unit system of the answer and gives an ``answer``; it raises the InputError
    that names every faulty field. ``typed`` are the fields that a command line takes without their names, in order.
    """

    key: str
    title: str
    help: str
    asked: type[Asked]
    answer: type[Calculated]
    compute: Callable[[Any, UnitSystem], Calculated]
    typed: tuple[str, ...]
    source: str

    @property
    def name(self) -> str:
        """The key as people type it and as addresses have it."""
        return self.key.replace("_", "-")

    @property
    def example(self) -> dict[str, str]:
        """A question that can be asked: the examples of the fields that have one."""
        fields = self.asked.model_fields.items()
        return {name: str(field.examples[0]) for name, field in fields if field.examples}


# --- fields ---------------------------------------------------------------------------------------


def _text_schema(at_most: int) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "minLength": 1, "maxLength": at_most, "pattern": _PRINTABLE})


QuantityTyped = Annotated[QuantityText, _text_schema(TEXT_AT_MOST)]
"""A quantity as text with its unit; from Python also an object of value and unit."""

NumberTyped = Annotated[LimitText, _text_schema(TEXT_AT_MOST)]
"""A number, or a quantity where its unit may be left out, as text; from Python also a plain number."""


def _points(value: object) -> str:
    if not isinstance(value, str):
        raise ValueError("a text is expected")
    if not 0 < len(value) <= POINTS_TEXT_AT_MOST:
        raise ValueError(f"a text of 1 to {POINTS_TEXT_AT_MOST} characters is expected")
    if any(ord(c) < 32 or ord(c) == 127 or 0xD800 <= ord(c) <= 0xDFFF for c in value):
        raise ValueError("control characters and broken Unicode are not accepted")
    return value


PointsTyped = Annotated[str, BeforeValidator(_points), _text_schema(POINTS_TEXT_AT_MOST)]
"""Points of one test, each its quantities with commas or "at" between them, separated by semicolons."""


class Fields:
    """Reads the fields of a question and collects what is wrong, so that it is all said at once.

    A faulty field reads as NaN until :meth:`check` raises. ``notes`` collects how fields were read.
    """

    def __init__(self) -> None:
        self._faults: list[SpecdbError] = []
        self.notes: list[str] = []

    @contextmanager
    def at(self, field: str) -> Iterator[None]:
        """Faults of the block are faults of ``field``."""
        try:
            yield
        except InputError as error:
            error.field = field
            self._faults.append(error)

    def refuse(self, field: str, message: str, *, value: object = None, remedy: str | None = None) -> None:
        self._faults.append(QuestionError(message, value=value, field=field, remedy=remedy))

    def check(self) -> None:
        """Raises the one fault, or a QuestionError with all of them."""
        if self._faults:
            raise QuestionError.of(self._faults)

    def number(self, field: str, text: str) -> float:
        with self.at(field):
            return _in_range(read_number(text).value, text)
        return float("nan")

    def quantity(
        self,
        field: str,
        text: str | None,
        kind: str,
        *,
        density_kg_m3: float | None = None,
        temperature_degc: float | None = None,
    ) -> float:
        """Canonical value of a quantity above zero (a temperature may be any); NaN too where ``text`` is None."""
        if text is None:
            return float("nan")
        with self.at(field):
            quantity = read_quantity(text, kind, density_kg_m3=density_kg_m3, temperature_degc=temperature_degc)
            value = quantity.value if kind == "temperature" else in_range(quantity)
            if quantity.note:
                self.notes.append(f"{field}: {quantity.note}")
            return value
        return float("nan")


def in_range(quantity: Quantity) -> float:
    """The value of a quantity that a sum can take: above zero, not absurd, and no absolute pressure."""
    if quantity.reference == "absolute":
        raise QuantityError(
            "This is an absolute pressure; a pressure over atmospheric or a pressure drop is wanted.",
            value=quantity.text,
            remedy="Take the pressure of the atmosphere off.",
        )
    return _in_range(quantity.value, quantity.text)


def _in_range(value: float, text: str) -> float:
    if not value > 0:
        raise QuestionError("This must be above zero.", value=text)
    if not LEAST <= value <= MOST:
        raise QuestionError("This is beyond any quantity of the trade.", value=text, remedy="Check digits and unit.")
    return value


def shown_as(value: float, kind: str, units: UnitSystem) -> QuantityShown:
    """A canonical value with the unit of the answer."""
    expressed, unit = express(value, kind, units)
    return QuantityShown(value=tidy(expressed), unit=unit)
