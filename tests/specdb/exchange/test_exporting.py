"""Where and how the catalogue is given out: whole or not at all, harmless to a spreadsheet program, described."""

from __future__ import annotations

import csv
import json
import zipfile
from pathlib import Path

import pytest
import sqlalchemy as sa
from openpyxl import load_workbook

from specdb.catalog import tables
from specdb.catalog.store import open_store, write_session
from specdb.errors import ImportRefusedError, NotOnFileError, QuestionError
from specdb.exchange import (
    export_catalogue,
    export_folder,
    export_workbook,
    export_zip,
    import_catalogue,
    import_folder,
)
from specdb.exchange.columns import COLUMNS
from specdb.exchange.description import SHEETS
from specdb.exchange.exporting import Stating
from specdb.exchange.package import MEANINGS
from specdb.exchange.workbook_out import escaped
from tests.specdb.exchange.everything import everything
from tests.specdb.exchange.stored import counts, held

WHO = {"actor": "test", "reason": "for a test"}
AWKWARD = [
    "00417",
    "12E4",
    "2024-05",
    "12-1",
    "=7-K",
    "-5",
    "+4",
    "@X",
    "TRUE",
    "#N/A",
    "A_x0041_B",
    "_x000D_",
    "\u202eab1",
]


@pytest.fixture
def awkward(store: sa.Engine, write_folder) -> sa.Engine:
    """A store of numbers that programs like to change, each with a rating and a remark that looks like a formula."""
    numbers = "".join(f'Demo Works,"{number}"\n' for number in AWKWARD)
    ratings = "".join(
        f'Demo Works,"{number}",temperature_low,-30 degC,=1+1,S1\n'
        f'Demo Works,"{number}",collapse_pressure,= 10 bar,-x,S1\n'
        for number in AWKWARD
    )
    files = {"elements.csv": f"maker,number\n{numbers}",
             "ratings.csv": f"maker,number,characteristic,value,remark,source\n{ratings}"}  # fmt: skip
    import_folder(store, write_folder(files), **WHO)
    return store


def cells_of(text: str) -> list[list[str]]:
    return list(csv.reader(text.splitlines()))


# --- the target -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["out", "out.zip", "out.xlsx"])
def test_the_ending_of_the_target_decides(name, awkward, tmp_path):
    report = export_catalogue(awkward, tmp_path / name)
    assert report.target == tmp_path / name
    assert report.revision == 1
    assert report.rows == {"sources": 2, "elements": len(AWKWARD), "ratings": 2 * len(AWKWARD), "interchanges": 0}
    kind = (
        "folder"
        if report.target.is_dir()
        else "zip"
        if "sources.csv" in zipfile.ZipFile(report.target).namelist()
        else "book"
    )
    assert kind == {"out": "folder", "out.zip": "zip", "out.xlsx": "book"}[name]


@pytest.mark.parametrize("name", ["out", "out.zip", "out.xlsx"])
def test_what_is_there_is_never_destroyed(name, awkward, tmp_path):
    target = tmp_path / name
    if name == "out":
        target.mkdir()
        (target / "mine.txt").write_text("mine")
    else:
        target.write_text("mine")
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(QuestionError, match="something here already"):
        export_catalogue(awkward, target)
    assert sorted(tmp_path.rglob("*")) == before
    assert "mine" in (target if target.is_file() else target / "mine.txt").read_text()


@pytest.mark.parametrize("name", ["out", "out.zip", "out.xlsx"])
def test_a_target_that_holds_nothing_is_taken(name, awkward, tmp_path):
    target = tmp_path / name
    target.mkdir() if name == "out" else target.touch()
    export_catalogue(awkward, target)
    assert import_catalogue(awkward, target, **WHO).revision is None


def test_a_link_or_a_place_that_is_not_there_is_refused(awkward, tmp_path):
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(QuestionError, match="something here"):
        export_folder(awkward, tmp_path / "link")
    with pytest.raises(QuestionError, match="not there"):
        export_zip(awkward, tmp_path / "none" / "out.zip")
    (tmp_path / "file").write_text("x")
    with pytest.raises(QuestionError):
        export_folder(awkward, tmp_path / "file")
    with pytest.raises(QuestionError, match="cannot be written"):
        export_folder(awkward, tmp_path / ("x" * 300))


@pytest.mark.parametrize("name", ["out", "out.zip", "out.xlsx"])
def test_nothing_is_left_half_written(name, awkward, tmp_path, monkeypatch):
    def fails(_: Stating) -> None:
        raise RuntimeError("in the middle")

    monkeypatch.setattr(Stating, "_claims", fails)
    before = set(tmp_path.iterdir())
    with pytest.raises(RuntimeError):
        export_catalogue(awkward, tmp_path / name)
    assert set(tmp_path.iterdir()) == before


def test_a_state_that_is_none(awkward, tmp_path):
    with pytest.raises(QuestionError):
        export_folder(awkward, tmp_path / "out", as_of="7")
    with pytest.raises(NotOnFileError):
        export_folder(awkward, tmp_path / "out", as_of="2001-01-01")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("name", ["out", "out.zip", "out.xlsx"])
def test_an_empty_catalogue_is_four_sheets_of_headings(name, store, tmp_path):
    report = export_catalogue(store, tmp_path / name)
    assert (report.revision, set(report.rows.values())) == (0, {0})
    assert import_catalogue(store, tmp_path / name, **WHO).revision is None


# --- what is written --------------------------------------------------------------------------------


def test_the_folder_is_described(awkward, tmp_path):
    export_folder(awkward, tmp_path / "out")
    package = json.loads((tmp_path / "out" / "datapackage.json").read_text())
    assert "decimalChar" not in json.dumps(package)
    for resource in package["resources"]:
        with (tmp_path / "out" / resource["path"]).open(encoding=resource["encoding"], newline="") as file:
            headings = next(csv.reader(file))
        assert [field["name"] for field in resource["schema"]["fields"]] == headings == list(COLUMNS[resource["name"]])
        assert all(field["description"] and field["type"] for field in resource["schema"]["fields"])
    assert [resource["name"] for resource in package["resources"]] == list(SHEETS)
    assert set(MEANINGS) == {column for columns in COLUMNS.values() for column in columns}


def test_machines_read_what_was_typed(awkward, tmp_path):
    export_folder(awkward, tmp_path / "out")
    with (tmp_path / "out" / "elements.csv").open(encoding="utf-8", newline="") as file:
        assert {row["number"] for row in csv.DictReader(file)} == set(AWKWARD)


@pytest.mark.parametrize("name", ["out", "out.zip"])
def test_a_copy_for_people_holds_no_formula_and_is_not_taken_in(name, awkward, tmp_path):
    report = export_catalogue(awkward, tmp_path / name, formula_safe=True)
    assert any("not for import" in note for note in report.notes)
    if name == "out":
        texts = {path.stem: path.read_bytes() for path in (tmp_path / "out").glob("*.csv")}
    else:
        with zipfile.ZipFile(tmp_path / name) as archive:
            texts = {sheet: archive.read(f"{sheet}.csv") for sheet in SHEETS}
    assert all(text.startswith(b"\xef\xbb\xbf") for text in texts.values())
    headings, *rows = cells_of(texts["ratings"].decode("utf-8-sig"))
    found = [dict(zip(headings, row, strict=True)) for row in rows]
    assert {row["value"] for row in found} == {"-30 degC", "'= 10 bar"}
    assert {row["remark"] for row in found} == {"'=1+1", "'-x"}
    assert {row["number"] for row in found} >= {"'=7-K", "'-5", "'+4", "'@X", "00417", "12-1"}
    before = counts(awkward)
    with pytest.raises(ImportRefusedError) as refusal:
        import_catalogue(awkward, tmp_path / name, **WHO)
    (fault,) = refusal.value.faults
    assert fault.file == "datapackage.json"
    assert counts(awkward) == before


def test_every_cell_of_a_workbook_is_text(awkward, tmp_path):
    export_workbook(awkward, tmp_path / "out.xlsx")
    book = load_workbook(tmp_path / "out.xlsx")
    assert book.sheetnames == list(SHEETS)
    for sheet in book:
        assert sheet.freeze_panes == "A2"
        assert sheet.auto_filter.ref == sheet.dimensions or sheet.max_row == 1
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.value is None or (cell.data_type, cell.number_format) == ("s", "@")
                assert cell.font.bold == (cell.row == 1 and cell.value is not None)
        assert all(sheet.column_dimensions[c].number_format == "@" for c in ("A", "B"))
    shown = {row[1].value for row in book["elements"].iter_rows(min_row=2)}
    assert {"00417", "12E4", "2024-05", "=7-K", "-5", "TRUE", "#N/A", "A_x005F_x0041_B"} <= shown


def test_text_that_xml_cannot_hold_comes_back(store, write_folder, tmp_path, store_template):
    """A thread may be typed over two lines; other characters can only be put in by the library."""
    import_folder(store, write_folder({"elements.csv": 'maker,number,thread\nDemo Works,DW-1,"1-12\r\nUNF"\n'}), **WHO)
    odd = "a\x01b\x1fc\uffffd_x0041_e\tf"
    with write_session(store) as connection:
        row = held(store, tables.element_attribute)[0]
        changed = {"id": 9, "name": "series", "text": odd, "code": None}
        connection.execute(tables.element_attribute.insert().values({**row, **changed}))
    export_workbook(store, tmp_path / "out.xlsx")
    with zipfile.ZipFile(tmp_path / "out.xlsx") as archive:
        assert "1-12_x000D_\nUNF" in archive.read("xl/worksheets/sheet2.xml").decode()
    copied = tmp_path / "again.sqlite"
    copied.write_bytes(store_template.read_bytes())
    again = open_store(f"sqlite:///{copied}")
    with pytest.raises(ImportRefusedError) as refusal:
        import_catalogue(again, tmp_path / "out.xlsx", **WHO)
    (fault,) = refusal.value.faults
    assert (fault.column, fault.message) == ("series", "The text holds a control character or a broken character.")
    (note,) = export_folder(store, tmp_path / "out").notes
    assert note == "elements: Demo Works DW-1 would not come back as it is on file"
    again.dispose()


def test_escapes_are_those_of_the_format():
    assert escaped("a_x0041_b") == "a_x005F_x0041_b"
    assert escaped("\r\n\t\x00\ufffe_x_") == "_x000D_\n\t_x0000__xFFFE__x_"


def test_the_same_bytes_whenever_and_wherever(awkward, tmp_path):
    for name in ("out.zip", "out.xlsx"):
        (tmp_path / "one").mkdir(exist_ok=True)
        (tmp_path / "two").mkdir(exist_ok=True)
        export_catalogue(awkward, tmp_path / "one" / name)
        export_catalogue(awkward, tmp_path / "two" / name)
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_an_export_is_of_one_state(awkward, tmp_path, write_folder):
    """What is added later does not show in what was exported, and an earlier state is given out by its date too."""
    export_folder(awkward, tmp_path / "first")
    before = everything(awkward)
    import_folder(awkward, write_folder({"elements.csv": "maker,number\nDemo Works,later\n"}), **WHO)
    assert export_folder(awkward, tmp_path / "again", as_of=1).revision == 1
    for sheet in SHEETS:
        assert (tmp_path / "again" / f"{sheet}.csv").read_bytes() == (tmp_path / "first" / f"{sheet}.csv").read_bytes()
    assert everything(awkward) != before
    today = held(awkward, tables.revision)[-1]["at"][:10]
    assert export_folder(awkward, tmp_path / "today", as_of=today).revision == 2


def test_a_relative_target(awkward, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    export_folder(awkward, Path("here"))
    assert (tmp_path / "here" / "ratings.csv").is_file()
