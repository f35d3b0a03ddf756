"""What is left to read of a duty that was refused: quantities in its well-formed fields, told at once.

A question whose fields are of the wrong form goes no further, and whoever mends it should not meet a faulty unit next.
What follows from several fields together is not looked at: one that was left out would be missed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pydantic import ValidationError

from specdb.duty.conditions import DutyConditions, Faults
from specdb.duty.question import DutyAsked
from specdb.duty.stated import stated_requirements
from specdb.errors import QuantityError, SpecdbError

Place = Sequence[str | int]

REFUSED_AT_MOST = 100
"""Places that are left out; of what has more faults the rest is not read."""
_READ_WITH = {"density", "density_temperature", "operating_temperature"}
"""Fields that a viscosity may be read with."""


def faults_in_the_rest(asked: object, refused: Iterable[Place]) -> list[SpecdbError]:
    """Faults of the quantities in the duty of a question, given as plain data, but for what stands at the places that
    were ``refused``. A requirement of which anything was refused is not read.
    """
    duty: Any = asked.get("duty") if isinstance(asked, dict) else None
    places = [place[1:] for place in refused if place and place[0] == "duty"]
    if not isinstance(duty, dict) or len(places) > REFUSED_AT_MOST:
        return []
    for place in places:
        duty = _without(duty, place)
        if duty is None:
            return []
    numbers: list[int] = []
    if isinstance(required := duty.get("require"), list):
        numbers = [number for number, each in enumerate(required) if each is not None]
        duty = duty | {"require": [required[number] for number in numbers]}
    try:
        readable = DutyAsked.model_validate(duty)
    except ValidationError:  # a fault that comes of what was left out
        return []
    faults = Faults()
    stated_requirements(readable, DutyConditions(readable, faults), faults)
    lacking = any(part in _READ_WITH for place in places for part in place)
    found = [fault for fault in faults.found if isinstance(fault, QuantityError) and fault.field is not None]
    for fault in found:
        fault.field = _numbered(str(fault.field), numbers)
    return [fault for fault in found if not (lacking and str(fault.field).endswith(".viscosity"))]


def _without(within: Any, place: Place) -> Any:
    """A copy without the innermost part that stands at ``place``, of a list with None for the whole item; None where
    nothing stands there."""
    if isinstance(within, list) and place:
        return [None if number == place[0] else each for number, each in enumerate(within)]
    if not isinstance(within, dict) or not place or place[0] not in within:
        return None
    inner = _without(within[place[0]], place[1:])
    rest = {name: each for name, each in within.items() if name != place[0]}
    return rest if inner is None else rest | {place[0]: inner}


def _numbered(field: str, numbers: Sequence[int]) -> str:
    """``field`` with the number that a requirement has in the question."""
    parts = field.split(".")
    if parts[:2] == ["duty", "require"] and len(parts) > 2:
        parts[2] = str(numbers[int(parts[2])])
    return ".".join(parts)
