"""What an import did, or would do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from specdb.answers.shape import Stamped

if TYPE_CHECKING:
    from specdb.exchange import ImportReport  # which loads what reads workbooks


class ImportAnswer(Stamped):
    """``revision`` is the one that was written, null for a dry run and where nothing was new; ``catalog_revision`` is
    the state the files were compared with or the one they made."""

    revision: int | None
    added: dict[str, int]
    unchanged: dict[str, int]
    superseded: int
    withdrawn: int
    notes: list[str]
    dry_run: bool


def import_answer(report: ImportReport) -> ImportAnswer:
    return ImportAnswer(
        catalog_revision=report.catalog_revision,
        revision=report.revision,
        added=dict(report.added),
        unchanged=dict(report.unchanged),
        superseded=report.superseded,
        withdrawn=report.withdrawn,
        notes=list(report.notes),
        dry_run=report.dry_run,
    )
