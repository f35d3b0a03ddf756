"""From the circumstances of a duty to requirements, by named rules, each in the open.

What a rule assumes and where it comes from stands in :mod:`specdb.duty.rules`; here is what it does.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from specdb.duty.circumstances import Circumstances
from specdb.duty.conditions import DutyConditions, Faults
from specdb.duty.derived import bypass, dirt, envelope, fluid, place
from specdb.duty.derived.outcome import Applied, Derivation, Lacks, Outcome
from specdb.duty.question import DeriveAsked
from specdb.duty.requirement import Note, Requirement
from specdb.duty.rules import RULES, SIDES, Rule
from specdb.errors import InputError, QuestionError
from specdb.units import read_number, read_quantity

WORKINGS: dict[str, Callable[[Circumstances, Any], Outcome]] = {
    "bypass_valve": bypass.bypass_valve,
    "bypass_cracking": bypass.bypass_cracking,
    "clean_drop_below_bypass": bypass.clean_drop_below_bypass,
    "cold_start_bypass": bypass.cold_start_bypass,
    "collapse": bypass.collapse,
    "collapse_over_own_drop": bypass.collapse_over_own_drop,
    "envelope": envelope.envelope,
    "burst": envelope.burst,
    "pressure_fatigue": envelope.pressure_fatigue,
    "temperature_range": envelope.temperature_range,
    "seal_and_fluid": fluid.seal_and_fluid,
    "media_and_fluid": fluid.media_and_fluid,
    "zinc_and_water": fluid.zinc_and_water,
    "suction_drop": place.suction_drop,
    "breather_kind": place.breather_kind,
    "breather_air": place.breather_air,
    "breather_particles": place.breather_particles,
    "cleanliness": dirt.cleanliness,
    "service_life": dirt.service_life,
}
"""What each rule does, by its key."""

_ON_OR_OFF = {"yes": True, "true": True, "on": True, "no": False, "false": False, "off": False}

WHERE_IT_SHOWS = {"cleanliness": "duty.target_cleanliness", "suction_drop": "duty.pump_inlet_pressure"}
"""Field at which a rule refuses a duty that cannot be had; else the rule's own switch."""


def derive(
    switches: DeriveAsked, conditions: DutyConditions, faults: Faults
) -> tuple[list[Requirement], list[Derivation]]:
    """Requirements of every rule that is on and whose inputs are stated, and what each rule did.

    What a rule refuses goes to ``faults``.
    """
    requirements: list[Requirement] = []
    told = [Derivation(None, "applied", step) for step in conditions.steps]
    for key, rule in RULES.items():
        factor, on = rule.factor, True
        with faults.at(f"duty.derive.{key}"):
            factor, on = _factor(getattr(switches, key), rule)
        if not on:
            if _has_to_do(key, conditions.circumstances, factor):
                told.append(Derivation(key, "switched off", Note("Switched off by the question.", ())))
            continue
        with faults.at(WHERE_IT_SHOWS.get(key, f"duty.derive.{key}")):
            outcome = WORKINGS[key](conditions.circumstances, factor)
            if getattr(switches, key).strip().casefold() not in _ON_OR_OFF and not _reads_figure(outcome):
                conditions.leave_unread(f"derive.{key}")
            if isinstance(outcome, Applied):
                conditions.use(*outcome.used)
                requirements += [replace(required, rule=key) for required in outcome.requirements]
                told.append(Derivation(key, "applied", outcome.words, factor))
            elif isinstance(outcome, Lacks):
                told.append(Derivation(key, "lacks", outcome.words or Note(_waits_for(outcome.fields), ())))
    return requirements, told


def _has_to_do(key: str, at: Circumstances, factor: float | str | None) -> bool:
    """Whether a rule that is off would have asked something; it refuses nothing either."""
    try:
        return isinstance(WORKINGS[key](at, factor), Applied)
    except InputError:
        return True


def _reads_figure(outcome: Outcome) -> bool:
    return isinstance(outcome, Applied) and outcome.reads_factor


def _waits_for(fields: tuple[str, ...]) -> str:
    *first, last = fields
    lacking = f"{', '.join(first)} and {last} are" if first else f"{last} is"
    return f"Asks nothing while {lacking} not stated."


def _factor(switch: str, rule: Rule) -> tuple[float | str | None, bool]:
    """The figure to work with, and whether the rule is on. Raises QuestionError and QuantityError."""
    word = switch.strip().casefold()
    if word in _ON_OR_OFF:
        return rule.factor, _ON_OR_OFF[word]
    if rule.kind is None:
        raise QuestionError("This rule has no figure to change.", value=switch, remedy="Write yes or no.")
    if rule.kind == "side":
        if word not in SIDES:
            raise QuestionError("This is no side of a filter.", value=switch, remedy=f"Write {' or '.join(SIDES)}.")
        return word, True
    if rule.kind == "pressure" and read_quantity(switch, rule.kind).reference != "absolute":
        raise QuestionError("An absolute pressure is meant.", value=switch, remedy='Write it as in "90 kPa abs".')
    value = read_quantity(switch, rule.kind).value if rule.kind else read_number(switch).value
    if not value > 0:
        raise QuestionError("This must be above zero.", value=switch, remedy="Write no to switch the rule off.")
    if not rule.least <= value <= rule.most:
        bound = f"{rule.least:g} or more" if value < rule.least else f"at most {rule.most:g}"
        unit = " %" if rule.kind == "percent" else ""
        raise QuestionError(
            f"With this figure the rule would ask the reverse of what it is for: {rule.title}.",
            value=switch,
            remedy=f"State {bound}{unit}.",
        )
    return value, True
