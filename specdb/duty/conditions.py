"""The duty's own conditions: read all at once, and marked as used when a rule asks for them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

from specdb.duty.question import DutyAsked, FluidAsked
from specdb.errors import InputError, NotOnFileError, QuestionError, SpecdbError
from specdb.trade.viscosity import grade_band, viscosity_band_at
from specdb.units import Quantity, read_quantity

_GRADE = re.compile(r"(?:ISO)?\s*(?:VG)?\s*-?\s*(\d{1,4})", re.IGNORECASE)
_REFERENCE_DEGC = 40.0
DYNAMIC_UNITS = ("cP", "mPa·s", "Pa·s")


class Faults:
    """Collects what is wrong with a question, so that it is all said at once."""

    def __init__(self) -> None:
        self.found: list[SpecdbError] = []

    @contextmanager
    def at(self, field: str) -> Iterator[None]:
        try:
            yield
        except (InputError, NotOnFileError) as error:
            # A fault of one of the duty's own conditions names its place already, as may the field's own reader.
            if error.field is None or not error.field.startswith("duty."):
                error.field = field if error.field in (None, field.rpartition(".")[2]) else f"{field}.{error.field}"
            self.found.append(error)

    def raise_any(self) -> None:
        """Raises NotOnFileError where that is all that is wrong, else QuestionError."""
        if self.found:
            absent = all(isinstance(error, NotOnFileError) for error in self.found)
            raise (NotOnFileError if absent else QuestionError).of(self.found)


def read_positive(text: str, kind: str, *, density_kg_m3: float | None = None) -> Quantity:
    """A quantity that must be above zero. Raises QuantityError for what cannot be read, QuestionError below."""
    quantity = read_quantity(text, kind, density_kg_m3=density_kg_m3)
    if not quantity.value > 0:
        raise QuestionError(f"A {kind} must be above zero.", value=text, remedy="Leave it out if it is not known.")
    if quantity.reference == "absolute":
        raise QuestionError(
            "Ratings are gauge pressures or pressure drops, not absolute pressures.",
            value=text,
            remedy="State it over atmospheric pressure.",
        )
    return quantity


class DutyConditions:
    """Conditions that the duty states. Reading marks a field as used; ``unused`` names the rest."""

    def __init__(self, duty: DutyAsked, faults: Faults):
        self._used: set[str] = set()
        self._stated = _stated_fields(duty)
        self.notes: list[str] = []
        self._flow = self._read(duty.flow, "flow", "flow", faults)
        self._terminal = self._read(duty.bypass_cracking_pressure, "pressure", "bypass_cracking_pressure", faults)
        self._read(duty.working_pressure, "pressure", "working_pressure", faults)
        self._density = self._read(duty.fluid.density, "density", "fluid.density", faults)
        self._temperatures: dict[str, float] = {}
        for name in ("operating_temperature", "cold_start_temperature"):
            text = getattr(duty, name)
            if text is not None:
                with faults.at(f"duty.{name}"):
                    self._temperatures[name] = read_quantity(text, "temperature").value
        self._viscosity: tuple[float, float] | SpecdbError | None = None
        self._viscosity_from: tuple[str, ...] = ()
        with faults.at("duty.fluid.grade" if duty.fluid.viscosity is None else "duty.fluid.viscosity"):
            self._viscosity = self._fluid_viscosity(duty.fluid)

    def _read(self, text: str | None, kind: str, field: str, faults: Faults) -> float | None:
        if text is None:
            return None
        with faults.at(f"duty.{field}"):
            quantity = read_positive(text, kind)
            if quantity.note:
                self.notes.append(f"duty.{field}: {quantity.note}")
            return quantity.value
        return None

    def _fluid_viscosity(self, fluid: FluidAsked) -> tuple[float, float] | SpecdbError | None:
        """Least and greatest viscosity at operating temperature, or why it is not known; None if unstated."""
        grade = None if fluid.grade is None else read_grade(fluid.grade)
        band = None if grade is None else grade_band(grade)
        if fluid.viscosity is not None:
            return self._stated_viscosity(fluid.viscosity)
        if grade is None or band is None:
            return None
        temperature = self._temperatures.get("operating_temperature")
        if temperature == _REFERENCE_DEGC:
            self._viscosity_from = ("fluid.grade", "operating_temperature")
            return band[0], band[2]
        if temperature is None or fluid.viscosity_index is None:
            lacking = "operating_temperature" if temperature is None else "fluid.viscosity_index"
            return QuestionError(
                "A grade gives the viscosity at 40 °C only.",
                value=fluid.grade,
                field=f"duty.{lacking}",
                remedy="State operating_temperature and viscosity_index, or the viscosity itself.",
            )
        self._viscosity_from = ("fluid.grade", "fluid.viscosity_index", "operating_temperature")
        low, _, high = viscosity_band_at(temperature, grade, fluid.viscosity_index)
        return low, high

    def _stated_viscosity(self, text: str) -> tuple[float, float]:
        """A viscosity at operating temperature; Saybolt seconds are read at it, cP with the fluid's density."""
        quantity = read_quantity(
            text,
            "viscosity",
            density_kg_m3=self._density,
            temperature_degc=self._temperatures.get("operating_temperature"),
        )
        if not quantity.value > 0:
            raise QuestionError("A viscosity must be above zero.", value=text)
        if quantity.note:
            self.notes.append(f"duty.fluid.viscosity: {quantity.note}")
        density = ("fluid.density",) if quantity.unit in DYNAMIC_UNITS else ()
        temperature = ("operating_temperature",) if quantity.unit == "SUS" else ()
        self._viscosity_from = ("fluid.viscosity", *density, *temperature)
        return quantity.value, quantity.value

    @property
    def flow_l_min(self) -> float | None:
        self._used.add("flow")
        return self._flow

    @property
    def stated_flow_l_min(self) -> float | None:
        """The flow, without marking it as used."""
        return self._flow

    @property
    def terminal_pressure_drop_kpa(self) -> float | None:
        """The drop at which the bypass opens is the drop at which an element is spent."""
        self._used.add("bypass_cracking_pressure")
        return self._terminal

    @property
    def density_kg_m3(self) -> float | None:
        self._used.add("fluid.density")
        return self._density

    @property
    def viscosity_mm2_s(self) -> tuple[float, float] | None:
        """Raises QuestionError where a grade is stated that cannot be carried to the operating temperature."""
        self._used.update(self._viscosity_from)
        if isinstance(self._viscosity, SpecdbError):
            raise self._viscosity
        return self._viscosity

    def use(self, field: str) -> None:
        self._used.add(field)

    @property
    def unused(self) -> tuple[str, ...]:
        return tuple(f"duty.{field}" for field in self._stated if field not in self._used)


def _stated_fields(duty: DutyAsked) -> list[str]:
    stated = duty.model_dump(exclude_unset=True, by_alias=True, exclude={"require", "assumptions", "fit"})
    fluid = stated.pop("fluid", None) or {}
    fields = [name for name, value in stated.items() if value is not None]
    fields += [f"fluid.{name}" for name, value in fluid.items() if value is not None]
    if duty.fit.clearance is not None:
        fields.append("fit.clearance")
    return fields


def read_grade(text: str) -> int:
    """The number of an ISO 3448 grade: "ISO VG 46", "VG46", "46". Raises QuestionError."""
    match = _GRADE.fullmatch(text.strip())
    if match is None:
        raise QuestionError("This is no viscosity grade.", value=text, remedy='Write it as in "ISO VG 46".')
    return int(match[1])
