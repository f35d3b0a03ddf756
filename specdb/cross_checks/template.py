"""A workbook (XLSX) that fills itself: its formulas ask a running service, cell by cell, as rows are filled in.

The first sheet says how, and holds the address of the service; the sheet of lines can be taken in whole as a
cross-check too. A row that names nothing asks nothing.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.styles.fonts import DEFAULT_FONT
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties

from specdb.answers.cells import SIGN, WORDS
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS, title_of
from specdb.cross_checks.lines import LINES_SHEET
from specdb.errors import QuestionError
from specdb.exchange.exporting import put_in_place, refuse_unless_free
from specdb.exchange.workbook_out import save, steady_book

INSTRUCTIONS, RATINGS_SHEET = "Instructions", "Ratings"
ROWS = 500
"""Lines that formulas are ready for."""

RATING_ROWS = 50
LOCAL_SERVICE = "http://127.0.0.1:8000"
"""Where the service is unless it was told otherwise."""

UNANSWERED = f"{SIGN}no_answer"
"""What a formula of the workbook shows where the program did not ask, or nobody answered."""

_SERVICE = re.compile(r"https?://[A-Za-z0-9._~:\[\]/-]{1,200}")
_TEXT = "@"


def _font(size: float = DEFAULT_FONT.size, **how: Any) -> Font:
    """The letters of the workbook; a font that names none is another in some programs."""
    return Font(name=DEFAULT_FONT.name, size=size, **how)


@dataclass(frozen=True)
class _Asked:
    """A column to fill in: its heading, the name that it is asked by, None for what is not asked, its width, and the
    unit that its heading names."""

    title: str
    name: str | None
    width: int
    unit: str = ""

    @property
    def heading(self) -> str:
        return f"{self.title} [{self.unit}]" if self.unit else self.title


_LINES = (
    _Asked("line", None, 8), _Asked("machine", None, 18),
    _Asked("original maker", "original.maker", 16), _Asked("original number", "original.number", 18),
    _Asked("flow", "flow", 12, "L/min"), _Asked("fluid grade", "fluid.grade", 14),
    _Asked("operating temperature", "operating_temperature", 14, "degC"),
    _Asked("target code", "target_cleanliness", 12), _Asked("alternative maker", "maker", 16),
    _Asked("alternative number", "number", 18), _Asked("assumptions", "assumptions", 14),
)  # fmt: skip
_OF_ALTERNATIVE = ("maker", "number")
_ANSWERED = (
    ("found first", 26), ("its verdict", 34), ("found second", 26), ("verdict of second", 34),
    ("verdict of alternative", 34), ("asked", 20),
)  # fmt: skip
_RATINGS = (
    _Asked("maker", "maker", 16), _Asked("number", "number", 18), _Asked("characteristic", "characteristic", 26),
    _Asked("size", "size", 14, "um(c)"), _Asked("flow", "flow", 12, "L/min"), _Asked("unit", "unit", 10),
    _Asked("source", "source", 14), _Asked("laboratory", "laboratory", 14),
)  # fmt: skip
_RATED = (("rating", 22), ("value", 12), ("which is", 12))

_MARKS: Sequence[tuple[str, Mapping[str, Any]]] = (
    (SIGN, {"font": Font(italic=True, bold=True), "fill": PatternFill("solid", bgColor="D0D0D0")}),
    ("misses", {"font": Font(bold=True), "fill": PatternFill("lightUp", fgColor="C08080", bgColor="F4D6D0")}),
    ("not shown", {"font": Font(italic=True), "fill": PatternFill("gray125", fgColor="A09050", bgColor="FBF3CF")}),
    ("meets", {"fill": PatternFill("solid", bgColor="DDF0DD")}),
)
"""What a cell begins with, and how it is marked: by weight, slope and ground beside colour."""

_THIN = Side(style="thin", color="808080")
_TO_FILL = {"fill": PatternFill("solid", fgColor="FFFBE6"), "border": Border(left=_THIN, right=_THIN, bottom=_THIN)}
_WRAPPED = Alignment(wrap_text=True, vertical="top")

_HOW = (
    "1. Check the address of the service above. Empty that cell, and nothing is asked.",
    "2. Have your program ask: see below for yours. The cell beside \"state\" says whether it does.",
    f"3. Fill in the yellow columns of {LINES_SHEET}: a row asks once it has an original number, and its alternative "
    "is judged once that has a number. All else may stay empty. A bare number has the unit that its heading "
    "names in brackets; for another, change the heading: flow [gpm]. Under assumptions, customary also counts what the "
    "trade takes for granted; empty, proof alone counts.",
    "4. What was found, and each verdict, appears beside it: meets; meets on assumptions; misses: and what; not shown: "
    "and what. A cell that begins with ! is no answer: its word is listed below, and explained in the cell itself if "
    "that is set above.",
    f"5. {RATINGS_SHEET} reads single ratings in the unit that you name, as a number to go on calculating with.",
    "The cells to fill in are formatted as text, so that no program makes a date of 12-1; keep them so.",
    f"The sheet {LINES_SHEET} can also be sent whole: to the page /cross-check of the service, or by the command "
    "specdb cross-check. That is faster for many lines, and tells every criterion.",
    "Answers are computed from results of tests on file. They are no approval by an equipment maker.",
)
_PROGRAMS = (
    (
        "LibreOffice (tried here with version 7.4)",
        (
            "A file that is opened may not ask any address until it is allowed to: until then its cells show "
            f"{UNANSWERED}. Either copy the sheets into a new document, which asks without further ado. Or set two "
            "things under Tools, Options, and open the file again: name its folder in LibreOffice, Security, Macro "
            "Security, Trusted Sources, and take Always in LibreOffice Calc, General, Update links when opening. One "
            "without the other is not enough.",
            "Each address is asked once while the file is open. To ask again, save the file as .ods and open it again; "
            "of one saved as .xlsx, which opens with what it was saved with, recalculate all by Ctrl+Shift+F9.",
            "While a row asks, the program waits. With many rows filled in at once that takes a while.",
        ),
    ),
    (
        "Other programs (not tried here)",
        (
            "The formulas need the functions WEBSERVICE, ENCODEURL and NUMBERVALUE. Not verified: that some programs "
            "have the first two on Windows alone, and not in a browser; that they take no address of more than 2048 "
            "characters; whether they ask before a file is trusted, and when they ask again. A cell that was not "
            f"answered shows {UNANSWERED} or an error of the program.",
            "A program without these functions can take the finished workbook that a cross-check gives.",
        ),
    ),
)


def template_workbook(service: str = LOCAL_SERVICE) -> bytes:
    """The workbook for a service at this address, "" for none yet; the same program makes the same bytes.

    Raises QuestionError where it is no address.
    """
    address = _address(service)
    book = Workbook()
    book.properties = steady_book().properties
    characteristics = _write_instructions(book, address)
    _write_lines(book)
    _write_ratings(book, characteristics)
    written = io.BytesIO()
    save(book, written)
    return written.getvalue()


def write_template(target: Path, service: str = LOCAL_SERVICE) -> None:
    """Writes the workbook to ``target``.

    Raises QuestionError where the name is none of a workbook, something is there already, it cannot be written, or
    ``service`` is no address.
    """
    if target.suffix.casefold() != ".xlsx":
        raise QuestionError(
            "A template has a name that ends in .xlsx.", value=target.name, field="target",
            remedy="Name it so, such as template.xlsx.",
        )  # fmt: skip
    made = template_workbook(service)
    refuse_unless_free(target)
    with put_in_place(target) as unfinished:
        unfinished.write_bytes(made)


def _address(service: str) -> str:
    stated = service.strip()
    if stated and not _SERVICE.fullmatch(stated):
        raise QuestionError(
            "This is no address of a service.", value=service, field="service",
            remedy=f"Write it as a browser shows it, up to the first single slash: {LOCAL_SERVICE}.",
        )  # fmt: skip
    return stated.rstrip("/")


# --- the sheets ------------------------------------------------------------------------------------


def _write_instructions(book: Workbook, address: str) -> str:
    """The first sheet. Gives where the characteristics stand in it, for a list to refer to."""
    sheet: Any = book.active
    sheet.title = INSTRUCTIONS
    _print_wide(sheet)
    for column, width in zip("ABC", (24, 60, 60), strict=True):
        sheet.column_dimensions[column].width = width
    sheet["A1"], sheet["A1"].font = "Filter elements: a workbook that fills itself", _font(bold=True, size=14)
    settings = (
        ("address of the service", address, None, "such as http://127.0.0.1:8000; where it is empty nothing is asked"),
        ("asked at", '=IF(RIGHT(TRIM($B$3),1)="/",LEFT(TRIM($B$3),LEN(TRIM($B$3))-1),TRIM($B$3))', "service", ""),
        ("units", "si", "units", "of what is told: si or us"),
        ("explain short words", "yes", "explained", "yes or no: behind !unit and the like, what is wrong"),
        ("state", _state(), None, ""),
    )
    for row, (title, value, name, told) in enumerate(settings, start=3):
        sheet.cell(row, 1, title).font = _font(bold=True)
        cell = sheet.cell(row, 2, value or None)
        sheet.cell(row, 3, told or None)
        if not value.startswith("="):
            _make_text(cell)
        if name is not None:
            book.defined_names[name] = DefinedName(name, attr_text=f"{quote_sheetname(INSTRUCTIONS)}!$B${row}")
    row = len(settings) + 4
    for text in _HOW:
        row = _told(sheet, row, text)
    for program, texts in _PROGRAMS:
        sheet.cell(row + 1, 1, program).font = _font(bold=True)
        row += 2
        for text in texts:
            row = _told(sheet, row, text)
    words = {UNANSWERED: "the program did not ask (see above), or the service does not answer"}
    words |= {f"{SIGN}{word}": told for word, told in WORDS.items()}
    row = _listed(sheet, row + 1, ("no answer", "what it says"), words)
    titles = {key: title_of(key) for key in (*CHARACTERISTICS, *ATTRIBUTES)}
    first = row + 2
    last = _listed(sheet, row + 1, ("characteristic", f"what {RATINGS_SHEET} can ask for"), titles)
    return f"{quote_sheetname(INSTRUCTIONS)}!$A${first}:$A${last - 1}"


def _state() -> str:
    asking = f'LEFT(_xlfn.WEBSERVICE(service&"/v1/cells/verdict"),1)="{SIGN}"'
    return f'=IF(service="","no address",IF(IFERROR({asking},FALSE),"the service answers","{UNANSWERED}"))'


def _told(sheet: Any, row: int, text: str) -> int:
    """A text across the columns; gives the row below."""
    sheet.merge_cells(start_row=row, end_row=row, start_column=1, end_column=3)
    sheet.cell(row, 1, text).alignment = _WRAPPED
    sheet.row_dimensions[row].height = 15 * (1 + len(text) // 150)
    return row + 1


def _listed(sheet: Any, row: int, headings: Sequence[str], told: Mapping[str, str]) -> int:
    for column, heading in enumerate(headings, start=1):
        sheet.cell(row, column, heading).font = _font(bold=True)
    for row_of_it, (word, meaning) in enumerate(told.items(), start=row + 1):
        sheet.cell(row_of_it, 1, word)
        sheet.cell(row_of_it, 2, meaning)
    return row + 1 + len(told)


def _write_lines(book: Workbook) -> None:
    sheet = _headed(book, LINES_SHEET, _LINES, _ANSWERED, ROWS)
    sheet.freeze_panes = "E2"
    at = {asked.title: get_column_letter(number) for number, asked in enumerate(_LINES, start=1)}
    first, of_first, second, of_second, judged, asked = (
        get_column_letter(len(_LINES) + number) for number in range(1, len(_ANSWERED) + 1)
    )
    common = [each for each in _LINES if each.name not in (None, *_OF_ALTERNATIVE)]
    for row in range(2, ROWS + 2):
        number, alternative = f"${at['original number']}{row}", f"${at['alternative number']}{row}"
        query = [
            '"units="&_xlfn.ENCODEURL(units)&"&detail="&_xlfn.ENCODEURL(explained)',
            *(_parameter(each.name or "", f"${at[each.title]}{row}", has_unit=bool(each.unit)) for each in common),
        ]
        sheet[f"{asked}{row}"] = f'=IF(OR(TRIM({number})="",service=""),"",{"&".join(query)})'
        has_none = f'OR(${asked}{row}="",LEFT(${first}{row},1)="{SIGN}")'
        sheet[f"{first}{row}"] = _web(f'${asked}{row}=""', f'"best?"&${asked}{row}')
        sheet[f"{of_first}{row}"] = _web(has_none, f'"best?give=verdict&"&${asked}{row}')
        sheet[f"{second}{row}"] = _web(has_none, f'"best?place=2&"&${asked}{row}')
        has_none = f'OR(${asked}{row}="",LEFT(${first}{row},1)="{SIGN}",LEFT(${second}{row},1)="{SIGN}")'
        sheet[f"{of_second}{row}"] = _web(has_none, f'"best?place=2&give=verdict&"&${asked}{row}')
        named = f'"verdict?number="&_xlfn.ENCODEURL(TRIM({alternative}))'
        maker = _parameter("maker", f"${at['alternative maker']}{row}")
        unnamed = f'OR(${asked}{row}="",TRIM({alternative})="")'
        sheet[f"{judged}{row}"] = _web(unnamed, f'{named}&{maker}&"&"&${asked}{row}')
        sheet[f"{asked}{row}"].font = _font(color="808080", size=8)
    rule = DataValidation(type="list", formula1='"customary,none"', allow_blank=True, showErrorMessage=False)
    rule.add(f"{at['assumptions']}2:{at['assumptions']}{ROWS + 1}")
    sheet.add_data_validation(rule)
    sheet.auto_filter.ref = sheet.print_area = f"A1:{judged}{ROWS + 1}"
    _mark(sheet, f"{first}2:{judged}{ROWS + 1}", f"{first}2")


def _write_ratings(book: Workbook, characteristics: str) -> None:
    sheet = _headed(book, RATINGS_SHEET, _RATINGS, _RATED, RATING_ROWS)
    sheet.freeze_panes = "C2"
    at = {asked.name: get_column_letter(number) for number, asked in enumerate(_RATINGS, start=1)}
    rating, value, which = (get_column_letter(len(_RATINGS) + number) for number in (1, 2, 3))
    for row in range(2, RATING_ROWS + 2):
        others = [each for each in _RATINGS if each.name != "number"]
        asked = [_parameter(each.name or "", f"${at[each.name]}{row}", has_unit=bool(each.unit)) for each in others]
        query = "&".join(['"&detail="&_xlfn.ENCODEURL(explained)', *asked])
        number, told = f"${at['number']}{row}", f"${rating}{row}"
        unasked = f'OR(TRIM({number})="",TRIM(${at["characteristic"]}{row})="",service="")'
        sheet[f"{rating}{row}"] = _web(unasked, f'"rating?number="&_xlfn.ENCODEURL(TRIM({number}))&{query}')
        bound = f'ISNUMBER(FIND(LEFT({told},1),"><~"))'
        plain = f'_xlfn.NUMBERVALUE(IF({bound},MID({told},FIND(" ",{told})+1,99),{told}),".",",")'
        sheet[f"{value}{row}"] = f'=IF(OR({told}="",LEFT({told},1)="{SIGN}"),"",IFERROR({plain},""))'
        words = '"equal"'
        for sign, qualifier in (("~", "about"), ("<", "at most"), (">", "at least")):
            words = f'IF(LEFT({told},1)="{sign}","{qualifier}",{words})'
        sheet[f"{which}{row}"] = f'=IF(${value}{row}="","",{words})'
    rule = DataValidation(type="list", formula1=characteristics, allow_blank=True, showErrorMessage=False)
    rule.add(f"{at['characteristic']}2:{at['characteristic']}{RATING_ROWS + 1}")
    sheet.add_data_validation(rule)
    _mark(sheet, f"{rating}2:{rating}{RATING_ROWS + 1}", f"{rating}2")


def _headed(
    book: Workbook, name: str, asked: Sequence[_Asked], answered: Sequence[tuple[str, int]], rows: int
) -> Any:
    """A sheet with its headings, and cells to fill in that hold text whatever is typed."""
    sheet: Any = book.create_sheet(name)
    _print_wide(sheet)
    sheet.print_title_rows = "1:1"
    sheet.row_dimensions[1].height = 30
    columns = [*((each.heading, each.width) for each in asked), *answered]
    for number, (heading, width) in enumerate(columns, start=1):
        cell = sheet.cell(1, number, heading)
        cell.font, cell.alignment = _font(bold=True), _WRAPPED
        sheet.column_dimensions[get_column_letter(number)].width = width
        if number <= len(asked):
            for row in range(2, rows + 2):
                _make_text(sheet.cell(row, number))
    return sheet


def _print_wide(sheet: Any) -> None:
    """On paper as wide as a page lying down."""
    sheet.page_setup.orientation, sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = "landscape", 1, 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)


def _make_text(cell: Any) -> None:
    cell.number_format = _TEXT
    cell.fill, cell.border = _TO_FILL["fill"], _TO_FILL["border"]


def _parameter(name: str, cell: str, *, has_unit: bool = False) -> str:
    """A name with the text of a cell such as ``$E2``, if it has any; one that ends in a digit is a bare number, and
    gets the unit that stands in brackets in the heading."""
    text = f"TRIM({cell})"
    if has_unit:
        heading = f"{cell.rstrip('0123456789')}$1"
        unit = f'IFERROR(" "&MID({heading},FIND("[",{heading})+1,FIND("]",{heading})-FIND("[",{heading})-1),"")'
        text += f'&IF(ISNUMBER(FIND(RIGHT(TRIM({cell}),1),"0123456789")),{unit},"")'
    return f'IF(TRIM({cell})="","","&{name}="&_xlfn.ENCODEURL({text}))'


def _web(unasked: str, address: str) -> str:
    """A formula that asks an address below /v1/cells/, but where ``unasked`` holds."""
    return f'=IF({unasked},"",IFERROR(_xlfn.WEBSERVICE(service&"/v1/cells/"&{address}),"{UNANSWERED}"))'


def _mark(sheet: Any, where: str, first: str) -> None:
    for begins, style in _MARKS:
        formula = f'LEFT({first},{len(begins)})="{begins}"'
        sheet.conditional_formatting.add(where, FormulaRule(formula=[formula], stopIfTrue=True, **style))
