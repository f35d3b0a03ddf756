"""Sheets of the demo catalogue, and what can be read from a PDF."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import date
from itertools import chain

from pypdf import PdfReader

from specdb.answers import comparison
from specdb.catalog.snapshot import Snapshot
from specdb.duty.dotted import comparison_of
from specdb.sheet.content import MARKS, VERDICT_WORDS, Sheet, Stated, sheet_of
from specdb.sheet.unseen import plain

DAY = date(2026, 11, 30)
DUTY = {
    "original.number": "Dulse 23",
    "location": "return",
    "flow": "75 L/min",
    "fluid.grade": "VG 46",
    "fluid.viscosity_index": "100",
    "fluid.class": "HM",
    "operating_temperature": "50 degC",
    "cold_start_temperature": "-5 degC",
    "bypass": "head",
    "bypass_cracking_pressure": "170 kPa",
    "ingression.mass": "0.05 g/h",
    "assumptions": "customary",
}
_DULSE = tuple(f"Dulse {size}" for size in (21, 22, 31, 32, 33))
NUMBERS = ("12-2", "Dulse 23/B", "Dulse 24", "12-5", "2024-07", *_DULSE, "9-K", "12-1")


def asked_of(numbers: Sequence[str], duty: Mapping[str, str] = DUTY) -> dict[str, str]:
    """The dotted names that set these numbers side by side."""
    return {f"elements.{place}.number": number for place, number in enumerate(numbers, start=1)} | dict(duty)


def sheet(snapshot: Snapshot, names: Mapping[str, str], stated: Stated | None = None) -> Sheet:
    asked = comparison_of(names)
    return sheet_of(comparison(asked, snapshot), asked, stated or Stated(date=DAY, address="/side-by-side?a=b"))


def texts(of: object) -> Iterator[str]:
    """Every text on a sheet but for the foot of its pages, as it is shown: a verdict by its sign and word, numbers of
    sources in brackets."""
    if isinstance(of, str):
        yield of
    elif isinstance(of, tuple):
        yield from (f"[{each}]" for each in of if isinstance(each, int))
        yield from chain.from_iterable(texts(each) for each in of if not isinstance(each, int))
    elif isinstance(of, date):
        yield of.isoformat()
    elif is_dataclass(of):
        for field in fields(of):
            value = getattr(of, field.name)
            if field.name == "verdict":
                yield from (MARKS[value], VERDICT_WORDS[value])
            elif field.name not in ("element_id", "foot"):
                yield from texts(value)


def squeezed(text: str) -> str:
    """Without white space, which falls where lines are broken."""
    return "".join(text.split())


def pages_of(pdf: bytes) -> list[str]:
    """The words of each page, without white space, and its foot at the end."""
    return [squeezed(page.extract_text()) for page in PdfReader(io.BytesIO(pdf)).pages]


def without_foot(of: Sheet, page: str, number: int, pages: int) -> tuple[str, str]:
    """The words of a page without its foot, which must be there; and what the foot says of the elements, which may end
    in an ellipsis."""
    told, compared = (squeezed(plain(text)) for text in of.foot)
    above, found, below = page.rpartition(told)
    shown = below.removesuffix(f"{number}of{pages}")
    assert found, page[-200:]
    assert shown != below, below
    assert shown == compared or (shown.endswith("…") and compared.startswith(shown[:-1])), shown
    return above, shown


def read(of: Sheet, pdf: bytes) -> str:
    """The words of a PDF from its first page to its last, without the foot of each, which must be there."""
    pages = pages_of(pdf)
    return "".join(without_foot(of, page, number, len(pages))[0] for number, page in enumerate(pages, start=1))
