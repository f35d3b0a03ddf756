"""Requirements that the duty states outright."""

from __future__ import annotations

from typing import Any

import numpy as np

from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS
from specdb.duty.conditions import DutyConditions, Faults, read_positive, unusual
from specdb.duty.question import DutyAsked, FitAsked, MeasureAsked, RequirementAsked
from specdb.duty.requirement import Note, Requirement
from specdb.errors import InputError, QuestionError
from specdb.trade.filtration import beta_from_efficiency, customary_beta
from specdb.trade.fluids import possible_density
from specdb.trade.threads import normal_thread
from specdb.units import read_number, read_quantity, show
from specdb.vocabulary import dust_of, liquid_of, standard_and_edition

MEASURE_TOLERANCE_MM = {
    "gasket_outside_diameter": 0.5,
    "gasket_inside_diameter": 0.5,
    "inside_diameter": 0.3,
    "second_inside_diameter": 0.3,
    "length": 1.0,
    "outside_diameter": 1.0,
}
"""How far a measure may differ where no tolerance is stated (common practice)."""


def stated_requirements(duty: DutyAsked, conditions: DutyConditions, faults: Faults) -> list[Requirement]:
    """Each entry of ``require``, each stated fit measure and word, and the fluid's class."""
    found: list[Requirement] = []
    for place, asked in enumerate(duty.require):
        with faults.at(f"duty.require.{place}"):
            found.append(_required(asked, conditions, faults, f"duty.require.{place}"))
    found += _fit(duty.fit, faults)
    # The air of a reservoir passes a breather, not its fluid.
    if duty.fluid.fluid_class is not None and duty.location != "breather":
        conditions.use("fluid.class")
        found.append(Requirement("", "fluid_class", "stated", word=duty.fluid.fluid_class))
    return found


def _required(asked: RequirementAsked, conditions: DutyConditions, faults: Faults, field: str) -> Requirement:
    characteristic = CHARACTERISTICS[asked.characteristic]
    _refuse_foreign_conditions(asked, field, faults)
    if asked.at_least is None and asked.at_most is None:
        raise QuestionError("No limit is stated.", field="at_least", remedy="State at_least, at_most or both.")
    limits: dict[str, float] = {}
    for name in ("at_least", "at_most"):
        text = getattr(asked, name)
        if text is not None:
            with faults.at(f"{field}.{name}"):
                limits[name] = _limit(text, asked.characteristic)
    _refuse_wrong_way(asked, field, faults)
    low, high = limits.get("at_least", -np.inf), limits.get("at_most", np.inf)
    if low > high:
        raise QuestionError("The lower limit lies above the upper one.", field="at_least", value=asked.at_least)
    where: dict[str, Any] = {"drop_of": asked.drop_of, "capacity_basis": asked.capacity_basis}
    where |= {
        "test_liquid": asked.test_liquid and liquid_of(asked.test_liquid),
        "standard": asked.standard and standard_and_edition(asked.standard)[0],
        "dust": asked.dust and dust_of(asked.dust),
    }
    notes: list[str | Note] = []
    with faults.at(field):
        where |= _quantities(asked, conditions, notes)
    with faults.at(f"{field}.size"):
        where |= _size(asked)
    with faults.at(f"{field}.allow"):
        where["allow"] = read_allowance(asked.allow)
    return Requirement(
        "",
        characteristic.key,
        "stated",
        low=low,
        high=high,
        notes=tuple(notes),
        **where,
    )


def _refuse_foreign_conditions(asked: RequirementAsked, field: str, faults: Faults) -> None:
    characteristic = CHARACTERISTICS[asked.characteristic]
    for name, value in asked.conditions().items():
        if name not in characteristic.judged_with:
            with faults.at(f"{field}.{name}"):
                raise QuestionError(
                    f"A {characteristic.title} is not judged with a {name}.",
                    value=value,
                    remedy=f"It is judged with {', '.join(characteristic.judged_with) or 'no condition'}.",
                )


_WRONG_WAY = {"covers_below": "at_least", "covers_above": "at_most"}


def _refuse_wrong_way(asked: RequirementAsked, field: str, faults: Faults) -> None:
    """A limit that would ask for an element that covers less; fatigue without its standard."""
    characteristic = CHARACTERISTICS[asked.characteristic]
    wrong = _WRONG_WAY.get(characteristic.sense, "")
    if wrong and getattr(asked, wrong) is not None:
        with faults.at(f"{field}.{wrong}"):
            raise QuestionError(
                f"An element must cover the {characteristic.title} that is required.",
                value=getattr(asked, wrong),
                remedy=f"State {'at_most' if wrong == 'at_least' else 'at_least'}.",
            )
    if asked.characteristic == "flow_fatigue_cycles" and asked.standard is None:
        with faults.at(f"{field}.standard"):
            raise QuestionError(
                "Flow fatigue is tested in two ways that are never joined.",
                remedy=f"State the standard: {' or '.join(characteristic.standards)}.",
            )
    if asked.allow is not None and characteristic.kind == "temperature":
        with faults.at(f"{field}.allow"):
            raise QuestionError("A share of a temperature means nothing.", value=asked.allow, remedy="State the limit.")


def _limit(text: str, characteristic: str) -> float:
    kind = CHARACTERISTICS[characteristic].kind
    if kind:
        return (read_quantity if kind == "temperature" else read_positive)(text, kind).value
    if characteristic == "filtration_ratio":
        return _ratio(text)
    value = read_number(text).value
    if not value > 0:
        raise QuestionError("A number of cycles must be above zero.", value=text)
    return value


def _ratio(text: str) -> float:
    """A filtration ratio, or an efficiency in percent that stands for one."""
    if text.rstrip().endswith("%"):
        efficiency = read_quantity(text, "percent").value
        beta = customary_beta(efficiency) or beta_from_efficiency(efficiency)
    else:
        beta = read_number(text).value
    if beta < 1:
        raise QuestionError(
            "A required filtration ratio below 1 would ask for more particles downstream than upstream.",
            value=text,
            remedy='State a ratio of 1 or more, such as 200, or an efficiency such as "99.5 %".',
        )
    return beta


def _quantities(
    asked: RequirementAsked, conditions: DutyConditions, notes: list[str | Note]
) -> dict[str, float | str | None]:
    """Conditions of the requirement; flow, viscosity, density and terminal drop fall back on the duty's."""
    judged_with = CHARACTERISTICS[asked.characteristic].judged_with

    def own(name: str, kind: str, density_kg_m3: float | None = None) -> float | None:
        text = getattr(asked, name)
        if text is None or name not in judged_with:
            return None
        try:
            quantity = read_positive(text, kind, density_kg_m3=density_kg_m3)
            if kind == "density":
                possible_density(quantity.value)
        except InputError as error:
            raise error.at(name) from None
        if quantity.note and f"{name}: {quantity.note}" not in notes:
            notes.append(f"{name}: {quantity.note}")
        field = "fluid.viscosity" if name == "viscosity" else name
        notes.extend(note for note in unusual(field, name, quantity.value) if note not in notes)
        return quantity.value

    found: dict[str, float | str | None] = {"cycle_pressure_kpa": own("cycle_pressure", "pressure")}
    flow, density, terminal = own("flow", "flow"), own("density", "density"), own("terminal_pressure_drop", "pressure")
    if "flow" in judged_with:
        found["flow_l_min"] = conditions.flow_of(asked.characteristic) if flow is None else flow
    if "terminal_pressure_drop" in judged_with:
        found["terminal_pressure_drop_kpa"] = conditions.terminal_pressure_drop_kpa if terminal is None else terminal
    if "density" in judged_with:
        dense = conditions.density_kg_m3 if density is None else (density, density)
        found["density_low_kg_m3"], found["density_high_kg_m3"] = dense or (None, None)
    if "viscosity" in judged_with:
        # In cP it is read with a density that is stated, never with one that is common.
        light, heavy = (density, density) if density is not None else conditions.stated_density_kg_m3 or (None, None)
        thin, thick = (own("viscosity", "viscosity", each) for each in (heavy, light))
        band = conditions.viscosity_mm2_s if thin is None or thick is None else (thin, thick)
        found["viscosity_low_mm2_s"], found["viscosity_high_mm2_s"] = band or (None, None)
    return found


def _size(asked: RequirementAsked) -> dict[str, float | str | None]:
    if asked.characteristic != "filtration_ratio":
        return {}
    if asked.size is None:
        raise QuestionError("A filtration ratio belongs to a particle size.", remedy='State it as in "10 um(c)".')
    size = read_positive(asked.size, "size")
    if size.scale == "?":
        number = show(size.value, "size").split()[0]
        raise QuestionError(
            "A size without its scale can be read two ways.",
            value=asked.size,
            remedy=f'Write "{number} um(c)" (the scale of ISO 16889) or "{number} um(acftd)" (the older ISO 4572).',
        )
    return {"size_um": size.value, "scale": size.scale}


def read_allowance(text: str | None) -> float:
    """A share by which a limit is relaxed, 0 where none is stated. Raises QuantityError and QuestionError."""
    if text is None:
        return 0.0
    share = read_quantity(text, "percent").value / 100
    if not 0 <= share < 1:
        raise QuestionError("An allowance lies between 0 and 100 %.", value=text, remedy='Write it as in "5 %".')
    return share


def _fit(fit: FitAsked, faults: Faults) -> list[Requirement]:
    found: list[Requirement] = []
    if fit.clearance is not None:
        with faults.at("duty.fit.clearance"):
            if read_quantity(fit.clearance, "length").value < 0:
                raise QuestionError("A clearance cannot be negative.", value=fit.clearance)
    for name in FitAsked.model_fields:
        asked = getattr(fit, name)
        if asked is None or name == "clearance":
            continue
        with faults.at(f"duty.fit.{name}"):
            if isinstance(asked, MeasureAsked):
                found.append(_measure(name, asked))
            else:
                word = normal_thread(asked) if ATTRIBUTES[name].kind == "thread" else asked
                found.append(Requirement("", name, "stated", word=word))
    return found


def _measure(name: str, asked: MeasureAsked) -> Requirement:
    value = read_positive(asked.value, "length").value
    if asked.tolerance is not None:
        try:
            tolerance, note = read_quantity(asked.tolerance, "length").value, "tolerance as stated"
        except InputError as error:
            raise error.at("tolerance") from None
        if tolerance < 0:
            raise QuestionError("A tolerance cannot be negative.", value=asked.tolerance, field="tolerance")
    else:
        tolerance, note = MEASURE_TOLERANCE_MM[name], "no tolerance stated: the customary one (common practice)"
    return Requirement("", name, "stated", low=value - tolerance, high=value + tolerance, nominal=value, notes=(note,))
