"""Errors as scripts meet them: of the family, each with the problem document that a service answers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, ParamSpec, TypeVar

from sqlalchemy.exc import OperationalError

from specdb.errors import ImportRefusedError, InputError, SpecdbError, StoreUnreachableError, family
from specdb.problems import TYPE_PREFIX, of_error

P = ParamSpec("P")
R = TypeVar("R")

_KINDS = {kind.code: kind for kind in family() if kind is not ImportRefusedError}
"""Code: the class of the family, but for one that is made of the rows of a file."""


def telling(call: Callable[P, R]) -> Callable[P, R]:
    """A call whose errors carry their problem documents."""

    @wraps(call)
    def told(*args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return call(*args, **kwargs)
        except SpecdbError as error:
            raise with_problem(error) from error.__cause__
        except OperationalError as error:  # the database went away in the middle of a call
            raise with_problem(StoreUnreachableError(str(error.orig))) from error

    return told


def with_problem(error: SpecdbError) -> SpecdbError:
    error.problem = error.problem or of_error(error).model_dump(exclude_none=True)
    return error


def error_of(document: Mapping[str, Any]) -> SpecdbError:
    """The error that a problem document tells of: of the class with its code, else an InputError where who asked is at
    fault. ``str()`` says what it said where it was raised."""
    code = str(document.get("type", "")).removeprefix(TYPE_PREFIX)
    asked_wrongly = 400 <= int(document.get("status", 500)) < 500
    kind = _KINDS.get(code, InputError if asked_wrongly else SpecdbError)
    faults = [_fault(kind, each) for each in document.get("errors", ())]
    error = faults[0] if len(faults) == 1 else kind(str(document.get("detail", kind.title)))
    error.faults = tuple(faults) if len(faults) > 1 else ()
    error.problem = document
    return error


def _fault(kind: type[SpecdbError], told: Mapping[str, Any]) -> SpecdbError:
    value = told.get("found")
    message = str(told.get("detail", "")).removesuffix(f" Found: {value}")
    error = kind(message, value=value, remedy=told.get("remedy"))
    parts = [part.replace("~1", "/").replace("~0", "~") for part in str(told.get("pointer", "")).split("/")[1:]]
    error.field, error.whole = ".".join(parts) or None, len(parts) == 1 and "." in parts[0]
    return error
