"""Taking a catalogue in: all of it in one revision, or nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import sqlalchemy as sa

from specdb.catalog.revisions import current_revision
from specdb.catalog.store import read_session, write_session
from specdb.catalog.writing import begin_revision
from specdb.errors import RevisionMovedError
from specdb.exchange.faults import MOST_FAULTS, Findings
from specdb.exchange.forms import read_file, read_path
from specdb.exchange.news import News, news_of
from specdb.exchange.on_file import load
from specdb.exchange.reading import Sheets, read_folder
from specdb.exchange.rows import read_facts
from specdb.exchange.taking_in import make_plan, write

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class ImportReport:
    """What an import did, or would do.

    ``revision`` is None for a dry run and where nothing changed. ``added`` counts sources, elements,
    attributes, tests, ratings and interchanges; ``unchanged`` counts what was stated but on file
    already. ``superseded`` counts ratings and attributes that another one took the place of,
    ``withdrawn`` ratings that hold no longer with nothing in their place. ``notes`` say what was
    assumed and what deserves a look. ``catalog_revision`` is the last revision after the import, for
    a dry run the one it was compared with. ``news`` lists what was added, the first of each kind; ``rows`` counts
    the rows found in the files.
    """

    revision: int | None
    added: Mapping[str, int]
    unchanged: Mapping[str, int]
    superseded: int
    notes: tuple[str, ...]
    dry_run: bool
    withdrawn: int = 0
    catalog_revision: int = 0
    news: tuple[News, ...] = ()
    rows: int = 0


def import_catalogue(
    engine: sa.Engine,
    source: Path,
    *,
    actor: str,
    reason: str,
    dry_run: bool = False,
    expected_revision: int | None = None,
    progress: Progress | None = None,
) -> ImportReport:
    """Take in a catalogue folder, a zip file of one, a workbook (XLSX) or a single CSV file, in one revision
    by ``actor`` for ``reason``.

    What is on file already is left alone, so that importing twice is importing once; a ``dry_run``
    does everything but keep it. ``progress`` is called now and then with work done and work in all,
    counted in rows.

    Raises ImportRefusedError with every fault found, having changed nothing; RevisionMovedError where
    the catalogue is not at ``expected_revision``, likewise; QuestionError for an actor or reason that
    says nothing; StoreError where the store cannot be used.
    """
    findings = Findings()
    return import_sheets(
        engine, read_path(source, findings), findings, actor=actor, reason=reason, dry_run=dry_run,
        expected_revision=expected_revision, progress=progress,
    )  # fmt: skip


def import_folder(
    engine: sa.Engine,
    folder: Path,
    *,
    actor: str,
    reason: str,
    dry_run: bool = False,
    expected_revision: int | None = None,
    progress: Progress | None = None,
) -> ImportReport:
    """As ``import_catalogue``, for a folder and nothing else."""
    findings = Findings()
    return import_sheets(
        engine, read_folder(folder, findings), findings, actor=actor, reason=reason, dry_run=dry_run,
        expected_revision=expected_revision, progress=progress,
    )  # fmt: skip


def import_upload(
    engine: sa.Engine,
    name: str,
    file: BinaryIO,
    *,
    actor: str,
    reason: str,
    dry_run: bool = False,
    expected_revision: int | None = None,
    most_faults: int = MOST_FAULTS,
) -> ImportReport:
    """As ``import_catalogue``, for an open file that can be read from any place; ``name`` is what its sender
    calls it, of which faults show the last part. Of more than ``most_faults`` the others are counted."""
    findings = Findings(most_faults)
    return import_sheets(
        engine, read_file(name, file, findings), findings, actor=actor, reason=reason, dry_run=dry_run,
        expected_revision=expected_revision,
    )  # fmt: skip


def import_sheets(
    engine: sa.Engine,
    sheets: Sheets,
    findings: Findings,
    *,
    actor: str,
    reason: str,
    dry_run: bool = False,
    expected_revision: int | None = None,
    progress: Progress | None = None,
) -> ImportReport:
    """As ``import_catalogue``, for sheets that were read already, with what was found in reading them."""
    # A row is read and then put on file: two steps of work each.
    rows = sum(len(sheet.rows) for sheet in sheets.found.values())
    told = progress or (lambda *_: None)
    told(0, 2 * rows)
    facts = read_facts(sheets, findings, lambda read: told(read, 2 * rows))
    told(rows, 2 * rows)
    if not rows and not findings.faults:
        findings.note("no row was found: there are headings and nothing else")
    if findings.faults:
        with read_session(engine) as connection:
            _refuse_if_moved(current_revision(connection), expected_revision)
            make_plan(facts, load(connection), findings)
        findings.refuse_if_any()
    with write_session(engine) as connection:
        # Keeps other writers out, so it comes before the look at what is on file.
        revision = begin_revision(connection, actor, reason)
        _refuse_if_moved(revision - 1, expected_revision)
        held = load(connection)
        plan = make_plan(facts, held, findings)
        findings.refuse_if_any()
        news = news_of(plan)
        write(connection, revision, plan, held, reason)
        kept = plan.changes and not dry_run
        if not kept:
            connection.rollback()
    told(2 * rows, 2 * rows)
    unchanged = {name: plan.unchanged[name] for name in plan.added() if name != "tests"}
    return ImportReport(
        revision if kept else None, plan.added(), unchanged, plan.superseded, findings.notes(), dry_run,
        plan.withdrawn, revision if kept else revision - 1, news, rows,
    )  # fmt: skip


def _refuse_if_moved(current: int, expected: int | None) -> None:
    if expected is not None and current != expected:
        raise RevisionMovedError(
            f"The catalogue is at revision {current}, not at {expected}.",
            value=expected,
            field="expected_revision",
            remedy="Look at what has changed since, then import against the present revision.",
        )
