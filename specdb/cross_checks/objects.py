"""Lines from plain data: objects with dotted names, plain aliases, or a question or comparison as the API takes it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from specdb.cross_checks.gathering import named, stated, too_many_lines
from specdb.cross_checks.headings import (
    DECIMAL,
    LABEL,
    Column,
    Foreign,
    Slip,
    fault_at,
    meaning_of,
    takes_number,
    takes_yes_or_no,
    told_of,
)
from specdb.cross_checks.lines import FOR_ALL, MOST_LINES, Line, LinesRead
from specdb.duty.dotted import dotted_of, faults_as_typed
from specdb.duty.question import TEXT_AT_MOST, read_comparison, read_question
from specdb.errors import InputError, QuestionError, SpecdbError, shown

MOST_NAMES_NOT_KNOWN = 200
"""Different ones in all lines; beyond them, this is something else than lines."""

_WRAPPERS = ("question", "comparison", "duty")
_WANTED = 'Lines are a list of objects, such as [{"line": "A-1", "original.number": "Dulse 24", "flow": "75 L/min"}].'


def lines_of_objects(data: object) -> LinesRead:
    """Lines of a list of objects, or of an object that holds such a list as ``lines``, with what stands beside it.

    Raises QuestionError where there is none, or more than are answered.
    """
    objects, beside = _list_of(data)
    if not objects:
        raise QuestionError("There is no line.", remedy=_WANTED)
    if len(objects) > MOST_LINES:
        raise too_many_lines()
    left: dict[str, Foreign] = {}
    lines = tuple(_line(place, each, left) for place, each in enumerate(objects, start=1))
    told = told_of(list(left.values()))
    notes = (f"names left aside, as they are not known here: {told}",) if left else ()
    return LinesRead(lines, notes, beside)


def _list_of(data: object) -> tuple[list[object], Mapping[str, object]]:
    """The lines, and what is said beside them; of an answer of ours that is nothing, its lines say it all."""
    if isinstance(data, Mapping) and isinstance(data.get("lines"), list):
        lines = list(data["lines"])
        beside = {} if any(map(_is_answer, lines)) else {str(name): data[name] for name in data if name != "lines"}
        strange = [shown(name) for name in beside if name not in FOR_ALL]
        if strange:
            message = f"Beside the lines there stands {', '.join(strange[:8])}."
            raise QuestionError(message, remedy=f"What holds for all lines stands under {' and '.join(FOR_ALL)}.")
        return lines, beside
    if isinstance(data, list):
        return data, {}
    raise QuestionError("These are no lines.", remedy=_WANTED)


def _is_answer(line: object) -> bool:
    """Whether a line is one of our own answers, which holds what was asked."""
    return isinstance(line, Mapping) and isinstance(line.get("asked"), Mapping) and "status" in line


def _line(place: int, each: object, left: dict[str, Foreign]) -> Line:
    if not isinstance(each, Mapping):
        return Line(place, str(place), {}, (QuestionError("This is no object of names and values.", remedy=_WANTED),))
    if _is_answer(each):
        each = {LABEL: each.get("line"), **each["asked"]}
    label: list[str] = []
    asked: dict[str, str] = {}
    nested: dict[str, Any] = {}
    faults: list[SpecdbError] = []
    for key, value in _unwrapped(each).items():
        if value is None or value == "":
            continue
        if isinstance(value, list) or (isinstance(value, Mapping) and set(value) != {"value", "unit"}):
            _put(nested, key, value)
            continue
        meaning = meaning_of(key)
        if isinstance(meaning, Foreign):
            left.setdefault(key, meaning)
            if len(left) > MOST_NAMES_NOT_KNOWN:
                raise QuestionError(f"More than {MOST_NAMES_NOT_KNOWN} different names are not known.", remedy=_WANTED)
        elif isinstance(meaning, Slip):
            faults.append(meaning.fault())
        elif meaning.name == LABEL:
            label.append(str(value))
        else:
            _state(asked, meaning, value, faults)
    faults += _state_nested(asked, nested)
    if not asked and not faults:
        faults.append(QuestionError("The line asks nothing.", remedy="Name an original or state a duty."))
    return Line(place, ", ".join(label)[:TEXT_AT_MOST].strip() or str(place), asked, tuple(faults))


def _unwrapped(each: Mapping[str, Any]) -> dict[str, Any]:
    """A line whose question, comparison and duty are part of itself."""
    found: dict[str, Any] = {}
    for key, value in each.items():
        if key in _WRAPPERS and isinstance(value, Mapping):
            found |= _unwrapped(value)
        else:
            found[str(key)] = value
    return found


def _put(nested: dict[str, Any], key: str, value: object) -> None:
    if key in ("original", "elements"):
        nested[key] = value
    else:
        nested.setdefault("duty", {})[key] = value


def _state_nested(asked: dict[str, str], nested: Mapping[str, Any]) -> list[SpecdbError]:
    """Puts what is stated as objects and lists under dotted names; what is wrong with it."""
    if not nested:
        return []
    numbers = {
        f"{group}.{number}.{name}": "x"
        for group, name, found in (
            ("require", "characteristic", nested.get("duty", {}).get("require")),
            ("elements", "number", nested.get("elements")),
        )
        if isinstance(found, list)
        for number in range(1, len(found) + 1)
    }
    try:
        with faults_as_typed(numbers):
            read = read_comparison if "elements" in nested else read_question
            dotted = dotted_of(read(nested))
    except InputError as error:
        return [fault for fault in error.faults if isinstance(fault, SpecdbError)] or [error]
    twice = [fault_at(name, "This is stated twice.", "State it once.") for name in dotted if name in asked]
    asked |= dotted
    return list(twice)


def _state(asked: dict[str, str], column: Column, value: object, faults: list[SpecdbError]) -> None:
    """Puts one value under its dotted name, or what is wrong with it among the faults."""
    if column.name == DECIMAL:
        faults.append(fault_at(column.heading, "JSON has numbers with a point.", "Leave it out."))
        return
    if column.beside:
        taken = {int(name.split(".")[1]) for name in asked if name.startswith("require.")}
        number = next(each for each in range(1, len(taken) + 2) if each not in taken)
    else:
        number = None
    try:
        text = stated(column, _text(column, value))
    except InputError as error:
        faults.append(fault_at(column.heading, error.message, error.remedy, error.value))
        return
    if column.name in asked:
        faults.append(fault_at(column.heading, f"{column.name} is stated twice.", "State it once."))
    asked |= named(column, text, number)


def _text(column: Column, value: object) -> str:
    """A value as an address would state it. Raises QuestionError for one that cannot stand there."""
    if isinstance(value, Mapping):
        number, unit = value["value"], value["unit"]
        if not _is_finite(number) or not isinstance(unit, str):
            raise QuestionError("This is no value with a unit.", remedy='Write {"value": 75, "unit": "L/min"}.')
        return f"{number!r} {unit}"
    if isinstance(value, bool):
        if not takes_yes_or_no(column.name):
            raise QuestionError("true and false say nothing here.", remedy="State what is meant.")
        return "yes" if value else "no"
    if isinstance(value, str):
        return value.strip()
    if not _is_finite(value) or (isinstance(value, float) and not takes_number(column)):
        raise QuestionError("A text is expected here.", value=shown(value), remedy='Put it in quotes, such as "12-1".')
    return repr(value)


def _is_finite(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) < 10**15 if isinstance(value, int) else math.isfinite(value)
