"""From rows of text to facts, one fault for each thing that is wrong with a row."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from typing import NamedTuple

from specdb import units, vocabulary
from specdb.catalog.identity import LONGEST_NAME_CHARACTERS, identity_key, search_key, stated_text
from specdb.catalog.tables import (
    LONGEST_REMARK_CHARACTERS,
    LONGEST_TITLE_CHARACTERS,
    LONGEST_WORDS_CHARACTERS,
)
from specdb.characteristics import (
    ATTRIBUTES,
    CAPACITY_BASES,
    CHARACTERISTICS,
    CONTRARY,
    DROP_OF,
    LABORATORIES,
    Attribute,
)
from specdb.errors import QuantityError, SpecdbError
from specdb.exchange.columns import (
    DECLARE_THE_MARK,
    TEST_QUANTITIES,
    Columns,
    Row,
    marks_declared,
    read_columns,
    refuse_points_among_commas,
    rows_of,
)
from specdb.exchange.faults import Findings
from specdb.exchange.reading import Sheets
from specdb.trade.filtration import beta_from_efficiency, customary_beta
from specdb.trade.threads import normal_thread

ROWS_BETWEEN_PROGRESS = 2000
_ABSOLUTE_ZERO_DEGC = -273.15

_BARE_NUMBER = re.compile(r"[0-9\s.,+\-\N{MINUS SIGN}eE/]+")
_BARE_SIZE = re.compile(r"(?P<number>[0-9\s.,]+?)\s*(?P<scale>\((?:c|acftd|\?)\)|acftd)", re.IGNORECASE)
_PERCENT = re.compile(r"(?P<number>.*?)\s*(?:%|percent|per cent|pct)", re.IGNORECASE)
_COUNTED = re.compile(r"(?P<number>.*?)\s*cycles?", re.IGNORECASE)
_NUMBER_BEFORE_UNIT = re.compile(r"[0-9\s.,+\-\N{MINUS SIGN}/]+(?:[eE][+\-\N{MINUS SIGN}]?[0-9]+)?")
_LINE_ENDS = re.compile(r"[\t\n\v\f\r\x1c-\x1f\x85]+")
_DATE = re.compile(r"(?P<year>[0-9]{4})(?:-(?P<month>[0-9]{2})(?:-(?P<day>[0-9]{2}))?)?")


class Stated(NamedTuple):
    """One condition of a test: ``key`` compares, ``number`` is canonical (None for a word), ``text`` as typed."""

    key: str
    number: float | None
    text: str


class Named(NamedTuple):
    """A maker's number with its keys."""

    maker: str
    number: str
    maker_key: str
    number_key: str
    search_key: str


@dataclass(frozen=True, slots=True)
class SourceRow:
    row: Row
    key: str
    content: tuple[str | None, ...]  # title, kind, issuer, revision, date


class AttributeValue(NamedTuple):
    text: str
    number: float | None
    code: str | None


@dataclass(frozen=True, slots=True)
class ElementRow:
    row: Row
    named: Named
    attributes: Mapping[str, AttributeValue]
    source: str | None
    correction: str | None


@dataclass(frozen=True, slots=True)
class Point:
    """A condition of one result in its canonical unit, and as typed."""

    number: float
    text: str


@dataclass(frozen=True, slots=True)
class RatingRow:
    """``version`` tells apart tests of one name whose conditions were corrected; ``correction`` is why the row
    supersedes another."""

    row: Row
    label: str | None
    supersedes: str | None
    named: Named
    source: str | None
    test: str | None
    version: str | None
    conditions: Mapping[str, Stated]
    characteristic: str
    qualifier: str
    value: float
    text: str
    resolution: float
    efficiency: tuple[float, float] | None
    size: Point | None
    scale: str | None
    flow: Point | None
    viscosity: Point | None
    density: Point | None
    page: str | None
    remark: str | None
    correction: str | None


@dataclass(frozen=True, slots=True)
class WithdrawalRow:
    """A rating is said to hold no longer, with nothing in its place."""

    row: Row
    named: Named
    characteristic: str
    supersedes: str
    reason: str


@dataclass(frozen=True, slots=True)
class ClaimRow:
    row: Row
    named: Named
    replaces: Named
    source: str | None
    date: str | None
    remark: str | None


@dataclass(frozen=True, slots=True)
class Reference:
    """What a row with a fault refers to, as far as that can be read. ``named`` is an element that must be known."""

    row: Row
    named: Named | None
    source: str | None


@dataclass
class Facts:
    """What the sheets state. The ``doubtful`` sets name what faulty rows are about, so that one fault
    does not make others of every row that refers to it; an element whose maker or number cannot be read is there by
    the other of the two. ``faulty_elements`` and ``references`` are what can be read of faulty rows, so that what
    else is wrong with them is told in the same round."""

    sources: list[SourceRow] = field(default_factory=list)
    elements: list[ElementRow] = field(default_factory=list)
    ratings: list[RatingRow] = field(default_factory=list)
    withdrawals: list[WithdrawalRow] = field(default_factory=list)
    claims: list[ClaimRow] = field(default_factory=list)
    faulty_elements: list[ElementRow] = field(default_factory=list)
    references: list[Reference] = field(default_factory=list)
    doubtful_sources: set[str] = field(default_factory=set)
    doubtful_elements: set[tuple[str, str]] = field(default_factory=set)
    doubtful_labels: set[str] = field(default_factory=set)
    unread: frozenset[str] = frozenset()
    of_workbook: bool = False

    def called(self, sheet: str) -> str:
        """What a fault calls a sheet in which something is missing."""
        return f"the sheet {sheet}" if self.of_workbook else f"{sheet}.csv"


def digits(number: float | None) -> str:
    """A canonical number for comparing: nine digits, so that 1.7 bar and 170 kPa are one."""
    return "" if number is None else f"{number:.9g}"


# --- reading cells --------------------------------------------------------------------------------


@lru_cache(maxsize=65536)
def _keyed(text: str) -> str:
    return identity_key(text)


@lru_cache(maxsize=65536)
def _searched(text: str) -> str:
    return search_key(text)


@lru_cache(maxsize=65536)
def _quantity(text: str, kind: str, unit: str | None, decimal: str | None, density: float | None) -> units.Quantity:
    return units.read_quantity(text, kind, unit=unit, decimal=decimal, density_kg_m3=density)


def _ways_to_type(rest: str, unit: str) -> Iterator[str]:
    """A cell, without its sign, with the unit that its heading or unit column adds, the likeliest way first."""
    if match := _BARE_SIZE.fullmatch(rest):
        yield f"{match['number']} {vocabulary.one_line(unit).partition('(')[0]}{match['scale']}"
    yield f"{rest} {unit}" if _BARE_NUMBER.fullmatch(rest) else rest
    if match := _NUMBER_BEFORE_UNIT.match(rest):
        # The heading says more than the cell: "10 um" under "size [um(c)]".
        yield f"{match[0].strip()} {unit}"


@dataclass
class _Reader:
    """Reads the cells of one row after another; ``sound`` is False once the present row has a fault, ``at_fault``
    the columns where it has any."""

    sheet: str
    columns: Columns
    findings: Findings
    row: Row = field(init=False)
    sound: bool = field(init=False, default=True)
    at_fault: set[str] = field(init=False, default_factory=set)
    marks: dict[str, str] = field(init=False, default_factory=dict)

    def begin(self, row: Row) -> None:
        self.row = row
        self.sound = not row.faulty
        self.at_fault = set(row.faulty)
        declared = marks_declared(row.cells.get("decimal", ""), self.sheet)
        self.marks = declared or {}
        if declared is None:
            self.fault("decimal", "This declares no decimal mark.", 'Give "." or ",", or leave the cell blank.')

    def decimal(self, column: str) -> str | None:
        """The decimal mark that the row, else the file declares for a column."""
        return self.marks.get(column) or self.columns.decimal.get(column)

    def remark(self, text: str, column: str) -> None:
        """Counts the row among those that ``text`` is said of, with what the cell in ``column`` holds."""
        self.findings.remark(text, self.row.file, self.row.number, self.row.cells.get(column))

    def fault(self, column: str, message: str, remedy: str) -> None:
        """A fault of a cell, unless one was found in the cell before, which this one follows from."""
        self.sound = False
        self.at_fault.add(column)
        if column in self.row.faulty:
            return
        found = self.row.cells.get(column)
        self.findings.fault(self.row.file, message, remedy, row=self.row.number, column=column, found=found)

    def error(self, column: str, error: SpecdbError) -> None:
        remedy = error.remedy or "Correct the cell."
        if isinstance(error, QuantityError) and error.mark_undeclared:
            if "decimal" in self.at_fault:
                self.sound = False
                return
            remedy = f"{remedy.removesuffix('.')}, or {DECLARE_THE_MARK}."
        self.fault(column, error.message, remedy)

    def cell(self, column: str) -> str | None:
        return self.row.cells.get(column)

    def states(self, column: str) -> bool:
        """Whether there is anything in the cell, be it at fault."""
        return column in self.row.cells or column in self.row.faulty

    def text(self, column: str, longest: int = LONGEST_WORDS_CHARACTERS) -> str | None:
        cell = self.row.cells.get(column)
        if cell is None or (len(cell) <= longest and cell.isprintable()):
            return cell
        try:
            return stated_text(cell, longest=longest)
        except SpecdbError as error:
            self.error(column, error)
            return None

    def prose(self, column: str, longest: int) -> str | None:
        """Text that may run over several lines; it is kept on one."""
        cell = self.row.cells.get(column)
        if cell is None:
            return None
        try:
            lines = [line.strip() for line in _LINE_ENDS.split(cell)]
            return stated_text(" ".join(line for line in lines if line), longest=longest)
        except SpecdbError as error:
            self.error(column, error)
            return None

    def key_of(self, column: str, made: Callable[[str], str]) -> str:
        """A key of the name in ``column``, "" with a fault where it has none."""
        cell = self.row.cells.get(column)
        if cell is None:
            self.fault(column, "The cell is blank.", "Every row needs it.")
            return ""
        try:
            return made(cell)
        except SpecdbError as error:
            self.error(column, error)
            return ""

    def named(self, prefix: str = "") -> Named:
        maker, number = prefix + "maker", prefix + "number"
        maker_key, number_key = self.key_of(maker, _keyed), self.key_of(number, _keyed)
        searched = _searched(self.row.cells[number]) if number_key else ""
        cells = self.row.cells
        return Named(cells.get(maker, ""), cells.get(number, ""), maker_key, number_key, searched)

    def word(self, column: str, choices: tuple[str, ...]) -> str | None:
        cell = self.row.cells.get(column)
        if cell is None:
            return None
        word = vocabulary.chosen(cell, choices)
        if word is None:
            self.fault(column, "This is none of the words known here.", f"Known are {', '.join(choices)}.")
        return word

    def date(self, column: str) -> str | None:
        cell = self.row.cells.get(column)
        if cell is None:
            return None
        match = _DATE.fullmatch(cell)
        try:
            if match is None:
                raise ValueError
            date(int(match["year"]), int(match["month"] or 1), int(match["day"] or 1))
        except ValueError:
            self.fault(column, "This is no date.", "Write it such as 2024-05-31, 2024-05 or 2024.")
        return cell

    def quantity(
        self, column: str, kind: str, *, text: str | None = None, unit: str | None = None, density: float | None = None
    ) -> units.Quantity | None:
        """The quantity in ``column`` (or ``text``, its cell without a sign), None where blank or at fault."""
        cell = self.row.cells.get(column) if text is None else text
        if cell is None or (column == "value" and "unit" in self.row.faulty):
            return None
        unit = unit or self.columns.unit.get(column)
        try:
            quantity = _quantity(cell, kind, unit, self.decimal(column), density)
        except SpecdbError as error:
            at_unit = column == "value" and "unit" in self.row.cells and error.value == unit
            self.error("unit" if at_unit else column, error)
            return None
        lowest = _ABSOLUTE_ZERO_DEGC if kind == "temperature" else 0.0
        if not quantity.value > lowest:
            where = f"above {lowest:g}"
            self.fault(column, f"The quantity is not {where}.", f"Give it {where}, or leave the cell blank.")
            return None
        if quantity.reference == "absolute":
            self.fault(column, "This is an absolute pressure.", "Give it against the surroundings (gauge).")
            return None
        if quantity.note is not None:
            self.remark(quantity.note, column)
        return quantity

    def point(self, column: str, kind: str, density: float | None = None) -> Point | None:
        quantity = self.quantity(column, kind, density=density)
        return None if quantity is None else self.point_of(column, quantity, density)

    def point_of(self, column: str, quantity: units.Quantity, density: float | None = None) -> Point | None:
        """``quantity`` with its cell as typed."""
        typed = self.typed(column, quantity, self.columns.unit.get(column), density)
        return Point(quantity.value, typed) if self.fits(column, typed) else None

    def typed(self, column: str, quantity: units.Quantity, unit: str | None, density: float | None = None) -> str:
        """The cell with the unit that its heading or unit column adds, as it could have been typed at once."""
        cell = self.row.cells[column]
        if unit is None:
            return cell
        rest = vocabulary.signed(cell)[1]
        sign = cell.removesuffix(rest)
        ways = list(_ways_to_type(rest, unit))
        said = (quantity.value, quantity.resolution, quantity.scale)
        for way in ways:
            try:
                alone = _quantity(way, quantity.kind, None, self.decimal(column), density)
            except SpecdbError:
                continue
            if (alone.value, alone.resolution, alone.scale) == said:
                return sign + way
        return sign + ways[0]

    def fits(self, column: str, text: str) -> bool:
        if len(text) > LONGEST_WORDS_CHARACTERS:
            self.fault(column, "The text is too long.", f"Give at most {LONGEST_WORDS_CHARACTERS} characters.")
        return len(text) <= LONGEST_WORDS_CHARACTERS


# --- sheets ---------------------------------------------------------------------------------------


def read_facts(sheets: Sheets, findings: Findings, progress: Callable[[int], None] | None = None) -> Facts:
    """Every fact that the sheets state. Rows with faults are left out; ``progress`` is told rows read."""
    facts = Facts(unread=sheets.unreadable, of_workbook=sheets.of_workbook)
    read = 0
    for name, read_one in _READERS.items():
        sheet = sheets.found.get(name)
        columns = None if sheet is None else read_columns(sheet, findings)
        if sheet is None or columns is None:
            facts.unread |= frozenset() if sheet is None else {name}
            continue
        reader = _Reader(name, columns, findings)
        rows = refuse_points_among_commas(sheet.name, rows_of(sheet, columns, findings), columns, findings)
        if len(rows) < len(sheet.rows):
            # Rows of a wrong shape were left out: what other sheets refer to may have been in them.
            facts.unread |= {name}
        for row in rows:
            reader.begin(row)
            read_one(reader, facts)
            read += 1
            if progress is not None and read % ROWS_BETWEEN_PROGRESS == 0:
                progress(read)
    return facts


def read_row(sheet: str, number: int, cells: Mapping[str, str]) -> tuple[Facts, Findings]:
    """What one row says under headings that state no units, with what is wrong with it."""
    facts, findings = Facts(), Findings()
    reader = _Reader(sheet, Columns({}, {}, {}), findings)
    reader.begin(Row(f"{sheet}.csv", number, cells))
    _READERS[sheet](reader, facts)
    return facts, findings


def _source(reader: _Reader, facts: Facts) -> None:
    key = reader.text("source")
    if key is None and reader.cell("source") is None:
        reader.fault("source", "The cell is blank.", "Give the document a short key.")
    content = (
        reader.prose("title", LONGEST_TITLE_CHARACTERS), reader.text("kind"), reader.text("issuer"),
        reader.text("revision"), reader.date("date"),
    )  # fmt: skip
    if key is not None and reader.sound:
        facts.sources.append(SourceRow(reader.row, key, content))
    elif "source" in reader.row.faulty:
        facts.unread |= {"sources"}
    else:
        facts.doubtful_sources.add(reader.cell("source") or "")


def _element(reader: _Reader, facts: Facts) -> None:
    named = reader.named()
    attributes = {}
    for attribute in ATTRIBUTES.values():
        if attribute.key in reader.row.cells:
            value = _attribute(reader, attribute)
            if value is not None:
                attributes[attribute.key] = value
    for against, favour in CONTRARY.items():
        both = set(_codes(attributes, favour)) & set(_codes(attributes, against))
        if both:
            words = [key.removeprefix("fluids_") for key in (favour, against)]
            reader.fault(against, f"{', '.join(sorted(both))}: both {' and '.join(words)}.", "List each class once.")
    source = reader.text("source")
    correction = reader.prose("correction", LONGEST_REMARK_CHARACTERS)
    element = ElementRow(reader.row, named, attributes, source, correction)
    if reader.sound:
        facts.elements.append(element)
        return
    facts.doubtful_elements.add((named.maker_key, named.number_key))
    if reader.at_fault.isdisjoint(("maker", "number", "correction")):
        facts.faulty_elements.append(element)
    else:
        facts.references.append(Reference(reader.row, None, source))


def _codes(attributes: Mapping[str, AttributeValue], key: str) -> list[str]:
    value = attributes.get(key)
    return [] if value is None else (value.code or "").split()


def _attribute(reader: _Reader, attribute: Attribute) -> AttributeValue | None:
    column = attribute.key
    cell = reader.row.cells[column]
    if attribute.kind == "length":
        point = reader.point(column, "length")
        return None if point is None else AttributeValue(point.text, point.number, None)
    if attribute.kind == "text":
        text = reader.text(column, LONGEST_NAME_CHARACTERS)
        return None if text is None else AttributeValue(text, None, None)
    if attribute.kind == "thread":
        try:
            return AttributeValue(cell, None, normal_thread(cell))
        except SpecdbError as error:
            reader.error(column, error)
            return None
    text = reader.text(column, LONGEST_REMARK_CHARACTERS)
    if text is None:
        return None
    code = reader.word(column, attribute.choices) if attribute.kind == "word" else _listed(reader, attribute)
    return None if code is None else AttributeValue(text, None, code)


def _listed(reader: _Reader, attribute: Attribute) -> str | None:
    """A list of classes, sorted and joined by spaces."""
    codes, unknown = set(), []
    for word in re.split(r"[\s,;/]+", reader.row.cells[attribute.key].strip(" ,;/")):
        code = vocabulary.chosen(word, attribute.choices)
        if code is None:
            unknown.append(f'"{word[:40]}"')
        else:
            codes.add(code)
    if unknown:
        words = ", ".join(unknown[:5]) + (", …" if len(unknown) > 5 else "")
        what = "is no fluid class" if len(unknown) == 1 else "are no fluid classes"
        reader.fault(attribute.key, f"{words} {what} known here.", f"Known are {', '.join(attribute.choices)}.")
    return None if unknown else " ".join(sorted(codes))


def _claim(reader: _Reader, facts: Facts) -> None:
    named, replaces = reader.named(), reader.named("replaces_")
    if reader.sound and named[2:4] == replaces[2:4]:
        reader.fault("replaces_number", "A number cannot replace itself.", "Name the number that is replaced.")
    source, on = reader.text("source"), reader.date("date")
    remark = reader.prose("remark", LONGEST_REMARK_CHARACTERS)
    if reader.sound:
        facts.claims.append(ClaimRow(reader.row, named, replaces, source, on, remark))
    else:
        facts.references.append(Reference(reader.row, None, source))


# --- ratings --------------------------------------------------------------------------------------


class _Value(NamedTuple):
    qualifier: str
    value: float
    text: str
    resolution: float
    efficiency: tuple[float, float] | None


def _rating(reader: _Reader, facts: Facts) -> None:
    if reader.states("supersedes") and reader.row.cells.keys() | reader.row.faulty <= _OF_A_WITHDRAWAL:
        _withdrawal(reader, facts)
        return
    named = reader.named()
    label, supersedes = reader.text("rating"), reader.text("supersedes")
    conditions = _conditions(reader)
    density = reader.point("density", "density")
    viscosity = reader.point("viscosity", "viscosity", None if density is None else density.number)
    flow = reader.point("flow", "flow")
    characteristic = _characteristic(reader)
    value = _value(reader, characteristic)
    size, scale, qualifier = _size(reader, characteristic, value)
    source, test, page = reader.text("source"), reader.text("test"), reader.text("page")
    version = reader.text("test_version")
    remark = reader.prose("remark", LONGEST_REMARK_CHARACTERS)
    correction = reader.prose("correction", LONGEST_REMARK_CHARACTERS)
    if label is not None and label == supersedes:
        reader.fault("supersedes", "A rating cannot supersede itself.", "Name the rating that it takes the place of.")
    if version is not None and not reader.states("test"):
        reader.fault("test_version", "This is the version of no test.", "Name the test, or leave the cell blank.")
    if correction is not None and not reader.states("supersedes"):
        message = "This says why a rating is superseded, but not which."
        reader.fault("correction", message, 'Name it in "supersedes", or write a remark instead.')
    if not reader.sound or characteristic is None or value is None:
        facts.doubtful_labels.add(label or "")
        facts.references.append(Reference(reader.row, named, source))
        return
    if characteristic == "filtration_ratio" and value.value < 1:
        reader.remark("filtration ratios below 1, kept as stated; an efficiency is entered with %, as 99.5 %", "value")
    if source is None:
        reader.remark("ratings without a source", "source")
    facts.ratings.append(
        RatingRow(
            reader.row, label, supersedes, named, source, test, version, conditions, characteristic, qualifier,
            value.value, value.text, value.resolution, value.efficiency, size, scale, flow, viscosity, density,
            page, remark, correction,
        )
    )  # fmt: skip


_OF_A_WITHDRAWAL = {"supersedes", "maker", "number", "characteristic", "correction", "remark"}


def _withdrawal(reader: _Reader, facts: Facts) -> None:
    """A row that names a rating in ``supersedes`` and states nothing in its place, only why."""
    named = reader.named()
    characteristic = _characteristic(reader)
    supersedes = reader.text("supersedes")
    reason = reader.prose("correction", LONGEST_REMARK_CHARACTERS) or reader.prose("remark", LONGEST_REMARK_CHARACTERS)
    if not (reader.states("correction") or reader.states("remark")):
        message = "The value is blank: the rating is withdrawn, but it is not said why."
        reader.fault("correction", message, "Give the reason here, or the value that takes the rating's place.")
    if reader.sound and characteristic and supersedes and reason:
        facts.withdrawals.append(WithdrawalRow(reader.row, named, characteristic, supersedes, reason))
    else:
        facts.references.append(Reference(reader.row, named, None))


def _characteristic(reader: _Reader) -> str | None:
    cell = reader.cell("characteristic")
    if cell is None:
        reader.fault("characteristic", "The cell is blank.", f"Known are {', '.join(CHARACTERISTICS)}.")
        return None
    key = vocabulary.characteristic_of(cell)
    if key is None:
        reader.fault("characteristic", "This characteristic is not known.", _characteristic_meant(reader, cell))
    return key


def _characteristic_meant(reader: _Reader, cell: str) -> str:
    """What would be right in place of a word that names no characteristic here. Nothing is taken for another thing."""
    micron = "No standard test stands behind a nominal micron rating: leave the row out, or make it a remark."
    if "micron" in cell.casefold():
        return micron
    meant = vocabulary.characteristics_meant(cell)
    if meant == ("filtration_ratio",) and vocabulary.is_efficiency(cell):
        value = _efficiency_meant(reader.cell("value") or "")
        return f'Write "filtration_ratio", and the efficiency with its percent sign: {value}.'
    if meant:
        quoted = [f'"{key}"' for key in meant]
        return f"Write {' or '.join(filter(None, [', '.join(quoted[:-1]), quoted[-1]]))}, if that is meant."
    return micron if "nominal" in cell.casefold() else f"Known are {', '.join(CHARACTERISTICS)}."


def _efficiency_meant(cell: str) -> str:
    """An efficiency as it is to be entered: "99.5 %" of the cells "0.995", "99.5" and "99.5%"."""
    sign, rest = vocabulary.signed(cell)
    number = rest.removesuffix("%").strip().replace(",", ".")
    try:
        share = Decimal(number)
    except InvalidOperation:
        return "99.5 %"
    if not 0 < share <= 100:
        return "99.5 %"
    if share < 1 and "%" not in rest:
        share *= 100
    return f"{cell.removesuffix(rest) if sign else ''}{share.normalize():f} %"


def _conditions(reader: _Reader) -> dict[str, Stated]:
    """The test's columns that the row states."""
    words = _standard(reader)
    for column, spelled in (("dust", vocabulary.dust_of), ("test_liquid", vocabulary.liquid_of)):
        if (text := reader.text(column)) is not None:
            word = spelled(text)
            words[column] = word if reader.fits(column, word) else None
    for column, choices in (("drop_of", DROP_OF), ("capacity_basis", CAPACITY_BASES), ("laboratory", LABORATORIES)):
        if vocabulary.folded(reader.cell(column) or "") not in ("", "unstated"):
            words[column] = reader.word(column, choices)
    words["date"] = reader.date("date")
    conditions = {column: Stated(word, None, word) for column, word in words.items() if word is not None}
    for column, kind in TEST_QUANTITIES.items():
        point = reader.point(column, kind)
        if point is not None:
            conditions[column] = Stated(digits(point.number), point.number, point.text)
    return conditions


def _standard(reader: _Reader) -> dict[str, str | None]:
    typed, edition = reader.text("standard"), reader.text("edition")
    standard, dated = (None, None) if typed is None else vocabulary.standard_and_edition(typed)
    if edition is not None and dated is not None and edition != dated:
        reader.fault("edition", f'The standard is typed with the edition "{dated}".', "State the edition once.")
    return {"standard": standard, "edition": edition or dated}


def _qualifier(reader: _Reader, sign: str | None) -> str:
    """The row's qualifier from its own column and the sign before the value; they must not contradict."""
    cell = reader.cell("qualifier")
    word = None if cell is None else vocabulary.qualifier_of(cell)
    if cell is not None and word is None:
        reader.fault("qualifier", "This qualifier is not known.", "Known are equal, at_least, at_most and about.")
    if word is not None and sign is not None and word != sign:
        reader.fault("qualifier", f"The sign before the value says {sign}.", "State the qualifier once.")
    return word or sign or "equal"


def _unit(reader: _Reader) -> str | None:
    """The unit of the value from its own column or its heading."""
    cell, heading = reader.cell("unit"), reader.columns.unit.get("value")
    if cell is not None and heading is not None and cell != heading:
        reader.fault("unit", f'The heading of "value" says {heading}.', "State the unit once.")
    return cell or heading


def _value(reader: _Reader, characteristic: str | None) -> _Value | None:
    """The result. What is beside it is looked at even where it cannot be read itself."""
    cell = reader.cell("value")
    sign, rest = vocabulary.signed(cell or "")
    qualifier = _qualifier(reader, sign)
    unit = _unit(reader)
    if cell is None:
        remedy = "Give the result, or leave the row out."
        if reader.states("supersedes"):
            remedy = (
                "Give the result; to withdraw a rating, leave all but its element, its characteristic and why blank."
            )
        reader.fault("value", "The cell is blank.", remedy)
        return None
    if not reader.fits("value", cell) or characteristic is None:
        return None
    kind = CHARACTERISTICS[characteristic].kind
    if kind:
        quantity = reader.quantity("value", kind, text=rest, unit=unit)
        if quantity is None:
            return None
        text = reader.typed("value", quantity, unit)
        sound = reader.fits("value", text)
        return _Value(qualifier, quantity.value, text, quantity.resolution, None) if sound else None
    percent = _PERCENT.fullmatch(rest) or _PERCENT.fullmatch(unit or "")
    if characteristic == "filtration_ratio" and percent:
        return _efficiency(reader, qualifier, rest, unit)
    return _plain_number(reader, characteristic, qualifier, rest, unit, cell)


def _plain_number(
    reader: _Reader, characteristic: str, qualifier: str, rest: str, unit: str | None, cell: str
) -> _Value | None:
    cycles = characteristic.endswith("_cycles")
    if unit is not None and not (unit in ("1", "-", "–") or (cycles and _COUNTED.fullmatch(unit))):
        where = "unit" if "unit" in reader.row.cells else "value"
        reader.fault(where, "This characteristic has no unit.", "Leave the unit blank for it.")
        return None
    match = _COUNTED.fullmatch(rest) if cycles else None
    try:
        number = units.read_number(match["number"] if match else rest, decimal=reader.decimal("value"))
    except SpecdbError as error:
        reader.error("value", error)
        return None
    if not number.value > 0:
        reader.fault("value", "The number is not above 0.", "A ratio or a count of cycles is above 0.")
        return None
    return _Value(qualifier, number.value, cell, number.resolution, None)


def _efficiency(reader: _Reader, qualifier: str, rest: str, unit: str | None) -> _Value | None:
    """An efficiency as the β it stands for: the customary pair's, else by definition; of "100 %" the β that
    half of the last printed digit below it has."""
    try:
        printed = _quantity(rest, "percent", unit, reader.decimal("value"), None)
    except SpecdbError as error:
        reader.error("value", error)
        return None
    percent, step = printed.value, printed.resolution
    text = reader.typed("value", printed, unit)
    if not reader.fits("value", text):
        return None
    if not 0 < percent <= 100:
        reader.fault("value", "An efficiency lies above 0 and up to 100 %.", "Give the efficiency as printed.")
        return None
    beta = customary_beta(percent)
    if beta is None and percent < 100:
        beta = beta_from_efficiency(percent)
    if beta is None:
        beta = 100 / (min(step, 100.0) / 2)
    # The worth of the printed digit in β: the slope of β over efficiency is β² / 100.
    return _Value(qualifier, beta, text, beta * beta / 100 * step, (percent, step))


def _size(
    reader: _Reader, characteristic: str | None, value: _Value | None
) -> tuple[Point | None, str | None, str]:
    """The size, its scale and the qualifier that a sign before the size gives the result.

    β at "<4 µm(c)" is at least that at 4, since β does not fall as size grows; ">30" at most that at 30.
    """
    cell = reader.cell("size")
    qualifier = "equal" if value is None else value.qualifier
    if characteristic is None:
        return None, None, qualifier
    if characteristic != "filtration_ratio":
        if cell is not None:
            reader.fault("size", "Only a filtration ratio has a size.", "Leave the size blank for it.")
        return None, None, qualifier
    if cell is None:
        reader.fault("size", "A filtration ratio needs its size.", 'Give it with its scale, such as "10 um(c)".')
        return None, None, qualifier
    sign, rest = vocabulary.signed(cell)
    quantity = reader.quantity("size", "size", text=rest)
    implied = {"at_most": "at_least", "at_least": "at_most"}.get(sign or "")
    if sign == "about":
        reader.fault("size", "A size that is only about right proves nothing.", "Give the size without the sign.")
    elif implied is not None and qualifier not in ("equal", implied):
        message = f"The sign before the size makes the ratio {implied}, the qualifier says {qualifier}."
        reader.fault("size", message, "Leave one of the two out.")
    elif implied is not None:
        qualifier = implied
    if quantity is None:
        return None, None, qualifier
    return reader.point_of("size", quantity), quantity.scale, qualifier


_READERS: dict[str, Callable[[_Reader, Facts], None]] = {
    "sources": _source, "elements": _element, "ratings": _rating, "interchanges": _claim,
}  # fmt: skip
