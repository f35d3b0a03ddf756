"""Out and in again: the same facts, the same answers, the same bytes."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from specdb import answers
from specdb.catalog import tables
from specdb.catalog.reading import find_element, load_snapshot, read_element
from specdb.catalog.store import open_store, read_session, write_session
from specdb.catalog.writing import begin_revision, supersede
from specdb.demo import demo_folder
from specdb.duty.question import read_question
from specdb.exchange import export_catalogue, export_folder, import_catalogue, import_folder
from specdb.exchange.description import SHEETS
from specdb.ranking import rank
from tests.specdb.exchange.any_catalogue import import_at_random
from tests.specdb.exchange.everything import everything
from tests.specdb.exchange.stored import held

FORMS = ("folder", "catalogue.zip", "catalogue.xlsx")
Stores = Callable[[], sa.Engine]


@pytest.fixture
def stores(store_template: Path, tmp_path: Path) -> Iterator[Stores]:
    """Opens a fresh store with each call."""
    opened: list[sa.Engine] = []

    def another() -> sa.Engine:
        path = shutil.copy(store_template, tmp_path / f"store-{len(opened)}.sqlite")
        opened.append(open_store(f"sqlite:///{path}"))
        return opened[-1]

    yield another
    for engine in opened:
        engine.dispose()


def bytes_of(target: Path) -> dict[str, bytes]:
    if target.is_file():
        return {"": target.read_bytes()}
    return {path.name: path.read_bytes() for path in sorted(target.iterdir())}


def rows_of(folder: Path, sheet: str) -> list[dict[str, str]]:
    """Rows of an exported sheet, blank cells left out."""
    with (folder / f"{sheet}.csv").open(encoding="utf-8", newline="") as file:
        return [{column: text for column, text in row.items() if text} for row in csv.DictReader(file)]


def taken_in(engine: sa.Engine, source: Path, reason: str = "taken in again") -> None:
    import_catalogue(engine, source, actor="other", reason=reason)


# --- the demo catalogue -----------------------------------------------------------------------------

QUESTIONS = [
    {"original": {"number": "Dulse 23"}, "duty": {"flow": "75 L/min"}, "limit": 500, "include_without_evidence": True},
    {"original": {"number": "Dulse 22"}, "duty": {"assumptions": "customary"}, "limit": 500},
    {
        "duty": {
            "flow": "60 L/min",
            "fluid": {"grade": "ISO VG 46", "viscosity_index": 100, "class": "HM"},
            "operating_temperature": "50 degC",
            "require": [
                {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"},
                {"characteristic": "retained_capacity", "at_least": "40 g"},
                {"characteristic": "clean_pressure_drop", "at_most": "25 kPa", "drop_of": "element"},
            ],
        },
        "limit": 500,
    },
]


def told(engine: sa.Engine) -> list[str]:
    """Answers about the demo catalogue as JSON."""
    with read_session(engine) as connection:
        snapshot = load_snapshot(connection, 1)
        said = [
            answers.equivalents(rank(question, snapshot), limit=question.limit).model_dump_json()
            for question in map(read_question, QUESTIONS)
        ]
        for number in ("Dulse 22", "Dulse 23", "00417", "=7-K"):
            found = read_element(connection, find_element(connection, number, None, 1), 1)
            said.append(answers.element_answer(found, 1).model_dump_json())
    return said


@pytest.mark.parametrize("form", FORMS)
def test_the_demo_catalogue_comes_back_whole(form, demo_store_url, stores, tmp_path):
    first, second = open_store(demo_store_url), stores()
    one, two = tmp_path / "one" / form, tmp_path / "two" / form
    one.parent.mkdir()
    two.parent.mkdir()
    report = export_catalogue(first, one)
    taken_in(second, one)
    assert report.notes == ()
    assert report.rows == {sheet: len(rows_of(demo_folder(), sheet)) for sheet in SHEETS}
    assert everything(second) == everything(first)
    if form == "folder":
        assert told(second) == told(first)
    export_catalogue(second, two)
    assert bytes_of(two) == bytes_of(one)
    assert import_catalogue(second, one, actor="x", reason="once more").revision is None
    assert import_folder(second, demo_folder(), actor="x", reason="the files themselves").revision is None
    first.dispose()


def test_to_either_database_and_back(any_store, stores, tmp_path):
    again = stores()
    import_folder(any_store, demo_folder(), actor="test", reason="demo")
    export_folder(any_store, tmp_path / "out")
    taken_in(again, tmp_path / "out")
    assert everything(again) == everything(any_store)
    export_folder(again, tmp_path / "again")
    assert bytes_of(tmp_path / "again") == bytes_of(tmp_path / "out")


def test_a_viscosity_in_cp_comes_back_beside_a_density_with_the_other_decimal_mark(stores, tmp_path):
    first, second = stores(), stores()
    typed = tmp_path / "typed"
    typed.mkdir()
    (typed / "elements.csv").write_text("maker,number\nDemo Works,2024-05\n", encoding="utf-8")
    (typed / "ratings.csv").write_text(
        "maker,number,characteristic,value,viscosity,density\n"
        "Demo Works,2024-05,flow_fatigue_cycles,100000 cycles,27.84 cP,\"0,871 kg/L\"\n",
        encoding="utf-8",
    )
    taken_in(first, typed)
    assert export_catalogue(first, tmp_path / "out").notes == ()
    taken_in(second, tmp_path / "out")
    assert everything(second) == everything(first)


# --- any catalogue ----------------------------------------------------------------------------------


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 2**32))
def test_any_catalogue_comes_back_whole_from_any_form_and_state(store_template, tmp_path, seed):
    random = Random(seed)
    work = tmp_path / f"work-{seed}"
    work.mkdir(exist_ok=True)
    engines = []
    for name in ("first", "second", "third"):
        path = shutil.copy(store_template, work / f"{name}.sqlite")
        engines.append(open_store(f"sqlite:///{path}"))
    first, second, third = engines
    states = []
    for _ in range(8):
        if import_at_random(first, work / "in", random):
            states.append(everything(first))
    if states:
        form, as_of = random.choice(FORMS), random.randint(1, len(states))
        assert export_catalogue(first, work / form).notes == ()
        taken_in(second, work / form)
        assert everything(second) == states[-1]
        assert import_catalogue(first, work / form, actor="x", reason="y").revision is None
        earlier = export_folder(first, work / "earlier", as_of=str(as_of))
        assert (earlier.revision, earlier.notes) == (as_of, ())
        taken_in(third, work / "earlier")
        assert everything(third) == states[as_of - 1]
        export_folder(second, work / "again", as_of=1)
        export_folder(first, work / "whole")
        assert bytes_of(work / "again") == bytes_of(work / "whole")
    for engine in engines:
        engine.dispose()
    shutil.rmtree(work)


def test_the_random_catalogues_hold_what_they_are_for(stores, tmp_path):
    """Otherwise the test above would prove little."""
    taken, ratings, elements = 0, [], []
    for seed in range(2000, 2007):
        random, first = Random(seed), stores()
        taken += sum(import_at_random(first, tmp_path / "in", random) for _ in range(16))
        export_folder(first, tmp_path / f"out-{seed}")
        ratings += rows_of(tmp_path / f"out-{seed}", "ratings")
        elements += rows_of(tmp_path / f"out-{seed}", "elements")
    assert taken > 20
    assert sum("supersedes" in row and "value" in row for row in ratings) > 3
    assert sum("supersedes" in row and "value" not in row for row in ratings) > 1
    assert {row["decimal"] for row in ratings if "decimal" in row} >= {","}
    assert any("test_version" in row for row in ratings)
    assert sum("correction" in row for row in elements) > 1


# --- what is hard, one by one -----------------------------------------------------------------------


def again(first: sa.Engine, stores: Stores, folder: Path) -> list[dict[str, str]]:
    """Ratings as exported, once it is known that they come back the same and nothing had to be noted."""
    second = stores()
    assert export_folder(first, folder).notes == ()
    taken_in(second, folder)
    assert everything(second) == everything(first)
    return rows_of(folder, "ratings")


COLLAPSE = (
    "maker,number,characteristic,value,flow,test,terminal_pressure_drop,source\nDemo Works,DW-1,collapse_pressure,"
)


@pytest.mark.parametrize(
    ("value", "flow", "mark", "decimal", "number"),
    [
        ('"1,5 bar"', "", None, ",", 150),
        ('"1,234 bar"', "", ",", ",", 123.4),
        ('"1,234 kPa"', "", ".", ".", 1234),
        ("1.234 kPa", "", None, None, 1.234),
        ("1.234 kPa", "", ",", ",", 1234),
        ("1.234 kPa", '"4,5 m3/h"', ",", ",", 1234),
        ("170 kPa", '"0,5 L/min"', None, ",", 170),
        ("1 234.5 kPa", "", ".", None, 1234.5),
    ],
)
def test_decimal_marks_are_declared_where_they_are_needed(
    value, flow, mark, decimal, number, store, stores, write_folder, tmp_path
):
    package = f'{{"decimalChar": "{mark}", "resources": [{{"name": "ratings", "path": "ratings.csv"}}]}}'
    files = {"ratings.csv": f"{COLLAPSE}{value},{flow},,,S1\n"} | ({"datapackage.json": package} if mark else {})
    import_folder(store, write_folder(files), actor="test", reason="x")
    assert held(store, tables.rating)[0]["value"] == pytest.approx(number)
    (row,) = again(store, stores, tmp_path / "out")
    assert row.get("decimal") == decimal
    assert row["value"] == value.strip('"')


def test_one_row_may_need_both_marks(store, stores, write_folder, tmp_path):
    """A test's condition was typed with a decimal comma, a later result of it with a decimal point."""
    commas = '{"decimalChar": ",", "resources": [{"name": "ratings", "path": "ratings.csv"}]}'
    first = f'{COLLAPSE}2 MPa,,mp,"1,234 bar",S1\n'
    import_folder(store, write_folder({"ratings.csv": first, "datapackage.json": commas}), actor="test", reason="x")
    second = (
        "maker,number,characteristic,value,flow,test,source\n"
        "Demo Works,DW-1,collapse_pressure,3 MPa,1.250 L/min,mp,S1\n"
    )
    import_folder(store, write_folder({"ratings.csv": second}), actor="test", reason="x")
    rows = again(store, stores, tmp_path / "out")
    both = next(row for row in rows if "flow" in row)
    assert (both["flow"], both["terminal_pressure_drop"]) == ("1.250 L/min", "1,234 bar")
    assert both["decimal"] in (", flow:.", ". terminal_pressure_drop:,")


@pytest.mark.parametrize(
    ("heading", "cell", "text"),
    [
        ("flow [L/min]", "75", "75 L/min"),
        ("viscosity [SUS at 100 degF]", "150 SUS", "150 SUS at 100 degF"),
        ("viscosity [SUS at 100 degF]", "150", "150 SUS at 100 degF"),
        ("size [um(c)]", "10 um", "10 um(c)"),
        ("size [um(c)]", "<4", "<4 um(c)"),
        ("size [um]", "<4 (c)", "<4 um(c)"),
        ("size [um]", "10 (acftd)", "10 um(acftd)"),
    ],
)
def test_a_unit_of_the_heading_is_kept_with_the_text(heading, cell, text, store, stores, write_folder, tmp_path):
    column = heading.partition(" ")[0]
    size = "" if column == "size" else ",10 um(c)"
    table = (
        f"maker,number,characteristic,value,source,{heading}{',size' if size else ''}\n"
        f"Demo Works,DW-1,filtration_ratio,99.5 %,S1,{cell}{size}\n"
    )
    import_folder(store, write_folder({"ratings.csv": table}), actor="test", reason="x")
    (row,) = again(store, stores, tmp_path / "out")
    assert row[column] == text


ROW = (
    "rating,supersedes,maker,number,characteristic,value,flow,test,source,dust,terminal_pressure_drop,standard,"
    "remark,correction"
)


def ratings(*rows: str) -> str:
    """rating, supersedes, value, flow, test, source, dust, terminal drop, standard, remark and correction of DW-1."""
    lines = []
    for row in rows:
        cells = [cell.strip() for cell in row.split("|")]
        cells += [""] * (11 - len(cells))
        lines.append(",".join([*cells[:2], "Demo Works", "DW-1", "retained_capacity", *cells[2:]]))
    return "\n".join([ROW, *lines, ""])


@pytest.mark.parametrize(
    ("imports", "versions"),
    [
        (
            [
                ["a | | 85 g | 75 L/min | cap | S1 | A3"],
                ["b | a | 85 g | 75 L/min | cap | S1 | A2"],
                ["c | | 80 g | 90 L/min | cap | S1 | A2"],
            ],
            {"a": "1", "b": "2", "c": "2"},
        ),
        (
            [["a | | 85 g | 75 L/min | cap | S1 | A3"], ["b | a | 85 g | 75 L/min | cap | S1 | A3 | 170 kPa"]],
            {"a": "1", "b": "2"},
        ),
        (
            [
                ["a | | 85 g | 75 L/min | cap | S1 | A3"],
                ["b | a | 85 g | 75 L/min | cap | S1 | A2"],
                ["c | b | 85 g | 75 L/min | cap | S1 | A3"],
            ],
            {"a": "1", "b": "2", "c": "1"},
        ),
        (
            [
                [
                    "a | | 85 g | 75 L/min | cap | S1 | A3",
                    "b | a | 85 g | 75 L/min | cap | S1 | A2",
                    "c | b | 85 g | 75 L/min | cap | S1 | A3",
                ]
            ],
            {"a": "1", "b": "2", "c": "3"},
        ),
        (
            [["a | | 85 g | 75 L/min | cap | S1 | A3"], ["b | a | 58 g | 75 L/min | cap | S1 | A3"]],
            {"a": None, "b": None},
        ),
    ],
    ids=["a later point", "a condition added", "back to the first", "back in one import", "a value alone"],
)
def test_tests_whose_conditions_were_corrected_stay_apart(imports, versions, store, stores, write_folder, tmp_path):
    for rows in imports:
        import_folder(store, write_folder({"ratings.csv": ratings(*rows)}), actor="test", reason="x")
    rows = again(store, stores, tmp_path / "out")
    assert {row["rating"]: row.get("test_version") for row in rows} == versions


def test_a_standard_whose_name_ends_as_one_with_an_edition(store, stores, write_folder, tmp_path):
    row = "a | | 85 g | | | S1 | | | House 7-2008-2009"
    import_folder(store, write_folder({"ratings.csv": ratings(row)}), actor="test", reason="x")
    assert [(t["standard"], t["edition"]) for t in held(store, tables.test)] == [("House 7-2008", "2009")]
    again(store, stores, tmp_path / "out")


def test_reasons_and_remarks_stay_apart(store, stores, write_folder, tmp_path):
    first = "a | | 85 g | | cap | S1"
    said = "b | a | 58 g | | cap | S1 | | | | seen on page 3 | misread"
    silent = "c | b | 59 g | | cap | S1"
    for rows, reason in ((first, "one"), (said, "two"), (silent, "reason  of the import")):
        import_folder(store, write_folder({"ratings.csv": ratings(rows)}), actor="test", reason=reason)
    ended = [row["reason"] for row in held(store, tables.supersession)]
    assert ended == ["misread", "reason  of the import"]
    rows = again(store, stores, tmp_path / "out")
    assert [(row["rating"], row.get("remark"), row.get("correction")) for row in rows] == [
        ("a", None, None),
        ("b", "seen on page 3", "misread"),
        ("c", None, "reason  of the import"),
    ]


def test_one_rating_may_take_the_place_of_several(store, stores, write_folder, tmp_path):
    for rows in (
        ["a | | 85 g | 75 L/min | cap | S1", "b | | 86 g | 76 L/min | cap | S1"],
        ["c | a | 58 g | 77 L/min | cap | S2 | | | | | one"],
        ["c | b | 58 g | 77 L/min | cap | S2 | | | | | two"],
    ):
        import_folder(store, write_folder({"ratings.csv": ratings(*rows)}), actor="test", reason="x")
    rows = again(store, stores, tmp_path / "out")
    assert [(row["rating"], row["supersedes"], row["correction"]) for row in rows if "supersedes" in row] == [
        ("c", "a", "one"),
        ("c", "b", "two"),
    ]


def test_a_chain_of_corrections_of_an_attribute(store, stores, write_folder, tmp_path):
    def length(*rows: str) -> dict[str, str]:
        return {
            "elements.csv": "maker,number,length,media,source,correction\n"
            + "".join(f"Demo Works,DW-1,{row}\n" for row in rows)
        }

    steps = (
        "140 mm,cellulose,S1,",
        "141 mm,,S2,measured",
        "140 mm,glass fibre,S1,measured again",
        "14 cm,cellulose,,same",
    )
    for step in steps:
        import_folder(store, write_folder(length(step)), actor="test", reason="x")
    again(store, stores, tmp_path / "out")
    at_once = stores()
    import_folder(at_once, write_folder(length(*steps)), actor="test", reason="x")
    assert everything(at_once) == everything(store)
    assert import_folder(store, write_folder(length(*steps)), actor="test", reason="x").revision is None
    said = rows_of(tmp_path / "out", "elements")
    assert [(row.get("length"), row.get("media"), row.get("correction")) for row in said] == [
        ("140 mm", "cellulose", None),
        (None, "glass fibre", "measured again"),
        ("141 mm", None, "measured"),
        (None, "cellulose", "same"),
        ("140 mm", None, "measured again"),
    ]


@pytest.mark.parametrize("columns", [("fluids_compatible", "fluids_excluded"), ("fluids_tested", "fluids_failed")])
def test_a_class_that_one_sheet_takes_and_another_does_not(columns, store, stores, write_folder, tmp_path):
    for column in columns:
        files = {"elements.csv": f"maker,number,{column}\nDemo Works,DW-1,HM HV\n"}
        import_folder(store, write_folder(files), actor="test", reason="x")
    again(store, stores, tmp_path / "out")
    assert len(rows_of(tmp_path / "out", "elements")) == 2


# --- what only the library can put on file ----------------------------------------------------------


def test_what_the_sheets_have_no_form_for_is_noted(store, write_folder, tmp_path):
    import_folder(
        store,
        write_folder(
            {
                "elements.csv": "maker,number,length\nDemo Works,DW-1,140 mm\n",
                "interchanges.csv": "maker,number,replaces_maker,replaces_number\nDemo Works,DW-1,Other,7\n",
                "ratings.csv": ratings("a | | 85 g | | cap | S1"),
            }
        ),
        actor="test",
        reason="x",
    )
    (test,) = held(store, tables.test)
    with write_session(store) as connection:
        revision = begin_revision(connection, "test", "withdrawals")
        supersede(connection, revision, "attribute", old=1, new=None, reason="wrong element")
        supersede(connection, revision, "claim", old=1, new=None, reason="retracted")
        connection.execute(tables.test.insert().values(element_id=test["element_id"], added_in=revision))
    report = export_folder(store, tmp_path / "out")
    assert report.notes == (
        'elements: length "140 mm" of Demo Works DW-1 was withdrawn; left out',
        "ratings: tests without a result are left out (1)",
        "interchange claims that were withdrawn or replaced are left out (1)",
    )
    assert rows_of(tmp_path / "out", "interchanges") == []
    assert export_folder(store, tmp_path / "before", as_of=1).notes == ()
    assert len(rows_of(tmp_path / "before", "interchanges")) == 1


def test_a_text_that_is_not_its_number_is_noted_and_written_as_the_number(filled_store, stores, tmp_path):
    """The rows put in by hand hold "0.87 kg/L", which is right, and an efficiency whose resolution is not its own."""
    with write_session(filled_store) as connection:
        row = held(filled_store, tables.rating)[0] | {"id": 2, "label": "R2", "size_um": 5.0, "size_text": "5 um(c)"}
        connection.execute(tables.rating.insert().values({**row, "flow_text": "soon", "resolution": 2.0}))
    report = export_folder(filled_store, tmp_path / "out")
    assert 'ratings: flow "soon" of R2 does not read as its number; written as 75.0 L/min' in report.notes
    assert any(note.startswith("ratings: of Demo Works DW 12-1 not all would come back") for note in report.notes)
    second = stores()
    taken_in(second, tmp_path / "out")
    numbers = {row["label"]: (row["value"], row["flow_l_min"]) for row in held(second, tables.rating)}
    assert numbers == {"R1": (200, 75), "R2": (200, 75)}


def test_results_that_contradict_are_noted(store, write_folder, tmp_path):
    import_folder(store, write_folder({"ratings.csv": ratings("a | | 85 g | | cap | S1")}), actor="test", reason="x")
    with write_session(store) as connection:
        other = held(store, tables.rating)[0] | {"id": 2, "label": "b", "value": 58.0, "text": "58 g"}
        connection.execute(tables.rating.insert().values(other))
    (note,) = export_folder(store, tmp_path / "out").notes
    assert note.startswith("ratings: of Demo Works DW-1 not all would come back as they are on file")
