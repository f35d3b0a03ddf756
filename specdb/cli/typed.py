"""Requirements, fit measures and assumptions as they are typed on a command line, made plain data."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from specdb.characteristics import CHARACTERISTICS, CONDITIONS
from specdb.errors import QuantityError, QuestionError
from specdb.vocabulary import characteristics_named

_LIMITS = {
    ">=": "at_least",
    "at least": "at_least",
    "<=": "at_most",
    "at most": "at_most",
    "≥": "at_least",
    "≤": "at_most",
}


def requirement_of(text: str) -> dict[str, str]:
    """A requirement as typed: "filtration_ratio >= 200; size 10 um(c)", or with conditions that their units name,
    "clean drop at most 30 kPa at 100 L/min and 46 mm2/s". Raises QuestionError."""
    first, *rest = (clause.strip() for clause in text.split(";"))
    match = re.fullmatch(r"(.+?)\s*(>=|<=|≥|≤|\bat least\b|\bat most\b)\s*(.+)", first, re.IGNORECASE)
    if match is None:
        raise QuestionError(
            "This is no requirement.",
            value=text,
            field="--require",
            remedy='Write a characteristic, >= or <= and a limit, then conditions after ";" or "at": '
            '"filtration_ratio >= 200; size 10 um(c)".',
        )
    (named, *before), (limit, *after) = _AT.split(match[1], 1), _AT.split(match[3], 1)
    characteristic, size = _named_with_size(named.strip())
    asked = {"characteristic": characteristic, _LIMITS[match[2].casefold()]: limit.strip()}
    conditions = [condition.strip() for stated in (*before, *after) for condition in _BETWEEN.split(stated)]
    stated = [*_by_unit(filter(None, [size, *conditions]), characteristic), *map(named_value, filter(None, rest))]
    for name, value in stated:
        if name in asked:
            raise QuestionError(f"The {name} is stated twice.", value=text, field="--require", remedy="State it once.")
        asked[name] = value
    return asked


_AT = re.compile(r"\s+at\s+", re.IGNORECASE)
_BETWEEN = re.compile(r"\s+and\s+|,\s+(?:and\s+)?", re.IGNORECASE)
_WITH_SIZE = re.compile(r"(?P<name>β|beta)\s*(?P<size>\d[\d.,]*)\s*(?:µm|um)?\s*(?P<scale>\(\w+\))?", re.IGNORECASE)


def _named_with_size(text: str) -> tuple[str, str | None]:
    """The characteristic that is named, and the size that stands beside a beta: "β10(c)". A name that is not known is
    left as it is, for the question to refuse with all else."""
    match = _WITH_SIZE.fullmatch(text)
    name, size = (match["name"], f"{match['size']} um{match['scale'] or ''}") if match else (text, None)
    keys = characteristics_named(name)
    if len(keys) > 1:
        raise QuestionError(
            "This is said of several.", value=name, field="--require", remedy=f"Write one of {', '.join(keys)}."
        )
    return keys[0] if keys else name.replace(" ", "_"), size


def _by_unit(conditions: Iterator[str], characteristic: str) -> Iterator[tuple[str, str]]:
    """Conditions with the names that their units say, of several those that the characteristic is judged with."""
    from specdb.units import kinds_of

    judged_with = CHARACTERISTICS[characteristic].judged_with if characteristic in CHARACTERISTICS else ()
    for condition in conditions:
        kinds = kinds_of(condition)
        names = [name for name, kind in CONDITIONS.items() if kind in kinds]
        if not names:
            raise QuestionError(
                "The unit of this condition does not say what it is.",
                value=condition,
                field="--require",
                remedy='Write a quantity with its unit, "at 100 L/min and 46 mm2/s", or name it after ";".',
            )
        yield next((name for name in names if name in judged_with), names[0]), condition


def fit_of(text: str) -> tuple[str, str | dict[str, str]]:
    """A fit measure or word as typed: "thread 1-12 UNF", "length 140 mm +- 1 mm"."""
    name, _, value = text.strip().replace("=", " ", 1).partition(" ")
    measure, sign, tolerance = re.sub(r"\+/?-|±", "±", value).partition("±")
    return (name, {"value": measure.strip(), "tolerance": tolerance.strip()}) if sign else (name, value.strip())


def assumptions_of(texts: list[str]) -> str | dict[str, Any]:
    """Assumptions as typed: "customary", names with or without a value, or both, where the names have the last word."""
    from specdb.duty.question import AssumptionsAsked

    if texts == ["customary"]:
        return "customary"
    all_of_them = dict.fromkeys(AssumptionsAsked.model_fields, True) if "customary" in texts else {}
    pairs = (text.partition("=") for text in texts if text != "customary")
    return all_of_them | {name.strip(): value.strip() if sign else True for name, sign, value in pairs}


def plain_number(text: str) -> float | str:
    """The number typed, "1.25" or "1,25"; a text that is none as it is, for the question to refuse with all else."""
    from specdb.units import read_number

    try:
        return read_number(text).value
    except QuantityError:
        return text


def named_value(text: str) -> tuple[str, str]:
    """A field and its value as typed: "thread 1-12 UNF", "outside_diameter 96 mm +- 2 mm", "at_4=1e8 /min"."""
    name, _, value = text.strip().replace("=", " ", 1).partition(" ")
    return name, value.strip()


def switches_of(texts: list[str]) -> dict[str, Any]:
    """Switches of rules as typed: "none", "collapse=no", "burst=2.5"; what is named has the last word."""
    from specdb.duty.rules import RULES

    all_off = dict.fromkeys(RULES, False) if "none" in texts else {}
    pairs = (named_value(text) for text in texts if text not in ("none", "all"))
    return all_off | {name: {"yes": True, "no": False}.get(value.casefold(), value or True) for name, value in pairs}
