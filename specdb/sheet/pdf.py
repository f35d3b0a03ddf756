"""A sheet as PDF: words that can be selected and searched, on A4 or Letter, with room to sign.

One sheet gives the same bytes each time. Lengths are in millimetres but for the sizes of letters, which are in points
(1/72 inch). Nothing is left out: what does not fit a page goes on overleaf.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Literal, cast

from fpdf import FPDF
from fpdf.fonts import TTFFont

from specdb.sheet.content import MARKS, VERDICT_WORDS, Cell, Column, Fact, Row, Section, Sheet
from specdb.sheet.unseen import numbered, plain

Paper = Literal["a4", "letter"]
PAPERS: tuple[Paper, ...] = ("a4", "letter")

_FAMILY = "sheet"
_MARGIN_MM, _FOOT_MM = 14.0, 16.0
_TITLE_PT, _HEADING_PT, _BODY_PT, _CELL_PT, _SMALL_PT = 15.0, 10.0, 8.5, 7.5, 6.5
_LEADING = 1.25
_MM_PER_PT = 25.4 / 72
_PADDING_MM = 1.0
_COLUMN_AT_MOST_MM = 58.0
"""An element's column; what is left is the criterion's."""

_REQUIRED_SHARE = 1.35
"""How much wider the criterion's column is than an element's where there is no room to spare."""

_HEADINGS_AGAIN_LINES = 3
"""Lines of a name where the heading of a table is repeated overleaf; a longer one ends in an ellipsis there."""

_HEADING_GAP_MM, _PARAGRAPH_GAP_MM = 2.5, 1.0
"""Room above a heading and below a paragraph."""

_FACT_LABEL_MM = 34.0
_SIGNATURES_MM = 34.0
_FIRST_SHAPED = 0x0590
"""From here on letters may join, stack or run from right to left (Unicode: Hebrew is the first such block)."""


@dataclass(frozen=True)
class _Piece:
    text: str
    is_bold: bool = False
    points: float = _CELL_PT


@dataclass(frozen=True)
class _Line:
    """``is_leftward`` is whether the text that the line is of runs from right to left."""

    text: str
    is_bold: bool
    points: float
    is_leftward: bool

    @property
    def height_mm(self) -> float:
        return self.points * _MM_PER_PT * _LEADING


def as_pdf(sheet: Sheet, paper: Paper = "a4") -> bytes:
    """The sheet, upright or across as its columns need."""
    drawn = _Drawn(sheet, paper)
    drawn.head()
    drawn.tables()
    drawn.wanting()
    for section in sheet.sections:
        drawn.section(section)
    drawn.closing()
    drawn.feet()
    return bytes(drawn.pdf.output())


class _Drawn:
    """A sheet in the drawing; ``y`` is where the next thing goes, from the upper edge of the page."""

    def __init__(self, sheet: Sheet, paper: Paper):
        self.sheet = sheet
        self.pdf = _empty(sheet, paper)
        self.width = float(self.pdf.w) - 2 * _MARGIN_MM
        self.bottom = float(self.pdf.h) - _FOOT_MM
        self.y = _MARGIN_MM
        self._widths: dict[tuple[bool, float], dict[str, float]] = {}

    # --- parts of the sheet ------------------------------------------------------------------------

    def head(self) -> None:
        self._paragraph(_Piece(self.sheet.title, is_bold=True, points=_TITLE_PT))
        self._facts(self.sheet.head)
        self.y += 1.5
        if self.sheet.assumed:
            told = f"Verdicts rest on assumptions: {'; '.join(self.sheet.assumed)}."
        else:
            told = "Verdicts rest on proof alone: nothing is assumed."
        self._paragraph(_Piece(told, points=_BODY_PT), bar=True)
        for alarm in self.sheet.alarms:
            told = f"! {', '.join(alarm.of)}: {alarm.text}"
            self._paragraph(_Piece(told, is_bold=True, points=_BODY_PT), bar=True)

    def tables(self) -> None:
        for group in self.sheet.groups:
            self._table(group)
            self.y += 3

    def wanting(self) -> None:
        told = [column for column in self.sheet.columns if column.is_told]
        if told:
            self._heading("What is missed or not shown, and what else is told")
        for column in told:
            self._paragraph(_Piece(_named(column), is_bold=True, points=_BODY_PT), keep_mm=8)
            for sentence in column.wanting:
                self._paragraph(_Piece(f"– {sentence.text}{_cited(sentence.sources)}", points=_BODY_PT), indent=3)
            for text in column.beside:
                self._paragraph(_Piece(f"– {text}", points=_BODY_PT), indent=3)

    def section(self, section: Section) -> None:
        self._heading(section.heading)
        for text in section.sentences:
            self._paragraph(_Piece(f"– {text}", points=_BODY_PT), indent=3)

    def closing(self) -> None:
        """Sources, cautions, the place to sign, and where the sheet can be had again: on one page if they fit one, so
        that nobody signs a page on which there is no more than the place for it; else the cautions with the place to
        sign, else the last caution with it."""
        again = _Piece(self.sheet.again, points=_SMALL_PT)
        sources = [
            _Piece(f"[{number}] {source}", points=_BODY_PT) for number, source in enumerate(self.sheet.sources, start=1)
        ]
        cautions = [_Piece(f"– {caution}", points=_BODY_PT) for caution in self.sheet.cautions]
        signed_mm = _SIGNATURES_MM + _tall(self._lines([again], self.width))
        closing_mm = self._listed_mm(cautions) + signed_mm
        self._together(self._listed_mm(sources) + closing_mm)
        if sources:
            self._heading("Sources")
        for source in sources:
            self._paragraph(source, indent=3)
        self._together(closing_mm)
        self._heading("Cautions")
        *earlier, last = cautions
        for caution in earlier:
            self._paragraph(caution, indent=3)
        self._room(signed_mm + _tall(self._lines([last], self.width - 3)))
        self._paragraph(last, indent=3)
        self._signatures()
        self._paragraph(again)

    def _listed_mm(self, pieces: Sequence[_Piece]) -> float:
        """Height of a heading and these paragraphs below it; none where there are none."""
        if not pieces:
            return 0.0
        heading_mm = _HEADING_GAP_MM + _Line("", True, _HEADING_PT, False).height_mm + _PARAGRAPH_GAP_MM
        return heading_mm + sum(_tall(self._lines([each], self.width - 3)) + _PARAGRAPH_GAP_MM for each in pieces)

    def _together(self, height_mm: float) -> None:
        """Turns the page where what follows would fit one, and does not fit what is left of this."""
        if height_mm <= self.bottom - _MARGIN_MM:
            self._room(height_mm)

    def feet(self) -> None:
        """Which sheet each page is of, and its number, once it is known how many there are."""
        pages = len(self.pdf.pages)
        height = _SMALL_PT * _MM_PER_PT * _LEADING
        self.pdf.set_text_shaping(False)
        self.pdf.set_font(_FAMILY, "", _SMALL_PT)
        numbers = float(self.pdf.get_string_width(f"{pages} of {pages}")) + 3
        told = [
            _shortened(self._lines([_Piece(text, points=_SMALL_PT)], self.width - numbers), 1)
            for text in self.sheet.foot
        ]
        for number in range(1, pages + 1):
            self.pdf.page = number
            # A page remembers no font of another: one that is set already would not be written again.
            self.pdf.set_font(_FAMILY, "B", _TITLE_PT)
            self._rule(self.bottom + 2)
            for place, lines in enumerate(told):
                for line in lines:
                    self._line(line, _MARGIN_MM, self.bottom + 2.7 + place * height)
            self.pdf.set_text_shaping(False)
            self.pdf.set_font(_FAMILY, "", _SMALL_PT)
            self.pdf.set_xy(_MARGIN_MM, self.bottom + 2.7)
            self.pdf.cell(self.width, height, f"{number} of {pages}", align="R")

    # --- text -------------------------------------------------------------------------------------

    def _heading(self, text: str) -> None:
        self.y += _HEADING_GAP_MM
        self._paragraph(_Piece(text, is_bold=True, points=_HEADING_PT), keep_mm=12)

    def _paragraph(self, piece: _Piece, *, indent: float = 0.0, bar: bool = False, keep_mm: float = 0.0) -> None:
        """Lines across the page from ``indent`` on. ``bar`` draws a bar beside them; ``keep_mm`` is the room that must
        be left below them, for what they introduce."""
        inset = indent + (2.5 if bar else 0.0)
        lines = self._lines([piece], self.width - inset)
        self._room(sum(line.height_mm for line in lines[:1]) + keep_mm)
        for line in lines:
            self._room(line.height_mm)
            self._line(line, _MARGIN_MM + inset)
            if bar:
                self.pdf.set_line_width(0.8)
                self.pdf.line(_MARGIN_MM + 0.6, self.y, _MARGIN_MM + 0.6, self.y + line.height_mm)
            self.y += line.height_mm
        self.y += _PARAGRAPH_GAP_MM

    def _line(self, line: _Line, x: float, y: float | None = None) -> None:
        self._set(line)
        self.pdf.set_xy(x, self.y if y is None else y)
        self.pdf.cell(self.pdf.w - x, line.height_mm, line.text)

    def _set(self, line: _Line) -> None:
        """Fonts, and the engine that joins letters and turns their order where there are such letters."""
        self.pdf.set_font(_FAMILY, "B" if line.is_bold else "", line.points)
        if any((ord(c) >= _FIRST_SHAPED and c.isalpha()) or unicodedata.combining(c) for c in line.text):
            self.pdf.set_text_shaping(True, direction="rtl" if line.is_leftward else "ltr")
        else:
            self.pdf.set_text_shaping(False)

    def _lines(self, pieces: Iterable[_Piece], width: float) -> list[_Line]:
        """The pieces below each other, broken into lines; a word wider than that is broken within."""
        return [line for piece in pieces if piece.text for line in self._broken(piece, width)]

    def _broken(self, piece: _Piece, width: float) -> Iterator[_Line]:
        text = _drawable(piece.text)
        whole = _Line(text, piece.is_bold, piece.points, _runs_leftward(text))
        self._set(whole)
        key = (piece.is_bold, piece.points)
        space = self._wide(" ", key)
        words: list[str] = []
        used = 0.0
        for word in self._parts(text.split(), width, key):
            wide = self._wide(word, key)
            if words and used + space + wide > width:
                yield replace(whole, text=" ".join(words))
                words, used = [], 0.0
            used += wide + (space if words else 0.0)
            words.append(word)
        yield replace(whole, text=" ".join(words))

    def _parts(self, words: Iterable[str], width: float, key: tuple[bool, float]) -> Iterator[str]:
        """The words, and of a word that is wider than a line as many parts as there are lines of it."""
        for word in words:
            if self._wide(word, key) <= width:
                yield word
                continue
            first, used = 0, 0.0
            for place, letter in enumerate(word):
                wide = self._wide(letter, key)
                if used + wide > width and place > first:
                    yield word[first:place]
                    first, used = place, 0.0
                used += wide
            yield word[first:]

    def _wide(self, text: str, key: tuple[bool, float]) -> float:
        """Width in the letters that are set, which ``key`` stands for; words come again and again."""
        known = self._widths.setdefault(key, {})
        if text not in known:
            known[text] = float(self.pdf.get_string_width(text))
        return known[text]

    # --- pages ------------------------------------------------------------------------------------

    def _room(self, height_mm: float) -> bool:
        """Turns the page where there is less room than that; whether it did."""
        if self.y + height_mm <= self.bottom or self.y <= _MARGIN_MM:
            return False
        self.pdf.add_page()
        self.y = _MARGIN_MM
        return True

    def _rule(self, y: float, width_mm: float = 0.1) -> None:
        self.pdf.set_line_width(width_mm)
        self.pdf.line(_MARGIN_MM, y, _MARGIN_MM + self.width, y)

    def _facts(self, facts: Sequence[Fact]) -> None:
        """Label and text, two abreast; where there is no text, a line to write on."""
        half = self.width / 2
        for left in range(0, len(facts), 2):
            pair = facts[left : left + 2]
            columns = [
                lines
                for fact in pair
                for lines in (
                    self._lines([_Piece(fact.label, points=_BODY_PT)], _FACT_LABEL_MM - 2),
                    self._lines([_Piece(fact.text, is_bold=True, points=_BODY_PT)], half - _FACT_LABEL_MM - 3),
                )
            ]
            places = [_MARGIN_MM, _MARGIN_MM + _FACT_LABEL_MM, _MARGIN_MM + half, _MARGIN_MM + half + _FACT_LABEL_MM]
            self._abreast(columns, places, padding=0.6)
            for fact, x in zip(pair, places[1::2], strict=False):
                if not fact.text:
                    self.pdf.set_line_width(0.2)
                    self.pdf.line(x, self.y - 0.8, x + half - _FACT_LABEL_MM - 3, self.y - 0.8)

    def _signatures(self) -> None:
        """Lines to sign on."""
        self.y += 8
        half = self.width / 2
        for place, label in enumerate(self.sheet.signatures):
            x = _MARGIN_MM + (place % 2) * half
            y = self.y + (place // 2) * 13
            self.pdf.set_line_width(0.2)
            self.pdf.line(x, y + 5, x + half - 8, y + 5)
            self._line(_Line(label, False, _SMALL_PT, False), x, y + 5.5)
        self.y += 13 * ((len(self.sheet.signatures) + 1) // 2)

    # --- tables -----------------------------------------------------------------------------------

    def _table(self, group: range) -> None:
        """A column for what is required and one for each element of the group; its heading stands on every page."""
        columns = [self.sheet.columns[place] for place in group]
        share = self.width / (len(columns) + _REQUIRED_SHARE)
        narrow = min(_COLUMN_AT_MOST_MM, share)
        widths = [self.width - narrow * len(columns), *[narrow] * len(columns)]
        named = ["what is required", *map(_named, columns)]
        heading = [[_Piece(text, is_bold=True)] for text in named]
        self._room(30)
        self._cells(heading, widths, (), rule_mm=0.4)
        again = [
            _shortened(self._lines(pieces, width - 2 * _PADDING_MM), _HEADINGS_AGAIN_LINES)
            for pieces, width in zip(heading, widths, strict=True)
        ]
        for label, texts in (
            ("place among them (1 is best)", [column.place for column in columns]),
            ("status", [column.status for column in columns]),
            ("bypass valve", [column.bypass for column in columns]),
            ("cautions", [column.alarms for column in columns]),
        ):
            self._cells([[_Piece(label)], *([_Piece(text)] for text in texts)], widths, again)
        for band in self.sheet.bands:
            title = _Piece(f"{MARKS[band.verdict]} {band.heading}", is_bold=True)
            # The heading of a band does not stand alone at the foot of a page.
            if self._room(22):
                self._heading_again(again, widths)
            self._cells([[title]], [self.width], again, rule_mm=0.3)
            for row in band.rows:
                cells = [_judged(row.cells[place]) for place in group]
                self._cells([_required(row), *cells], widths, again)

    def _heading_again(self, again: Sequence[Sequence[_Line]], widths: Sequence[float]) -> None:
        self._abreast(again, _places(widths))
        self._rule(self.y, 0.4)

    def _cells(
        self,
        cells: Sequence[Sequence[_Piece]],
        widths: Sequence[float],
        again: Sequence[Sequence[_Line]],
        rule_mm: float = 0.1,
    ) -> None:
        """One row, whole on a page if it fits one, else going on overleaf, below the heading ``again``."""
        left = [self._lines(pieces, width - 2 * _PADDING_MM) for pieces, width in zip(cells, widths, strict=True)]
        overleaf = self.bottom - _MARGIN_MM - _height(again)
        if again and _height(left) <= overleaf and self._room(_height(left)):
            self._heading_again(again, self._table_widths(again, widths))
        while any(left):
            fitting = [_fitting(lines, self.bottom - self.y - 2 * _PADDING_MM) for lines in left]
            if not any(fitting):
                self.pdf.add_page()
                self.y = _MARGIN_MM
                if again:
                    self._heading_again(again, self._table_widths(again, widths))
                continue
            self._abreast(fitting, _places(widths))
            left = [lines[len(part) :] for lines, part in zip(left, fitting, strict=True)]
        self._rule(self.y, rule_mm)

    def _table_widths(self, again: Sequence[Sequence[_Line]], widths: Sequence[float]) -> Sequence[float]:
        """Of the heading, also where a row is one cell across."""
        if len(widths) == len(again):
            return widths
        count = len(again) - 1
        narrow = min(_COLUMN_AT_MOST_MM, self.width / (count + _REQUIRED_SHARE))
        return [self.width - narrow * count, *[narrow] * count]

    def _abreast(
        self, columns: Sequence[Sequence[_Line]], places: Sequence[float], padding: float = _PADDING_MM
    ) -> None:
        """Lines in columns beside each other, each column whole before the next, as it is read."""
        for lines, x in zip(columns, places, strict=False):
            y = self.y + padding
            for line in lines:
                self._line(line, x, y)
                y += line.height_mm
        self.y += max((_tall(lines) for lines in columns), default=0.0) + 2 * padding


# --- pieces ----------------------------------------------------------------------------------------


def _named(column: Column) -> str:
    return f"{column.name} (original)" if column.is_original else column.name


def _cited(sources: Sequence[int]) -> str:
    return " " + "".join(f"[{number}]" for number in sources) if sources else ""


def _required(row: Row) -> list[_Piece]:
    return [
        _Piece(row.required),
        _Piece(row.origin, points=_SMALL_PT),
        *(_Piece(note, points=_SMALL_PT) for note in row.notes),
    ]


def _judged(cell: Cell) -> list[_Piece]:
    return [
        _Piece(f"{MARKS[cell.verdict]} {VERDICT_WORDS[cell.verdict]}", is_bold=True),
        _Piece(cell.words + _cited(cell.sources)),
        _Piece(cell.remark, points=_SMALL_PT),
    ]


# --- lines -----------------------------------------------------------------------------------------


def _tall(lines: Sequence[_Line]) -> float:
    return sum(line.height_mm for line in lines)


def _height(columns: Sequence[Sequence[_Line]]) -> float:
    return max(map(_tall, columns), default=0.0) + 2 * _PADDING_MM


def _fitting(lines: Sequence[_Line], height_mm: float) -> Sequence[_Line]:
    """As many of the first lines as there is room for."""
    count, used = 0, 0.0
    for line in lines:
        used += line.height_mm
        if used > height_mm:
            break
        count += 1
    return lines[:count]


def _shortened(lines: Sequence[_Line], at_most: int) -> list[_Line]:
    kept = list(lines[:at_most])
    if len(lines) > len(kept):
        kept[-1] = replace(kept[-1], text=f"{kept[-1].text[:-2]}…")
    return kept


def _places(widths: Sequence[float]) -> list[float]:
    """Where the text of each column begins, but for the first, which stands at the margin."""
    return [_MARGIN_MM + sum(widths[:place]) + (_PADDING_MM if place else 0.0) for place in range(len(widths))]


def _runs_leftward(text: str) -> bool:
    """By the first letter that has a direction (Unicode Standard Annex 9, rules P2 and P3)."""
    strong = (unicodedata.bidirectional(c) for c in text)
    return next((way for way in strong if way in ("L", "R", "AL")), "L") != "L"


def _drawable(text: str) -> str:
    """The text on one line; what is not seen of it, or is in none of the fonts, is told by its number."""
    known = _known()
    on_one_line = plain(text.replace("\n", " ").replace("\t", " "))
    return "".join(c if ord(c) in known else numbered(c) for c in on_one_line)


# --- the document ----------------------------------------------------------------------------------


def _fonts() -> Iterator[tuple[str, Path]]:
    """Style and file of each font. They come with matplotlib, which need not be loaded for it."""
    found = find_spec("matplotlib")
    assert found is not None
    assert found.origin is not None
    folder = Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"
    yield "", folder / "DejaVuSans.ttf"
    yield "B", folder / "DejaVuSans-Bold.ttf"


@cache
def _known() -> frozenset[int]:
    """Numbers of the characters that each font has."""
    pdf = FPDF()
    for style, file in _fonts():
        pdf.add_font(_FAMILY, style, file)
    fonts = [cast(TTFFont, font) for font in pdf.fonts.values()]
    known = frozenset.intersection(*(frozenset(font.cmap) for font in fonts))
    for font in fonts:
        font.close()
    return known


def _empty(sheet: Sheet, paper: Paper) -> FPDF:
    pdf = FPDF(orientation="landscape" if sheet.is_wide else "portrait", format=paper)
    pdf.set_auto_page_break(False)
    # Pages are numbered when all are there; no text of a catalogue is to stand for how many there are.
    pdf.alias_nb_pages("")
    pdf.set_creation_date(datetime.combine(sheet.date, time.min, UTC))
    pdf.set_title(plain(f"{sheet.title}, {sheet.date.isoformat()}, catalogue revision {sheet.revision}"))
    pdf.set_lang("en")
    pdf.c_margin = 0
    for style, file in _fonts():
        pdf.add_font(_FAMILY, style, file)
    pdf.add_page()
    return pdf
