"""What was believed when: an element's history, and the revisions of the catalogue."""

from __future__ import annotations

from collections.abc import Sequence

from typing_extensions import override

from specdb.answers.shape import Answer, Tabular
from specdb.answers.tables import Table, whole_numbers
from specdb.catalog.history import Change, RevisionOnFile, Step
from specdb.units import UnitSystem


class ChangeShown(Answer):
    """``what`` is element, attribute, rating or claim, ``change`` added, superseded or withdrawn; ``before`` and
    ``after`` are the fact as typed."""

    what: str
    change: str
    name: str | None
    characteristic: str | None
    before: str | None
    after: str | None
    reason: str | None
    source: str | None


class StepShown(Answer):
    """One revision, ``at`` in UTC, and what it changed."""

    revision: int
    at: str
    actor: str
    reason: str
    changes: list[ChangeShown]


class CountsShown(Answer):
    """How many facts of each kind a revision added, and how many it ended."""

    sources: int
    elements: int
    attributes: int
    tests: int
    ratings: int
    interchanges: int
    superseded: int


class RevisionShown(Answer):
    revision: int
    at: str
    actor: str
    reason: str
    added: CountsShown


class RevisionsAnswer(Tabular):
    """Newest first; ``next`` is the address of the next page, null on the last."""

    total: int
    limit: int
    revisions: list[RevisionShown]
    next: str | None = None

    @override
    def plain_table(self, units: UnitSystem = "si") -> Table:
        counted = tuple(CountsShown.model_fields)
        rows = [
            [r.revision, r.at, r.actor, r.reason, *(getattr(r.added, name) for name in counted)]
            for r in self.revisions
        ]
        return Table((*whole_numbers("revision"), "at", "actor", "reason", *whole_numbers(*counted)), rows)


def history_shown(steps: Sequence[Step]) -> list[StepShown]:
    return [
        StepShown(
            revision=step.revision,
            at=step.at,
            actor=step.actor,
            reason=step.reason,
            changes=[_change(change) for change in step.changes],
        )
        for step in steps
    ]


def _change(change: Change) -> ChangeShown:
    return ChangeShown(**vars(change))


def history_table(steps: Sequence[StepShown]) -> Table:
    """One row a change."""
    of_step, of_change = ("revision", "at", "actor"), tuple(ChangeShown.model_fields)
    rows = [
        [*(getattr(step, name) for name in of_step), step.reason, *(getattr(change, name) for name in of_change)]
        for step in steps
        for change in step.changes
    ]
    return Table((*whole_numbers("revision"), "at", "actor", "reason_of_revision", *of_change), rows)


def revisions_answer(revision: int, listed: Sequence[RevisionOnFile], total: int, limit: int) -> RevisionsAnswer:
    """The revisions that :func:`specdb.catalog.history.read_revisions` gave, as of ``revision``."""
    return RevisionsAnswer(
        catalog_revision=revision,
        total=total,
        limit=limit,
        revisions=[
            RevisionShown(
                revision=r.revision, at=r.at, actor=r.actor, reason=r.reason, added=CountsShown(**r.counts)
            )
            for r in listed
        ],
    )
