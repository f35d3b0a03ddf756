"""A duty in the words of a sheet: what a reader signs has no names of fields in it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from specdb.characteristics import ATTRIBUTES
from specdb.duty.dotted import dotted_of
from specdb.duty.question import ComparisonAsked
from specdb.duty.rules import RULES

_MACHINE: Mapping[str, str] = {
    "original.allow": "allowance on the original",
    "flow": "flow through the filter",
    "pump_flow": "flow of the pump",
    "area_ratio": "area ratio of the cylinder",
    "fluid.grade": "viscosity grade",
    "fluid.viscosity_index": "viscosity index",
    "fluid.points": "viscosity at two temperatures",
    "fluid.viscosity": "viscosity at work",
    "fluid.density": "density of the fluid",
    "fluid.density_temperature": "temperature of that density",
    "fluid.class": "class of fluid",
    "operating_temperature": "temperature at work",
    "cold_start_temperature": "coldest start",
    "working_pressure": "working pressure",
    "relief_pressure": "setting of the relief valve",
    "bypass": "bypass valve",
    "bypass_cracking_pressure": "bypass opens at",
    "bypass_full_flow_drop": "drop of the bypass valve at full flow",
    "maximum_pressure_drop": "greatest drop that the element can see",
    "pressure_cycles": "pressure cycles to stand",
    "location": "place in the circuit",
    "pump_inlet_pressure": "least pressure at the inlet of the pump",
    "reservoir_volume": "fluid in the reservoir",
    "turnovers_per_hour": "turnovers of the reservoir per hour",
    "air_flow": "air through the breather",
    "air_pressure_drop": "most drop of that air",
    "target_cleanliness": "cleanliness to keep",
    "ingression.at_4": "particles of 4 µm(c) and larger that get in",
    "ingression.at_6": "particles of 6 µm(c) and larger that get in",
    "ingression.at_14": "particles of 14 µm(c) and larger that get in",
    "ingression.environment": "surroundings that the dirt comes from",
    "ingression.mass": "dirt to hold",
    "service_interval": "service interval",
    "capacity_used": "share of the capacity used by then",
    "derive": "rules at work",
    "costs.currency": "currency",
    "costs.change_cost": "cost of a change without the element",
    "costs.prices": "prices",
    "fit.clearance": "room around a spin-on",
}
_FIT: Mapping[str, str] = {
    f"fit.{key}{end}": f"{about.title}{words}"
    for key, about in ATTRIBUTES.items()
    for end, words in (("", ""), (".tolerance", ", either way"))
}
_RULES: Mapping[str, str] = {f"derive.{key}": f"rule “{rule.title}”" for key, rule in RULES.items()}
FIELD_WORDS: Mapping[str, str] = {**_MACHINE, **_FIT, **_RULES}
"""What a sheet calls each thing that a duty states, by its dotted name; a requirement is told in its own words."""

_CHOICES: Mapping[str, Mapping[str, str]] = {
    "bypass": {"element": "in the element", "head": "in the filter head", "both": "in both", "none": "nowhere"},
    "location": {
        "suction": "suction line",
        "pressure": "pressure line",
        "return": "return line",
        "off-line": "off-line loop",
        "breather": "breather on the tank",
    },
}
_TOLD_ELSEWHERE = ("elements.", "original.number", "original.maker", "require.", "assumptions", "as_of", "include_")
"""How names begin that state nothing of the duty, or that the sheet tells elsewhere."""


def stated_duty(asked: ComparisonAsked, required: Sequence[str]) -> Iterator[str]:
    """Sentences on what was stated: of the machine, what it must fit and the rules in one, then each of the stated
    requirements, ``required`` in words."""
    told = {name: text for name, text in dotted_of(asked).items() if not name.startswith(_TOLD_ELSEWHERE)}
    if told:
        yield "; ".join(f"{FIELD_WORDS[name]}: {_said(name, text)}" for name, text in told.items())
    yield from (f"required: {words}" for words in required)


def _said(name: str, text: str) -> str:
    if name in _RULES:
        return "switched off" if text == "no" else f"with {text}"
    return _CHOICES.get(name, {}).get(text, text)


_SPOKEN: Mapping[str, str] = {
    **{f"{duty}{name}": f"“{words}”" for name, words in {**_MACHINE, **_FIT}.items() for duty in ("", "duty.")},
    **{f"{duty}{name}": words for name, words in _RULES.items() for duty in ("", "duty.")},
    **{key: rule.title for key, rule in RULES.items()},
    "at_least": "at least",
    "at_most": "at most",
}
_NAMES = sorted((name for name in _SPOKEN if "_" in name or "." in name), key=len, reverse=True)
_NAME = re.compile(rf"(?<![\w.])(?:{'|'.join(map(re.escape, _NAMES))})(?!\.?\w)")


def in_words(text: str) -> str:
    """A text in which fields and rules stand under their names, with words in place of the names. A name that is a
    plain word itself, such as flow, is left as it is."""
    return _NAME.sub(lambda match: _SPOKEN[match[0]], text)
