"""The forms in which a catalogue may come, told apart by what is in them; uploads; the revision expected."""

from __future__ import annotations

import io
import tempfile
import zipfile

import pytest
from openpyxl import Workbook

from specdb.catalog import tables
from specdb.errors import ImportRefusedError, QuestionError, RevisionMovedError
from specdb.exchange import export_catalogue, export_zip, import_catalogue, import_folder, import_upload
from tests.specdb.exchange.conftest import ELEMENTS, SOURCES
from tests.specdb.exchange.stored import counts, held

RATINGS = "maker,number,characteristic,value,source\nDemo Works,DW-1,rated_flow,75 L/min,S1\n"
FILES = {"sources.csv": SOURCES, "elements.csv": ELEMENTS, "ratings.csv": RATINGS}
WHO = {"actor": "test", "reason": "for a test"}


def zipped(files: dict[str, str | bytes], compression: int = zipfile.ZIP_DEFLATED) -> io.BytesIO:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", compression) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return packed


def workbook(sheets: dict[str, str]) -> io.BytesIO:
    """Sheets given as CSV, in a workbook."""
    book, saved = Workbook(), io.BytesIO()
    book.remove(book.active)
    for name, text in sheets.items():
        sheet = book.create_sheet(name)
        for line in text.splitlines():
            sheet.append(line.split(","))
    book.save(saved)
    return saved


def faults_of(engine, name: str, file: io.BytesIO) -> list[str]:
    before = counts(engine)
    with pytest.raises(ImportRefusedError) as refusal:
        import_upload(engine, name, file, **WHO)
    assert counts(engine) == before
    return [str(fault) for fault in refusal.value.faults]


@pytest.mark.parametrize(
    "form",
    [
        zipped(FILES),
        zipped(FILES, zipfile.ZIP_STORED),
        zipped({"My catalogue/" + name: text for name, text in FILES.items()}
               | {"__MACOSX/My catalogue/._ratings.csv": b"\0", "__MACOSX/._x": b"\0"}),
        workbook({name.removesuffix(".csv").upper(): text for name, text in FILES.items()}),
    ],
    ids=["zip", "stored", "zip with one folder", "workbook"],
)  # fmt: skip
@pytest.mark.parametrize("name", ["catalogue.bin", "ratings.csv"])
def test_a_file_is_known_by_what_is_in_it(form, name, store, tmp_path):
    (tmp_path / name).write_bytes(form.getvalue())
    report = import_catalogue(store, tmp_path / name, **WHO)
    assert (report.added["sources"], report.added["elements"], report.added["ratings"]) == (2, 2, 1)
    assert import_upload(store, name, form, **WHO).revision is None


@pytest.mark.parametrize(
    ("name", "text", "added"),
    [
        ("ratings.csv", RATINGS, "ratings"),
        ("Ratings.CSV", RATINGS, "ratings"),
        ("from the maker.csv", RATINGS, "ratings"),
        ("a.txt", "maker;number;replaces maker;replaces number\nDemo Works;DW-1;Other;7\n", "interchanges"),
        ("b.csv", "source,title\nS9,Nine\n", "sources"),
        ("c.csv", "Maker,Number,Kind\nDemo Works,DW-9,spin-on\n", "elements"),
        ("d.csv", "maker,number\nDemo Works,DW-9\n", "elements"),
        ("e.csv", b"\xff\xfe" + "maker,number\nDemo Works,DW-9\n".encode("utf-16-le"), "elements"),
    ],
)
def test_a_single_sheet_is_known_by_its_name_or_its_headings(name, text, added, store, write_folder, tmp_path):
    import_folder(store, write_folder({}), **WHO)
    (tmp_path / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    report = import_catalogue(store, tmp_path / name, **WHO)
    assert {
        sheet: count for sheet, count in report.added.items() if count and sheet not in ("tests", "attributes")
    } == {added: 1}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("article;price\nDW-1;12\n", "none of the headings of one. Found: 'article, price'. Put what it says under"),
        ("Dear all,\nthe list follows.\n", "none of the headings of one. Found: 'Dear all, '. Put what it says under"),
        ("maker,part no,price\nx,1,2\n", 'likest to those of elements, but "number" cannot be found'),
        ("maker,value\nx,1\n", 'likest to those of ratings, but "number" and "characteristic" cannot be found'),
        ("date\n2024\n", "likest to those of sources"),
    ],
)
def test_a_table_that_is_no_sheet_is_told_what_it_lacks(text, said, store):
    (fault,) = faults_of(store, "list.csv", io.BytesIO(text.encode()))
    assert said in fault


def test_faults_of_an_upload_name_the_last_part_of_its_name(store):
    fault, _ = faults_of(
        store, "C:\\catalogue\\ratings.csv", io.BytesIO(b"maker,number,characteristic,value\nA,1,x,1\n")
    )
    assert fault.startswith("ratings.csv, row 2, column characteristic")
    (fault,) = faults_of(store, "../../etc/\u202epasswd", io.BytesIO(b"x\n"))
    assert fault.startswith("\N{REPLACEMENT CHARACTER}passwd, row 1")


def test_an_upload_may_stand_in_a_temporary_file_at_any_place(store):
    with tempfile.SpooledTemporaryFile(max_size=100) as file:
        file.write(zipped(FILES).getvalue())
        report = import_upload(store, "x", file, **WHO)
        assert report.added["ratings"] == 1
        assert import_upload(store, "x", file, **WHO, dry_run=True).revision is None


@pytest.mark.parametrize(
    ("begins", "said"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "old kind"),
        (b"PK\x03\x04" + bytes(40), "cannot be read"),
        (b"%PDF-1.4\n%\x81\x8d\n", "This is a PDF file, which is not read here. A workbook (XLSX), a zip"),
        (b"\xff\xd8\xff\xe0\0\x10JFIF", "a picture (JPEG)"),
        (b"\x89PNG\r\n\x1a\n\0\0", "a picture (PNG)"),
        (b"\xef\xbb\xbf \n<!DOCTYPE html><p>x", "a web page (HTML)"),
        (zipped({"[Content_Types].xml": "x", "word/document.xml": "x"}).getvalue(), "a text document (DOCX)"),
        (zipped({"mimetype": "application/vnd.oasis.opendocument.spreadsheet"}).getvalue(), "another kind (ODS)"),
        (b"ab\0c", "This is no text"),
        (b"", "empty"),
    ],
)
def test_files_of_another_kind_are_refused(begins, said, store):
    (fault,) = faults_of(store, "upload", io.BytesIO(begins))
    assert said in fault


def test_a_path_that_is_not_there(store, tmp_path):
    with pytest.raises(ImportRefusedError, match="1 fault"):
        import_catalogue(store, tmp_path / "none.csv", **WHO)


def test_a_description_may_stand_in_the_zip_file(store):
    package = '{"resources": [{"name": "elements", "path": "data/list.txt", "decimalChar": ","}]}'
    table = "maker;number;length\nDemo Works;DW-1;1,234 mm\n"
    import_upload(store, "x", zipped({"datapackage.json": package, "data/list.txt": table}), **WHO)
    assert [row["number"] for row in held(store, tables.element_attribute)] == [1.234]
    (fault,) = faults_of(store, "x", zipped({"datapackage.json": package, "y": ""}))
    assert "is described, but is not there" in fault


def test_a_zip_file_without_a_sheet(store):
    (fault,) = faults_of(store, "x.zip", zipped({"readme.txt": "hello"}))
    assert "There is no sheet" in fault
    (fault,) = faults_of(store, "x.zip", zipped({}))
    assert "There is no sheet" in fault


# --- the revision expected --------------------------------------------------------------------------


def test_an_import_goes_on_only_from_the_revision_it_expects(any_store, write_folder):
    folder = write_folder(FILES)
    first = import_folder(any_store, folder, **WHO, expected_revision=0)
    assert (first.revision, first.catalog_revision) == (1, 1)
    before = counts(any_store)
    more = io.BytesIO(b"source,title\nS9,Nine\n")
    for dry_run in (True, False):
        with pytest.raises(RevisionMovedError) as moved:
            import_upload(any_store, "x", more, **WHO, expected_revision=0, dry_run=dry_run)
        assert "at revision 1, not at 0" in moved.value.message
    assert counts(any_store) == before
    dry = import_upload(any_store, "x", more, **WHO, expected_revision=1, dry_run=True)
    assert (dry.revision, dry.catalog_revision) == (None, 1)
    again = import_catalogue(any_store, folder, **WHO, expected_revision=1)
    assert (again.revision, again.catalog_revision) == (None, 1)
    assert import_upload(any_store, "x", more, **WHO, expected_revision=1).catalog_revision == 2


def test_a_moved_catalogue_is_said_before_its_faults(store, write_folder):
    folder = write_folder({"ratings.csv": "maker,number,characteristic,value\nDemo Works,DW-1,rated_flow,x\n"})
    with pytest.raises(RevisionMovedError):
        import_folder(store, folder, **WHO, expected_revision=3)


def test_what_was_given_out_zipped_is_taken_in_as_an_upload(store, write_folder, tmp_path):
    import_folder(store, write_folder(FILES), **WHO)
    export_zip(store, tmp_path / "out.zip")
    assert import_upload(store, "out.zip", io.BytesIO((tmp_path / "out.zip").read_bytes()), **WHO).revision is None


def test_a_sheet_whose_name_is_a_slip_off_is_refused_and_not_passed_over(store, tmp_path):
    folder = tmp_path / "slip"
    folder.mkdir()
    (folder / "elements.csv").write_text("maker,number\nDemo Works,D-1\n", encoding="utf-8")
    (folder / "Rating.csv").write_text("maker,number,characteristic,value\n", encoding="utf-8")
    with pytest.raises(ImportRefusedError) as refused:
        import_catalogue(store, folder, **WHO)
    assert [str(fault) for fault in refused.value.faults] == [
        "Rating.csv: There is no sheet of this name. Name it ratings.csv if that is meant."
    ]
    (tmp_path / "slip.xlsx").write_bytes(
        workbook({"elements": "maker,number\nDemo Works,D-1\n", "Rating": "maker,number\n"}).getvalue()
    )
    with pytest.raises(ImportRefusedError) as refused:
        import_catalogue(store, tmp_path / "slip.xlsx", **WHO)
    assert "There is no sheet of the name Rating. Name it ratings if that is meant." in str(refused.value.faults[0])


def test_a_maker_that_nobody_knows_is_blamed_and_not_the_number(store, tmp_path):
    folder = tmp_path / "maker"
    folder.mkdir()
    (folder / "elements.csv").write_text("maker,number\nDemo Works,D-1\n", encoding="utf-8")
    row = "Demo Wroks,D-1,collapse_pressure,1 MPa\n"
    (folder / "ratings.csv").write_text(f"maker,number,characteristic,value\n{row}", encoding="utf-8")
    with pytest.raises(ImportRefusedError) as refused:
        import_catalogue(store, folder, **WHO)
    (fault,) = refused.value.faults
    assert (fault.column, fault.found) == ("maker", "Demo Wroks")
    assert fault.remedy.startswith("Is Demo Works meant? ")


@pytest.mark.parametrize("name", ["cat.xls", "cat.csv", "cat.ODS"])
def test_no_folder_is_made_of_a_name_that_means_a_file(store, tmp_path, name):
    with pytest.raises(QuestionError, match="End the name in"):
        export_catalogue(store, tmp_path / name)
    assert not (tmp_path / name).exists()
