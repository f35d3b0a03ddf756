"""A question as dotted names: one text to a name, as an address, a heading of a sheet or a form carries it.

``{"duty": {"require": [{"size": "10 um(c)"}]}}`` is ``require.1.size=10 um(c)``: names without ``duty.``,
requirements numbered from 1. The names follow from the models in :mod:`specdb.duty.question`. An empty
text, as of an empty cell, states nothing, and requirements may leave numbers out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any, TypeVar

from pydantic import BaseModel
from rapidfuzz import fuzz, process

from specdb.duty.conditions import Faults
from specdb.duty.left import faults_in_the_rest
from specdb.duty.question import (
    MOST_COMPARED,
    MOST_REQUIREMENTS,
    TEXT_AT_MOST,
    AssumptionsAsked,
    ComparisonAsked,
    DeriveAsked,
    ElementAsked,
    Question,
    models_in,
    read_comparison,
    read_question,
)
from specdb.duty.rules import RULES
from specdb.duty.typed import requirement_of
from specdb.errors import InputError, NotOnFileError, QuestionError, SpecdbError
from specdb.units import read_number

ASSUMPTIONS = "assumptions"
DERIVE = "derive"
UNKNOWN_AT_MOST = 20
"""Unknown names that are answered one by one; the rest are counted."""

_LIKENESS = 80
Asked = TypeVar("Asked", bound=Question | ComparisonAsked)
_ANSWERS = {"true": True, "yes": True, "false": False, "no": False}
_NUMBERED = re.compile(r"(require|elements)\.([0-9]+)(?:\.(.*))?", re.DOTALL)
_ONE_OF_SEVERAL = {"require": ("requirement", MOST_REQUIREMENTS), "elements": ("element", MOST_COMPARED)}
"""What stands in numbered groups: the word for one, and how many there may be."""


@dataclass(frozen=True)
class DottedField:
    """One name. ``path`` is its place in a question as plain data, requirements counted from 0; ``kinds`` what its
    text may stand for (string, number, integer, boolean); ``schema`` the JSON schema of the text, in which a number
    or an answer stands for the text that writes it."""

    name: str
    path: tuple[str | int, ...]
    kinds: frozenset[str]
    schema: dict[str, Any]
    description: str


@cache
def dotted_names() -> Mapping[str, DottedField]:
    """Every name that a question has, in the order of the models."""
    return MappingProxyType({field.name: field for field in _fields(Question, "", ())})


@cache
def compared_names() -> Mapping[str, DottedField]:
    """Every name of the elements of a comparison, which are numbered from 1."""
    return MappingProxyType(
        {
            field.name: field
            for number in range(1, MOST_COMPARED + 1)
            for field in _fields(ElementAsked, f"elements.{number}.", ("elements", number - 1))
        }
    )


@cache
def comparison_names() -> Mapping[str, DottedField]:
    """Every name that a comparison has: those of its elements, and those of a question that it takes too."""
    asked = {name: field for name, field in dotted_names().items() if field.path[0] in ComparisonAsked.model_fields}
    return MappingProxyType({**compared_names(), **asked})


def _fields(
    model: type[BaseModel], prefix: str, path: tuple[str | int, ...], described: str = ""
) -> Iterator[DottedField]:
    schemas = model.model_json_schema(by_alias=True)["properties"]
    for own, field in model.model_fields.items():
        key = field.alias or own
        name, place = f"{prefix}{key}", (*path, key)
        inner = next(models_in(field.annotation), None)
        about = field.description or ""
        if inner is None or key in _SAID_AT_ONCE:
            if key == "value":  # a measure is named by itself, its tolerance by a name of its own
                name, about = prefix.removesuffix("."), described
            forms = _forms(schemas[key])
            kinds = frozenset(str(form["type"]) for form in forms)
            schema = _SAID_AT_ONCE.get(name) or _text_schema(forms)
            yield DottedField(name, place, kinds, schema, about)
        if inner is None:
            continue
        if key == "require":
            for number in range(1, MOST_REQUIREMENTS + 1):
                yield from _fields(inner, f"{name}.{number}.", (*place, number - 1))
        else:
            yield from _fields(inner, "" if key == "duty" else f"{name}.", place, about)


def _forms(schema: dict[str, Any]) -> list[dict[str, Any]]:
    """Of the forms that a field takes, those that one text can stand for."""
    told = ("title", "description", "default")
    forms = [{key: value for key, value in form.items() if key not in told} for form in schema.get("anyOf", [schema])]
    return [form for form in forms if form.get("type") in ("string", "number", "integer", "boolean")]


def _text_schema(forms: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """The schema of a text, which may be empty whatever else it may be."""
    texts: list[dict[str, Any]] = []
    for form in forms:
        if form["type"] == "boolean":
            texts += [form, {"type": "string", "enum": ["yes", "no", ""]}]
        elif "enum" in form:
            texts.append(form | {"enum": [*form["enum"], ""]})
        elif form.get("minLength") == 1:
            return {key: value for key, value in form.items() if key != "minLength"}  # all other forms are texts too
        else:
            texts.append(form)
    if not any("" in text.get("enum", ()) for text in texts):
        texts.append({"type": "string", "maxLength": 0})
    return texts[0] if len(texts) == 1 else {"anyOf": texts}


_ASSUMPTION_WORDS = ("customary", "none", *AssumptionsAsked.model_fields)
_ASSUMPTIONS_SCHEMA = {
    "anyOf": [
        {"type": "string", "enum": ["customary", "none", ""]},
        {"type": "string", "pattern": "^({0})(,({0})){{0,4}}$".format("|".join(AssumptionsAsked.model_fields))},
    ]
}
_SAID_AT_ONCE: dict[str, dict[str, Any]] = {
    ASSUMPTIONS: _ASSUMPTIONS_SCHEMA,
    DERIVE: {"type": "string", "enum": ["all", "none", ""]},
}
"""Groups of names that one text may state as a whole; what is stated by itself has the last word."""


# --- from dotted names to a question ---------------------------------------------------------------


def question_of(dotted: Mapping[str, str], beside: Sequence[str] = ()) -> Question:
    """The question that these names and texts ask. ``beside`` are names that the caller reads himself, offered where
    they are misspelt.

    Raises InputError with a fault for each name that is unknown and each text that cannot be taken, its
    ``field`` the name as typed.
    """
    with faults_as_typed(dotted):
        faults = Faults()
        asked = _plain(_known(dotted, dotted_names(), beside, faults), faults)
        question = _read(read_question, asked, faults)
        faults.raise_any()
        assert question is not None
        return question


def comparison_of(dotted: Mapping[str, str], beside: Sequence[str] = ()) -> ComparisonAsked:
    """The comparison that these names and texts ask: those of a question, and ``elements.1.number`` with its ``maker``,
    or ``elements.1.element_id``. Elements may leave numbers out, and are shown in the order of theirs.

    Raises InputError as :func:`question_of`; a name of a question that a comparison does not take, such as ``limit``,
    is such a fault.
    """
    with faults_as_typed(dotted):
        faults = Faults()
        asked = _plain(_known(dotted, comparison_names(), beside, faults), faults)
        comparison: ComparisonAsked | None = None
        if "elements" in asked:
            comparison = _read(read_comparison, asked, faults)
        else:
            remedy = "Name at least one, by its number or its element_id, such as elements.1.number=Dulse 24."
            faults.found.append(_fault(QuestionError("No element is named.", remedy=remedy), "elements.1.number"))
            _read(read_question, asked, faults)
        faults.raise_any()
        assert comparison is not None
        return comparison


def _known(
    dotted: Mapping[str, str], known: Mapping[str, DottedField], beside: Sequence[str], faults: Faults
) -> dict[str, str]:
    """What is stated by names that are known; those that are not are faults."""
    _refuse_unknown({name: text for name, text in dotted.items() if name not in known}, known, beside, faults)
    return {name: text for name, text in dotted.items() if name in known and text.strip()}


def _read(read: Callable[[object], Asked], asked: dict[str, Any], faults: Faults) -> Asked | None:
    """What plain data asks; None where that is faulty, which goes to ``faults``."""
    unread = bool(faults.found)
    try:
        found = read(asked)
    except InputError as error:
        faults.found += _each(error)
        return None
    faults.found += faults_in_the_rest(asked, ()) if unread else []
    return found


@contextmanager
def faults_as_typed(dotted: Mapping[str, str]) -> Iterator[None]:
    """Faults that are found within name their fields as ``dotted`` does: ``duty.require.0.size`` becomes
    ``require.1.size``, or ``require.3.size`` if that is the first requirement stated."""
    try:
        yield
    except (InputError, NotOnFileError) as error:
        for fault in _each(error):
            if fault.field is not None and not fault.whole:
                fault.field, fault.whole = _typed(fault.field, _numbers(dotted), _compared_numbers(dotted)), True
        if error.faults:
            error.message = "; ".join(map(str, error.faults))
        raise


def _each(error: SpecdbError) -> list[SpecdbError]:
    return [fault for fault in error.faults if isinstance(fault, SpecdbError)] or [error]


def _numbers(dotted: Mapping[str, str]) -> list[int]:
    """Numbers of the requirements of which anything is stated, in order."""
    known = (dotted_names().get(name) for name, text in dotted.items() if text.strip())
    return sorted({int(field.path[2]) + 1 for field in known if field and field.path[1:2] == ("require",)})


def _compared_numbers(dotted: Mapping[str, str]) -> list[int]:
    """Numbers of the elements of a comparison of which anything is stated, in order."""
    known = (compared_names().get(name) for name, text in dotted.items() if text.strip())
    return sorted({int(field.path[1]) + 1 for field in known if field})


def _typed(field: str, numbers: Sequence[int], compared: Sequence[int]) -> str:
    """The dotted name of a place in a question or a comparison."""
    parts = field.removeprefix("duty.").split(".")
    if parts[0] == "elements" and len(parts) > 1 and parts[1].isdecimal():
        parts[1] = str(compared[int(parts[1])])
        if len(parts) == 2:  # what is wrong is how it is named
            parts.append("number")
    if parts[0] == "require" and len(parts) > 1 and parts[1].isdecimal():
        parts[1] = str(numbers[int(parts[1])])
    if parts == ["require"]:
        return "require.1.characteristic"
    if parts[0] == "fit" and parts[-1] == "value":
        parts.pop()
    return ".".join(parts)


def _plain(stated: Mapping[str, str], faults: Faults) -> dict[str, Any]:
    """The question or comparison as plain data, from known names and texts that are not empty."""
    asked: dict[str, Any] = {}
    requirements: dict[int, dict[str, Any]] = {number: {} for number in _numbers(stated)}
    elements: dict[int, dict[str, Any]] = {number: {} for number in _compared_numbers(stated)}
    assumptions: dict[str, Any] = {}
    derive: dict[str, Any] = {}
    for name, text in stated.items():
        field = comparison_names().get(name) or dotted_names()[name]
        with _whole(faults, name):
            if name == ASSUMPTIONS:
                assumptions = _assumed(text) | assumptions
                continue
            if name == DERIVE:
                derive = _derived(text) | derive
                continue
            value = _value(text, field.kinds)
            if field.path[:2] == ("duty", ASSUMPTIONS):
                assumptions[str(field.path[-1])] = value
            elif field.path[:2] == ("duty", DERIVE):
                derive[str(field.path[-1])] = value
            elif field.path[:2] == ("duty", "require"):
                requirements[int(field.path[2]) + 1][str(field.path[-1])] = value
            elif field.path[0] == "elements":
                elements[int(field.path[1]) + 1][str(field.path[-1])] = value
            else:
                _put(asked, field.path, value)
    if requirements:
        _put(asked, ("duty", "require"), list(requirements.values()))
    if elements:
        asked["elements"] = list(elements.values())
    if assumptions:
        _put(asked, ("duty", ASSUMPTIONS), assumptions)
    if derive:
        _put(asked, ("duty", DERIVE), derive)
    return asked


@contextmanager
def _whole(faults: Faults, name: str) -> Iterator[None]:
    try:
        yield
    except InputError as error:
        faults.found.append(_fault(error, name))


def _fault(error: InputError, name: str) -> InputError:
    """The error, said to have happened at a dotted name."""
    error.field, error.whole = name, True
    return error


def _put(asked: dict[str, Any], path: Sequence[str | int], value: object) -> None:
    for part in path[:-1]:
        asked = asked.setdefault(str(part), {})
    asked[str(path[-1])] = value


def _value(text: str, kinds: frozenset[str]) -> object:
    """What the text stands for, where that is no text. Raises QuantityError and QuestionError."""
    if "boolean" in kinds and text.strip().casefold() in _ANSWERS:
        return _ANSWERS[text.strip().casefold()]
    if "string" in kinds:
        return text
    if "boolean" in kinds:
        raise QuestionError("This is neither yes nor no.", value=text, remedy='Write "true" or "false".')
    return read_number(text).value


def _assumed(text: str) -> dict[str, bool]:
    """Assumptions by their names, at their defaults: "customary", "none", or names separated by commas."""
    names = [name.strip() for name in text.split(",") if name.strip()]
    unknown = [name for name in names if name not in _ASSUMPTION_WORDS]
    if not unknown and len(set(names)) < len(names):
        raise QuestionError("An assumption is named twice.", value=text, remedy="Name each once.")
    if unknown or ("none" in names and len(names) > 1):
        known = ", ".join(AssumptionsAsked.model_fields)
        raise QuestionError(
            f'"{unknown[0]}" is no assumption.' if unknown else '"none" stands alone.',
            value=text,
            remedy=f'Write "customary", "none", or names separated by commas: {known}.',
        )
    taken = AssumptionsAsked.model_fields if "customary" in names else [name for name in names if name != "none"]
    return dict.fromkeys(taken, True)


def _derived(text: str) -> dict[str, bool]:
    word = text.strip().casefold()
    if word not in ("all", "none"):
        raise QuestionError(
            "Rules are switched at once by all or none.",
            value=text,
            remedy="Write all or none, or switch one by its name, such as derive.collapse=no.",
        )
    return {} if word == "all" else dict.fromkeys(RULES, False)


# --- names that are not known ----------------------------------------------------------------------


def _refuse_unknown(
    unknown: Mapping[str, str], known: Mapping[str, DottedField], beside: Sequence[str], faults: Faults
) -> None:
    for name in list(unknown)[:UNKNOWN_AT_MOST]:
        message, remedy = _unknown(name, known, beside)
        if (whole := _WHOLE_REQUIREMENT.fullmatch(name)) and f"require.{whole[1] or 1}.characteristic" in known:
            message, remedy = _in_words(unknown[name], whole[1] or "1")
        faults.found.append(_fault(QuestionError(message, remedy=remedy), name))
    if len(unknown) > UNKNOWN_AT_MOST:
        faults.found.append(QuestionError(f"{len(unknown) - UNKNOWN_AT_MOST} more names are not known."))


_WHOLE_REQUIREMENT = re.compile(r"require(?:\.([0-9]+))?")
_A_REQUIREMENT = {"characteristic": "filtration_ratio", "at_least": "200", "size": "10 um(c)"}


def _in_words(text: str, number: str) -> tuple[str, str]:
    """What is wrong with a requirement that stands whole under one name, and the names and texts that state it."""
    try:
        stated, how = requirement_of(text[:TEXT_AT_MOST]), "State"
    except InputError:
        stated, how = _A_REQUIREMENT, "State them as in"
    fields = ", ".join(f"require.{number}.{name}={value}" for name, value in stated.items())
    return "A requirement is stated by its fields, a name to each.", f"{how} {fields}."


def _unknown(name: str, known: Mapping[str, DottedField], beside: Sequence[str]) -> tuple[str, str]:
    """What is wrong with a name, and what would be right."""
    none_such = "There is no such name."
    if name in dotted_names():
        return "A comparison does not take this.", "Leave it out: the elements that are named are shown, and no others."
    if name in compared_names():
        return "Elements are named in a comparison alone.", "Leave it out, or ask for a comparison."
    if name.removeprefix("duty.") in known:
        return none_such, f'Leave "duty." out: {name.removeprefix("duty.")}.'
    groups = [group for group in _ONE_OF_SEVERAL if _names_with(f"{group}.1.", known)]
    numbered = _NUMBERED.fullmatch(name)
    if numbered and numbered[1] in groups:
        one, most = _ONE_OF_SEVERAL[numbered[1]]
        if numbered[2][0] == "0" or len(numbered[2]) > 2 or int(numbered[2]) > most:
            return f"There is no {one} of this number.", f"They are numbered from 1 to {most}."
        if not numbered[3]:
            fields = _names_with(f"{numbered[1]}.{numbered[2]}.", known)
            return none_such, f"{one.capitalize()}s are stated by their fields: {', '.join(fields)}."
    first = {group: numbered[2] if numbered and numbered[1] == group else "1" for group in groups}
    of_one = [field for group, number in first.items() for field in _names_with(f"{group}.{number}.", known)]
    ungrouped_first = sorted((each for each in known if not _NUMBERED.match(each)), key=_depth)
    near = _nearest(name, [*ungrouped_first, *of_one, *beside])
    if near is not None:
        return none_such, f"Is {near} meant?"
    siblings = _names_with(f"{numbered[1]}.{numbered[2]}." if numbered else f"{name.partition('.')[0]}.", known)
    return none_such, f"Known are {', '.join(siblings or _groups(known))}."


def _depth(name: str) -> int:
    return name.count(".")


def _nearest(name: str, known: Sequence[str]) -> str | None:
    found = process.extractOne(name.casefold()[:100], known, scorer=fuzz.WRatio, score_cutoff=_LIKENESS)
    return None if found is None else str(found[0])


def _names_with(prefix: str, known: Mapping[str, DottedField]) -> list[str]:
    return [name for name in known if name.startswith(prefix)]


def _groups(known: Mapping[str, DottedField]) -> list[str]:
    """Every name, of each requirement's and of longer groups only how they begin."""
    return list(dict.fromkeys(f"{n.partition('.')[0]}.…" if "." in n else n for n in known))


# --- and back --------------------------------------------------------------------------------------


def dotted_of(question: Question | ComparisonAsked) -> dict[str, str]:
    """The names and texts that ask ``question``; what has its default is left out."""
    stated = question.model_dump(by_alias=True, exclude_defaults=True)
    found = {}
    if question.duty.assumptions == AssumptionsAsked.model_validate(_assumed("customary")):
        found[ASSUMPTIONS] = "customary"
        stated["duty"].pop(ASSUMPTIONS)
    if question.duty.derive == DeriveAsked.model_validate(dict.fromkeys(RULES, False)):
        found[DERIVE] = "none"
        stated["duty"].pop(DERIVE)
    for name, field in (*dotted_names().items(), *compared_names().items()):
        value = _at(stated, field.path)
        if value is not None and name not in _SAID_AT_ONCE:
            found[name] = _text(value)
    return found


def _at(data: Any, path: Sequence[str | int]) -> Any:
    for part in path:
        try:
            data = data[part]
        except (KeyError, IndexError):
            return None
    return data


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value).removesuffix(".0") if isinstance(value, float) else str(value)
