"""Lines from plain data: objects with dotted names, plain aliases, or a question or comparison as the API takes it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import islice
from typing import Any, TypeGuard

from specdb.cross_checks.gathering import (
    LONGEST_ASIDE_CHARACTERS,
    is_nameless,
    named,
    rows_told,
    stated,
    too_many_lines,
)
from specdb.cross_checks.headings import (
    DECIMAL,
    LABEL,
    MOST_ASIDE,
    NAMES_OF_THE_ORIGINAL,
    ORIGINAL,
    Column,
    Foreign,
    Slip,
    carried_as,
    fault_at,
    meaning_of,
    refuse_answers,
    takes_number,
    takes_yes_or_no,
    told_of,
)
from specdb.cross_checks.lines import FOR_ALL, MOST_LINES, Line, LinesRead
from specdb.duty.dotted import dotted_of, faults_as_typed
from specdb.duty.question import PRICES_AT_MOST, TEXT_AT_MOST, read_comparison, read_question
from specdb.errors import InputError, NotOnFileError, QuantityError, QuestionError, SpecdbError, shown
from specdb.exchange.reading import MOST_COLUMNS

MOST_NAMES_NOT_KNOWN = 200
"""Different ones in all lines; beyond them, this is something else than lines."""

_WRAPPERS = ("question", "comparison", "duty")
_WANTED = 'Lines are a list of objects, such as [{"line": "A-1", "original.number": "Dulse 24", "flow": "75 L/min"}].'


def lines_of_objects(data: object) -> LinesRead:
    """Lines of a list of objects, or of an object that holds such a list as ``lines``, with what stands beside it.

    Raises QuestionError where there is none, or more than are answered, and for rows of a table of answers.
    """
    objects, beside = _list_of(data)
    if not objects:
        raise QuestionError("There is no line.", remedy=_WANTED)
    if len(objects) > MOST_LINES:
        raise too_many_lines()
    if isinstance(objects[0], Mapping) and not _is_answer(objects[0]):
        refuse_answers(map(str, objects[0]))
    left: dict[str, Foreign] = {}
    lines = tuple(_line(place, each, left) for place, each in enumerate(objects, start=1))
    notes = [f"names left aside, as they are not known here: {told_of(list(left.values()))}"] if left else []
    still = [place for place, each in enumerate(objects, start=1) if _is_answer(each) and _has_problem(each)]
    if still:
        notes.append(f"answers with a problem, at fault as before until it is left out: lines {rows_told(still)}")
    return LinesRead(lines, tuple(notes), beside)


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


def _is_answer(line: object) -> TypeGuard[Mapping[str, Any]]:
    """Whether a line is one of our own answers, which holds what was asked."""
    return isinstance(line, Mapping) and isinstance(line.get("asked"), Mapping) and "status" in line


def _has_problem(answer: Mapping[str, Any]) -> bool:
    """Whether an answer still says why it is none: what could not be read is told in nothing else."""
    return answer.get("problem") is not None


def _line_at_fault(place: int, answer: Mapping[str, Any]) -> Line:
    """The line of an answer that has a problem, with what it asked and the faults as they were told."""
    asked = {str(name): _as_typed(value) for name, value in answer["asked"].items() if value is not None}
    return Line(
        place, _as_typed(answer.get("line") or place)[:TEXT_AT_MOST], asked, _faults_told(answer["problem"]),
        _texts(answer.get("headings")), _texts(answer.get("unread")), _texts(answer.get("aside"), MOST_ASIDE),
    )  # fmt: skip


def _as_typed(value: object) -> str:
    return value[:PRICES_AT_MOST] if isinstance(value, str) else shown(value)


def _faults_told(problem: object) -> tuple[SpecdbError, ...]:
    """The faults of a problem, each under the heading or the name that it was told under."""
    told = problem if isinstance(problem, Mapping) else {}
    errors = told.get("errors")
    kinds = {kind.code: kind for kind in (NotOnFileError, QuantityError)}
    faults: list[SpecdbError] = []
    for each in errors if isinstance(errors, list) else []:
        if isinstance(each, Mapping) and isinstance(each.get("detail"), str):
            place, remedy = (text if isinstance(text := each.get(name), str) else None for name in ("field", "remedy"))
            faults.append(kinds.get(str(told.get("code")), QuestionError)(each["detail"], field=place, remedy=remedy))
            faults[-1].whole = True
    remedy = "Mend what is asked, and leave the problem out."
    return tuple(faults) or (QuestionError("The line had a problem, which is not told.", remedy=remedy),)


@dataclass
class _Draft:
    """One line while its names are read."""

    asked: dict[str, str] = field(default_factory=dict)
    headings: dict[str, str] = field(default_factory=dict)
    unread: dict[str, str] = field(default_factory=dict)
    aside: dict[str, str] = field(default_factory=dict)
    label: list[str] = field(default_factory=list)
    nested: dict[str, Any] = field(default_factory=dict)
    foreign: list[Foreign] = field(default_factory=list)
    faults: list[SpecdbError] = field(default_factory=list)
    blank_original: str | None = None


def _line(place: int, each: object, left: dict[str, Foreign]) -> Line:
    if not isinstance(each, Mapping):
        return Line(place, str(place), {}, (QuestionError("This is no object of names and values.", remedy=_WANTED),))
    if _is_answer(each) and _has_problem(each):
        return _line_at_fault(place, each)
    draft = _Draft()
    if _is_answer(each):
        draft.aside |= _texts(each.get("aside"), MOST_ASIDE)
        draft.headings |= _texts(each.get("headings"))
        each = {LABEL: each.get("line"), **_texts(each.get("unread")), **each["asked"]}
    for key, value in _unwrapped(each).items():
        _take(draft, key, value, left)
    draft.faults += _state_nested(draft.asked, draft.nested)
    stated_here = [*draft.asked, *draft.unread]
    draft.faults += filter(None, (foreign.fault(stated_here) for foreign in draft.foreign))
    blank = None if ORIGINAL in stated_here else draft.blank_original
    if not draft.asked and not draft.faults:
        draft.faults.append(_asks_nothing(blank))
    return Line(
        place, ", ".join(draft.label)[:TEXT_AT_MOST].strip() or str(place), draft.asked, tuple(draft.faults),
        draft.headings, draft.unread, draft.aside, blank,
    )  # fmt: skip


def _texts(found: object, most: int = MOST_COLUMNS) -> dict[str, str]:
    if not isinstance(found, Mapping):
        return {}
    texts = {str(name): text for name, text in found.items() if isinstance(text, str) and len(text) <= TEXT_AT_MOST}
    return dict(islice(texts.items(), most))


def _asks_nothing(blank_original: str | None) -> QuestionError:
    remedy = "Name an original or state a duty."
    if blank_original is None:
        return QuestionError("The line asks nothing.", remedy=remedy)
    return fault_at(blank_original, "No original is named, and the line asks nothing else.", remedy)


def _take(draft: _Draft, key: str, value: object, left: dict[str, Foreign]) -> None:
    """Puts one name with its value where it belongs; ``left`` gathers names that are not known, of all lines."""
    if isinstance(value, list) or (isinstance(value, Mapping) and set(value) != {"value", "unit"}):
        _put(draft.nested, key, value)
        return
    meaning = meaning_of(key)
    name = meaning.name if isinstance(meaning, Column) else ""
    if name in NAMES_OF_THE_ORIGINAL and (value is None or is_nameless(str(value).strip())):
        draft.blank_original = key if name == ORIGINAL else draft.blank_original
    elif value is None or value == "":
        return
    elif isinstance(meaning, Foreign):
        if not meaning.is_marked:
            left.setdefault(key, meaning)
        if len(left) > MOST_NAMES_NOT_KNOWN:
            raise QuestionError(f"More than {MOST_NAMES_NOT_KNOWN} different names are not known.", remedy=_WANTED)
        draft.foreign.append(meaning)
        if len(draft.aside) < MOST_ASIDE:
            draft.aside.setdefault(carried_as(meaning), str(value)[:LONGEST_ASIDE_CHARACTERS])
    elif isinstance(meaning, Slip):
        draft.faults.append(meaning.fault())
    elif name == LABEL:
        draft.label.append(str(value))
    else:
        _state(draft, meaning, value)


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


def _state(draft: _Draft, column: Column, value: object) -> None:
    """Puts one value under its dotted name, or what is wrong with it among the faults."""
    if column.name == DECIMAL:
        draft.faults.append(fault_at(column.heading, "JSON has numbers with a point.", "Leave it out."))
        return
    number = None
    if column.beside:
        taken = {int(name.split(".")[1]) for name in draft.asked if name.startswith("require.")}
        number = next(each for each in range(1, len(taken) + 2) if each not in taken)
    typed = value.strip() if isinstance(value, str) else None
    try:
        text = stated(column, _text(column, value))
    except InputError as error:
        found = error.value if typed is None else typed
        draft.faults.append(fault_at(column.heading, error.message, error.remedy, found))
        draft.unread |= named(column, (typed or shown(value))[:TEXT_AT_MOST], number)
        return
    if column.name in draft.asked:
        draft.faults.append(fault_at(column.heading, f"{column.name} is stated twice.", "State it once."))
    said = named(column, text, number)
    draft.asked |= said
    draft.headings |= {name: column.heading for name in said if name != column.heading}


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
