"""Fit measures, assumptions and switches as they are typed on a command line, made plain data."""

from __future__ import annotations

import re
from typing import Any

from specdb.errors import QuantityError


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


def switches_of(texts: list[str]) -> dict[str, Any]:
    """Switches of rules as typed: "none", "collapse=no", "burst=2.5"; what is named has the last word."""
    from specdb.duty.rules import RULES
    from specdb.duty.typed import named_value

    all_off = dict.fromkeys(RULES, False) if "none" in texts else {}
    pairs = (named_value(text) for text in texts if text not in ("none", "all"))
    return all_off | {name: {"yes": True, "no": False}.get(value.casefold(), value or True) for name, value in pairs}
