"""The duty's own conditions: read all at once, and marked as used when a rule asks for them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager

from specdb.characteristics import CLASS_OF_TRADE, FLUID_CLASSES
from specdb.duty.circumstances import Circumstances, Costs, FluidDensity, FluidLine, Price
from specdb.duty.points import Point as TypedPoint
from specdb.duty.points import read_points
from specdb.duty.question import MOST_PRICES, CostsAsked, DutyAsked, FluidAsked, IngressionAsked
from specdb.duty.requirement import Note
from specdb.errors import ConditionsError, InputError, NotOnFileError, QuantityError, QuestionError, SpecdbError
from specdb.trade.circuit import STANDARD_ATMOSPHERE_KPA, return_flow_l_min, turnover_flow_l_min, turnovers_per_hour_of
from specdb.trade.cleanliness import CleanlinessCode, read_code
from specdb.trade.contamination import ingression_at_most
from specdb.trade.fluids import (
    REFERENCE_DEGC,
    common_densities,
    fluid_of,
    possible_density,
    weighs_as_mineral_oil,
)
from specdb.trade.viscosity import covered_temperature, grade_band, nu100_from_index, viscosity_at
from specdb.units import Quantity, read_number, read_quantity

_GRADE = re.compile(r"(?:ISO)?\s*(?:VG)?\s*-?\s*(\d{1,4})", re.IGNORECASE)
_NUMBERS = re.compile(r"[0-9]+")
_CLASS = "|".join((*FLUID_CLASSES, *CLASS_OF_TRADE))
_WITH_CLASS = re.compile(
    rf"(?:({_CLASS})[\s-]*)?(?:ISO)?\s*(?:VG)?[\s-]*([0-9]{{1,4}})(?:[\s-]*({_CLASS}))?", re.IGNORECASE
)
_REFERENCE_DEGC = 40.0
_ROUNDING = 1e-9
NEAR_POUR_POINT = (
    "The viscosity at the coldest start is read off a line that is of oils (ASTM D341): near its pour point, or with "
    "water or much polymer in it, a fluid is thicker than that (common practice)."
)
USUAL = {
    # field of the duty: kind of quantity, least and greatest that are met with in hydraulics (common practice)
    "flow": ("flow", 0.0, 20_000.0),
    "pump_flow": ("flow", 0.0, 20_000.0),
    "operating_temperature": ("temperature", -60.0, 200.0),
    "cold_start_temperature": ("temperature", -60.0, 200.0),
    "fluid.viscosity": ("viscosity", 0.0, 10_000.0),
    "working_pressure": ("pressure", 0.0, 100_000.0),
    "relief_pressure": ("pressure", 0.0, 100_000.0),
    "bypass_cracking_pressure": ("pressure", 0.0, 2_000.0),
    "bypass_full_flow_drop": ("pressure", 0.0, 4_000.0),
}
"""What lies outside is noted and judged all the same: as a rule its unit is a slip."""
INGRESSION_SIZES = {4.0: "at_4", 6.0: "at_6", 14.0: "at_14"}
_LINE_FROM = ("fluid.grade", "fluid.points", "fluid.viscosity_index", "cold_start_temperature")
DYNAMIC_UNITS = ("cP", "mPa·s", "Pa·s")


def unusual(field: str, place: str, value: float) -> list[Note]:
    """A note where a value, in its canonical unit, lies outside what is USUAL of a field of the duty."""
    kind, least, greatest = USUAL.get(field, ("", value, value))
    if least <= value <= greatest:
        return []
    side, bound = ("below", least) if value < least else ("above", greatest)
    text = f"{place}: {{}} lies {side} what is met with in hydraulics, {{}} (common practice). Is the unit right?"
    return [Note(text, ((value, kind), (bound, kind)))]


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
    """Conditions that the duty states. Reading marks a field as used; ``unused`` names the rest.

    ``steps`` tell how a condition was worked out from others; ``circumstances`` are all of them, without any mark.
    """

    def __init__(self, duty: DutyAsked, faults: Faults):
        self._used: set[str] = set()
        self._stated = _stated_fields(duty)
        self.notes: list[str | Note] = []
        self.steps: list[Note] = []
        self._viscosity_from: tuple[str, ...] = ()
        self._flow_from: tuple[str, ...] = ("flow",)
        self._density_from: tuple[str, ...] = ("fluid.density", "fluid.density_temperature")
        self._density_taken: Note | None = None
        self._faults = faults
        flow = self._flow_through(duty)
        operating, cold = self._temperatures(duty)
        density = self._positive(duty.fluid.density, "density", "fluid.density")
        if density is not None:
            with faults.at("duty.fluid.density"):
                possible_density(density)
        fluid_density, dense, cold_dense = self._densities(duty.fluid, density, operating, cold)
        self._stated_density = None if density is None else dense
        line: FluidLine | None = None
        with faults.at("duty.fluid.grade" if duty.fluid.points is None else "duty.fluid.points"):
            line = self._fluid_line(duty.fluid)
        self._viscosity: tuple[float, float] | SpecdbError | None = None
        with faults.at("duty.fluid.grade" if duty.fluid.viscosity is None else "duty.fluid.viscosity"):
            self._viscosity = self._fluid_viscosity(duty, line, operating, self._stated_density)
        cold_viscosity: tuple[float, float] | None = None
        if line is not None and cold is not None:
            with faults.at("duty.cold_start_temperature"):
                cold_viscosity = line.viscosity_at(_carried_to(cold, duty.cold_start_temperature))
        air = self._absolute(duty.pump_inlet_pressure)
        self.circumstances = Circumstances(
            flow_l_min=flow,
            fluid_class=duty.fluid.fluid_class,
            fluid_line=line,
            operating_degc=operating,
            cold_start_degc=cold,
            viscosity_mm2_s=self._viscosity if isinstance(self._viscosity, tuple) else None,
            cold_viscosity_mm2_s=cold_viscosity,
            fluid_density=fluid_density,
            density_kg_m3=dense,
            cold_density_kg_m3=cold_dense,
            working_pressure_kpa=self._positive(duty.working_pressure, "pressure", "working_pressure"),
            relief_pressure_kpa=self._positive(duty.relief_pressure, "pressure", "relief_pressure"),
            location=duty.location,
            bypass=duty.bypass,
            bypass_cracking_kpa=self._positive(duty.bypass_cracking_pressure, "pressure", "bypass_cracking_pressure"),
            bypass_full_flow_kpa=self._positive(duty.bypass_full_flow_drop, "pressure", "bypass_full_flow_drop"),
            maximum_drop_kpa=self._positive(duty.maximum_pressure_drop, "pressure", "maximum_pressure_drop"),
            pressure_cycles=duty.pressure_cycles,
            pump_inlet_kpa_absolute=air,
            reservoir_volume_l=self._positive(duty.reservoir_volume, "volume", "reservoir_volume"),
            turnovers_per_hour=duty.turnovers_per_hour,
            air_flow_l_min=self._positive(duty.air_flow, "flow", "air_flow"),
            air_pressure_drop_kpa=self._positive(duty.air_pressure_drop, "pressure", "air_pressure_drop"),
            target=self._target(duty.target_cleanliness),
            target_typed=duty.target_cleanliness,
            ingression_per_min=self._ingression(duty.ingression),
            environment=duty.ingression.environment,
            ingression_g_h=self._not_negative(duty.ingression.mass, "mass_rate", "ingression.mass"),
            service_interval_h=self._positive(duty.service_interval, "time", "service_interval"),
            capacity_used=self._share(duty.capacity_used),
            costs=self._costs(duty.costs),
        )
        self._refuse_contradictions()

    # --- reading -----------------------------------------------------------------------------------

    def _positive(self, text: str | None, kind: str, field: str) -> float | None:
        if text is None:
            return None
        with self._faults.at(f"duty.{field}"):
            quantity = read_positive(text, kind)
            own: list[str | Note] = [f"duty.{field}: {quantity.note}"] if quantity.note else []
            own += unusual(field, f"duty.{field}", quantity.value)
            # A field that several rules need is read more than once.
            self.notes += [note for note in own if note not in self.notes]
            return quantity.value
        return None

    def _not_negative(self, text: str | None, kind: str, field: str) -> float | None:
        if text is None:
            return None
        with self._faults.at(f"duty.{field}"):
            value = read_quantity(text, kind).value
            if value < 0:
                raise QuestionError("This cannot be negative.", value=text, remedy="State 0 or more.")
            return value
        return None

    def _share(self, text: str | None) -> float:
        if text is None:
            return 1.0
        with self._faults.at("duty.capacity_used"):
            share = read_quantity(text, "percent").value / 100
            if not 0 < share <= 1:
                raise QuestionError("A share used lies above 0 and up to 100 %.", value=text, remedy='Write "80 %".')
            return share
        return 1.0

    def _temperatures(self, duty: DutyAsked) -> tuple[float | None, float | None]:
        read: list[float | None] = []
        for name in ("operating_temperature", "cold_start_temperature"):
            text, value = getattr(duty, name), None
            if text is not None:
                with self._faults.at(f"duty.{name}"):
                    value = read_quantity(text, "temperature").value
                    self.notes += unusual(name, f"duty.{name}", value)
            read.append(value)
        operating, cold = read
        if operating is not None and cold is not None and cold > operating:
            with self._faults.at("duty.cold_start_temperature"):
                raise QuestionError(
                    "A start colder than the work is meant; this one is warmer.",
                    value=duty.cold_start_temperature,
                    remedy=f"State a temperature up to the operating one, {duty.operating_temperature}.",
                )
            return operating, None
        return operating, cold

    def _flow_through(self, duty: DutyAsked) -> float | None:
        """The flow through the filter: stated, the pump's times the area ratio, or the reservoir's turnover."""
        flow = self._positive(duty.flow, "flow", "flow")
        pump = self._positive(duty.pump_flow, "flow", "pump_flow")
        stated = {"flow": duty.flow, "pump_flow": duty.pump_flow, "turnovers_per_hour": duty.turnovers_per_hour}
        twice = [name for name, value in stated.items() if value is not None]
        for name in twice[1:]:
            with self._faults.at(f"duty.{name}"):
                raise QuestionError(
                    f"The flow through the filter is stated already, by {twice[0]}.",
                    value=stated[name],
                    remedy=f"State one of {', '.join(stated)}.",
                )
        if duty.area_ratio is not None:
            with self._faults.at("duty.area_ratio"):
                if duty.location not in (None, "return"):
                    raise QuestionError(
                        f"An area ratio belongs to a return line, not to a {duty.location} filter.",
                        value=duty.area_ratio,
                        remedy="State the flow through the filter as flow.",
                    )
                if duty.pump_flow is None:
                    raise QuestionError(
                        "An area ratio multiplies the flow of the pump, which is not stated.",
                        value=duty.area_ratio,
                        remedy="State pump_flow beside it, or leave it out and state the flow through the filter.",
                    )
        if duty.turnovers_per_hour is not None and duty.reservoir_volume is None:
            with self._faults.at("duty.turnovers_per_hour"):
                raise QuestionError(
                    "Turnovers are of a reservoir whose volume is not stated.",
                    value=duty.turnovers_per_hour,
                    remedy="State reservoir_volume beside it.",
                )
        if len(twice) == 1 and pump is not None:
            return self._return_flow(pump, duty.area_ratio)
        if len(twice) == 1 and duty.turnovers_per_hour is not None:
            return self._turnover_flow(duty)
        if flow is not None and duty.reservoir_volume is not None:
            self._tell_turnover(flow, self._positive(duty.reservoir_volume, "volume", "reservoir_volume"))
        return flow

    def _tell_turnover(self, flow_l_min: float, volume_l: float | None) -> None:
        if volume_l is None:
            return
        text = "A flow of {} through the filter turns the reservoir of {} over {} times an hour."
        turnovers = float(f"{turnovers_per_hour_of(flow_l_min, volume_l):.4g}")
        self.steps.append(Note(text, ((flow_l_min, "flow"), (volume_l, "volume"), (turnovers, ""))))
        self._used.add("reservoir_volume")

    def _return_flow(self, pump_l_min: float, ratio: float | None) -> float:
        self._flow_from = ("pump_flow",) if ratio is None else ("pump_flow", "area_ratio")
        if ratio is None:
            return pump_l_min
        flow = return_flow_l_min(pump_l_min, ratio)
        text = "Flow through the filter: the pump's {} times the area ratio {} is {} (geometry)."
        self.steps.append(Note(text, ((pump_l_min, "flow"), (ratio, ""), (flow, "flow"))))
        return flow

    def _turnover_flow(self, duty: DutyAsked) -> float | None:
        volume = self._positive(duty.reservoir_volume, "volume", "reservoir_volume")
        turnovers = duty.turnovers_per_hour
        if volume is None or turnovers is None:
            return None
        self._flow_from = ("reservoir_volume", "turnovers_per_hour")
        flow = turnover_flow_l_min(volume, turnovers)
        text = "Flow through the filter: a reservoir of {} turned over {} times an hour is {}."
        self.steps.append(Note(text, ((volume, "volume"), (turnovers, ""), (flow, "flow"))))
        return flow

    def _fluid_line(self, fluid: FluidAsked) -> FluidLine | None:
        """The viscosity over temperature, of a grade with its index or of points; None without either."""
        grade = None if fluid.grade is None else read_grade(fluid.grade)
        if fluid.points is not None:
            if grade is not None:
                raise QuestionError(
                    "The fluid is stated twice, by its grade and by points.",
                    value=fluid.points,
                    remedy="State one of them.",
                )
            return _line_through(fluid.points, fluid.viscosity_index)
        if grade is None or fluid.viscosity_index is None:
            return None
        low, _, high = grade_band(grade)
        thin, thick = (
            ((nu, _REFERENCE_DEGC), (nu100_from_index(nu, fluid.viscosity_index), 100.0)) for nu in (low, high)
        )
        return FluidLine(thin, thick)

    def _fluid_viscosity(
        self, duty: DutyAsked, line: FluidLine | None, operating: float | None, density: tuple[float, float] | None
    ) -> tuple[float, float] | SpecdbError | None:
        """Least and greatest viscosity at operating temperature, or why it is not known; None if unstated."""
        fluid = duty.fluid
        if fluid.viscosity is not None:
            return self._stated_viscosity(fluid.viscosity, operating, density)
        by = "grade" if fluid.points is None else "points"
        text = fluid.grade if fluid.points is None else fluid.points
        if text is None or (by == "points" and line is None):  # points that make no line are told already
            return None
        if line is not None and operating is not None:
            index = () if fluid.viscosity_index is None else ("fluid.viscosity_index",)
            self._viscosity_from = (f"fluid.{by}", *index, "operating_temperature")
            return line.viscosity_at(_carried_to(operating, duty.operating_temperature, "duty.operating_temperature"))
        if by == "grade" and operating == _REFERENCE_DEGC:
            self._viscosity_from = ("fluid.grade", "operating_temperature")
            low, _, high = grade_band(read_grade(text))
            return low, high
        lacking = "operating_temperature" if operating is None else "fluid.viscosity_index"
        return QuestionError(
            "A grade gives the viscosity at 40 °C only." if by == "grade" else "A viscosity holds at a temperature.",
            value=text,
            field=f"duty.{lacking}",
            remedy="State operating_temperature and viscosity_index, or the viscosity itself.",
        )

    def _stated_viscosity(
        self, text: str, operating: float | None, density: tuple[float, float] | None
    ) -> tuple[float, float]:
        """A viscosity at operating temperature; Saybolt seconds are read at it, cP with the fluid's density there."""
        light, heavy = density or (None, None)
        thin, thick = (
            read_quantity(text, "viscosity", density_kg_m3=each, temperature_degc=operating) for each in (heavy, light)
        )
        if not thin.value > 0:
            raise QuestionError("A viscosity must be above zero.", value=text)
        self.notes += [f"duty.fluid.viscosity: {note}" for note in dict.fromkeys((thin.note, thick.note)) if note]
        self.notes += unusual("fluid.viscosity", "duty.fluid.viscosity", thick.value)
        needed = self._density_from if thin.unit in DYNAMIC_UNITS else ()
        temperature = ("operating_temperature",) if thin.unit == "SUS" else ()
        self._viscosity_from = ("fluid.viscosity", *needed, *temperature)
        return thin.value, thick.value

    def _densities(
        self, fluid: FluidAsked, density: float | None, operating: float | None, cold: float | None
    ) -> tuple[FluidDensity | None, tuple[float, float] | None, tuple[float, float] | None]:
        """What the fluid weighs over temperature, at work, and at the coldest start; None where it is not asked."""
        over = self._density_over_temperature(fluid, density, operating, cold)
        if over is None:
            held = None if density is None else (density, density)
            return None, held, held
        if operating is not None and (cold is not None or operating != over.at_degc):
            self._density_from += ("operating_temperature",)

        def at(temperature: float | None, field: str) -> tuple[float, float] | None:
            with self._faults.at(field):
                return over.density_at(over.at_degc if temperature is None else temperature)
            return None

        field = "duty.{}" if density is None else "duty.fluid.density"
        return over, at(operating, field.format("operating_temperature")), (
            None if cold is None else at(cold, field.format("cold_start_temperature"))
        )

    def _density_over_temperature(
        self, fluid: FluidAsked, density: float | None, operating: float | None, cold: float | None
    ) -> FluidDensity | None:
        """Of a stated density; else of what is common in a class, unless it is a class of mineral oils."""
        stated_at = operating
        if fluid.density_temperature is not None:
            with self._faults.at("duty.fluid.density_temperature"):
                stated_at = read_quantity(fluid.density_temperature, "temperature").value
                if fluid.density is None:
                    raise QuestionError(
                        "A temperature is stated of a density that is not.",
                        value=fluid.density_temperature,
                        remedy="State density beside it.",
                    )
                if operating is None:
                    raise QuestionError(
                        "A density is carried from its own temperature to the operating one, which is not stated.",
                        value=fluid.density_temperature,
                        remedy="State operating_temperature.",
                    )
        if density is None:
            return self._common_density(fluid.fluid_class)
        if stated_at is None:
            if cold is not None:
                with self._faults.at("duty.fluid.density"):
                    raise QuestionError(
                        "A density holds at a temperature, from which it is carried to the coldest start.",
                        value=fluid.density,
                        remedy="State operating_temperature, and density_temperature where it holds at another.",
                    )
            return None
        # What a mineral oil loses as it warms serves where no class says otherwise.
        return FluidDensity(density, density, stated_at, fluid.fluid_class or "HM")

    def _common_density(self, fluid_class: str | None) -> FluidDensity | None:
        # Tests are run in mineral oil as a rule: one that states no density serves a mineral oil that states none.
        if fluid_class is None or weighs_as_mineral_oil(fluid_class):
            return None
        low, high = common_densities(fluid_class)
        text = f"No density is stated: {fluid_class} is taken to weigh {{}} to {{}} at {{}} "
        text += "(common practice, from memory)"
        if fluid_of(fluid_class).density_kg_m3 is None:
            text += "; it leaves its base fluid open, so that this is the range of all without water or fire resistance"
        amounts = ((low, "density"), (high, "density"), (REFERENCE_DEGC, "temperature"))
        self._density_taken = Note(text + ".", amounts)
        return FluidDensity(low, high, REFERENCE_DEGC, fluid_class)

    def _absolute(self, text: str | None) -> float | None:
        """Least pressure at the pump's inlet, over a vacuum."""
        if text is None:
            return None
        with self._faults.at("duty.pump_inlet_pressure"):
            quantity = read_quantity(text, "pressure")
            if quantity.reference == "absolute":
                value = quantity.value
            elif quantity.reference == "gauge" or (quantity.reference is None and quantity.value <= 0):
                value = STANDARD_ATMOSPHERE_KPA + quantity.value
            else:
                raise QuestionError(
                    "This may be over a vacuum or over the air's pressure.",
                    value=text,
                    remedy='Write "80 kPa abs" over a vacuum, or "-20 kPa" below the air\'s pressure.',
                )
            if not value > 0:
                raise QuestionError("There is no pressure below a vacuum.", value=text, remedy='Write "80 kPa abs".')
            return value
        return None

    def _target(self, text: str | None) -> CleanlinessCode | None:
        if text is None:
            return None
        with self._faults.at("duty.target_cleanliness"):
            try:
                code = read_code(text)
            except QuestionError as error:
                error.field = None  # the place is the duty's, not the reader's
                raise
            if code.counting != "automatic" or len(code.places) != 3:
                raise QuestionError(
                    "A target is stated at 4, 6 and 14 µm(c).",
                    value=text,
                    remedy='Write three numbers, such as "18/16/13", with - for a size that is not asked.',
                )
            return code
        return None

    def _ingression(self, asked: IngressionAsked) -> dict[float, float]:
        found: dict[float, float] = {}
        for size, name in INGRESSION_SIZES.items():
            value = self._not_negative(getattr(asked, name), "count_rate", f"ingression.{name}")
            if value is None:
                continue
            if found and value > min(found.values()):
                with self._faults.at(f"duty.ingression.{name}"):
                    raise QuestionError(
                        "There cannot be more particles of a larger size and up than of a smaller.",
                        value=getattr(asked, name),
                        remedy="State of each size the particles of that size and all larger ones.",
                    )
            found[size] = value
        if asked.environment is not None:
            with self._faults.at("duty.ingression.environment"):
                if asked.at_14 is not None:
                    raise QuestionError(
                        "The ingression at 14 µm(c) is stated already, by at_14.",
                        value=asked.environment,
                        remedy="Leave one of them out.",
                    )
                bounds = ingression_at_most(asked.environment, 14.0)
                if bounds is not None:
                    found[14.0] = min(bounds[1], *found.values()) if found else bounds[1]
        return found

    def _costs(self, asked: CostsAsked) -> Costs:
        prices: list[Price] = []
        with self._faults.at("duty.costs.prices"):
            prices = [read_price(each) for each in (asked.prices or "").split(";") if each.strip()]
            if len(prices) > MOST_PRICES:
                raise QuestionError(f"At most {MOST_PRICES} prices are taken.", value=len(prices))
        return Costs(asked.currency, asked.change_cost, tuple(prices))

    def _refuse_contradictions(self) -> None:
        stated = self.circumstances
        cracking, full_flow = stated.bypass_cracking_kpa, stated.bypass_full_flow_kpa
        if stated.bypass == "none" and full_flow is not None:
            with self._faults.at("duty.bypass_full_flow_drop"):
                raise QuestionError("There is no bypass to have a drop.", remedy="Leave it out, or say where it is.")
        if cracking is not None and full_flow is not None and full_flow < cracking:
            with self._faults.at("duty.bypass_full_flow_drop"):
                raise QuestionError(
                    "The drop of a bypass at full flow cannot lie below its cracking pressure.",
                    value=full_flow,
                    remedy="Check both; full flow comes after cracking.",
                )

        warm, cold = stated.viscosity_mm2_s, stated.cold_viscosity_mm2_s
        if warm is not None and cold is not None and cold[1] < warm[1] * (1 - _ROUNDING):
            with self._faults.at("duty.fluid.viscosity"):
                raise QuestionError(
                    "By its grade or points the fluid would be thinner at the coldest start than it is at work.",
                    value=f"{warm[1]:.4g} mm²/s at work, {cold[1]:.4g} mm²/s cold",
                    remedy="Check both, or leave the viscosity out.",
                )
        if cold is not None:
            self.notes.append(NEAR_POUR_POINT)

    # --- what the duty states ----------------------------------------------------------------------

    def flow_of(self, characteristic: str) -> float | None:
        """The flow that a test of the characteristic is asked at: of air through a breather, else of the fluid."""
        self.use("air_flow" if characteristic == "air_pressure_drop" else "flow")
        return self.stated_flow_of(characteristic)

    def stated_flow_of(self, characteristic: str) -> float | None:
        """The same, without marking it as used."""
        stated = self.circumstances
        return stated.air_flow_l_min if characteristic == "air_pressure_drop" else stated.flow_l_min

    @property
    def terminal_pressure_drop_kpa(self) -> float | None:
        """The drop at which the bypass opens is the drop at which an element is spent."""
        self._used.add("bypass_cracking_pressure")
        return self.circumstances.bypass_cracking_kpa

    @property
    def density_kg_m3(self) -> tuple[float, float] | None:
        """Least and greatest density at work: stated, or common in a class that is not of the mineral oils."""
        self.use("fluid.density")
        return self.circumstances.density_kg_m3

    @property
    def stated_density_kg_m3(self) -> tuple[float, float] | None:
        """The same where it is stated, else None."""
        return None if self._stated_density is None else self.density_kg_m3

    @property
    def viscosity_mm2_s(self) -> tuple[float, float] | None:
        """Raises QuestionError where a grade is stated that cannot be carried to the operating temperature."""
        self._used.update(self._viscosity_from)
        if isinstance(self._viscosity, SpecdbError):
            raise self._viscosity
        return self._viscosity

    def leave_unread(self, field: str) -> None:
        """Count a field among those that are stated and that nothing reads."""
        self._stated.append(field)

    def use(self, *fields: str) -> None:
        """Mark fields as read. ``flow`` stands for what the flow was worked out from, ``viscosity`` and
        ``fluid.density`` likewise, and ``cold_viscosity`` for what the viscosity at the coldest start comes from."""
        for field in fields:
            if field == "flow":
                self._used.update(self._flow_from)
            elif field == "viscosity":
                self._used.update(self._viscosity_from)
            elif field == "cold_viscosity":
                self._used.update(_LINE_FROM)
            elif field == "fluid.density":
                self._used.update(self._density_from)
                if self._density_taken is not None and self._density_taken not in self.notes:
                    self.notes.append(self._density_taken)
            else:
                self._used.add(field)

    @property
    def unused(self) -> tuple[str, ...]:
        return tuple(f"duty.{field}" for field in self._stated if field not in self._used)


def _carried_to(temperature_degc: float, typed: str | None, field: str | None = None) -> float:
    """A temperature that viscosities are carried to or from. Raises ConditionsError beyond these, with what was
    ``typed`` and the ``field`` that it was typed in, which the fluid is not to blame for."""
    try:
        return covered_temperature(temperature_degc)
    except ConditionsError as error:
        raise ConditionsError(error.message, value=typed, field=field, remedy=error.remedy) from None


def _line_through(text: str, index: float | None) -> FluidLine:
    """The line of an oil through two stated points, or through one at 40 °C and its viscosity index."""
    points = [_viscosity_point(point) for point in read_points(text, ("viscosity", "temperature"), ("density",))]
    if len(points) == 1 and index is not None and points[0][1] == _REFERENCE_DEGC:
        points.append((nu100_from_index(points[0][0], index), 100.0))
    elif len(points) != 2 or index is not None:
        raise QuestionError(
            "Two points make the line, or one at 40 °C with the viscosity index.",
            value=text,
            remedy='Write it as in "46 mm2/s at 40 degC; 6.8 mm2/s at 100 degC".',
        )
    first, second = points
    viscosity_at(first[1], *first, *second)  # refuses two points that make no line
    return FluidLine((first, second), (first, second))


def _viscosity_point(point: TypedPoint) -> tuple[float, float]:
    typed = point.texts["temperature"]
    temperature = _carried_to(read_quantity(typed, "temperature").value, typed)
    density = read_positive(point.texts["density"], "density").value if "density" in point.texts else None
    text = point.texts["viscosity"]
    quantity = read_quantity(text, "viscosity", density_kg_m3=density, temperature_degc=temperature)
    if not quantity.value > 0:
        raise QuestionError("A viscosity must be above zero.", value=text)
    return quantity.value, temperature


def read_price(text: str) -> Price:
    """One price as typed, "Quollbeck: Dulse 23 = 48.50". Raises QuestionError and QuantityError."""
    named, equals, amount = text.rpartition("=")
    maker, colon, number = named.strip().partition(": ")
    if not colon:
        maker, number = "", named.strip()
    if not equals or not number.strip():
        raise QuestionError(
            "This is no price of an element.",
            value=text,
            remedy='Write number = price, such as "Dulse 23 = 48.50; Tarnwhistle: 12-2 = 39".',
        )
    try:
        price = read_number(amount.strip()).value
    except QuantityError as error:
        if any(c.isalpha() or unicodedata.category(c) == "Sc" for c in amount):
            error.remedy = (
                f'Write the price as a number alone, such as "{named.strip()} = 39", and state the currency apart '
                "(costs.currency, at the command line --currency)."
            )
        raise
    if price < 0:
        raise QuestionError("A price cannot be negative.", value=text, remedy="State 0 or more.")
    return Price(maker.strip() or None, number.strip(), price)


_ANSWERED_APART = {"require", "assumptions", "fit", "derive"}


def _stated_fields(duty: DutyAsked) -> list[str]:
    stated = duty.model_dump(exclude_unset=True, by_alias=True, exclude=_ANSWERED_APART)
    fields = []
    for name, value in stated.items():
        within = value.items() if isinstance(value, dict) else ()
        fields += [f"{name}.{inner}" for inner, its in within if its is not None]
        if value is not None and not isinstance(value, dict):
            fields.append(name)
    if duty.fit.clearance is not None:
        fields.append("fit.clearance")
    return fields


def _class_alone(text: str) -> str | None:
    """The class of fluid that a text names and nothing else: "HM", and of the names of trade "HLP", "HL-P"."""
    word = re.sub(r"[\s-]+", "", text).upper()
    its_class = CLASS_OF_TRADE.get(word, word)
    return its_class if its_class in FLUID_CLASSES else None


def read_grade(text: str) -> int:
    """The number of an ISO 3448 grade: "ISO VG 46", "VG46", "46". Raises QuestionError."""
    match = _GRADE.fullmatch(text.strip())
    if match is None:
        _refuse_class(text)
    if match is None and (meant := _class_alone(text)):
        named = f"; {text.strip()} stands for it (common practice)" if meant != text.strip().upper() else ""
        remedy = f'Write "{meant}" as the class of the fluid{named}, and its grade as in "ISO VG 46".'
        raise QuestionError("This is a class of fluid, and no viscosity grade.", value=text, remedy=remedy)
    if match is None and len(_NUMBERS.findall(text)) > 1:
        raise QuestionError("These are several grades.", value=text, remedy="State the one that is filled in.")
    if match is None:
        raise QuestionError("This is no viscosity grade.", value=text, remedy='Write it as in "ISO VG 46".')
    return int(match[1])


def _refuse_class(text: str) -> None:
    """Raises QuestionError for a grade with a class of fluid beside it: "HM 46", "HLP46", "ISO VG 46 HV"."""
    match = _WITH_CLASS.fullmatch(text.strip())
    if match is None or not (match[1] or match[3]):
        return
    word = (match[1] or match[3]).upper()
    stands_for = f"; {word} stands for it (common practice)" if word in CLASS_OF_TRADE else ""
    its_class = CLASS_OF_TRADE.get(word, word)
    remedy = f'Write "ISO VG {match[2]}" as the grade, and "{its_class}" as the class of the fluid{stands_for}.'
    raise QuestionError("This is a grade and a class of fluid.", value=text, remedy=remedy)
