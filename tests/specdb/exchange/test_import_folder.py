"""Taking a folder in: the demo catalogue, twice as once, dry run, all or nothing, files as people save them."""

from __future__ import annotations

import csv
import io
import json
import random
import shutil
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from specdb.catalog import tables
from specdb.catalog.store import open_store, read_session
from specdb.errors import ImportRefusedError, QuestionError
from specdb.exchange import import_folder
from specdb.exchange.faults import MOST_FAULTS
from tests.specdb.exchange.stored import RATING_HEADINGS, counts, facts, held

DEMO = Path(__file__).parents[3] / "demo_catalog"


def rows_in_demo(name: str) -> int:
    with (DEMO / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return sum(1 for _ in csv.DictReader(file))


@pytest.fixture(scope="module")
def demo_store(store_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store that holds the demo catalogue, to be copied."""
    path = Path(shutil.copy(store_template, tmp_path_factory.mktemp("demo") / "demo.sqlite"))
    engine = open_store(f"sqlite:///{path}")
    import_folder(engine, DEMO, actor="test", reason="demo")
    engine.dispose()
    return path


@pytest.fixture
def demo(demo_store: Path, tmp_path: Path) -> sa.Engine:
    engine = open_store(f"sqlite:///{shutil.copy(demo_store, tmp_path / 'demo.sqlite')}")
    yield engine
    engine.dispose()


# --- the demo catalogue ---------------------------------------------------------------------------


def test_demo_catalogue_is_taken_in_whole_on_either_database(any_store):
    report = import_folder(any_store, DEMO, actor="test", reason="demo")
    on_file = counts(any_store)
    assert report.revision == 1
    assert not report.dry_run
    for sheet, table in (("sources", "source"), ("elements", "element"), ("ratings", "rating"),
                         ("interchanges", "interchange_claim")):  # fmt: skip
        assert report.added[sheet] == on_file[table] == rows_in_demo(sheet)
    assert report.added["attributes"] == on_file["element_attribute"]
    assert report.added["tests"] == on_file["test"]
    assert report.superseded == on_file["supersession"] == 2
    assert "Tarnwhistle 12-1 and 121 are different elements that search alike" in report.notes
    again = import_folder(any_store, DEMO, actor="test", reason="demo")
    assert again.revision is None
    assert not any(again.added.values())
    assert again.unchanged["ratings"] == rows_in_demo("ratings")
    assert counts(any_store) == on_file


def test_points_of_one_test_share_it(demo):
    query = sa.select(tables.test.c.id, sa.func.count()).join(tables.rating).join(tables.element)
    query = query.where(tables.element.c.number == "Dulse 11", tables.test.c.label == "mp").group_by(tables.test.c.id)
    with read_session(demo) as connection:
        ((_, points),) = connection.execute(query).all()
    assert points == 4


def test_numbers_stay_text_to_the_letter(demo):
    numbers = {row["number"] for row in held(demo, tables.element)}
    assert {"00417", "12E4", "3-12", "2024-05", "=7-K", "Laver 1 M", "121", "12-1"} <= numbers


def test_efficiencies_and_signed_sizes_of_the_demo_catalogue(demo):
    query = sa.select(tables.element.c.number, tables.rating).join_from(tables.rating, tables.test).join(tables.element)
    query = query.where(tables.rating.c.characteristic == "filtration_ratio")
    with read_session(demo) as connection:
        rows = connection.execute(query).all()
    found = {(r.number, r.text, r.size_text): r for r in rows}
    pair = found["Rowan/5", "99.5 %", "10 um(c)"]
    assert (pair.value, pair.efficiency_percent, pair.efficiency_resolution) == (200, 99.5, 0.1)
    assert found["Rowan/6", "98 %", "10 um(c)"].value == pytest.approx(50)
    assert found["Rowan/7", "100 %", "10 um(c)"].value == pytest.approx(200)  # β of 99.5 %, half a digit below
    small, large = found["12E1", "200", "<4 um(c)"], found["00533", "200", ">30 um(c)"]
    assert (small.qualifier, small.size_um) == ("at_least", 4)
    assert (large.qualifier, large.size_um) == ("at_most", 30)


def test_shuffled_files_are_the_same_facts(demo, store, tmp_path):
    folder = tmp_path / "shuffled"
    folder.mkdir()
    for name in ("sources", "elements", "ratings", "interchanges"):
        with (DEMO / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            heading, *rows = csv.reader(file)
        random.Random(7).shuffle(rows)
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([heading, *rows])
    import_folder(store, folder, actor="test", reason="shuffled")
    assert facts(store) == facts(demo)
    assert import_folder(demo, folder, actor="test", reason="shuffled").revision is None


def test_progress_rises_to_the_whole(store):
    told: list[tuple[int, int]] = []
    import_folder(store, DEMO, actor="test", reason="demo", progress=lambda *at: told.append(at))
    assert told == sorted(told)
    assert told[-1][0] == told[-1][1] == 2 * sum(map(rows_in_demo, ("sources", "elements", "ratings", "interchanges")))
    assert len(told) > 3


# --- any order --------------------------------------------------------------------------------------

ROWS = [
    "a,,85 g,75 L/min,cap,S1,170 kPa",
    "b,a,58 g,75 L/min,cap,S1,",
    "c,b,59 g,75 L/min,cap,S2,1.7 bar",
    ",,80 g,100 L/min,cap,S1,170 kPa",
    ",,80 g,100 L/min,cap,S1,1.70 bar",
    ",,61 g,50 L/min,,S1,2 bar",
    ",,62 g,50 L/min,,S1,3 bar",
]
MIXED = "rating,supersedes,value,flow,test,source,terminal_pressure_drop,maker,number,characteristic\n"


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.permutations(ROWS))
def test_order_of_rows_does_not_matter(store_template, tmp_path, write_folder, rows):
    outcomes = []
    for order in (ROWS, rows):
        path = Path(shutil.copy(store_template, tmp_path / "ordered.sqlite"))
        engine = open_store(f"sqlite:///{path}")
        table = MIXED + "".join(f"{row},Demo Works,DW-1,retained_capacity\n" for row in order)
        import_folder(engine, write_folder({"ratings.csv": table}), actor="test", reason="order")
        outcomes.append(facts(engine))
        engine.dispose()
    assert outcomes[0] == outcomes[1]
    assert len(outcomes[0]["ratings"]) == 6
    assert outcomes[0]["chains"] == [("a", "b"), ("b", "c")]


# --- dry run, all or nothing ------------------------------------------------------------------------


def test_dry_run_reports_and_writes_nothing(store, write_folder):
    before = counts(store)
    folder = write_folder({"ratings.csv": f"{RATING_HEADINGS}\nDemo Works,DW-1,rated_flow,75 L/min\n"})
    report = import_folder(store, folder, actor="test", reason="try", dry_run=True)
    assert report.dry_run
    assert report.revision is None
    assert report.added == {
        "sources": 2, "elements": 2, "attributes": 2, "tests": 1, "ratings": 1, "interchanges": 0,
    }  # fmt: skip
    assert counts(store) == before
    assert import_folder(store, folder, actor="test", reason="try").added == report.added


def test_a_fault_in_the_third_file_keeps_the_others_out(store, refused):
    before = counts(store)
    (fault,) = refused({"ratings.csv": f"{RATING_HEADINGS}\nDemo Works,DW-1,rated_flow,75 parsecs\n"})
    assert (fault.file, fault.row, fault.column, fault.found) == ("ratings.csv", 2, "value", "75 parsecs")
    assert counts(store) == before


def test_faults_of_all_files_are_named_at_once(refused):
    faults = refused(
        {
            "sources.csv": "source,date\nS1,yesterday\n",
            "elements.csv": "maker,number,kind\nDemo Works,DW-1,teapot\n,DW-2,spin-on\n",
            "ratings.csv": f"{RATING_HEADINGS}\nDemo Works,DW-1,rated_flow,\nDemo Works,DW-9,rated_flow,x\n",
        }
    )
    assert [(f.file, f.row, f.column) for f in faults] == [
        ("elements.csv", 2, "kind"),
        ("elements.csv", 3, "maker"),
        ("ratings.csv", 2, "value"),
        ("ratings.csv", 3, "value"),
        ("ratings.csv", 3, "number"),
        ("sources.csv", 2, "date"),
    ]


def test_very_many_faults_end_in_a_count(refused):
    rows = "Demo Works,DW-1,rated_flow,\n" * (MOST_FAULTS + 5)
    faults = refused({"ratings.csv": f"{RATING_HEADINGS}\n{rows}"})
    assert len(faults) == MOST_FAULTS + 1
    assert faults[-1].message.startswith("5 further faults")


def test_actor_must_say_something(store, write_folder):
    with pytest.raises(QuestionError):
        import_folder(store, write_folder({}), actor=" ", reason="x")
    assert counts(store)["revision"] == 0


# --- files as people save them ----------------------------------------------------------------------

GERMAN = (
    "maker;number;outside diameter;media\nDemo Works;DW-1;95,6 mm;glass fibre\nDemo Works;Ø 7 µ;1,234 mm;cellulose\n"
)
DECIMAL_COMMA = json.dumps({"resources": [{"name": "elements", "path": "elements.csv", "decimalChar": ","}]})


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_semicolons_decimal_commas_and_encodings(store, take_in, encoding):
    report = take_in({"elements.csv": GERMAN.encode(encoding), "datapackage.json": DECIMAL_COMMA})
    sizes = {row["text"]: row["number"] for row in held(store, tables.element_attribute) if row["number"]}
    assert sizes == {"95,6 mm": pytest.approx(95.6), "1,234 mm": pytest.approx(1.234)}
    assert {row["number"] for row in held(store, tables.element)} == {"DW-1", "Ø 7 µ"}
    assumed = "elements.csv read as Windows-1252 (neither UTF-8 nor UTF-16)"
    assert (assumed in report.notes) == (encoding == "cp1252")


@pytest.mark.parametrize(
    ("bad", "byte"),
    [
        ("µ".encode("cp1252"), 0xB5),
        ("Ø".encode()[:1], 0xC3),
        (b"\xed\xa0\xbd\xed\xb8\x80", 0xED),  # a surrogate pair, each half written as a character
    ],
)
def test_a_file_that_is_utf_8_in_part_is_refused_where_it_ceases_to_be(bad, byte, refused):
    text = "maker,number\nDemo Works,Ø 7\nDemo Works,8 ".encode() + bad + "\nDemo Works,Ø 9\n".encode()
    (fault,) = refused({"elements.csv": text})
    assert (fault.file, fault.row, fault.found) == ("elements.csv", 3, f"byte 0x{byte:02x}")
    assert "looks like UTF-8" in fault.message


def test_a_lone_surrogate_alone_is_not_taken_for_windows_1252(refused):
    (fault,) = refused({"elements.csv": b"maker,number\nDemo Works,7\nDemo Works,\xed\xbf\xbf\n"})
    assert (fault.row, fault.found) == (3, "byte 0xed")


def test_utf_16_big_endian(store, take_in):
    take_in({"elements.csv": "\ufeff".encode("utf-16-be") + GERMAN.replace("1,234", "1,2").encode("utf-16-be")})
    assert {row["number"] for row in held(store, tables.element)} == {"DW-1", "Ø 7 µ"}


def test_an_undeclared_lone_comma_is_refused_with_both_readings(refused):
    (fault,) = refused({"elements.csv": GERMAN})
    assert (fault.row, fault.column) == (3, "outside_diameter")
    assert "1.234" in fault.message
    assert "1234" in fault.message


@pytest.mark.parametrize(
    "package",
    [
        {"decimalChar": ",", "resources": []},
        {"resources": [{"name": "elements", "path": "elements.csv", "dialect": {"decimalChar": ","}}]},
        {"resources": [{"name": "elements", "path": "elements.csv", "schema": {
            "fields": [{"name": "outside diameter", "decimalChar": ","}]}}]},
    ],
    ids=["dialect of the package", "dialect of the file", "field"],
)  # fmt: skip
def test_a_declared_decimal_mark_is_used(package, store, take_in):
    if not package["resources"]:
        package["resources"] = [{"name": "elements", "path": "elements.csv"}]
    take_in({"elements.csv": GERMAN, "datapackage.json": json.dumps(package)})
    assert 1.234 in {row["number"] for row in held(store, tables.element_attribute)}


def test_a_declared_delimiter_and_path_are_used(store, take_in):
    resource = {"name": "Elements", "path": "list.txt", "dialect": {"delimiter": "|"}}
    take_in({"elements.csv": "not,read\n", "list.txt": "maker|number\nA,B|1;2\n",
             "datapackage.json": json.dumps({"resources": [resource]})})  # fmt: skip
    assert [(row["maker"], row["number"]) for row in held(store, tables.element)] == [("A,B", "1;2")]


@pytest.mark.parametrize(
    "number", ["00417", "12E4", "3-12", "2024-05", "NA", "null", "None", "=7-K", "1.50", "+4", "TRUE"]
)
def test_part_numbers_stay_text(number, store, take_in):
    take_in({"elements.csv": f"maker,number,successor\nDemo Works,{number},{number}\n"})
    assert [row["number"] for row in held(store, tables.element)] == [number]
    assert [row["text"] for row in held(store, tables.element_attribute)] == [number]


def test_headings_are_forgiving_and_may_carry_units(store, take_in):
    take_in({
        "elements.csv": " Maker ,NUMBER,Outside Diameter [in]\nDemo Works,DW-1,3 1/2\n",
        "ratings.csv": "maker,number,Characteristic,Value [psi],Cycle pressure [bar]\n"
                       "Demo Works,DW-1,Collapse Pressure,145,7\n",
    })  # fmt: skip
    (size,) = held(store, tables.element_attribute)
    assert (size["text"], size["number"]) == ("3 1/2 in", pytest.approx(88.9))
    (rating,) = held(store, tables.rating)
    assert (rating["text"], rating["value"]) == ("145 psi", pytest.approx(999.74, abs=0.01))
    (test,) = held(store, tables.test)
    assert (test["cycle_pressure_text"], test["cycle_pressure_kpa"]) == ("7 bar", pytest.approx(700))


def test_blank_rows_are_passed_over_and_counted(refused):
    text = 'maker,number,kind\n\n,,\nDemo Works,"DW\n1",spin-on\nDemo Works,DW-2,teapot\n'
    faults = refused({"elements.csv": text})
    assert [(fault.row, fault.column) for fault in faults] == [(4, "number"), (6, "kind")]


def test_files_not_known_are_said_to_be_left(take_in):
    assert "prices.csv is none of the sheets known here and was not read" in take_in({"prices.csv": "a\n1\n"}).notes


# --- folders that are none --------------------------------------------------------------------------


def refused_folder(engine: sa.Engine, folder: Path) -> str:
    with pytest.raises(ImportRefusedError) as refusal:
        import_folder(engine, folder, actor="test", reason="x")
    return "; ".join(map(str, refusal.value.faults))


def test_folders_that_cannot_be_read(store, tmp_path):
    assert "cannot be read" in refused_folder(store, tmp_path / "none")
    file = tmp_path / "file"
    file.write_text("x")
    assert "cannot be read" in refused_folder(store, file)
    loop = tmp_path / "loop"
    loop.symlink_to(loop)
    assert "cannot be read" in refused_folder(store, loop)
    empty = tmp_path / "empty"
    empty.mkdir()
    assert "no sheet" in refused_folder(store, empty)


def test_files_that_cannot_be_read(store, tmp_path):
    folder = tmp_path / "folder"
    (folder / "ratings.csv").mkdir(parents=True)
    (folder / "elements.csv").symlink_to(folder / "elements.csv")
    (folder / "sources.csv").write_text("")
    outside = tmp_path / "outside.csv"
    outside.write_text("maker\n")
    (folder / "interchanges.csv").symlink_to(outside)
    said = refused_folder(store, folder)
    assert "ratings.csv: This is not a file." in said
    assert "elements.csv: The file cannot be read" in said
    assert "sources.csv: The file is empty." in said
    assert "interchanges.csv: The file is a link that leads out of the folder." in said


@pytest.mark.parametrize(
    "path", ["../elements.csv", "/etc/hosts", "http://example.org/elements.csv", "C:\\elements.csv", ""]
)
def test_described_paths_stay_in_the_folder(path, refused):
    package = json.dumps({"resources": [{"name": "elements", "path": path}]})
    faults = refused({"datapackage.json": package})
    assert [fault.file for fault in faults] == ["datapackage.json"]


@pytest.mark.parametrize("package", ["{", "[]", '{"resources": 3}', "[" * 100_000, '{"decimalChar": "x"}',
                                     '{"resources": [{"name": "elements", "path": "elements.csv", '
                                     '"dialect": {"delimiter": "ab"}}]}'])  # fmt: skip
def test_broken_descriptions_are_faults(package, refused):
    assert {fault.file for fault in refused({"datapackage.json": package})} == {"datapackage.json"}


def test_sheets_are_written_by_any_csv_writer(store, take_in):
    table = io.StringIO()
    writer = csv.writer(table, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerows([["maker", "number"], ['He said "no"', '3/4" long, red']])
    take_in({"elements.csv": table.getvalue()})
    (element,) = held(store, tables.element)
    assert (element["maker"], element["number"]) == ('He said "no"', '3/4" long, red')
