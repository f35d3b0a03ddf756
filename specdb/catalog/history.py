"""What was believed when: the revisions that touched an element, and the list of all revisions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Literal

import sqlalchemy as sa

from specdb.catalog.facts import Row, rows_of
from specdb.catalog.search import claim_words
from specdb.catalog.tables import (
    element,
    element_attribute,
    interchange_claim,
    rating,
    revision,
    source,
    supersession,
    test,
)
from specdb.errors import NotOnFileError

Fact = Literal["element", "attribute", "rating", "claim"]
Happened = Literal["added", "superseded", "withdrawn"]

_KINDS: tuple[Literal["attribute", "rating", "claim"], ...] = ("attribute", "rating", "claim")
_QUALIFIED = {"equal": "", "at_least": "at least ", "at_most": "at most ", "about": "about "}
_CONDITIONS = ("size", "flow", "viscosity", "density")

_AT_ONCE = 500
"""Numbers in one query; an element may have thousands of ratings, and databases limit their parameters."""


@dataclass(frozen=True)
class Change:
    """One fact added, superseded by another or withdrawn.

    ``name`` is the attribute's key or the rating's label, none for an element or a claim; ``before`` and ``after``
    are the fact in words as typed; ``reason`` is that of the supersession; ``source`` is the key of the document that
    says so: of what is new, or else of what was withdrawn.
    """

    what: Fact
    change: Happened
    name: str | None
    characteristic: str | None
    before: str | None
    after: str | None
    reason: str | None
    source: str | None


@dataclass(frozen=True)
class Step:
    """One revision and what it changed, oldest fact first."""

    revision: int
    at: str
    actor: str
    reason: str
    changes: tuple[Change, ...]


def read_history(connection: sa.Connection, element_id: str, at_revision: int) -> list[Step]:
    """The revisions up to ``at_revision`` that touched the element, oldest first; claims that name it are among them.

    Raises NotOnFileError where the catalogue did not hold the element by then.
    """
    known = sa.select(element).where(element.c.element_id == element_id, element.c.added_in <= at_revision)
    found = connection.execute(known).mappings().one_or_none()
    if found is None:
        raise NotOnFileError(
            "No element has this identifier.", value=element_id, field="element_id", remedy="Find it by its number."
        )
    changes = [(int(found["added_in"]), Change("element", "added", None, None, None, _name(found), None, None))]
    for kind in _KINDS:
        changes += _changes(connection, kind, found, at_revision)
    by_revision: dict[int, list[Change]] = {}
    for number, change in changes:
        by_revision.setdefault(number, []).append(change)
    written = sa.select(revision).where(revision.c.id.in_(by_revision)).order_by(revision.c.id)
    return [
        Step(row["id"], row["at"], row["actor"], row["reason"], tuple(by_revision[row["id"]]))
        for row in rows_of(connection, written)
    ]


def _name(row: Any) -> str:
    return f"{row['maker']} {row['number']}"


def _changes(
    connection: sa.Connection, kind: Literal["attribute", "rating", "claim"], of: Any, at_revision: int
) -> Iterator[tuple[int, Change]]:
    """Revision and change of each fact of a kind: what took another's place is told with it, not as added."""
    own = _facts(connection, kind, _about(kind, of), at_revision)
    ended = _ended(connection, kind, own, at_revision)
    # At the other end of a supersession may stand a claim that names other elements.
    ends = {n for end in ended for n in (end[f"old_{kind}_id"], end[f"new_{kind}_id"]) if n is not None}
    others = _facts(connection, kind, _selected(kind)[1].c.id.in_(ends - set(own)), at_revision)
    arrived = {(end[f"new_{kind}_id"], end["revision_id"]) for end in ended}
    for number, row in own.items():
        if (number, row["added_in"]) not in arrived:
            yield row["added_in"], _change(kind, "added", None, row, None)
    facts = own | others
    for end in ended:
        old, new = facts[end[f"old_{kind}_id"]], facts.get(end[f"new_{kind}_id"])
        yield end["revision_id"], _change(kind, "superseded" if new else "withdrawn", old, new, end["reason"])


def _about(kind: str, of: Any) -> sa.ColumnElement[bool]:
    if kind == "claim":
        return sa.or_(*(_names(of, side) for side in ("", "replaces_")))
    column = (test if kind == "rating" else element_attribute).c.element_id
    return column == sa.literal(of["element_id"])


def _facts(
    connection: sa.Connection, kind: str, wanted: sa.ColumnElement[bool], at_revision: int
) -> dict[int, Row]:
    """Facts by number, in force or not, in the order they came."""
    query, table = _selected(kind)
    rows = rows_of(connection, query.where(wanted, table.c.added_in <= at_revision).order_by(table.c.id))
    return {row["id"]: row for row in rows}


def _names(of: Any, side: str) -> sa.ColumnElement[bool]:
    columns = interchange_claim.c
    return sa.and_(
        columns[f"{side}maker_key"] == of["maker_key"], columns[f"{side}number_key"] == of["number_key"]
    )


def _selected(kind: str) -> tuple[sa.Select[Any], sa.Table]:
    if kind == "attribute":
        return sa.select(element_attribute, source.c.key.label("source")).join(source, isouter=True), element_attribute
    if kind == "claim":
        return sa.select(interchange_claim, source.c.key.label("source")).join(source, isouter=True), interchange_claim
    documented = rating.join(test, rating.c.test_id == test.c.id).join(
        source, source.c.id == test.c.source_id, isouter=True
    )
    return sa.select(rating, source.c.key.label("source")).select_from(documented), rating


def _ended(connection: sa.Connection, kind: str, facts: Iterable[int], at_revision: int) -> list[Row]:
    """Supersessions on either side of which stands one of ``facts``, in the order they came."""
    numbers = list(facts)
    old, new = supersession.c[f"old_{kind}_id"], supersession.c[f"new_{kind}_id"]
    found: dict[int, Row] = {}
    for start in range(0, len(numbers), _AT_ONCE):
        part = numbers[start : start + _AT_ONCE]
        query = sa.select(supersession).where(sa.or_(old.in_(part), new.in_(part)))
        found |= {row["id"]: row for row in rows_of(connection, query.where(supersession.c.revision_id <= at_revision))}
    return [found[number] for number in sorted(found)]


def _change(kind: Fact, happened: Happened, old: Row | None, new: Row | None, reason: str | None) -> Change:
    said = new or old or {}
    return Change(
        what=kind,
        change=happened,
        name={"attribute": said.get("name"), "rating": said.get("label")}.get(kind),
        characteristic=said.get("characteristic"),
        before=None if old is None else _words(kind, old),
        after=None if new is None else _words(kind, new),
        reason=reason,
        source=said["source"],
    )


def _words(kind: Fact, row: Row) -> str:
    if kind == "claim":
        return claim_words(row)
    if kind == "attribute":
        return str(row["text"])
    stated = _QUALIFIED[row["qualifier"]] + row["text"]
    conditions = ", ".join(f"{name} {row[f'{name}_text']}" for name in _CONDITIONS if row[f"{name}_text"])
    return f"{stated} at {conditions}" if conditions else stated


# --- all revisions --------------------------------------------------------------------------------

_COUNTED = {
    "sources": source.c.added_in,
    "elements": element.c.added_in,
    "attributes": element_attribute.c.added_in,
    "tests": test.c.added_in,
    "ratings": rating.c.added_in,
    "interchanges": interchange_claim.c.added_in,
    "superseded": supersession.c.revision_id,
}


@dataclass(frozen=True)
class RevisionOnFile:
    """One committed write. ``counts`` tells how much it added of each kind, and how many facts it ended."""

    revision: int
    at: str
    actor: str
    reason: str
    counts: dict[str, int]


def read_revisions(
    connection: sa.Connection, at_revision: int, *, limit: int, offset: int = 0
) -> tuple[list[RevisionOnFile], int]:
    """The revisions up to ``at_revision``, newest first: ``limit`` of them after the first ``offset``, and how many
    there are in all."""
    known = revision.c.id <= at_revision
    total = connection.execute(sa.select(sa.func.count()).where(known)).scalar_one()
    query = sa.select(revision).where(known).order_by(revision.c.id.desc()).limit(limit).offset(offset)
    found = rows_of(connection, query)
    numbers = [row["id"] for row in found]
    counts = {name: _counted(connection, column, numbers) for name, column in _COUNTED.items()}
    listed = [
        RevisionOnFile(
            row["id"],
            row["at"],
            row["actor"],
            row["reason"],
            {name: counted.get(row["id"], 0) for name, counted in counts.items()},
        )
        for row in found
    ]
    return listed, int(total)


def _counted(connection: sa.Connection, column: sa.Column[Any], numbers: list[int]) -> dict[int, int]:
    if not numbers:
        return {}
    # The numbers of a page have no gaps; a range costs the same however long it is.
    query = sa.select(column, sa.func.count()).where(column.between(min(numbers), max(numbers))).group_by(column)
    return {row[0]: row[1] for row in connection.execute(query)}
