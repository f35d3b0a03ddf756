"""Requirements, fit measures and assumptions as they are typed on a command line, made plain data."""

from __future__ import annotations

import re
from typing import Any

from specdb.errors import QuantityError, QuestionError

_LIMITS = {
    ">=": "at_least",
    "at least": "at_least",
    "<=": "at_most",
    "at most": "at_most",
    "≥": "at_least",
    "≤": "at_most",
}


def requirement_of(text: str) -> dict[str, str]:
    """A requirement as typed: "filtration_ratio >= 200; size 10 um(c)". Raises QuestionError."""
    first, *rest = (clause.strip() for clause in text.split(";"))
    match = re.fullmatch(r"([\w ]+?)\s*(>=|<=|≥|≤|at least\b|at most\b)\s*(.+)", first, re.IGNORECASE)
    if match is None:
        raise QuestionError(
            "This is no requirement.",
            value=text,
            field="--require",
            remedy='Write a characteristic, >= or <= and a limit, then conditions after ";": '
            '"filtration_ratio >= 200; size 10 um(c)".',
        )
    asked = {"characteristic": match[1].strip().replace(" ", "_"), _LIMITS[match[2].casefold()]: match[3].strip()}
    for clause in filter(None, rest):
        name, _, value = clause.replace("=", " ", 1).partition(" ")
        asked[name] = value.strip()
    return asked


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
