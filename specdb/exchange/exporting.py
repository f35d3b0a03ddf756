"""Giving the catalogue out: as a folder, a zip file of it or a workbook, whole or not at all.

What is given out and taken in again is the same facts, with what took the place of what and why. The
same facts make the same bytes, whatever their numbers in the store and whenever they are given out.
"""

from __future__ import annotations

import csv
import io
import os
import shutil
import uuid
import zipfile
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

import sqlalchemy as sa

from specdb.catalog.revisions import AsOf, current_revision, revision_as_of
from specdb.catalog.store import read_session
from specdb.errors import QuestionError
from specdb.exchange.columns import COLUMNS, TAKES_UNIT
from specdb.exchange.description import DESCRIPTION_FILE, SHEETS
from specdb.exchange.package import package_json
from specdb.exchange.reading import MOST_ROWS
from specdb.exchange.stating import Stating
from specdb.exchange.workbook_out import steady, write_workbook
from specdb.formula_guard import FORMULA_BEGINS

Rows = Mapping[str, Iterable[list[str]]]
"""Sheet: its rows, a cell for each of its columns."""

_READING_ONLY = "written for reading in a spreadsheet program, not for import: an apostrophe stands before some texts"
_NEVER_OF_A_NUMBER = tuple(mark for mark in FORMULA_BEGINS if mark not in "+-＋－")


@dataclass(frozen=True)
class ExportReport:
    """What was written: ``revision`` is the state of the catalogue that it holds, ``rows`` counts those of
    each sheet. ``notes`` name what the sheets have no form for, or what would not come back the same."""

    target: Path
    revision: int
    rows: Mapping[str, int]
    notes: tuple[str, ...]


_NO_FOLDERS = (".xls", ".xlsm", ".xlsb", ".ods", ".csv", ".tsv", ".json", ".txt", ".sqlite")
"""Endings of names by which nobody means a folder."""


def export_catalogue(
    engine: sa.Engine, target: Path, *, as_of: AsOf | None = None, formula_safe: bool = False
) -> ExportReport:
    """Write the catalogue to ``target``: a workbook where its name ends in ``.xlsx``, a zip file where it
    ends in ``.zip``, else a folder.

    ``as_of`` names an earlier state (a revision, a date or a time), with its history up to then.
    ``formula_safe`` puts an apostrophe before text that a spreadsheet program would take for a formula
    when it opens a CSV file; such a folder is for reading and is not taken in again. A workbook needs
    none, since its cells are typed as text.

    Raises QuestionError where the target is there already and not empty, or cannot be written, and for
    an ``as_of`` that names no state; NotOnFileError for one before the first revision; StoreError where
    the store cannot be used. Nothing is left half written.
    """
    ending = target.suffix.casefold()
    if ending in _NO_FOLDERS:
        remedy = "End the name in .xlsx for a workbook or .zip for a packed folder, or name a folder."
        raise QuestionError("A catalogue is not written so.", value=target.name, field="target", remedy=remedy)
    if ending == ".xlsx":
        return export_workbook(engine, target, as_of=as_of)
    export = export_zip if ending == ".zip" else export_folder
    return export(engine, target, as_of=as_of, formula_safe=formula_safe)


def export_folder(
    engine: sa.Engine, folder: Path, *, as_of: AsOf | None = None, formula_safe: bool = False
) -> ExportReport:
    """As ``export_catalogue``, to a folder of CSV files with their ``datapackage.json``."""

    def write(unfinished: Path, rows: Rows) -> None:
        unfinished.mkdir()
        (unfinished / DESCRIPTION_FILE).write_text(package_json(formula_safe=formula_safe), encoding="utf-8")
        for sheet in SHEETS:
            with (unfinished / f"{sheet}.csv").open("w", encoding=_encoding(formula_safe), newline="") as file:
                _write_csv(file, sheet, rows[sheet], formula_safe)

    return _export(engine, folder, as_of, write, _READING_ONLY if formula_safe else None)


def export_zip(
    engine: sa.Engine, file: Path, *, as_of: AsOf | None = None, formula_safe: bool = False
) -> ExportReport:
    """As ``export_folder``, zipped."""

    def write(unfinished: Path, rows: Rows) -> None:
        with zipfile.ZipFile(unfinished, "x") as archive:
            archive.writestr(steady(DESCRIPTION_FILE), package_json(formula_safe=formula_safe))
            for sheet in SHEETS:
                with (
                    archive.open(steady(f"{sheet}.csv"), "w", force_zip64=True) as member,
                    io.TextIOWrapper(member, encoding=_encoding(formula_safe), newline="") as text,
                ):
                    _write_csv(text, sheet, rows[sheet], formula_safe)

    return _export(engine, file, as_of, write, _READING_ONLY if formula_safe else None)


def export_workbook(engine: sa.Engine, file: Path, *, as_of: AsOf | None = None) -> ExportReport:
    """As ``export_catalogue``, to a workbook (XLSX) with a sheet for each file of the folder."""
    return _export(engine, file, as_of, write_workbook, None)


def _export(
    engine: sa.Engine,
    target: Path,
    as_of: AsOf | None,
    write: Callable[[Path, Rows], None],
    note: str | None,
) -> ExportReport:
    counts: Counter[str] = Counter(dict.fromkeys(SHEETS, 0))

    def counted(stating: Stating, sheet: str) -> Iterator[list[str]]:
        for row in stating.rows(sheet):
            counts[sheet] += 1
            yield row

    refuse_unless_free(target)
    with read_session(engine) as connection, put_in_place(target) as unfinished:
        revision = current_revision(connection) if as_of is None else revision_as_of(connection, as_of)
        stating = Stating(connection, revision)
        write(unfinished, {sheet: counted(stating, sheet) for sheet in SHEETS})
    notes = list(stating.findings.notes())
    many = [sheet for sheet in SHEETS if counts[sheet] > MOST_ROWS]
    notes += [f"{sheet}: more rows than one import takes ({MOST_ROWS})" for sheet in many]
    return ExportReport(target, revision, dict(counts), tuple([note, *notes] if note else notes))


# --- CSV --------------------------------------------------------------------------------------------


def _encoding(formula_safe: bool) -> str:
    # Spreadsheet programs know UTF-8 by its mark; other programs stumble over it.
    return "utf-8-sig" if formula_safe else "utf-8"


def _write_csv(file: TextIO, sheet: str, rows: Iterable[list[str]], formula_safe: bool) -> None:
    writer = csv.writer(file)
    columns = COLUMNS[sheet]
    writer.writerow(columns)
    for row in rows:
        writer.writerow(_guarded(sheet, row) if formula_safe else row)


def _guarded(sheet: str, row: list[str]) -> list[str]:
    """Texts with an apostrophe where they begin as formulas do; a number may begin with its sign."""
    begins = (_NEVER_OF_A_NUMBER if column in TAKES_UNIT[sheet] else FORMULA_BEGINS for column in COLUMNS[sheet])
    return [f"'{cell}" if cell.startswith(marks) else cell for cell, marks in zip(row, begins, strict=True)]


# --- the target -------------------------------------------------------------------------------------


def refuse_unless_free(target: Path) -> None:
    """Raises QuestionError where something stands at ``target`` already, or no folder to hold it."""
    try:
        taken = any(target.iterdir()) if target.is_dir() else target.exists() and target.stat().st_size > 0
        inside = target.parent.is_dir()
    except OSError as error:
        raise _unwritable(target, error) from error
    if taken or target.is_symlink():
        raise QuestionError(
            "There is something here already; it was left as it is.", value=str(target), field="target",
            remedy="Name a folder or file that is not there yet.",
        )  # fmt: skip
    if not inside:
        raise QuestionError(
            "The folder that should hold it is not there.", value=str(target.parent), field="target",
            remedy="Make that folder first, or name another.",
        )  # fmt: skip


def _unwritable(target: Path, error: OSError) -> QuestionError:
    return QuestionError(
        f"This cannot be written: {error.strerror or error}.", value=str(target), field="target",
        remedy="Name a place that may be written and has room.",
    )  # fmt: skip


@contextmanager
def put_in_place(target: Path) -> Iterator[Path]:
    """A path beside the target to write to; what stands there takes its place when all went well, else goes.

    Raises QuestionError where it cannot be written.
    """
    unfinished = target.parent / f".export-{uuid.uuid4().hex}"
    try:
        yield unfinished
        if target.is_dir():
            target.rmdir()  # empty, or it fails and stays
        os.replace(unfinished, target)
    except OSError as error:
        raise _unwritable(target, error) from error
    finally:
        if unfinished.is_dir():
            shutil.rmtree(unfinished, ignore_errors=True)
        else:
            unfinished.unlink(missing_ok=True)
