"""What a script asks, as the plain data that a service takes: texts, numbers, lists and objects.

A quantity may be text with its unit, one of pint's quantities of whatever registry, or a plain number under a name that
carries its unit (``flow_l_min``). A particle size of pint's has its scale beside it: ``(10 * um, "c")``. A requirement
may be one line of text, as on the command line.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from pydantic import BaseModel

from specdb.catalog.revisions import utc_text
from specdb.duty.dotted import compared_names, dotted_names
from specdb.duty.question import ComparisonAsked, Question, known_fields
from specdb.duty.typed import requirement_of
from specdb.errors import QuantityError, QuestionError, shown
from specdb.units import PintQuantity, is_pint, name_and_unit, of_pint

Place = tuple[int | str, ...]
FieldsAt = Callable[[Place], Sequence[str]]
"""Names of the fields that may stand at a place of what is asked."""

SCALES = ("c", "acftd")
REQUIREMENTS = "require"


def plain(asked: Mapping[str, object], model: type[BaseModel]) -> dict[str, Any]:
    """What is asked as a service takes it in JSON, where it stands for a ``model``. What is None is not stated.

    Raises QuestionError and QuantityError, naming the field, for what cannot be said so; whether it can be judged is
    not looked at.
    """
    return _object(asked, (), lambda place: known_fields(place, model))


def plain_fields(asked: Mapping[str, object], known: Sequence[str]) -> dict[str, str]:
    """Fields that are no deeper than their names, as the texts that an address takes. Raises as :func:`plain`."""
    stated = _object(asked, (), lambda _: known)
    return {name: text_of(value, name) for name, value in stated.items()}


def plain_line(asked: Mapping[str, object]) -> dict[str, Any]:
    """One line of a cross-check: a question or a comparison, in parts or by dotted names. Raises as :func:`plain`."""
    made = _object(asked, (), _fields_of_a_line)
    return {name: text_of(value, name) if "." in name else value for name, value in made.items()}


def _fields_of_a_line(place: Place) -> Sequence[str]:
    models = (Question, ComparisonAsked)
    within = [name for model in models for name in known_fields(place, model)]
    return within if place else ("line", *dotted_names(), *compared_names(), *within)


def text_of(value: object, field: str) -> str:
    """A plain value as the text that an address takes. Raises QuestionError for a list or an object that is no
    quantity."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping) and set(value) == {"value", "unit"}:
        return f"{value['value']!r} {value['unit']}"
    if isinstance(value, str):
        return value
    if isinstance(value, int | float):
        return repr(value)
    raise QuestionError("One text or one quantity is wanted.", field=field, value=value)


def as_of_text(as_of: int | str | date | None) -> str | None:
    """A state of the catalogue as a service takes it: a revision number, a date, a time."""
    if isinstance(as_of, datetime):
        return utc_text(as_of)
    return as_of.isoformat() if isinstance(as_of, date) else None if as_of is None else str(as_of)


def _object(asked: Mapping[str, object], place: Place, fields_at: FieldsAt) -> dict[str, Any]:
    known = fields_at(place)
    made: dict[str, Any] = {}
    for name, value in asked.items():
        if value is None:
            continue
        named = None if name in known else name_and_unit(str(name), known)
        field = str(name) if named is None else named[0]
        if field in made:
            remedy = f"State {field} once."
            raise QuestionError("This is stated twice.", field=_path((*place, str(name))), remedy=remedy)
        if named is None:
            made[field] = _value(value, (*place, field), fields_at)
        else:
            made[field] = {"value": _number(value, (*place, str(name))), "unit": named[1]}
    return made


def _value(value: object, place: Place, fields_at: FieldsAt) -> Any:
    if place[-1] == REQUIREMENTS and isinstance(value, str | Mapping):
        value = [value]  # one alone
    if isinstance(value, str) and place[-2:-1] == (REQUIREMENTS,):
        return requirement_of(value, _path(place))
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, BaseModel):
        return value.model_dump(by_alias=True, exclude_unset=True)
    if isinstance(value, Mapping):
        return _object(value, place, fields_at)
    if isinstance(value, tuple) and len(value) == 2 and is_pint(value[0]):
        return _size(value[0], value[1], place)
    if isinstance(value, list | tuple):
        return [_value(each, (*place, number), fields_at) for number, each in enumerate(value)]
    if is_pint(value):
        stated, unit = _of_pint(value, place)
        return stated if unit is None else {"value": stated, "unit": unit}
    if isinstance(value, date):
        return as_of_text(value)
    return _number(value, place)


def _of_pint(quantity: PintQuantity, place: Place) -> tuple[float, str | None]:
    try:
        value, unit = of_pint(quantity)
    except QuantityError as error:
        raise error.at(_path(place)) from None
    return _finite(value, place), unit


def _size(quantity: PintQuantity, scale: object, place: Place) -> dict[str, Any]:
    """A particle size with its scale, which pint knows nothing of."""
    if scale not in SCALES:
        remedy = 'Write (size, "c") or (size, "acftd").'
        raise QuestionError("This is no scale of particle sizes.", field=_path(place), value=scale, remedy=remedy)
    value, unit = _of_pint(quantity.to("micrometer") if quantity.check("[length]") else quantity, place)
    return {"value": value, "unit": f"{unit}({scale})"}


def _number(value: object, place: Place) -> float:
    """A plain number of whatever library, as Python's own."""
    own = value.item() if hasattr(value, "item") and not isinstance(value, int | float) else value
    if isinstance(own, int) and not isinstance(own, bool):
        return own
    try:
        if isinstance(own, str | bool):
            raise TypeError
        return _finite(float(own), place)  # type: ignore[arg-type]  # what is no number is refused below
    except (TypeError, ValueError):
        raise QuestionError(
            "A number is wanted here." if isinstance(own, str) else "This is nothing that can be asked.",
            field=_path(place),
            value=f"{type(value).__name__} {shown(value)}",
            remedy="Give a number, a text, or a quantity of pint's.",
        ) from None


def _finite(value: float, place: Place) -> float:
    if not math.isfinite(value):
        remedy = "Leave the field out, or give None, where nothing is stated."
        raise QuestionError("This is no number.", field=_path(place), value=value, remedy=remedy)
    return value


def _path(place: Place) -> str:
    return ".".join(map(str, place))
