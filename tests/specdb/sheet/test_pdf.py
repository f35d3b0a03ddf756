"""The sheet as PDF, read back as a reader's program reads it."""

from __future__ import annotations

import io
import re
import time
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from pypdf import PageObject, PdfReader

from specdb.catalog.snapshot import Snapshot
from specdb.sheet.content import Alarm, Sheet, Stated
from specdb.sheet.pdf import PAPERS, Paper, as_pdf
from specdb.sheet.unseen import plain
from tests.specdb.sheet.sheets import DAY, NUMBERS, asked_of, pages_of, read, sheet, squeezed, texts, without_foot

SIZES_PT = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
MARGIN_PT = 14 / 25.4 * 72


@pytest.fixture(scope="module")
def made(demo: Snapshot) -> Sheet:
    return sheet(demo, asked_of(NUMBERS[:3]))


@pytest.mark.parametrize(("count", "paper"), [(1, "a4"), (3, "letter"), (6, "a4"), (12, "letter")])
def test_everything_on_the_sheet_can_be_read_from_the_pdf(demo: Snapshot, count: int, paper: Paper) -> None:
    of = sheet(demo, asked_of(NUMBERS[:count]))
    pdf = as_pdf(of, paper)
    found = read(of, pdf)
    lacking = [text for text in texts(of) if squeezed(text) not in found]
    assert lacking == []
    across = count > 2  # with the original's, more columns than a page takes upright
    for page in PdfReader(io.BytesIO(pdf)).pages:
        size = (float(page.mediabox.width), float(page.mediabox.height))
        assert size == pytest.approx(SIZES_PT[paper][:: -1 if across else 1], abs=0.01)


def test_the_heading_of_the_table_stands_on_each_of_its_pages(demo: Snapshot) -> None:
    of = sheet(demo, asked_of(NUMBERS[:12]))
    pages = pages_of(as_pdf(of, "a4"))
    group = [of.columns[place] for place in of.groups[-1]]
    last_row = squeezed(of.bands[-1].rows[-1].required)
    first = next(n for n, page in enumerate(pages) if squeezed(group[0].place) in page)
    last = max(n for n, page in enumerate(pages) if last_row in page)
    assert last > first
    heading = squeezed("what is required" + "".join(column.name for column in group))
    assert all(heading in page for page in pages[first : last + 1])
    assert all(page.startswith(heading) for page in pages[first + 1 : last + 1])


def test_nothing_stands_in_the_margins(made: Sheet) -> None:
    for paper in PAPERS:
        for page in PdfReader(io.BytesIO(as_pdf(made, paper))).pages:
            placed = _placed(page)
            assert placed
            width, height = float(page.mediabox.width), float(page.mediabox.height)
            assert all(MARGIN_PT - 0.1 <= x < width - MARGIN_PT for x, _ in placed)
            assert all(20 < y < height - MARGIN_PT for _, y in placed)


def test_each_page_names_the_order_and_the_elements_as_far_as_there_is_room(demo: Snapshot) -> None:
    for count, is_whole in ((2, True), (12, False)):
        of = sheet(demo, asked_of(NUMBERS[:count]), Stated(date=DAY, order_number="4711"))
        pages = pages_of(as_pdf(of, "letter"))
        for number, page in enumerate(pages, start=1):
            _, shown = without_foot(of, page, number, len(pages))
            assert shown.startswith("inplaceofQuollbeckDulse23:Tarnwhistle12-2,QuollbeckDulse23/B")
            assert ("…" not in shown) is is_whole
            assert "order4711" in page


def _placed(page: PageObject) -> list[tuple[float, float]]:
    """Where each text begins, in points from the lower left corner."""
    found: list[tuple[float, float]] = []

    def note(text: str, _: Any, matrix: list[float], *__: Any) -> None:
        if text.strip():
            found.append((matrix[4], matrix[5]))

    page.extract_text(visitor_text=note)
    return found


def test_the_place_to_sign_is_together_with_the_address(demo: Snapshot) -> None:
    stated = Stated(date=DAY, address=f"/side-by-side?{'x' * 600}")
    whole = sheet(demo, asked_of(NUMBERS[:1], {"original.number": "Dulse 23"}), stated)
    for notes in range(0, 100, 5):
        of = replace(whole, bands=whole.bands[:1], cautions=(*whole.cautions, *["further"] * notes))
        (page,) = (page for page in pages_of(as_pdf(of)) if "Checkedby" in page)
        assert f"–{squeezed(of.cautions[-1])}Checkedby" in page  # never a place to sign and nothing else
        assert "CheckedbyDateApprovedbyDateThissheetagain:" in page
        assert "x" * 600 in page


@pytest.mark.parametrize(("sources", "is_whole"), [(1, True), (20, True), (90, False)])
def test_sources_and_cautions_are_on_the_page_that_is_signed(demo: Snapshot, sources: int, is_whole: bool) -> None:
    whole = sheet(demo, asked_of(NUMBERS[:1]))
    filler = whole.sections[0]
    turned = set()
    for more in range(0, 60, 4):  # so that the page would end anywhere in it
        sections = (*whole.sections, replace(filler, sentences=("filler",) * more))
        of = replace(whole, sections=sections, sources=tuple(f"document {n}" for n in range(sources)))
        pages = pages_of(as_pdf(of))
        (page,) = (page for page in pages if "Checkedby" in page)
        cautions = "Cautions" + "".join(f"–{squeezed(caution)}" for caution in of.cautions) + "Checkedby"
        assert cautions in page
        assert f"[{sources}]document{sources - 1}{cautions}" in page or not is_whole
        assert ("Sources[1]document0[" in page or sources == 1) is is_whole
        turned.add(page.startswith("Sources"))
        assert "".join(pages).count("Sources[1]document0") == 1
    assert turned == ({True, False} if is_whole else {False}), "no filler put it both on a page of its own and not"


def test_one_sheet_gives_the_same_bytes_at_any_time(made: Sheet) -> None:
    first = as_pdf(made)
    time.sleep(1.1)  # a PDF tells seconds
    assert as_pdf(made) == first
    assert as_pdf(replace(made, date=DAY + timedelta(days=1))) != first


def test_what_is_not_stated_leaves_a_line_to_write_on(demo: Snapshot) -> None:
    def lines(of: Sheet) -> int:
        page = PdfReader(io.BytesIO(as_pdf(of))).pages[0].get_contents()
        assert page is not None
        return page.get_data().count(b" l S")

    blank = sheet(demo, asked_of(NUMBERS[:1]), Stated(date=DAY))
    filled = sheet(demo, asked_of(NUMBERS[:1]), Stated(DAY, "a machine", "me", "an order", "7"))
    assert lines(blank) - lines(filled) == 4


# --- texts that nobody would choose ---------------------------------------------------------------


HOSTILE = [
    "<script>alert(1)</script> & **bold** {nb} \\n",
    "X" * 200,
    "12-1\u202e9-K\u200f",
    "\u202e" * 200,
    "你好",
    "ẹ̈ 12",
]


def test_hostile_numbers_stay_text_and_nothing_of_them_is_lost(made: Sheet) -> None:
    for name in HOSTILE:
        columns = tuple(replace(column, name=name) for column in made.columns[:2])
        of = replace(made, columns=columns, alarms=(Alarm(f"of {name}", (name,)),))
        found = read(of, as_pdf(of))
        known = name if "你" not in name else "[U+4F60][U+597D]"
        assert squeezed(plain(known)) in found, name


def test_a_long_number_keeps_to_its_column(made: Sheet) -> None:
    of = replace(made, columns=(replace(made.columns[0], name="W" * 200), *made.columns[1:]))
    page = PdfReader(io.BytesIO(as_pdf(of))).pages[0]
    rows = re.findall("W{4,}", page.extract_text())
    assert sum(map(len, rows)) == 200
    # A W of bold DejaVu Sans is 1.103 times as wide as its 7.5 points are high.
    assert max(map(len, rows)) * 1.103 * 7.5 < 58 / 25.4 * 72


@pytest.mark.parametrize(("written", "logical"), [("12-1 אבגד", "אבגד"), ("سلام 12-2", "سلام")])
def test_letters_from_right_to_left_are_set_and_read_in_their_order(made: Sheet, written: str, logical: str) -> None:
    of = replace(made, columns=tuple(replace(column, name=written) for column in made.columns[:1]))
    assert logical in read(of, as_pdf(of))


def test_a_row_higher_than_a_page_goes_on_overleaf(made: Sheet) -> None:
    band, *others = made.bands
    row = band.rows[0]
    tall = " ".join(f"w{n}" for n in range(3000))
    cells = (replace(row.cells[0], words="Ж" * 4000), *row.cells[1:])
    bands = (replace(band, rows=(replace(row, required=tall, cells=cells), *band.rows[1:])), *others)
    of = replace(made, bands=bands)
    pages = pages_of(as_pdf(of))
    assert sum(page.count("Ж") for page in pages) == 4000
    found = "".join(pages)
    assert all(f"w{n}" in found for n in range(3000))
    assert squeezed(band.rows[-1].required) in found


def test_a_heading_higher_than_a_page_is_shortened_where_it_is_repeated(made: Sheet) -> None:
    of = replace(made, columns=tuple(replace(column, name="\u202e" * 300) for column in made.columns))
    pages = pages_of(as_pdf(of))
    assert sum(page.count("[U+202E]") for page in pages) > 4 * 250
    assert sum("…" in page for page in pages) >= 2
    assert len(pages) < 25
