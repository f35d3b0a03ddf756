"""The finished workbook of a cross-check, as the free office suite takes it."""

from __future__ import annotations

import io
from pathlib import Path

import pypdf
import pytest
from openpyxl import Workbook, load_workbook

from specdb.answers.cross_checks import LineAnswer
from specdb.catalog.reading import load_snapshot
from specdb.catalog.snapshot import Snapshot
from specdb.catalog.store import open_store, read_session
from specdb.cross_checks.reading import read_lines
from specdb.wording import CAUTIONS
from tests.office.office import Document, Office
from tests.specdb.cross_checks.finished import LINES, answered, written


@pytest.fixture(scope="module")
def demo(demo_store_url: str) -> Snapshot:
    engine = open_store(demo_store_url)
    with read_session(engine) as connection:
        snapshot = load_snapshot(connection, 1)
    engine.dispose()
    return snapshot


def held_by(book: Workbook) -> dict[str, list[list[object]]]:
    """What the cells of each sheet hold, none of them a formula or an error."""
    assert {cell.data_type for sheet in book for row in sheet.iter_rows() for cell in row} <= {"s", "inlineStr", "n"}
    return {sheet.title: [list(row) for row in sheet.iter_rows(values_only=True)] for sheet in book}


def look_at(document: Document) -> None:
    labels = document.cells("Lines", f"A2:A{len(LINES) + 1}")
    assert [(cell.kind, cell.shown, cell.format) for (cell,) in labels] == [("text", line.label, "@") for line in LINES]
    for sheet in document.sheets:
        view = document.view(sheet)
        heading = 2 + len(CAUTIONS) if sheet == "Summary" else 1
        assert view["frozen"] == [1, heading]
        assert [where.partition(":")[0] for where in view["autofilter"]] == [f"A{heading}"]
        assert bool(view["conditional"]) == (sheet in ("Summary", "Criteria", "What to ask for"))
    headings, first = document.cells("Criteria", "A1:N2")
    shown = {heading.shown: (cell.kind, cell.shown) for heading, cell in zip(headings, first, strict=True)}
    assert shown["margin [%]"] == ("number", "24.5%")
    assert shown["required, at least"] == ("number", "200")
    assert shown["verdict"] == ("text", "✓ meets")


def told(answers: list[LineAnswer]) -> list[tuple[object, ...]]:
    return [
        (answer.line, answer.status, [(c.rank, c.element.element_id, c.misses, c.not_shown) for c in answer.candidates])
        for answer in answers
    ]


def test_the_office_suite_opens_recalculates_and_converts_it_and_finds_the_same(
    office: Office, demo: Snapshot, tmp_path: Path
) -> None:
    answers = answered(demo)
    file = tmp_path / "finished.xlsx"
    file.write_bytes(written(answers))
    document = office.open(file)
    document.recalculate()
    look_at(document)
    document_sheets = list(document.sheets)

    again = document.convert(tmp_path / "again.xlsx")
    kept = held_by(load_workbook(again))
    assert kept == held_by(load_workbook(file))
    assert len(kept["Criteria"]) > 200
    summary = document.convert(tmp_path / "summary.csv").read_text(encoding="utf-8-sig")
    assert all(caution in summary for caution in CAUTIONS)
    pages = pypdf.PdfReader(document.convert(tmp_path / "finished.pdf")).pages
    document.close()
    printed = [" ".join(page.extract_text().split()) for page in pages]
    first = printed[0]
    # Each sheet begins a page, and its headings stand on each of its pages, which are as wide as it is.
    sheets = [text.partition(" Cross-check of filter elements ")[0] for text in printed]
    assert list(dict.fromkeys(sheets)) == document_sheets
    of_criteria = [text for text, sheet in zip(printed, sheets, strict=True) if sheet == "Criteria"]
    assert len(of_criteria) > 2
    assert all("line rank maker number criterion verdict in words documents" in text for text in of_criteria)
    assert all(caution in first for caution in CAUTIONS)
    assert "misses" in first

    # What the suite has saved is asked anew, with the same answers.
    lines = read_lines("again.xlsx", io.BytesIO(again.read_bytes())).lines
    assert told(answered(demo, lines, {})) == told(answers)
