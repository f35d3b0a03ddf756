"""Taking a catalogue folder in: all of it in one revision, or nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from specdb.catalog.store import read_session, write_session
from specdb.catalog.writing import begin_revision
from specdb.exchange.faults import Findings
from specdb.exchange.on_file import load
from specdb.exchange.reading import Sheets, read_folder
from specdb.exchange.rows import read_facts
from specdb.exchange.taking_in import make_plan, write


@dataclass(frozen=True)
class ImportReport:
    """What an import did, or would do.

    ``revision`` is None for a dry run and where nothing changed. ``added`` counts sources, elements,
    attributes, tests, ratings and interchanges; ``unchanged`` counts what was stated but on file
    already. ``superseded`` counts ratings and attributes that another one took the place of. ``notes``
    say what was assumed and what deserves a look.
    """

    revision: int | None
    added: Mapping[str, int]
    unchanged: Mapping[str, int]
    superseded: int
    notes: tuple[str, ...]
    dry_run: bool


def import_folder(
    engine: sa.Engine,
    folder: Path,
    *,
    actor: str,
    reason: str,
    dry_run: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> ImportReport:
    """Take in the sheets of a catalogue folder, in one revision by ``actor`` for ``reason``.

    What is on file already is left alone, so that importing a folder twice is importing it once; a
    ``dry_run`` does everything but keep it. ``progress`` is called now and then with work done and
    work in all, counted in rows.

    Raises ImportRefusedError with every fault found, having changed nothing; QuestionError for an
    actor or reason that says nothing; StoreError where the store cannot be used.
    """
    findings = Findings()
    return import_sheets(
        engine, read_folder(folder, findings), findings, actor=actor, reason=reason, dry_run=dry_run, progress=progress
    )


def import_sheets(
    engine: sa.Engine,
    sheets: Sheets,
    findings: Findings,
    *,
    actor: str,
    reason: str,
    dry_run: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> ImportReport:
    """As ``import_folder``, for sheets that were read already, with what was found in reading them."""
    # A row is read and then put on file: two steps of work each.
    rows = sum(len(sheet.rows) for sheet in sheets.found.values())
    told = progress or (lambda *_: None)
    told(0, 2 * rows)
    facts = read_facts(sheets, findings, lambda read: told(read, 2 * rows))
    told(rows, 2 * rows)
    if findings.faults:
        with read_session(engine) as connection:
            make_plan(facts, load(connection), findings)
        findings.refuse_if_any()
    with write_session(engine) as connection:
        # Keeps other writers out, so it comes before the look at what is on file.
        revision = begin_revision(connection, actor, reason)
        held = load(connection)
        plan = make_plan(facts, held, findings)
        findings.refuse_if_any()
        write(connection, revision, plan, held, reason)
        kept = plan.changes and not dry_run
        if not kept:
            connection.rollback()
    told(2 * rows, 2 * rows)
    unchanged = {name: plan.unchanged[name] for name in plan.added() if name != "tests"}
    return ImportReport(
        revision if kept else None, plan.added(), unchanged, plan.superseded, findings.notes(), dry_run
    )
