"""The store that the environment names, as the commands use it."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from specdb.errors import QuestionError

if TYPE_CHECKING:
    import sqlalchemy as sa


@contextmanager
def store(*, create: bool = False) -> Iterator[sa.Engine]:
    from specdb.catalog.store import database_url, open_store

    engine = open_store(database_url(), create=create)
    try:
        yield engine
    finally:
        engine.dispose()


@contextmanager
def reading(as_of: str | None) -> Iterator[tuple[sa.Connection, int]]:
    """A connection that sees one state from beginning to end, and the revision that ``as_of`` names."""
    from specdb.catalog.revisions import current_revision, revision_as_of
    from specdb.catalog.store import read_session

    with store() as engine, read_session(engine) as connection:
        yield connection, current_revision(connection) if as_of is None else revision_as_of(connection, as_of)


def pointed_at(
    connection: sa.Connection, words: Sequence[str], maker: str | None, revision: int
) -> tuple[str, str | None]:
    """Number and maker of the element that is meant by ``words``, joined by spaces.

    A part number; or, where no element has it as its number, an element's identifier or "maker: number".
    Whether there is such an element is not decided here.
    """
    from specdb.catalog.tables import element

    text = " ".join(words)
    if maker is not None or not re.search(":|^[0-9a-f]{16}$", text):
        return text, maker
    if _has_number(connection, text, revision):
        return text, None
    query = element.select().where(element.c.element_id == text, element.c.added_in <= revision)
    if (found := connection.execute(query).first()) is not None:
        return found.number, found.maker
    before, _, after = text.partition(":")
    return (after.strip(), before.strip()) if before.strip() and after.strip() else (text, None)


def refuse_one_number_in_parts(connection: sa.Connection, words: Sequence[str], revision: int) -> None:
    """Raises QuestionError where ``words``, or some that stand together, are one number on file, typed without
    quotes."""
    alone = [_has_number(connection, word, revision) for word in words]
    for length in range(len(words), 1, -1):
        for first in range(len(words) - length + 1):
            whole = " ".join(words[first : first + length])
            if not all(alone[first : first + length]) and _has_number(connection, whole, revision):
                raise QuestionError(
                    "These words are one number.",
                    value=whole,
                    field="number",
                    remedy=f"Put it in quotes: {shlex.quote(whole)}.",
                )


def _has_number(connection: sa.Connection, number: str, revision: int) -> bool:
    from specdb.catalog.identity import identity_key
    from specdb.catalog.tables import element

    try:
        key = identity_key(number)
    except QuestionError:
        return False
    query = element.select().where(element.c.number_key == key, element.c.added_in <= revision).limit(1)
    return connection.execute(query).first() is not None
