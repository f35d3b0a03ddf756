"""Lines from CSV, workbooks and JSON: the same texts under the same names, and a bad line alone with its faults."""

from __future__ import annotations

import csv
import io
import json
from datetime import date, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from specdb.catalog.snapshot import Snapshot
from specdb.cross_checks.headings import MOST_ASIDE, read_columns
from specdb.cross_checks.lines import MOST_LINES, Line, LinesRead
from specdb.cross_checks.reading import lines_of_json, read_lines
from specdb.cross_checks.written import head_of, json_pieces
from specdb.duty.dotted import compared_names, dotted_names
from specdb.errors import QuestionError
from specdb.exchange.workbook_out import escaped
from specdb.formula_guard import guarded
from tests.specdb.cross_checks.finished import LINES, answered


def of_text(text: str | bytes, name: str = "lines.csv") -> LinesRead:
    return read_lines(name, io.BytesIO(text if isinstance(text, bytes) else text.encode()))


def of_rows(rows: list[list[Any]], formats: dict[str, str] | None = None, title: str = "Sheet") -> LinesRead:
    book = Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    for cell, code in (formats or {}).items():
        book.active[cell].number_format = code
    return of_book(book)


def of_book(book: Workbook) -> LinesRead:
    saved = io.BytesIO()
    book.save(saved)
    return read_lines("lines.xlsx", saved)


def refused(read: Any, *arguments: Any) -> str:
    with pytest.raises(QuestionError) as refusal:
        read(*arguments)
    return str(refusal.value)


def asked(read: LinesRead) -> list[dict[str, str]]:
    assert [fault for line in read.lines for fault in line.faults] == []
    return [dict(line.asked) for line in read.lines]


def faults(line: Line) -> dict[str | None, str]:
    return {fault.field: fault.message for fault in line.faults}


# --- out and in ------------------------------------------------------------------------------------

_TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1, max_size=20)
_WORDS = (
    "original.number", "original.maker", "elements.1.number", "elements.2.maker", "fluid.points", "costs.currency",
    "fit.thread", "require.3.dust", "target_cleanliness", "flow", "require.1.at_least",
)  # fmt: skip


@st.composite
def _sheets(draw: st.DrawFn) -> list[dict[str, str]]:
    names = draw(st.permutations(_WORDS))[: draw(st.integers(1, len(_WORDS)))]
    cells = st.fixed_dictionaries({name: _TEXTS.map(str.strip) | st.just("") for name in names})
    lines: list[dict[str, str]] = draw(st.lists(cells, min_size=1, max_size=4))
    return lines


def _doubtful(lines: list[dict[str, str]]) -> bool:
    """Whether numbers stand in them that a mixture of decimal marks puts in doubt, which has its own test."""
    return any("," in line.get(name, "") for line in lines for name in ("flow", "require.1.at_least"))


@settings(max_examples=30, deadline=None)
@given(_sheets(), st.sampled_from(",;\t"))
def test_any_texts_under_any_names_in_any_order_come_back_from_csv_and_from_a_workbook(lines, delimiter):
    told = [line for line in lines if any(line.values())]
    if not told or _doubtful(told):
        return
    names = list(told[0])
    rows = [["line", *names], *([f"L{number}", *map(line.get, names)] for number, line in enumerate(told))]
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter).writerows([[guarded(each) for each in row] for row in rows])
    book = Workbook()
    for number, row in enumerate(rows, start=1):
        for place, text_of_cell in enumerate(row, start=1):
            cell = book.active.cell(number, place, escaped(text_of_cell))
            cell.data_type = "s"
    expected = [{name: cell for name, cell in line.items() if cell} for line in told]
    for read in (of_text(text.getvalue()), of_book(book)):
        assert asked(read) == expected
        assert [line.label for line in read.lines] == [f"L{number}" for number in range(len(told))]
    assert asked(lines_of_json([{"line": "x", **line} for line in told])) == expected


def test_every_name_is_read_in_every_form():
    names = [name for name in (*dotted_names(), *compared_names()) if name != "as_of"][:480]
    line = {name: f"{place} x" for place, name in enumerate(names)}
    text = io.StringIO()
    csv.writer(text).writerows([line.keys(), line.values()])
    assert asked(of_text(text.getvalue())) == [line]
    assert asked(of_rows([list(line.keys()), list(line.values())])) == [line]
    assert asked(lines_of_json([line])) == [line]


# --- CSV -------------------------------------------------------------------------------------------


def test_a_list_as_people_keep_one():
    read = of_text(
        "Filters of hall 2;;;;;\n\n"
        "Machine;Pos.;Original number;Flow [L/min];Oil;Remark\n"
        "press 3;A-1;12-1;75;ISO VG 46;urgent\n"
        "press 3;A-2;'=7-K;1,5;46;\n"
        ";;00428;75 lpm;;\n"
        ";;;;;sum\n"
    )
    assert asked(read) == [
        {"original.number": "12-1", "flow": "75 L/min", "fluid.grade": "ISO VG 46"},
        {"original.number": "=7-K", "flow": "1,5 L/min", "fluid.grade": "46"},
        {"original.number": "00428", "flow": "75 lpm"},
    ]
    assert [(line.row, line.label) for line in read.lines] == [(4, "press 3, A-1"), (5, "press 3, A-2"), (6, "6")]
    assert read.notes == (
        'columns left aside, as their headings are not known here: "Remark"',
        "rows without anything under a known heading, passed over: 7",
    )


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(encoding):
    (line,) = of_text("number;maker\nµ-1;Größe\n".encode(encoding)).lines
    assert dict(line.asked) == {"original.number": "µ-1", "original.maker": "Größe"}


def test_bad_lines_stay_alone():
    read = of_text(
        "line,number,flow (L/min),pressure [bar],bypass\n"
        "1,A,75,20,head\n"
        '2,A,"1,200",20,head\n'
        "3,A,75 gpm,20,head\n"
        "4,A,75,20 MPa,head\n"
        "5,A,75,20,170 kPa\n"
        "6,A,75,20\n"
        "7,A,75,20,head,surplus\n"
        "8,,,,\n"
        f"9,{'x' * 201},75,20,head\n"
        "10,A,some,20,head\n"
        "11,A,75,20,head\n"
    )
    good = {"original.number": "A", "flow": "75 L/min", "working_pressure": "20 bar", "bypass": "head"}
    assert [line.label for line in read.lines if not line.faults] == ["1", "11"]
    assert all(line.asked == good for line in read.lines if not line.faults)
    assert [faults(line) for line in read.lines if line.faults] == [
        {"flow (L/min)": '"1,200" may mean 1.200 or 1200.'},
        {"flow (L/min)": '"75 gpm" says US gpm, its column L/min: the unit differs.'},
        {"pressure [bar]": '"20 MPa" says MPa, its column bar: the unit differs.'},
        {"bypass": "This is a pressure."},
        {None: "The row has 4 cells, the headings are 5."},
        {None: "The row has 6 cells, the headings are 5."},
        {"number": "No original is named, and the row asks nothing else."},
        {"number": "The cell has 201 characters."},
        {"flow (L/min)": '"some" does not begin with a number.'},
    ]
    assert all(fault.whole for line in read.lines for fault in line.faults if fault.field)


def test_what_could_not_be_read_is_told_and_kept_as_it_was_typed():
    rows = [["number", "flow [L/min]", "capacity at least [g]", "oil"], ["A", "60 kPa", "80", "46"],
            ["A", "6O", "40-60 g", "46"], ["A", "40 - 60", "some", "46"]]  # fmt: skip
    by_csv = of_text("\n".join(map(",".join, rows)))
    by_json = lines_of_json([dict(zip(rows[0], row, strict=True)) for row in rows[1:]])
    for read in (by_csv, of_rows(rows), by_json):
        first, second, third = read.lines
        assert [[fault.value for fault in line.faults] for line in read.lines] == [
            ["60 kPa"], ["6O", "40-60 g"], ["40 - 60", "some"],
        ]  # fmt: skip
        assert faults(third)["flow [L/min]"] == faults(second)["capacity at least [g]"] == "This is a range."
        assert first.unread == {"flow": "60 kPa"}
        assert second.unread == {
            "flow": "6O", "require.1.characteristic": "retained_capacity", "require.1.at_least": "40-60 g",
        }  # fmt: skip
        assert dict(third.asked) == {"original.number": "A", "fluid.grade": "46"}


def test_columns_of_something_else_are_carried_along():
    columns = [f"Remark {letter}" for letter in "abcdefghijklmnopqrstuvw"]
    rows = [["number", "remark: max. flow", *columns], ["A", "5 L/min", "x" * 300, "", "12-1"], ["B"]]
    padded = [[*row, *[""] * (len(rows[0]) - len(row))] for row in rows]
    by_json = lines_of_json([dict(zip(rows[0], row, strict=True)) for row in padded[1:]])
    for read in (of_text("\n".join(map(",".join, padded))), of_rows(padded), by_json):
        assert [dict(line.aside) for line in read.lines] == [
            {"max. flow": "5 L/min", "Remark a": "x" * 200, "Remark c": "12-1"}, {},
        ]  # fmt: skip
    assert len(read_columns(rows[0]).aside) == MOST_ASIDE < len(rows[0])


@pytest.mark.parametrize("blank", ["", "n/a", "N/A", "-", "nan", "None", "?"])
def test_a_line_without_an_original_says_under_which_heading_there_is_none(blank):
    rows = [["machine", "Old filter no.", "temp", "beta at 10 um(c)"], ["a", blank, "50 °C", ""],
            ["b", blank, "", "200"], ["c", blank, "", ""], ["d", "12-1", "", ""]]  # fmt: skip
    by_json = lines_of_json([dict(zip(rows[0], row, strict=True)) for row in rows[1:]])
    for read in (of_text("\n".join(map(",".join, rows))), of_rows(rows), by_json):
        assert [line.blank_original for line in read.lines][:2] == ["Old filter no."] * 2
        assert read.lines[3].blank_original is None
        assert [list(faults(line)) for line in read.lines] == [[], [], ["Old filter no."], []]
        assert "original.number" not in {**read.lines[0].asked, **read.lines[1].asked}


def test_decimal_marks():
    declared = of_text("number;flow [L/min];decimal\nA;1.200,5;,\nB;1,200.5;.\nC;75;;\nD;1;x\n".replace(";;\n", ";\n"))
    assert [line.asked["flow"] for line in declared.lines] == ["1200.5 L/min", "1200.5 L/min", "75 L/min", "1 L/min"]
    assert [faults(line) for line in declared.lines][2:] == [{}, {"decimal": "This is no decimal mark."}]
    commas = of_text("number;flow [L/min]\nA;1,5\nB;1.500\nC;0.5\n")
    assert [list(faults(line).values()) for line in commas.lines] == [
        [], ["The sheet writes decimal commas, so this may be a thousand or a small number."], [],
    ]  # fmt: skip
    assert 'Write "1500" or "1,5", or' in str(commas.lines[1].faults[0].remedy)
    for heading, unit in (("flow [L/min]", ""), ("flow", " L/min")):
        thousand = of_text(f"number;{heading}\nA;1,5{unit}\nB;1,200{unit}\nC;1,234{unit}\n")
        remedies = [fault.remedy or "" for line in thousand.lines for fault in line.faults]
        assert [remedy.partition(", or")[0] for remedy in remedies] == [
            f'Write "1200{unit}" or "1,2{unit}"', f'Write "1234{unit}" or "1,2340{unit}"',
        ]  # fmt: skip
        mended = of_text(f"number;{heading}\nA;1,5{unit}\nB;1200{unit}\nC;1,2{unit}\nD;1,2340{unit}\n")
        assert [line.faults for line in mended.lines] == [()] * 4
    points = of_text("number;flow [L/min]\nA;1.5\nB;1.500\n")
    assert [line.asked["flow"] for line in points.lines] == ["1.5 L/min", "1.500 L/min"]


def test_requirements_in_headings():
    read = of_text("number,beta at 10 um(c) >=,capacity at least [g]\nA,200,80\nB,99.5 %,\n")
    assert asked(read) == [
        {
            "original.number": "A",
            "require.1.characteristic": "filtration_ratio", "require.1.size": "10 um(c)", "require.1.at_least": "200",
            "require.2.characteristic": "retained_capacity", "require.2.at_least": "80 g",
        },
        {
            "original.number": "B", "require.1.characteristic": "filtration_ratio", "require.1.size": "10 um(c)",
            "require.1.at_least": "99.5 %",
        },
    ]  # fmt: skip


def test_a_table_of_answers_is_no_list_of_lines():
    row = {"line": "A", "original_number": "O-1", "maker": "Pell", "number": "P-1", "verdict": "meets",
           "criteria_met": 3, "criteria_missed": 0}  # fmt: skip
    texts = list(map(str, row.values()))
    for read in (
        lambda: of_text(f"{','.join(row)}\n{','.join(texts)}\n"),
        lambda: of_rows([["Cross-check against catalogue revision 1"], list(row), texts], title="Summary"),
        lambda: lines_of_json([row]),
    ):
        assert "These are answers, without what was asked. Put in the finished workbook" in refused(read)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "The file is empty"),
        (b"\n\n \n", "no text"),
        (b"number\n", "headings and no line"),
        (b"floww,number\n1,2\n", '"flow" meant'),
        (b"a,b\n1,2\n", "No heading is known"),
        (b'number\nA\n"B\n', "row 3: The quotes"),
        (b"number\nA\0\n", "row 2: This is no text"),
        (b"number\n\xff\xfe\xc3\xa9", "UTF-8"),
        (b"%PDF-1.7", "a PDF file"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old kind, or one protected by a password"),
        (b"<html><table>", "a web page"),
        (b"number\n" + b"A\n" * (MOST_LINES + 1), f"more than {MOST_LINES} lines"),
        (b'[{"number": "A", "number": "B"}]', "twice in one object"),
        (b'{"lines": [{"limit": NaN}]}', "no number that JSON has"),
        (b'[{"number": "A"}', "This is no JSON"),
        (b"[" * 100_000 + b"]" * 100_000, "nested too deeply"),
        (b'{"lines": [{"number": "A"}], "modes": "rank"}', "there stands modes"),
        (b'{"number": "A"}', "These are no lines"),
        (b"[]", "There is no line"),
    ],
)
def test_what_refuses_the_whole_file(data, said):
    assert said in refused(of_text, data)


def test_the_last_line_that_is_taken():
    assert len(of_text("number\n" + "A\n\n" * MOST_LINES).lines) == MOST_LINES


# --- workbooks -------------------------------------------------------------------------------------


def test_what_a_reader_sees_in_a_cell_counts():
    read = of_rows(
        [
            ["Filters"], [],
            ["machine", "number", "flow [L/min]", "temperature", "bypass setting", "fit.bypass_valve", "oil", "limit",
             "note"],
            [7, "12-1", 75, 55, 1.7, True, 46, 3, "=1/0"],
            [date(2024, 5, 1), 428, 0.1 + 0.2, 55, "170 kPa", "no", "ISO VG 46", 2.0, "#REF!"],
            ["C", 417, 1.5, None, None, False, None, None, None],
        ],
        {"B5": "00000", "C6": "0.000", "D4": '0 "°C"', "D5": "0.0\\ \\d\\e\\g\\C", "E4": '0.00" bar"', "A5": "d-mmm"},
    )  # fmt: skip
    assert asked(read) == [
        {"original.number": "12-1", "flow": "75 L/min", "operating_temperature": "55 °C", "fluid.grade": "46",
         "bypass_cracking_pressure": "1.70 bar", "fit.bypass_valve": "yes", "limit": "3"},
        {"original.number": "00428", "flow": "0.3 L/min", "operating_temperature": "55.0 degC", "limit": "2",
         "bypass_cracking_pressure": "170 kPa", "fit.bypass_valve": "no", "fluid.grade": "ISO VG 46"},
        {"original.number": "417", "flow": "1.500 L/min", "fit.bypass_valve": "no"},
    ]  # fmt: skip
    assert [(line.row, line.label) for line in read.lines] == [(4, "7"), (5, "1-May"), (6, "C")]
    assert read.notes[1:] == ("numbers where text is expected, taken by their digits: rows 5, 6",)


@pytest.mark.parametrize(
    ("value", "code", "heading", "said", "found"),
    [
        (date(2024, 1, 12), "d-mmm", "number", "a date", "12-Jan"),
        (datetime(2024, 12, 1), "m-d", "flow [L/min]", "a date", "12-1"),
        ("=A1", "General", "number", "a formula whose value was not saved", None),
        ("#N/A", "General", "flow [L/min]", "an error", "#N/A"),
        (True, "General", "number", "TRUE or FALSE", "TRUE"),
        (12.5, "General", "number", "what was typed cannot be told", "12.5"),
        (1.2e14, "General", "target code", "what was typed cannot be told", None),
        (75, '0 "gpm"', "flow [L/min]", "says US gpm, its column L/min", "75 gpm"),
        (75, '[>5]0;"none"', "flow [L/min]", "is shown in the format", None),
        ("x" * 40_000, "General", "number", "32767 characters", None),
    ],
)
def test_cells_that_cannot_be_taken_are_faults_of_their_line(value, code, heading, said, found):
    read = of_rows([["line", "location", heading], ["a", "return", value], ["b", "return", None]], {"C2": code})
    bad, good = read.lines
    (fault,) = bad.faults
    assert fault.field == heading
    assert said in fault.message
    assert found is None or fault.value == found
    assert bad.asked["location"] == "return"
    assert (good.asked, good.faults) == ({"location": "return"}, ())


def test_which_sheet_is_read_and_what_is_said_of_the_others():
    book = Workbook()
    book.active.append(["number"])
    book.active.append(["hidden"])
    book.active.sheet_state = "hidden"
    book.create_sheet("Notes").append(["number of visits"])
    for title, number in (("Quote", "12-2"), ("Lines", "12-3")):
        sheet = book.create_sheet(title)
        sheet.append(["A title"])
        sheet.append(["number"])
        sheet.append([number])
    assert asked(of_book(book)) == [{"original.number": "12-3"}]
    del book["Lines"]
    read = of_book(book)
    assert asked(read) == [{"original.number": "12-2"}]
    assert read.notes == (
        "lines were read from the sheet Quote",
        "sheets that were not read: Notes",
        "hidden sheets that were not read: Sheet",
    )
    del book["Quote"]
    assert "Looked at: Notes" in refused(of_book, book)


def test_merged_cells_and_filtered_rows():
    book = Workbook()
    sheet = book.active
    for row in (["machine", "number", "flow"], ["a", "A", "1 L/min"], [None, None, "2 L/min"], ["c", "C", "3 L/min"]):
        sheet.append(row)
    sheet.merge_cells("A2:A3")
    sheet.merge_cells("B2:B3")
    sheet.merge_cells("B4:C4")
    sheet.row_dimensions[4].hidden = True
    read = of_book(book)
    assert [list(faults(line)) for line in read.lines] == [[], ["number"], []]
    assert "Unmerge" in str(read.lines[1].faults[0])
    assert read.notes == (
        "merged cells: 3; only the first cell of each holds its value",
        "rows that are hidden or filtered out, read all the same: 1",
    )


# --- plain data ------------------------------------------------------------------------------------


def test_lines_of_plain_data():
    beta = {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"}
    read = lines_of_json(
        [
            {"line": "A", "original": {"number": "12-1"}, "flow_l_min": 75, "oil": 46, "require": [beta]},
            {"pos": 7, "question": {"duty": {"flow": {"value": 75, "unit": "gpm"}, "require": [beta]}, "limit": 20}},
            {"elements": [{"number": "12-1"}, {"number": "=7-K", "maker": "Orl"}], "assumptions": "customary"},
            {"number": "X", "price": 12, "include_without_evidence": True, "fit.bypass_valve": False, "flow": None},
        ]
    )
    required = {f"require.1.{name}": str(value) for name, value in beta.items()}
    assert asked(read) == [
        {"flow": "75 L/min", "fluid.grade": "46", "original.number": "12-1", **required},
        {"flow": "75 gpm", "limit": "20", **required},
        {"elements.1.number": "12-1", "elements.2.number": "=7-K", "elements.2.maker": "Orl",
         "assumptions": "customary"},
        {"original.number": "X", "include_without_evidence": "yes", "fit.bypass_valve": "no"},
    ]  # fmt: skip
    assert [line.label for line in read.lines] == ["A", "7", "3", "4"]
    assert read.notes == ('names left aside, as they are not known here: "price"',)


def test_bad_objects_stay_alone():
    read = lines_of_json(
        [
            {"floww": "1 L/min", "number": "A"},
            {"number": "A", "part number": "B"},
            7,
            {"require": [{"characteristic": "filtration_ratio"}, {"characteristic": "x", "at_least": 1}]},
            {"flow": True, "number": 1.5, "maker": float("inf")},
            {"original": {"number": "A"}, "original.number": "B"},
            {},
            {"number": "12-1"},
        ]
    )
    assert [list(faults(line)) for line in read.lines] == [
        ["floww"], ["part number"], [None], ["require.2.characteristic"], ["flow", "number", "maker"],
        ["original.number"], [None], [],
    ]  # fmt: skip


def test_answers_of_ours_ask_again_what_was_asked():
    line = {"line": "A", "row": 2, "status": "answered", "asked": {"original.number": "12-1", "limit": "3"}}
    for read in (lines_of_json({"lines": [line], "order": []}), of_text(json.dumps({"order": ["x"], "lines": [line]}))):
        assert asked(read) == [{"original.number": "12-1", "limit": "3"}]
        assert read.lines[0].label == "A"


ANEW = {"row"}
"""What an answer holds that goes by the place of its line."""
FROM_A_SHEET = "machine;Old filter;flow [L/min];Price\na;n/a;75;9\nb;Dulse 23;60 kPa;8\nc;Dulse 23;75;7\n"


def test_an_answer_with_its_problem_is_at_fault_as_before_until_it_is_left_out(demo: Snapshot):
    lines = (*LINES, *of_text(FROM_A_SHEET).lines)
    before = answered(demo, lines)
    head = head_of(demo, LinesRead(()))
    for _ in range(2):
        read = of_text("".join(json_pieces(head, before)), "answers.json")
        again = answered(demo, read.lines, {})
        assert [each.model_dump(exclude=ANEW) for each in again] == [each.model_dump(exclude=ANEW) for each in before]
        before = again
    faulty = [place for place, each in enumerate(before, start=1) if each.problem]
    assert len(faulty) == 12
    told = ", ".join(map(str, faulty[:5]))
    assert read.notes == (f"answers with a problem, at fault as before until it is left out: lines {told} and 7 more",)
    mended = [each.model_dump() | {"problem": None} for each in before[-3:]]
    mended[0]["asked"] |= {"original.number": "Dulse 23"}
    mended[1]["asked"] |= {"flow": "fast"}
    mended = answered(demo, lines_of_json(mended).lines, {})
    assert [each.problem and each.problem.errors[0].field for each in mended] == [None, "flow [L/min]", None]
    assert [each.aside for each in mended] == [{"Price": "9"}, {"Price": "8"}, {"Price": "7"}]


@pytest.mark.parametrize("problem", ["none", 0, [], {}, {"errors": [7, {"detail": 7}]}])
def test_a_problem_that_is_not_told_is_a_fault_all_the_same(problem):
    line = {"line": None, "status": "fault", "asked": {"original.number": "12-1", "limit": 3}, "problem": problem}
    (read,) = lines_of_json([line]).lines
    assert (read.label, read.asked) == ("1", {"original.number": "12-1", "limit": "3"})
    assert "leave the problem out" in str(read.faults[0].remedy)
