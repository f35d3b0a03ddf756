"""Workbooks (XLSX, ISO/IEC 29500) as sheets of text: what a reader sees in a cell, or a fault.

The parts are read one after another as streams of events, so that no part stands in memory whole, cells far out cost
nothing, entities are refused, and no tag, nesting or row goes on without an end. Of a cell its kind, format and last
value count: a formula whose value was not saved, an error, a date among part numbers are faults, never blanks.
"""

from __future__ import annotations

import posixpath
import re
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any
from xml.sax import SAXException
from xml.sax.handler import ContentHandler

import defusedxml.sax
from defusedxml import DefusedXmlException
from openpyxl.styles.numbers import BUILTIN_FORMATS, is_date_format
from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import MAC_EPOCH, WINDOWS_EPOCH, from_excel

from specdb.exchange.archive import Archive
from specdb.exchange.columns import TAKES_UNIT, column_name
from specdb.exchange.description import READ_ME, SHEETS, sheet_meant
from specdb.exchange.faults import Findings
from specdb.exchange.reading import AT_FAULT, MOST_COLUMNS, MOST_ROWS, Sheet, Sheets, fitted, too_many

LARGEST_SHEET_BYTES = 128 * 2**20
LARGEST_STRINGS_BYTES = 64 * 2**20
LARGEST_PART_BYTES = 8 * 2**20
"""Of the small parts: the list of sheets, relations, styles."""
MOST_SHEETS = 100
MOST_CELLS_OF_A_ROW = 16_384
"""Columns of a sheet in the format itself."""
LONGEST_TEXT_CHARACTERS = 2**17
"""Of one text, the rest of which is not kept; the format itself allows a quarter of it in a cell."""
LONGEST_TAG_BYTES = 4 * 2**20
DEEPEST = 64
MOST_RANGES = 10_000
"""Ranges of merged cells that are kept."""

_OFFICE_DOCUMENT, _STRINGS, _STYLES = "officeDocument", "sharedStrings", "styles"
_GENERAL = 0
_AS_TEXT = "Format the cell as text and type it again."
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
_CELL = re.compile(r"([A-Za-z]{1,3})[0-9]+")

_ASIDE = re.compile(r'_.|\*.|\\ |\[(?:\$[^\]]*|[A-Za-z]+)\]')
"""Parts of a number's format that show nothing of the number: padding, colours, locales."""
_WORDED = re.compile(r'(?P<number>[#0?][#0?,.]*)(?:\\ | )?(?:"(?P<words>[^"]+)"|(?P<letters>(?:\\[^ ])+))')
"""A number's format that ends in words."""
_PLAIN = re.compile(r"(?:[#0?]+,)*[#0?]+(?:\.(?P<decimals>[0#?]+))?(?P<percent> ?%)?")
_OTHER = re.compile(r"General|@|[#0?]+(?:\.[#0?]+)?E[+-][0#?]+|[#0? ]*/[#?0-9 ]+")


class BrokenWorkbookError(Exception):
    """The workbook does not hold what its own parts say it holds."""


class EnoughError(Exception):
    """The rest of a sheet need not be read: raised by who is told its rows."""


def _local(name: str) -> str:
    return name.rpartition(":")[2]


class _Events(ContentHandler):
    """Elements by their local names: ``begin`` and ``end`` are told of each, ``texts`` gathers between them. ``kept``
    counts what was gathered of one text, which may stand in several elements."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] | None = None
        self.kept = 0
        self.depth = 0
        self.is_moving = False

    def startElement(self, name: str, attrs: Any) -> None:  # noqa: N802 - the parser calls it so
        self.depth += 1
        if self.depth > DEEPEST:
            raise BrokenWorkbookError("its parts are nested without an end")
        self.is_moving = True
        self.begin(_local(name), attrs)

    def endElement(self, name: str) -> None:  # noqa: N802 - as above
        self.depth -= 1
        self.end(_local(name))

    def characters(self, content: str) -> None:
        self.is_moving = True
        if self.texts is not None and self.kept < LONGEST_TEXT_CHARACTERS:
            self.kept += len(content)
            self.texts.append(content)

    def gathered(self) -> str:
        text, self.texts = "".join(self.texts or ()), None
        return text

    def begin(self, name: str, attributes: Any) -> None:
        raise NotImplementedError

    def end(self, name: str) -> None:
        """Most parts are told by the beginnings of their elements."""


def _parse(archive: Archive, path: str, events: _Events, longest: int) -> None:
    """Raises BrokenWorkbookError for what is no XML or not of this kind, and for a tag or comment that does not end."""
    parser = defusedxml.sax.make_parser()
    parser.forbid_dtd = True
    parser.setContentHandler(events)
    before = archive.findings.count
    if not archive.members[path].file_size:
        raise BrokenWorkbookError(f"{path} is empty")
    try:
        still = 0
        for chunk in archive.chunks(path, longest):
            parser.feed(chunk)
            still = 0 if events.is_moving else still + len(chunk)
            events.is_moving = False
            if still > LONGEST_TAG_BYTES:
                raise BrokenWorkbookError(f"{path} holds a tag or comment without an end")
        if archive.findings.count == before:
            parser.close()
    except EnoughError:
        return
    except DefusedXmlException as error:
        raise BrokenWorkbookError("it declares entities or a document type") from error
    except (SAXException, ValueError, KeyError, IndexError, OverflowError, ArithmeticError) as error:
        raise BrokenWorkbookError(f"{path} is no well-formed part of a workbook") from error


# --- the small parts --------------------------------------------------------------------------------


class _Relations(_Events):
    """Targets by their identifiers and by what they are."""

    def __init__(self, part: str):
        super().__init__()
        self.folder = posixpath.dirname(part)
        self.by_id: dict[str, str] = {}
        self.by_kind: dict[str, str] = {}

    def begin(self, name: str, attributes: Any) -> None:
        if name == "Relationship" and attributes.get("TargetMode") != "External":
            target = posixpath.normpath(posixpath.join("/", self.folder, attributes["Target"])).lstrip("/")
            self.by_id[attributes["Id"]] = target
            self.by_kind.setdefault(attributes["Type"].rpartition("/")[2], target)


class _Book(_Events):
    """Sheets as (title, relation, hidden or not), and from when days are counted."""

    def __init__(self) -> None:
        super().__init__()
        self.sheets: list[tuple[str, str, bool]] = []
        self.epoch = WINDOWS_EPOCH

    def begin(self, name: str, attributes: Any) -> None:
        if name == "workbookPr" and attributes.get("date1904") in ("1", "true"):
            self.epoch = MAC_EPOCH
        if name == "sheet" and len(self.sheets) < MOST_SHEETS:
            relation = next((value for key, value in attributes.items() if key.endswith(":id")), "")
            self.sheets.append((attributes["name"], relation, attributes.get("state", "visible") != "visible"))


class _Styles(_Events):
    """The number format of each style of a cell."""

    def __init__(self) -> None:
        super().__init__()
        self.codes: dict[int, str] = {}
        self.numbers: list[int] = []
        self.of_cells = False

    def begin(self, name: str, attributes: Any) -> None:
        if name == "numFmt":
            self.codes[int(attributes["numFmtId"])] = attributes["formatCode"]
        elif name == "cellXfs":
            self.of_cells = True
        elif name == "xf" and self.of_cells:
            self.numbers.append(int(attributes.get("numFmtId", _GENERAL)))

    def end(self, name: str) -> None:
        if name == "cellXfs":
            self.of_cells = False

    def format_of(self, style: int) -> str:
        number = self.numbers[style] if style < len(self.numbers) else _GENERAL
        return self.codes.get(number) or BUILTIN_FORMATS.get(number, "General")


class _Strings(_Events):
    """The texts that cells share; hints at pronunciation are left out. They are kept as bytes in a row, so that
    millions of short ones take no more room than their letters."""

    def __init__(self) -> None:
        super().__init__()
        self.letters = bytearray()
        self.ends = array("I", [0])
        self.pieces: list[str] = []
        self.spoken = 0

    def __getitem__(self, place: int) -> str:
        if place < 0:
            raise IndexError(place)
        return self.letters[self.ends[place] : self.ends[place + 1]].decode("utf-8", "surrogatepass")

    def begin(self, name: str, attributes: Any) -> None:  # noqa: ARG002 - as all events
        if name == "si":
            self.pieces, self.kept = [], 0
        elif name == "rPh":
            self.spoken += 1
        elif name == "t" and not self.spoken:
            self.texts = []

    def end(self, name: str) -> None:
        if name == "si":
            self.letters += "".join(self.pieces).encode("utf-8", "surrogatepass")
            self.ends.append(len(self.letters))
        elif name == "rPh":
            self.spoken -= 1
        elif name == "t" and not self.spoken:
            self.pieces.append(self.gathered())


# --- cells ------------------------------------------------------------------------------------------


@dataclass
class Cell:
    column: int
    kind: str
    style: int
    value: str | None = None
    formula: bool = False
    inline: list[str] = field(default_factory=list)


class Cells(_Events):
    """Cells row by row; ``row`` is told the number of each row and those of its cells that hold anything.

    ``merged`` counts ranges of merged cells, the first of which stand in ``ranges``; ``filtered`` counts rows that
    are hidden.
    """

    def __init__(self, row: Callable[[int, list[Cell]], None]):
        super().__init__()
        self.told = row
        self.ranges: list[str] = []
        self.filtered = 0
        self.number = 0
        self.cells: list[Cell] = []
        self.cell: Cell | None = None
        self.column = 0
        self.spoken = 0
        self.merged = 0

    def begin(self, name: str, attributes: Any) -> None:
        if name == "row":
            self.number = int(attributes.get("r", self.number + 1))
            self.filtered += attributes.get("hidden") in ("1", "true")
            self.cells, self.column = [], 0
        elif name == "c":
            self._begin_cell(attributes)
        elif name == "mergeCell":
            self.merged += 1
            if self.merged <= MOST_RANGES:
                self.ranges.append(attributes.get("ref", ""))
        elif self.cell is not None:
            if name == "f":
                self.cell.formula = True
            elif name == "rPh":
                self.spoken += 1
            elif name == "v" or (name == "t" and not self.spoken):
                self.texts = []

    def _begin_cell(self, attributes: Any) -> None:
        place, self.kept = attributes.get("r"), 0
        self.column = self.column + 1 if place is None else _column(place)
        self.cell = Cell(self.column, attributes.get("t", "n"), int(attributes.get("s", 0)))

    def end(self, name: str) -> None:
        if name == "row":
            self.told(self.number, self.cells)
            self.cells = []
        elif self.cell is None:
            return
        elif name == "c":
            cell, self.cell = self.cell, None
            if cell.value is not None or cell.formula or cell.inline:
                if len(self.cells) == MOST_CELLS_OF_A_ROW:
                    raise BrokenWorkbookError(f"row {self.number} has more than {MOST_CELLS_OF_A_ROW} cells")
                self.cells.append(cell)
        elif name == "v":
            self.cell.value = self.gathered()
        elif name == "t" and not self.spoken:
            self.cell.inline.append(self.gathered())
        elif name == "rPh":
            self.spoken -= 1


def _column(place: str) -> int:
    match = _CELL.fullmatch(place)
    if match is None:
        raise ValueError(place)
    number = 0
    for letter in match[1].upper():
        number = 26 * number + ord(letter) - ord("A") + 1
    return number


@dataclass
class CellRefusedError(Exception):
    """A cell that cannot be taken as it is."""

    message: str
    remedy: str
    found: str = ""
    """What the cell shows, where that is not what it holds."""


def _plain(number: Decimal) -> str:
    """Digits without an exponent, as a person writes them, where they are not too many."""
    return f"{number:f}" if -12 < number.adjusted() < 18 else f"{number:e}"


def measure(raw: str, code: str, *, with_words: bool = False) -> str:
    """A number as it is shown, with every digit that it has: "10.0" of 10 in the format 0.0, "99.5 %" of 0.995; where
    it is taken ``with_words``, "10.0 bar" of 10 in the format 0.0 "bar".

    Raises CellRefusedError for a format that shows something else.
    """
    number = Decimal(f"{float(raw):.15g}")  # programs keep 17 digits and show 15
    shown, words = code.partition(";")[0], ""
    if with_words and (match := _WORDED.fullmatch(shown.strip())):
        shown, words = match["number"], f" {(match['words'] or match['letters'].replace(chr(92), '')).strip()}"
    shown = _ASIDE.sub("", shown).strip()
    match = _PLAIN.fullmatch(shown)
    if match is None and not _OTHER.fullmatch(shown):
        message = f"The number is shown in the format {code[:40]}, which may hold its unit."
        raise CellRefusedError(message, "Store the cell as text, with the unit in it.")
    percent = match is not None and match["percent"] is not None
    if percent:
        number *= 100
    number = number.normalize()
    decimals = match["decimals"].count("0") if match and match["decimals"] else 0
    digits = _plain(number)
    if decimals > len(digits.partition(".")[2]) and "e" not in digits:
        digits = f"{number:.{decimals}f}"
    return f"{digits} %" if percent else f"{digits}{words}"


def label(raw: str, code: str, *, with_zeros: bool = False) -> str:
    """A number where text is expected, by its digits if nothing else can have been typed; where it is taken
    ``with_zeros``, also "00417" of 417 in the format 00000.

    Raises CellRefusedError for any other.
    """
    if raw.isascii() and raw.isdigit() and len(raw) <= 11 and code == "General":
        return str(int(raw))  # nearly all of them
    number = Decimal(raw)
    if with_zeros and re.fullmatch("0{2,11}", code) and number == number.to_integral_value() and number >= 0:
        return f"{int(number):0{len(code)}}"
    if number != number.to_integral_value() or abs(number) >= 10**11 or code not in ("General", "0", "@"):
        raise CellRefusedError("This is a number, and what was typed cannot be told from it.", _AS_TEXT)
    return str(int(number))


def day_of(raw: str, code: str, epoch: Any) -> str:
    """A day as its format shows it: 2024-05-31, 2024-05 or 2024."""
    moment = from_excel(float(raw), epoch)
    if not hasattr(moment, "year") or float(raw) != int(float(raw)):
        raise CellRefusedError("This is a time of day.", "Write the date as text, such as 2024-05-31.")
    shown = re.sub(r'"[^"]*"|\\.|\[[^\]]*\]', "", code.partition(";")[0]).casefold()
    longest = 10 if "d" in shown or code in ("General", "@") else 7 if "m" in shown else 4
    return f"{moment:%Y-%m-%d}"[:longest]


_OF_A_DATE = {
    "yy": "%y", "yyy": "%Y", "yyyy": "%Y", "mm": "%m", "mmm": "%b", "mmmm": "%B", "dd": "%d", "ddd": "%a", "dddd": "%A",
}  # fmt: skip
"""What runs of a letter in a date's format show, in English; a single letter is the number without a zero before it."""


def date_as_shown(raw: str, code: str, epoch: Any) -> str:
    """A day as a person sees it in the cell: "12-Jan" of a day in the format d-mmm."""
    moment = from_excel(float(raw), epoch)
    alone = {"y": f"{moment:%y}", "m": str(moment.month), "d": str(moment.day)}
    plain = re.sub(r'"([^"]*)"|\\(.)|\[[^\]]*\]', r"\1\2", code.partition(";")[0]).casefold()
    pattern = re.split("[hs]", plain)[0].strip()
    return re.sub(
        r"y+|m+|d+", lambda run: alone.get(run[0]) or moment.strftime(_OF_A_DATE.get(run[0], "%d")), pattern
    )


TYPED = ("s", "str", "inlineStr")
"""Kinds of cells that hold a text."""
FORMULAS = "formulas, taken by the value that they had when saved"
NUMBERS = "numbers where text is expected, taken by their digits"
MERGED = "merged cells; only the first cell of each holds its value"
ERROR = ("The cell holds an error.", "Correct its formula, or put the value in its place.")
TRUTH = ("The cell holds TRUE or FALSE.", 'Write "yes" or "no", or what is meant, as text.')
DATE = "The cell holds a date; a program may have made it of what was typed."


def typed(cell: Cell, strings: _Strings) -> str:
    """The text of a cell that holds one, trimmed."""
    if cell.kind == "s" and cell.value:
        text = strings[int(cell.value)]
    else:
        text = "".join(cell.inline) if cell.kind == "inlineStr" else cell.value or ""
    return _ESCAPED.sub(lambda match: chr(int(match[1], 16)), text).strip() if "_x" in text else text.strip()


def refuse_unsaved(cell: Cell) -> None:
    """Raises CellRefusedError for a formula that was never worked out. An empty text is a value."""
    if cell.value is None or (not cell.value and cell.kind != "str"):
        message = "The cell holds a formula whose value was not saved with it."
        raise CellRefusedError(message, "Put its value in its place (copy, then paste values only).")


# --- sheets -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class SheetFound:
    """A sheet by its title; ``part`` holds it, or is "" where the workbook does not say which."""

    title: str
    part: str
    hidden: bool


@dataclass(frozen=True)
class Book:
    """A workbook but for its sheets, which :func:`read_cells` reads."""

    sheets: tuple[SheetFound, ...]
    strings: _Strings
    styles: _Styles
    epoch: Any
    has_macros: bool


def open_workbook(archive: Archive) -> Book:
    """Raises BrokenWorkbookError where it is none; what the archive itself finds wrong is in its findings."""
    book_part = _relations(archive, "").by_kind.get(_OFFICE_DOCUMENT, "")
    if book_part not in archive.members or not book_part.endswith(".xml"):
        raise BrokenWorkbookError("it is no XLSX workbook")
    relations = _relations(archive, book_part)
    book, styles, strings = _Book(), _Styles(), _Strings()
    _parse(archive, book_part, book, LARGEST_PART_BYTES)
    if (part := relations.by_kind.get(_STYLES)) in archive.members and part is not None:
        _parse(archive, part, styles, LARGEST_PART_BYTES)
    if (part := relations.by_kind.get(_STRINGS)) in archive.members and part is not None:
        _parse(archive, part, strings, LARGEST_STRINGS_BYTES)
    parts = (relations.by_id.get(relation, "") for _, relation, _ in book.sheets)
    sheets = tuple(
        SheetFound(title, part if part in archive.members else "", hidden)
        for (title, _, hidden), part in zip(book.sheets, parts, strict=True)
    )
    has_macros = any(path.endswith("vbaProject.bin") for path in archive.members)
    return Book(sheets, strings, styles, book.epoch, has_macros)


def read_cells(archive: Archive, part: str, row: Callable[[int, list[Cell]], None]) -> Cells:
    """Tells ``row`` the number and the cells of each row, until it raises EnoughError."""
    cells = Cells(row)
    _parse(archive, part, cells, LARGEST_SHEET_BYTES)
    return cells


@dataclass
class _Sheet:
    """Gathers one sheet; the first row that is not blank holds its headings."""

    name: str
    file: str
    strings: _Strings
    styles: _Styles
    epoch: Any
    findings: Findings
    headings: list[str] = field(default_factory=list)
    heading_row: int = 0
    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    too_long: int = 0

    def take(self, number: int, cells: list[Cell]) -> None:
        texts: list[str] = []
        for cell in cells:
            text = self._text(number, cell)
            if not text:
                continue
            if cell.column > MOST_COLUMNS:
                too_many(self.file, "columns", MOST_COLUMNS, self.findings, number)
                raise EnoughError
            texts.extend([""] * (cell.column - len(texts)))
            texts[cell.column - 1] = text
        if not texts:
            return
        if not self.heading_row:
            self.heading_row, self.headings = number, texts
            return
        texts.extend([""] * (len(self.headings) - len(texts)))
        kept = fitted(texts, len(self.headings), self.too_long)
        self.too_long += len(kept) > len(self.headings)
        self.rows.append((number, kept))
        if len(self.rows) > MOST_ROWS:
            too_many(self.file, "rows", MOST_ROWS, self.findings, number)
            raise EnoughError

    def _text(self, number: int, cell: Cell) -> str:
        heading = self.headings[cell.column - 1] if cell.column <= len(self.headings) else ""
        try:
            return self._shown(number, cell, column_name(heading)[0])
        except CellRefusedError as refused:
            column = heading or get_column_letter(min(cell.column, 18_278))
            found = refused.found or cell.value or None
            self.findings.fault(self.file, refused.message, refused.remedy, row=number, column=column, found=found)
            return AT_FAULT if heading else ""

    def _shown(self, number: int, cell: Cell, column: str) -> str:
        if cell.formula:
            refuse_unsaved(cell)
            self.findings.remark(FORMULAS, self.file, number, cell.value)
        if cell.kind in TYPED:
            return typed(cell, self.strings)
        if not cell.value:
            return ""
        if cell.kind == "e":
            raise CellRefusedError(*ERROR)
        if cell.kind == "b":
            found = "FALSE" if cell.value == "0" else "TRUE"
            raise CellRefusedError(*TRUTH, found)
        if cell.kind == "d":
            return self._day(cell.value[:10], cell.value[:10], column)
        return self._number(number, cell.value, self.styles.format_of(cell.style), column)

    def _number(self, number: int, raw: str, code: str, column: str) -> str:
        if is_date_format(code):
            return self._day(day_of(raw, code, self.epoch), date_as_shown(raw, code, self.epoch), column)
        if column in TAKES_UNIT[self.name]:
            return measure(raw, code)
        text = label(raw, code)
        self.findings.remark(NUMBERS, self.file, number, text)
        return text

    def _day(self, text: str, shown: str, column: str) -> str:
        if column != "date":
            what = "the number" if column.endswith("number") else "what is meant"
            raise CellRefusedError(DATE, f"Format the cell as text and type {what} again.", shown)
        return text


def is_workbook(archive: Archive) -> bool:
    """Whether the archive holds a workbook rather than a folder of sheets."""
    return any(path in archive.members for path in ("[Content_Types].xml", "mimetype"))


def read_workbook(archive: Archive, findings: Findings) -> Sheets:
    """The sheets of a workbook by their titles. Whatever cannot be read becomes a fault."""
    try:
        return _read(archive, findings)
    except BrokenWorkbookError as error:
        remedy = "Open it in a spreadsheet program and save it anew as XLSX."
        findings.fault(archive.name, f"The workbook cannot be read: {error}.", remedy)
        return Sheets({}, frozenset(SHEETS), of_workbook=True)


def _read(archive: Archive, findings: Findings) -> Sheets:
    book = open_workbook(archive)
    if book.has_macros:
        findings.note(f"{archive.name}: macros were left aside")
    found: dict[str, Sheet] = {}
    named: set[str] = set()
    for title, part, hidden in ((each.title, each.part, each.hidden) for each in book.sheets):
        name = title.strip().casefold()
        meant = sheet_meant(name, {each.title.strip().casefold() for each in book.sheets})
        if name not in SHEETS and meant is not None:
            told = f"There is no sheet of the name {title.strip()}."
            findings.fault(archive.name, told, f"Name it {meant} if that is meant.")
        elif name == READ_ME.casefold():
            continue
        elif name not in SHEETS:
            findings.note(f"{archive.name}: the sheet {title} is none of those known here and was not read")
        elif not part or name in named:
            raise BrokenWorkbookError(f"the sheet {name} is not there, or there twice")
        else:
            named.add(name)
            file = f"{archive.name}, sheet {title.strip()}"
            sheet = _Sheet(name, file, book.strings, book.styles, book.epoch, findings)
            if hidden:
                findings.note(f"{sheet.file}: the sheet is hidden; it was read all the same")
            if (read := _read_sheet(archive, part, sheet)) is not None:
                found[name] = read
    if not named and not findings.count:
        findings.fault(archive.name, "There is no sheet known here in the workbook.", f"Name them {', '.join(SHEETS)}.")
    return Sheets(found, frozenset(named) - frozenset(found), of_workbook=True)


def _relations(archive: Archive, part: str) -> _Relations:
    """What a part refers to; of "" what the workbook file does."""
    folder, name = posixpath.split(part)
    relations = _Relations(part)
    path = posixpath.join(folder, "_rels", f"{name}.rels")
    if path not in archive.members:
        raise BrokenWorkbookError("it is no XLSX workbook")
    _parse(archive, path, relations, LARGEST_PART_BYTES)
    return relations


def _read_sheet(archive: Archive, part: str, sheet: _Sheet) -> Sheet | None:
    before = sheet.findings.count
    cells = read_cells(archive, part, sheet.take)
    if cells.merged:
        sheet.findings.note(f"{sheet.file}: {MERGED}")
    if not sheet.heading_row and sheet.findings.count == before:
        sheet.findings.fault(sheet.file, "The sheet is empty.", "It should begin with a row of headings.")
    if not sheet.heading_row:
        return None
    headings = tuple(sheet.headings)
    return Sheet(sheet.name, sheet.file, sheet.heading_row, headings, sheet.rows)
