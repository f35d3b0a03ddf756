"""The workbook that fills itself, filled in as a user does it, beside a service that is running."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import parse_qsl

import httpx2
import pytest
from starlette.types import ASGIApp, Receive, Scope, Send

from api import create_app
from specdb.cross_checks.lines import LINES_SHEET
from specdb.cross_checks.reading import read_lines
from specdb.cross_checks.template import INSTRUCTIONS, RATINGS_SHEET, ROWS, UNANSWERED, template_workbook
from tests.browser.serving import served
from tests.office.office import Document, Office

EXPLAINED, STATE = "B6", "B7"


@dataclass
class Service:
    """A service over the demo catalogue, and what it was asked."""

    app: ASGIApp
    address: str = ""
    asked: list[tuple[str, str, dict[str, str]]] = field(default_factory=list)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            query = dict(parse_qsl(scope["query_string"].decode(), keep_blank_values=True))
            self.asked.append((scope["method"], scope["path"], query))
        await self.app(scope, receive, send)

    def tells(self, cell: str, **query: str) -> str:
        """What the address of a cell tells a program that is no spreadsheet."""
        response = httpx2.get(f"{self.address}/v1/cells/{cell}", params=query)
        return str(response.text)


@pytest.fixture(scope="module")
def service(demo_store_url: str) -> Iterator[Service]:
    made = Service(create_app(demo_store_url))
    with served(made) as made.address:  # type: ignore[arg-type]  # any application will do
        yield made


@pytest.fixture
def template(office: Office, service: Service) -> Iterator[Document]:
    file = office.trusted / "template.xlsx"
    file.write_bytes(template_workbook(service.address))
    opened = office.open(file)
    yield opened
    opened.close()


FILLED = (
    {
        "B": "Press 4", "D": "Dulse 23", "E": "75", "F": "ISO VG 46", "G": "50", "I": "Quollbeck",
        "J": "Dulse 24", "K": "customary",
    },
    {"D": "Dulse 23", "E": "20,5", "J": "12-1"},
    {"D": "no such number", "J": "12-1"},
    {"D": "Dulse 23", "E": "75 parsec", "J": "& no=such"},
    {"B": "not filled in yet", "E": "75 L/min", "J": "12-1"},
)  # fmt: skip
ASKED = (
    {
        "original.number": "Dulse 23", "flow": "75 L/min", "fluid.grade": "ISO VG 46",
        "operating_temperature": "50 degC", "assumptions": "customary",
    },
    {"original.number": "Dulse 23", "flow": "20,5 L/min"},
    {"original.number": "no such number"},
    {"original.number": "Dulse 23", "flow": "75 parsec"},
)  # fmt: skip


def test_rows_fill_with_what_the_service_tells_and_blank_ones_ask_nothing(
    template: Document, service: Service, tmp_path: Path
) -> None:
    assert template.sheets == [INSTRUCTIONS, LINES_SHEET, RATINGS_SHEET]
    assert template.cell(INSTRUCTIONS, STATE).shown == "the service answers"
    service.asked.clear()
    template.recalculate()
    assert {cell.shown for row in template.cells(LINES_SHEET, f"A2:Q{ROWS + 1}") for cell in row} == {""}
    assert not service.asked
    for row, texts in enumerate(FILLED, start=2):
        for column, text in texts.items():
            template.put(LINES_SHEET, f"{column}{row}", text)
    shown = [[cell.shown for cell in row] for row in template.cells(LINES_SHEET, "L2:P6")]
    asked = [{**each, "units": "si"} for each in ASKED]
    first, second = ([service.tells("best", place=place, **each) for each in asked[:2]] for place in ("1", "2"))
    of_first, of_second = (
        [service.tells("best", place=place, give="verdict", **each) for each in asked[:2]] for place in ("1", "2")
    )
    alternatives = ("Dulse 24", "12-1")
    judged = [service.tells("verdict", number=named, **each) for named, each in zip(alternatives, asked, strict=False)]
    assert shown[0] == [first[0], of_first[0], second[0], of_second[0], judged[0]]
    assert shown[1] == [first[1], of_first[1], second[1], of_second[1], judged[1]]
    assert judged[1].startswith(("misses: ", "not shown: "))
    refused = [service.tells("best", detail="yes", **each) for each in asked[2:]]
    assert [each.partition(":")[0] for each in refused] == ["!not_on_file", "!unit"]
    assert [row[:4] for row in shown[2:4]] == [[each, "", "", ""] for each in refused]
    assert [row[4].partition(":")[0] for row in shown[2:4]] == ["!not_on_file", "!not_on_file"]
    assert shown[4] == [""] * 5
    assert template.cell(LINES_SHEET, "J3").result == "12-1"
    assert template.cell(LINES_SHEET, "J3").format == "@"
    assert any(query.get("number") == "& no=such" for _, _, query in service.asked)
    template.put(LINES_SHEET, "E1", "flow [gpm]")
    template.put(LINES_SHEET, "E2", "20")
    template.put(LINES_SHEET, "E5", "")
    assert template.cell(LINES_SHEET, "L2").shown == service.tells("best", units="si", **ASKED[0] | {"flow": "20 gpm"})
    template.put(INSTRUCTIONS, EXPLAINED, "no")
    assert template.cell(LINES_SHEET, "L4").shown == "!not_on_file"
    file = template.convert(tmp_path / "saved.xlsx")
    with file.open("rb") as saved:
        read = read_lines(file.name, saved).lines
    duty = {name: text for name, text in read[0].asked.items() if not name.startswith("elements.")}
    assert duty == ASKED[0] | {"flow": "20 gpm"}
    template.put(INSTRUCTIONS, "B3", "")
    assert {cell.shown for row in template.cells(LINES_SHEET, "L2:P6") for cell in row} == {""}


def test_a_rating_comes_as_a_number_to_calculate_with(template: Document) -> None:
    asked = (("collapse_pressure", "bar"), ("seal", ""), ("filtration_ratio", ""), ("outside diameter", "in"))
    for row, (characteristic, unit) in enumerate(asked, start=2):
        for column, text in zip("BCF", ("Dulse 23", characteristic, unit), strict=True):
            template.put(RATINGS_SHEET, f"{column}{row}", text)
    shown = [[cell.result for cell in row] for row in template.cells(RATINGS_SHEET, "I2:K6")]
    assert str(shown[2][0]).startswith("!several: ")
    shown[2][0] = "!several"
    template.put(RATINGS_SHEET, "D4", "10")
    template.put(RATINGS_SHEET, "G4", "QB-3")
    assert template.cell(RATINGS_SHEET, "J4").result == 249
    assert shown == [
        [">= 10", 10.0, "at least"],
        ["NBR", "", ""],
        ["!several", "", ""],
        ["3.77953", 3.77953, "equal"],
        ["", "", ""],
    ]


def test_a_file_that_is_not_trusted_asks_nothing_until_it_is_copied(
    office: Office, service: Service, tmp_path: Path
) -> None:
    file = tmp_path / "template.xlsx"
    file.write_bytes(template_workbook(f"{service.address}/"))
    opened = office.open(file)
    opened.put(LINES_SHEET, "D2", "Dulse 23")
    service.asked.clear()
    opened.recalculate()
    assert opened.cell(LINES_SHEET, "L2").shown == opened.cell(INSTRUCTIONS, STATE).shown == UNANSWERED
    assert not service.asked
    copied = opened.copied_afresh()
    assert copied.cell(INSTRUCTIONS, STATE).shown == "the service answers"
    asked = {"original.number": "Dulse 23", "units": "si"}
    assert copied.cell(LINES_SHEET, "L2").shown == service.tells("best", **asked)
    copied.close()
    opened.close()


def test_an_address_is_asked_once_while_the_file_is_open_and_again_as_the_sheet_says(
    office: Office, template: Document, service: Service
) -> None:
    def gets() -> int:
        number = len([1 for method, _, _ in service.asked if method == "GET"])
        service.asked.clear()
        return number

    template.put(RATINGS_SHEET, "B2", "Dulse 23")
    template.put(RATINGS_SHEET, "C2", "seal")
    assert template.cell(INSTRUCTIONS, STATE).shown == "the service answers"
    gets()
    assert template.cell(RATINGS_SHEET, "I2").shown == "NBR"
    assert gets() == 1
    template.recalculate()
    assert template.cell(RATINGS_SHEET, "I2").shown == "NBR"
    assert gets() == 0
    again = office.open(template.convert(office.trusted / "saved.ods"))
    assert again.cell(RATINGS_SHEET, "I2").shown == "NBR"
    assert gets() > 0
    again.close()
    again = office.open(template.convert(office.trusted / "saved.xlsx"))
    assert again.cell(RATINGS_SHEET, "I2").shown == "NBR"
    assert gets() == 0
    again.recalculate()
    assert again.cell(RATINGS_SHEET, "I2").shown == "NBR"
    assert gets() > 0
    again.close()
