"""The finished workbook: what stands on its sheets, as what, and how it is seen."""

from __future__ import annotations

import io
import math
import tempfile
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from specdb.answers.cross_checks import TABLES, FaultShown, LineAnswer, LineProblem, TableName
from specdb.answers.tables import Cell
from specdb.catalog.snapshot import Snapshot
from specdb.cross_checks import workbook
from specdb.cross_checks.lines import LINES_SHEET, Line
from specdb.cross_checks.reading import read_lines
from specdb.cross_checks.workbook import number_format, write_answers
from specdb.duty.question import TEXT_AT_MOST
from specdb.errors import QuestionError
from specdb.units import UnitSystem
from specdb.wording import CAUTIONS
from tests.specdb.cross_checks.finished import COMMON, LINES, answered, head, written

SHEETS: dict[TableName, str] = {"summary": "Summary", "criteria": "Criteria", "requests": "What to ask for"}
HEADING_ROW = {"Summary": 2 + len(CAUTIONS)}

UNITS: dict[UnitSystem, dict[str, str]] = {
    "si": {"length": "mm", "flow": "L/min", "viscosity": "mm²/s", "density": "kg/m³", "pressure": "kPa"},
    "us": {"length": "in", "flow": "US gpm", "viscosity": "mm²/s", "density": "lb/ft³", "pressure": "psi"},
}
IN_NAMES: dict[UnitSystem, dict[str, str]] = {
    "si": {"length": "mm", "flow": "l_min", "viscosity": "mm2_s", "density": "kg_m3", "pressure": "kpa"},
    "us": {"length": "in", "flow": "us_gpm", "viscosity": "mm2_s", "density": "lb_ft3", "pressure": "psi"},
}
CONDITIONS = {
    "at size [µm]": "size_um", "size scale": "size_scale", "at flow [{flow}]": "flow_{flow}",
    "at viscosity, from [{viscosity}]": "viscosity_low_{viscosity}",
    "at viscosity, to [{viscosity}]": "viscosity_high_{viscosity}",
    "at density, from [{density}]": "density_low_{density}", "at density, to [{density}]": "density_high_{density}",
    "to terminal drop [{pressure}]": "terminal_pressure_drop_{pressure}",
    "at cycle pressure [{pressure}]": "cycle_pressure_{pressure}",
    "test liquid": "test_liquid", "drop of": "drop_of", "capacity basis": "capacity_basis",
}  # fmt: skip
NAMED = {name: name for name in ("line", "row", "rank", "maker", "number", "element_id")}
SAME: dict[TableName, dict[str, str]] = {
    "summary": NAMED | {
        "original's maker": "original_maker", "original": "original_number", "criteria met": "criteria_met",
        "criteria missed": "criteria_missed", "criteria not shown": "criteria_not_shown",
        "cautions for this element": "candidate_cautions", "kind": "kind", "status": "element_status",
        "successor": "successor", "claims": "claims",
    },
    "criteria": NAMED | CONDITIONS | {
        "in words": "explanation", "documents": "sources", "required, at least": "required_low",
        "required, at most": "required_high", "required word": "required_word", "shown, at least": "shown_low",
        "shown, at most": "shown_high", "shown, estimate": "estimate", "shown word": "shown_word",
        "unit of required and shown": "unit", "by standard": "standard", "with dust": "dust", "allowance [%]": "allow",
        "nominal [{length}]": "nominal_{length}", "difference from nominal [{length}]": "difference_{length}",
        "required is an estimate": "estimated", "leans to": "lean", "equal by rounding": "by_rounding",
        "requirement": "requirement", "characteristic": "characteristic",
    },
    "requests": NAMED | CONDITIONS | {
        "ask for": "words", "why": "explanation", "standards": "standards", "dust": "dust", "cycles": "cycles",
        "fluid class": "fluid_class", "candidates that it would settle": "settles", "documents on file": "documents",
        "what its tests do not state": "lacks", "requirement": "requirement", "characteristic": "characteristic",
    },
}  # fmt: skip
"""Heading: the column of the flat table that holds the same, units filled in."""
VERDICTS = {"meets": "✓ meets", "misses": "✗ misses", "not_shown": "? not shown"}
GRACE = " on assumptions"
NOT_ANSWERED = ("=1+1", "7", "8", "9", "10", "11", "12", "15", "16", "17")


def opened(file: bytes) -> Workbook:
    return load_workbook(io.BytesIO(file))


def rows_of(sheet: Worksheet) -> list[dict[str, object]]:
    """The rows below the headings, by these."""
    headings, *rows = sheet.iter_rows(min_row=HEADING_ROW.get(sheet.title, 1), values_only=True)
    return [dict(zip(map(str, headings), row, strict=True)) for row in rows]


def flat_rows(name: TableName, answers: list[LineAnswer], units: UnitSystem = "si") -> list[dict[str, Cell]]:
    table = TABLES[name]
    return [dict(zip(table.columns(units), row, strict=True)) for answer in answers for row in table.rows(answer)]


def as_kept(cell: Cell) -> object:
    return {True: "yes", False: "no", "": None}.get(cell, cell) if isinstance(cell, bool | str) else cell


@pytest.fixture(scope="module")
def answers(demo: Snapshot) -> list[LineAnswer]:
    return answered(demo)


@pytest.fixture(scope="module")
def file(answers: list[LineAnswer]) -> bytes:
    return written(answers)


# --- what stands in the cells -----------------------------------------------------------------------


@pytest.mark.parametrize("units", ["si", "us"])
def test_cells_hold_what_the_flat_tables_hold_as_numbers_and_as_text(demo: Snapshot, units: UnitSystem) -> None:
    answers = answered(demo, units=units)
    book = opened(written(answers, units))
    for name, sheet in SHEETS.items():
        flat = flat_rows(name, answers, units)
        found = rows_of(book[sheet])
        assert len(found) == len(flat) > 5
        for kept, told in zip(found, flat, strict=True):
            if kept["line"] == "14":
                assert told["rank"] == 1, "a judgement of one has no rank on the sheets"
                told |= {"rank": None}
            for heading, column in SAME[name].items():
                cell, expected = kept[heading.format(**UNITS[units])], as_kept(told[column.format(**IN_NAMES[units])])
                assert cell == expected, (sheet, heading, told)
                assert isinstance(cell, str) == isinstance(expected, str), (sheet, heading, cell)


def test_verdicts_are_marked_and_margins_are_shares(answers: list[LineAnswer], file: bytes) -> None:
    book = opened(file)
    flat = flat_rows("criteria", answers)
    criteria = rows_of(book["Criteria"])
    by_grace = [(told["verdict"], told["verdict_without_assumptions"]) == ("meets", "not_shown") for told in flat]
    verdicts = [VERDICTS[str(told["verdict"])] + GRACE * grace for told, grace in zip(flat, by_grace, strict=True)]
    assert [row["verdict"] for row in criteria] == verdicts
    assert set(verdicts) == {*VERDICTS.values(), VERDICTS["meets"] + GRACE}
    margins = [(row["margin [%]"], told["margin"]) for row, told in zip(criteria, flat, strict=True)]
    assert all((share is None) == (margin is None) for share, margin in margins)
    shares = [(float(str(share)), math.expm1(float(str(m)))) for share, m in margins if share is not None]
    assert len(shares) > 20
    assert all(share == pytest.approx(expected, rel=1e-9) for share, expected in shares)
    summary = rows_of(book["Summary"])
    # The judged line names one that misses and one that meets; nothing holds 9000 g.
    assert next((r["number"], r["verdict"]) for r in summary if r["line"] == "12-1") == ("Dulse 24", "✗ misses")
    assert {r["verdict"] for r in summary if r["line"] in NOT_ANSWERED} == {"! not answered"}
    missed = next(r for r in summary if r["number"] == "Dulse 24")
    assert missed["misses"] == "filtration ratio (beta) (3)"


def test_what_is_met_on_assumptions_alone_is_counted_and_marked(demo: Snapshot, answers: list[LineAnswer]) -> None:
    small = {"require.1.characteristic": "retained_capacity", "require.1.at_least": "10 g"}
    answers = [*answers, *answered(demo, [Line(17, "17", small)], {})]
    found = set()
    book = opened(written(answers))
    criteria = rows_of(book["Criteria"])
    for row, told in zip(rows_of(book["Summary"]), flat_rows("summary", answers), strict=True):
        if told["verdict"] is None:
            continue
        of_it = [c for c in criteria if (c["line"], c["element_id"]) == (told["line"], told["element_id"])]
        count = sum(c["verdict"] == VERDICTS["meets"] + GRACE and c["counts in the order"] == "yes" for c in of_it)
        assert told["criteria_met_on_assumptions"] == count <= int(str(told["criteria_met"]))
        grace = GRACE if told["verdict"] == "meets" and count else ""
        assert row["verdict"] == VERDICTS[str(told["verdict"])] + grace
        found.add((told["verdict"], bool(count)))
    assert {("meets", True), ("meets", False), ("misses", False)} <= found


def test_a_margin_below_zero_is_none_and_met_by_rounding_in_words(answers: list[LineAnswer]) -> None:
    tight = answers[0].model_copy(deep=True)
    tight.candidates = tight.candidates[:1]
    (candidate,) = tight.candidates
    criterion = next(each for each in candidate.criteria if each.characteristic == "clean_pressure_drop")
    criterion.margin, criterion.by_rounding = -0.004, True
    candidate.standing.smallest_margin = -0.004
    book = opened(written([tight]))
    (row,) = rows_of(book["Summary"])
    assert row["smallest margin [%]"] == 0
    assert row["tightest criterion"] == "clean pressure drop, equal by rounding"
    assert [c["margin [%]"] for c in rows_of(book["Criteria"]) if c["equal by rounding"] == "yes"] == [0]


def test_what_asks_nothing_stands_beside_the_verdict_and_what_is_not_used_under_its_heading(file: bytes) -> None:
    sheet = opened(file)["Summary"]
    *_, first, second = (cell.value for cell in sheet[HEADING_ROW["Summary"]])
    assert (first, second) == ("Price", "Remark")
    texts = [[cell.value for cell in row] for row in sheet.iter_rows(min_row=HEADING_ROW["Summary"])]
    unused = texts[0].index("stated and not used")
    of_a = [row for row in texts if row[0] == "A-1"]
    assert [row[-2:] for row in of_a] == [["12.50", "=1+1"]] * 2
    assert [row[unused] for row in of_a] == ["Flow, L/min; viscosity at work", None]
    assert next(row[-2:] for row in texts if row[0] == "14") == ["9", None]
    assert next(row[unused] for row in texts if row[0] == "12-1").startswith("flow through the filter")
    assert sheet.print_area.split("$")[3] >= get_column_letter(unused + 1)


def test_a_faulty_line_says_what_is_wrong_and_what_would_be_right(file: bytes) -> None:
    faulty = next(row for row in rows_of(opened(file)["Summary"]) if row["line"] == "=1+1")
    assert faulty["original"] == "Dulze 23"
    assert str(faulty["what is wrong"]).startswith('flow: "fast" does not begin with a number.; original.number: No ')
    assert "Quollbeck Dulse 23" in str(faulty["what would be right"])
    assert str(faulty["in words"]).startswith(str(faulty["what is wrong"]).rstrip("."))


def test_the_run_and_the_cautions_stand_before_the_summary_and_on_the_last_sheet(file: bytes) -> None:
    book = opened(file)
    above = [row[0].value for row in book["Summary"].iter_rows(max_row=HEADING_ROW["Summary"] - 1)]
    assert "catalogue revision 1" in str(above[0])
    assert above[1:] == [f"Caution: {caution}" for caution in CAUTIONS]
    assert book.sheetnames == ["Summary", "Criteria", "What to ask for", "Lines", "About"]
    about = [tuple(row.values()) for row in rows_of(book["About"])]
    assert [told for what, told in about if what == "caution"] == list(CAUTIONS)
    counts = {"lines": len(LINES), "lines answered": 7, "lines not answered": 10}
    assert {what: told for what, told in about if what in counts} == counts
    assert ("date", "2031-05-01") in about
    assert ("passed over in reading", "The sheet Prices was passed over.") in about
    assert any(what == "taken for granted" and "viscous" in str(told) for what, told in about)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (249, "0"), (249.0, "0"), (1000.0, "0"), (5.70539130435, "0.000"), (66.5, "0.0"), (0.05, "0.00"), (-30, "0"),
        (12345.678, "0"), (1e8, "0"), (0.00001234, "0.000E+00"), (0, "0"), (999.96, "0"),
    ],
)  # fmt: skip
def test_a_number_is_shown_with_four_significant_digits(value: float, shown: str) -> None:
    assert number_format(value) == shown


# --- texts are texts --------------------------------------------------------------------------------


def faulty(label: str, **asked: str) -> LineAnswer:
    problem = LineProblem(
        code="question", title="-", detail=label, errors=[FaultShown(field="flow", detail=label, remedy=label)]
    )
    return LineAnswer(line=label, row=2, status="fault", mode="ranked", asked={"flow": "x", **asked}, problem=problem)


HOSTILE = st.one_of(
    st.text(max_size=20),
    st.builds("".join, st.tuples(st.sampled_from("=+-@\t\r\n"), st.text(max_size=8))),
    st.sampled_from([
        "<r><t>a</t></r>", "<r>", "_x0041_", "_x005F_", "https://a.example", "12-1", "1E10", "00428", "TRUE", "\x00",
        "\uffff\ufffe", "{=1}", "'=1+1", " a ", "2026-12-01", "#N/A", "&amp;", "]]>", "internal:A!B1",
    ]),
)  # fmt: skip


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(label=HOSTILE, number=HOSTILE)
@example(label="=cmd|' /C calc'!A0" + "x" * 300, number="<r><b>=1+1</b></r>")
@example(label="<r>\x01</r>", number="-1")
@example(label="\uffff\ufffe", number="_x0041_x0042_")
def test_whatever_is_written_no_cell_is_a_formula_a_link_or_a_number(label: str, number: str) -> None:
    book = opened(written([faulty(label, **{"original.number": number})]))
    for sheet in book.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type in ("s", "inlineStr", "n")
                assert cell.hyperlink is None
                if isinstance(cell.value, str) and cell.value.startswith(("=", "+", "-", "@")):
                    assert cell.number_format == "@"
    lines = book[LINES_SHEET]
    headings = [cell.value for cell in lines[1]]
    kept = {str(h): cell for h, cell in zip(headings, lines[2], strict=True)}
    for heading, text in (("line", label), ("original.number", number)):
        cell = kept.get(heading)
        value = "" if cell is None else str(cell.value or "")
        assert unescaped(value) == text
        assert cell is None or not value or cell.number_format == "@" or len(text) > 255


def unescaped(text: str) -> str:
    """ISO/IEC 29500-1, 22.9.2.19, by the letter and in one pass."""
    done, rest = "", text
    while rest:
        code = rest[2:6]
        if rest.startswith("_x") and rest[6:7] == "_" and len(code) == 4 and set(code) <= set("0123456789abcdefABCDEF"):
            done, rest = done + chr(int(code, 16)), rest[7:]
        else:
            done, rest = done + rest[0], rest[1:]
    return done


# --- how it is seen ---------------------------------------------------------------------------------


def test_every_sheet_has_frozen_headings_a_filter_and_a_place_on_paper(file: bytes) -> None:
    for sheet in opened(file).worksheets:
        row = HEADING_ROW.get(sheet.title, 1)
        assert sheet.freeze_panes == f"B{row + 1}"
        assert sheet.auto_filter.ref == f"A{row}:{sheet.cell(row, sheet.max_column).column_letter}{sheet.max_row}"
        assert all(sheet.cell(row, place).font.bold for place in range(1, sheet.max_column + 1))
        assert sheet.print_title_rows == f"${row}:${row}"
        assert sheet.page_setup.orientation == "landscape"
        assert (sheet.sheet_properties.pageSetUpPr.fitToPage, sheet.page_setup.fitToHeight) == (True, 0)
        assert sheet.oddFooter.right.text == "Page &P of &N"
        assert sheet.oddFooter.left.text == "Catalogue revision 1, method 3, 2031-05-01"


def test_marks_differ_in_weight_slope_border_or_ground_and_not_in_colour_alone(file: bytes) -> None:
    book = opened(file)
    for sheet in ("Summary", "Criteria"):
        looks = {}
        for rules in book[sheet].conditional_formatting:
            for rule in rules.rules:
                if rule.type == "containsText":
                    dxf = rule.dxf
                    edge = dxf.border.left.style if dxf.border and dxf.border.left else None
                    looks[rule.text] = (
                        bool(dxf.font and dxf.font.b), bool(dxf.font and dxf.font.i), edge, dxf.fill.patternType,
                    )  # fmt: skip
                    (marked,) = rules.sqref.ranges
                    heading = book[sheet].cell(HEADING_ROW.get(sheet, 1), marked.min_col).value
                    assert str(heading).startswith("verdict")
                    assert marked.max_row == book[sheet].max_row
        marks = ("meets", "meets on assumptions", "misses", "not shown", "not answered")
        assert set(looks) == {*marks, "none found"}
        assert len({looks[mark] for mark in marks}) == 5
        order = {rule.text: rule.priority for rules in book[sheet].conditional_formatting for rule in rules.rules}
        assert order["meets on assumptions"] < order["meets"], "the first that holds is the mark"


# --- bounds -----------------------------------------------------------------------------------------


def test_the_same_answers_make_the_same_bytes(answers: list[LineAnswer], file: bytes) -> None:
    assert written(answers) == file


def test_a_sheet_that_would_be_too_long_is_refused_and_nothing_is_left_behind(
    answers: list[LineAnswer], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(workbook, "MOST_ROWS_OF_A_WORKBOOK", 40)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    out = io.BytesIO()
    with pytest.raises(QuestionError, match="sheet Criteria has more rows than a workbook holds") as refused:
        write_answers(out, answers, head())
    assert "CSV" in str(refused.value.remedy)
    assert not out.getvalue()
    assert not list(tmp_path.iterdir())


def test_memory_does_not_grow_with_the_rows(answers: list[LineAnswer], tmp_path: Path) -> None:
    ranked = answers[0]

    def many(count: int) -> Iterator[LineAnswer]:
        return (ranked for _ in range(count))

    def peak(count: int) -> int:
        tracemalloc.start()
        with open(tmp_path / "out.xlsx", "wb") as out:
            write_answers(out, many(count), head())
        told = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return told

    peak(1)
    rows = len(TABLES["criteria"].rows(ranked))
    few, more = peak(6), peak(26)
    assert more - few < 20 * rows * 100, "a hundred bytes a row are less than it takes to keep its height alone"


# --- out and in again -------------------------------------------------------------------------------


AT_FAULT = {"asked", "problem", "unread"}


def same(answer: LineAnswer) -> dict[str, object]:
    """An answer without the row it stood in; of one with faults, that it has some."""
    told = answer.model_dump(exclude={"row", "notes", "headings"} | (AT_FAULT if answer.problem else set()))
    return told | {"has faults": answer.problem is not None}


def test_out_and_in_again_gives_the_same_answers_without_what_was_said_for_all(
    demo: Snapshot, answers: list[LineAnswer], file: bytes
) -> None:
    read = read_lines("finished.xlsx", io.BytesIO(file))
    assert [line.label for line in read.lines] == [line.label for line in LINES]
    assert {line.label for line in read.lines if line.faults} <= set(NOT_ANSWERED)
    again = answered(demo, read.lines, {})
    assert {answer.mode for answer in again} == {"ranked", "judged"}
    assert [same(answer) for answer in again] == [same(answer) for answer in answers]


def test_out_and_in_and_out_again_asks_the_same(demo: Snapshot, file: bytes) -> None:
    once = read_lines("finished.xlsx", io.BytesIO(file)).lines
    twice = read_lines("again.xlsx", io.BytesIO(written(answered(demo, once, {})))).lines
    assert [line.asked for line in twice] == [line.asked for line in once]


def test_headings_of_the_lines_carry_the_unit_that_a_bare_number_is_in(demo: Snapshot) -> None:
    asked = {"original.number": "Dulse 23", "cold_start_temperature": "0 degC"}
    lines = [
        Line(2, "a", {**asked, "flow": "60 L/min", "relief_pressure": "5 bar", "working_pressure": "200 psi"}),
        Line(3, "b", {**asked, "flow": "75,5 l/min", "relief_pressure": "7 bar", "working_pressure": "10 bar"}),
        Line(4, "c", {"require.1.characteristic": "retained_capacity", "require.1.at_least": "80 g", "limit": "2"}),
    ]
    book = opened(written(answered(demo, lines, {})))
    sheet = book[LINES_SHEET]
    headings = [str(cell.value) for cell in sheet[1]]
    assert headings == [
        "line", "original.number", "flow [L/min]", "cold_start_temperature [°C]", "working_pressure",
        "relief_pressure [bar]", "require.1.characteristic", "require.1.at_least [g]", "limit",
    ]  # fmt: skip
    sheet.cell(2, 3).value, sheet.cell(3, 3).value, sheet.cell(3, 6).value = "60", 66.5, "8 bar"
    out = io.BytesIO()
    book.save(out)
    first, second, third = read_lines("changed.xlsx", out).lines
    assert not first.faults + second.faults + third.faults
    limit = {"limit": "3"}
    assert first.asked == {**lines[0].asked, **limit}
    assert second.asked == {**lines[1].asked, **limit, "flow": "66.5 L/min", "relief_pressure": "8 bar"}
    assert third.asked == lines[2].asked
    # Without a unit anywhere a number is refused, and no heading says afterwards what it was in.
    unsaid = opened(written(answered(demo, [lines[0], Line(5, "d", {**asked, "flow": "60"})], {})))[LINES_SHEET]
    assert [unsaid.cell(1, place).value for place in (3, unsaid.max_column)] == ["flow", "fault"]
    assert unsaid.cell(3, 3).value == "60"
    assert str(unsaid.cell(3, unsaid.max_column).value).startswith('flow: "60" has no unit')


def test_what_was_typed_stays_in_its_cell_where_it_is_refused_again(file: bytes) -> None:
    rows = {row["line"]: row for row in rows_of(opened(file)[LINES_SHEET])}
    flow = next(heading for heading in rows["15"] if heading.startswith("flow"))
    assert (rows["=1+1"][flow], rows["15"][flow], rows["16"]["original.number"]) == (
        "fast", "1.000,5 L", "fault: part no: A date. Found: 2024-07",
    )  # fmt: skip
    assert {row["fault"] is not None for line, row in rows.items() if line in NOT_ANSWERED} == {True}
    assert rows["A-1"]["fault"] is None
    # Its own heading refuses what another unit is typed in.
    assert rows["17"]["operating_temperature [°C]"] == "122 °F"
    read = {line.label: [str(each) for each in line.faults] for line in read_lines("f.xlsx", io.BytesIO(file)).lines}
    assert read["17"]
    assert read["16"] == ["original.number: fault: part no: A date. Found: 2024-07. Write over it what is meant."]
    assert (rows["A-1"]["remark: Price"], rows["A-1"]["remark: Remark"]) == ("12.50", "=1+1")


def test_a_text_longer_than_a_cell_holds_is_cut_and_says_so() -> None:
    long = "9" * 40_000
    lines = opened(written([faulty("x", **{"original.number": long})]))[LINES_SHEET]
    kept = [str(cell.value) for cell in lines[2]]
    assert max(map(len, kept)) == 32_767 > TEXT_AT_MOST
    assert any(text.endswith("longer than a cell holds]") for text in kept)


def test_the_fixture_asks_what_it_is_to_show(answers: list[LineAnswer]) -> None:
    told = [answer.line for answer in answers if answer.status == "answered"]
    assert told == ["A-1", "12-1", "00428", "1E10", "13", "14", "18"]
    assert {answer.mode for answer in answers} == {"ranked", "judged"}
    assert any(answer.requests for answer in answers)
    assert any(answer.beyond_tests for answer in answers)
    assert answers[1].asked["flow"] == COMMON["flow"]
