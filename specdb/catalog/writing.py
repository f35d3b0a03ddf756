"""Adding to the record: a revision for every write, and the end of a fact that no longer holds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

import sqlalchemy as sa

from specdb.catalog.identity import stated_text
from specdb.catalog.revisions import utc_text
from specdb.catalog.tables import (
    LONGEST_REMARK_CHARACTERS,
    element_attribute,
    interchange_claim,
    rating,
    revision,
    supersession,
    test,
)
from specdb.errors import NotOnFileError, QuestionError

FactKind = Literal["rating", "attribute", "claim"]


def begin_revision(connection: sa.Connection, actor: str, reason: str) -> int:
    """Number of a new revision, to put in ``added_in`` of what this transaction writes.

    Its time is now, or its predecessor's where the clock has been set back. Until the transaction
    ends no other revision can begin, so numbers, times and commits have one order. Raises
    QuestionError for an actor (at most 200 characters) or a reason (4000) that says nothing.
    """
    row = {
        "actor": stated_text(actor, field="actor"),
        "reason": stated_text(reason, field="reason", longest=LONGEST_REMARK_CHARACTERS),
    }
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("LOCK TABLE revision IN EXCLUSIVE MODE")  # readers go on
    last = sa.select(revision.c.id, revision.c.at).order_by(revision.c.id.desc()).limit(1)
    last_number, last_at = connection.execute(last).one_or_none() or (0, "")
    number = int(last_number) + 1
    at = max(utc_text(datetime.now(UTC)), last_at)
    connection.execute(revision.insert().values(id=number, at=at, **row))
    return number


@dataclass(frozen=True)
class _Kind:
    """Where facts of a kind are kept, and what an old one and its successor must have in common."""

    table: sa.Table
    about: sa.Select[Any]


_KINDS: dict[FactKind, _Kind] = {
    "rating": _Kind(rating, sa.select(test.c.element_id, rating.c.characteristic).join(test).select_from(rating)),
    "attribute": _Kind(element_attribute, sa.select(element_attribute.c.element_id, element_attribute.c.name)),
    "claim": _Kind(interchange_claim, sa.select(sa.literal("claim")).select_from(interchange_claim)),
}


def supersede(
    connection: sa.Connection, revision_id: int, kind: FactKind, *, old: int, new: int | None, reason: str
) -> None:
    """From ``revision_id`` on, the fact numbered ``old`` no longer holds; ``new`` takes its place, None
    withdraws it.

    Raises NotOnFileError for a number that is not there, QuestionError when either fact was ended
    before, or when the new one is about another element, characteristic or attribute.
    """
    said = stated_text(reason, field="reason", longest=LONGEST_REMARK_CHARACTERS)
    about_old = _in_force(connection, kind, old)
    if new is not None and (new == old or _in_force(connection, kind, new) != about_old):
        raise QuestionError(
            f"The new {kind} is not about the same thing as the old one.",
            value=new,
            field="new",
            remedy="Withdraw the old one and add the new one by itself.",
        )
    row = {f"old_{kind}_id": old, f"new_{kind}_id": new}
    connection.execute(supersession.insert().values(revision_id=revision_id, reason=said, **row))


def _in_force(connection: sa.Connection, kind: FactKind, number: int) -> tuple[object, ...]:
    """What the fact is about, once it is known to be there and not to have been ended."""
    where = _KINDS[kind]
    about = connection.execute(where.about.where(where.table.c.id == number)).one_or_none()
    if about is None:
        raise NotOnFileError(f"There is no {kind} with this number.", value=number, remedy="Look the number up again.")
    ended = sa.select(supersession.c.revision_id).where(supersession.c[f"old_{kind}_id"] == number)
    ended_in = connection.execute(ended).scalar_one_or_none()
    if ended_in is not None:
        raise QuestionError(
            f"This {kind} was ended in revision {ended_in}.",
            value=number,
            remedy="Supersede the one that took its place.",
        )
    return tuple(about)
