"""What an import or an export did, at a terminal."""

from __future__ import annotations

from rich.console import Console

from specdb.exchange import ExportReport, ImportReport
from specdb.printing.page import say


def print_import(out: Console, report: ImportReport) -> None:
    told = "would be added" if report.dry_run else "added"
    for name, count in report.added.items():
        say(out, f"{name}: {count} {told}, {report.unchanged.get(name, 0)} unchanged")
    say(out, f"superseded: {report.superseded}")
    if report.withdrawn:
        say(out, f"withdrawn: {report.withdrawn}")
    for note in report.notes:
        say(out, f"Note: {note}")
    if report.dry_run:
        say(out, "Dry run: nothing was written.")
    elif report.revision is None:
        say(out, "Nothing was new; the catalogue is unchanged.")
    else:
        say(out, f"The catalogue is now at revision {report.revision}.")


def print_export(out: Console, report: ExportReport) -> None:
    for name, count in report.rows.items():
        say(out, f"{name}: {count} rows")
    for note in report.notes:
        say(out, f"Note: {note}")
    say(out, f"Revision {report.revision} of the catalogue is in {report.target}.")
