"""What a rule gives, once it has looked at the circumstances of a duty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from specdb.duty.circumstances import Circumstances
from specdb.duty.requirement import Note, Requirement

State = Literal["applied", "switched off", "lacks"]


@dataclass(frozen=True)
class Applied:
    """Requirements, and in ``words`` how they were come by; ``used`` are the fields of the duty that were read.
    ``reads_factor`` is False where the rule's figure had no part in it."""

    requirements: tuple[Requirement, ...]
    words: Note
    used: tuple[str, ...]
    reads_factor: bool = True


@dataclass(frozen=True)
class Lacks:
    """The duty states a part of what the rule needs; ``fields`` would be the rest. ``words`` say so where the fields
    alone do not tell why nothing is asked."""

    fields: tuple[str, ...]
    words: Note | None = None


Outcome = Applied | Lacks | None
"""None where the rule has nothing to do with this duty."""


@dataclass(frozen=True)
class Derivation:
    """One rule as it was applied, switched off or left for want of a field; ``rule`` is None for a condition of the
    duty that was worked out from others. ``factor`` is the figure it was applied with."""

    rule: str | None
    state: State
    words: Note
    factor: float | str | None = None


def lacking(at: Circumstances, **needed: str) -> Lacks | None:
    """What is missing: attributes of ``at`` that are None, by the duty's names for them."""
    missing = tuple(field for attribute, field in needed.items() if getattr(at, attribute) is None)
    return Lacks(missing) if missing else None
