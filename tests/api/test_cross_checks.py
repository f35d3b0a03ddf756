"""Many lines at once over HTTP: in every form, each answered as it would be alone, sent as they are answered."""

from __future__ import annotations

import asyncio
import csv
import io
import json
from collections.abc import Iterable, Iterator
from typing import Any

import openpyxl
import pyarrow.parquet as pq
import pytest
from starlette.testclient import TestClient
from starlette.types import Message

from api import cross_checking
from api.admission import CROSS_CHECKS, LINES_BYTES, UPLOAD_BYTES
from api.long_work import AT_ONCE, Places
from api.representation import MEDIA_TYPES
from specdb.answers.cross_checks import TABLES, LineAnswer
from specdb.cross_checks.lines import MOST_CANDIDATES
from tests.api.asking import EQUIVALENTS, refusal

JSON = "application/json"
CSV = {"content-type": "text/csv"}
XLSX = {"content-type": MEDIA_TYPES["xlsx"]}
HEADINGS = ("line", "original.number", "flow", "limit", "elements.1.number", "elements.2.number")
ROWS = (
    ("press", "Dulse 23", "75 L/min", "2", "", ""),
    ("saw", "00417", "", "", "Dulse 24", "12-2"),
    ("mill", "no such number", "", "", "", ""),
    ("crane", "Dulse 23", "75", "", "", ""),
    ("lift", "12-1", "", "", "", ""),
)
ALONE = ("rank", "element", "sentence", "misses", "not_shown", "standing", "criteria", "claims", "cautions")
"""What is told of a candidate of a line, of all that is told of one that is asked about alone."""


def as_csv(rows: Iterable[Iterable[str]] = ROWS) -> bytes:
    written = io.StringIO()
    csv.writer(written).writerows([HEADINGS, *rows])
    return written.getvalue().encode()


def as_workbook() -> bytes:
    book = openpyxl.Workbook()
    for row in (HEADINGS, *ROWS):
        book.worksheets[0].append([text or None for text in row])
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def as_json(rows: Iterable[Iterable[str]] = ROWS) -> dict[str, Any]:
    return {"lines": [{name: text for name, text in zip(HEADINGS, row, strict=True) if text} for row in rows]}


def lines_of(response: Any) -> list[dict[str, Any]]:
    """The lines of an answer in JSON, but for their rows, which are counted otherwise in a sheet."""
    assert response.status_code == 200, response.text
    answer = response.json()
    assert (answer["answered"], answer["faulty"]) == (3, 2)
    return [{name: told for name, told in line.items() if name != "row"} for line in answer["lines"]]


# --- in and out -----------------------------------------------------------------------------------


def test_lines_are_answered_alike_in_whatever_form_they_come(client: TestClient) -> None:
    by_json = client.post(CROSS_CHECKS, json=as_json())
    assert [line["row"] for line in by_json.json()["lines"]] == [1, 2, 3, 4, 5]
    told = lines_of(by_json)
    assert [line["line"] for line in told] == ["press", "saw", "mill", "crane", "lift"]
    by_csv = client.post(CROSS_CHECKS, content=as_csv(), headers=CSV)
    assert [line["row"] for line in by_csv.json()["lines"]] == [2, 3, 4, 5, 6]
    assert lines_of(by_csv) == told
    assert lines_of(client.post(CROSS_CHECKS, content=as_workbook(), headers=XLSX)) == told
    for name, content in (("lines.csv", as_csv()), ("lines.xlsx", as_workbook())):
        assert lines_of(client.post(CROSS_CHECKS, files={"file": (name, content)})) == told


def test_a_json_file_of_a_form_says_what_the_query_leaves_unsaid(client: TestClient) -> None:
    file = json.dumps(as_json() | {"common": {"flow": "60 L/min", "limit": "1"}, "mode": "rank"}).encode()
    by_form = client.post(CROSS_CHECKS, files={"file": ("lines.json", file)})
    assert lines_of(by_form) == lines_of(client.post(CROSS_CHECKS, content=file, headers={"content-type": JSON}))
    asked = {"mode": "each", "flow": "50 L/min"}
    press, saw, *_ = lines_of(client.post(CROSS_CHECKS, files={"file": ("lines.json", file)}, params=asked))
    assert (saw["mode"], saw["asked"]["flow"]) == ("judged", "50 L/min")
    assert (press["asked"]["flow"], press["asked"]["limit"]) == ("75 L/min", "2")
    refused = {"file": ("lines.json", file.replace(b"60 L/min", b"60"))}
    assert client.post(CROSS_CHECKS, files=refused).json()["errors"][0]["pointer"] == "/common/flow"


def test_a_line_is_answered_as_its_question_alone(client: TestClient) -> None:
    common = {"assumptions": "customary", "flow": "60 L/min"}
    answer = client.post(CROSS_CHECKS, json=as_json(), params=common).json()
    press, saw, _, _, lift = answer["lines"]
    for line, flow, limit in ((press, "75 L/min", 2), (lift, "60 L/min", 3)):
        duty = {"flow": flow, "assumptions": "customary"}
        question = {"original": {"number": line["asked"]["original.number"]}, "duty": duty, "limit": limit}
        alone = client.post(EQUIVALENTS, json=question).json()
        assert len(line["candidates"]) == limit
        told = [{name: each[name] for name in ALONE} for each in line["candidates"]]
        assert told == [{name: each[name] for name in ALONE} for each in alone["candidates"]]
        assert line["requirements"] == alone["requirements"]
        assert line["assumptions"] == alone["assumptions"]
        asked = {"original.number": line["asked"]["original.number"], **common, "flow": flow, "limit": str(limit)}
        assert line["asked"] == asked
    compared = {"elements": [{"number": "Dulse 24"}, {"number": "12-2"}], "original": {"number": "00417"}}
    alone = client.post("/v1/comparisons", json=compared | {"duty": common}).json()
    assert saw["mode"] == "judged"
    told = [{name: each[name] for name in ALONE} for each in saw["candidates"]]
    assert told == [{name: each[name] for name in ALONE} for each in alone["elements"]]


def test_a_faulty_line_is_told_in_its_own_row_and_as_it_was_typed(client: TestClient) -> None:
    lines = client.post(CROSS_CHECKS, content=as_csv(), headers=CSV).json()["lines"]
    assert [(each["row"], each["status"]) for each in lines if each["problem"]] == [(4, "fault"), (5, "fault")]
    missing, unread = (each["problem"] for each in lines if each["problem"])
    assert (missing["code"], missing["errors"][0]["field"]) == ("not-on-file", "original.number")
    assert (unread["code"], unread["errors"][0]["field"]) == ("quantity", "flow")
    assert "75" in unread["detail"]
    assert "L/min" in unread["errors"][0]["remedy"]


def test_all_lines_are_ranked_or_all_are_judged_where_that_is_asked(client: TestClient) -> None:
    ranked = client.post(CROSS_CHECKS, json=as_json() | {"mode": "rank"}).json()["lines"]
    assert {line["mode"] for line in ranked} == {"ranked"}
    assert len(ranked[1]["candidates"]) == 3
    judged = client.post(CROSS_CHECKS, content=as_csv(), headers=CSV, params={"mode": "judge"}).json()["lines"]
    assert [line["status"] for line in judged] == ["fault", "answered", "fault", "fault", "fault"]
    assert judged[4]["problem"]["errors"][0]["field"] == "elements.1.number"


def test_the_tables_hold_what_the_lines_do(client: TestClient) -> None:
    lines = client.post(CROSS_CHECKS, content=as_csv(), headers=CSV).json()["lines"]
    for table, its in TABLES.items():
        asked = {"content": as_csv(), "headers": CSV, "params": {"table": table, "units": "us"}}
        text = client.post(f"{CROSS_CHECKS}.csv", **asked).text
        rows = list(csv.DictReader(io.StringIO(text)))
        assert text.partition("\r\n")[0].split(",")[: len(its.columns("us"))] == list(its.columns("us"))
        packed = pq.read_table(io.BytesIO(client.post(f"{CROSS_CHECKS}.parquet", **asked).content)).to_pylist()
        assert [(row["line"], row["maker"] or None) for row in rows] == [(row["line"], row["maker"]) for row in packed]
        assert [row["cautions"] != "" for row in rows] == [True] + [False] * (len(rows) - 1)
        if table == "summary":
            named = [(row["line"], row["verdict"], row["number"].removeprefix("'")) for row in rows if row["number"]]
            assert [(line, number) for line, _, number in named] == [
                (line["line"], each["element"]["number"]) for line in lines for each in line["candidates"]
            ]
            assert {verdict for _, verdict, _ in named} <= {"meets", "misses", "not_shown"}
            assert [row["problem"] != "" for row in rows if row["line"] in ("mill", "crane")] == [True, True]


def test_a_workbook_sent_back_is_answered_the_same(client: TestClient) -> None:
    asked = {"assumptions": "customary", "limit": "2"}
    answered = client.post(CROSS_CHECKS, content=as_csv(), headers=CSV, params=asked)
    workbook = client.post(f"{CROSS_CHECKS}.xlsx", content=as_csv(), headers=CSV, params=asked)
    assert workbook.headers["content-type"] == MEDIA_TYPES["xlsx"]
    assert int(workbook.headers["content-length"]) == len(workbook.content)
    again = client.post(CROSS_CHECKS, content=workbook.content, headers=XLSX)
    assert lines_of(again) == lines_of(answered)


# --- what is refused ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("query", "code", "pointer"),
    [
        ({"flw": "75 L/min"}, "question", "/flw"),
        ({"flow": "75"}, "quantity", "/flow"),
        ({"limit": str(MOST_CANDIDATES + 1)}, "question", "/limit"),
        ({"mode": "guess"}, "request", "/mode"),
        ({"table": "criteria"}, "question", "/table"),
        ({"include_windows": "true"}, "question", "/include_windows"),
        ({"elements.1.number": "12-1"}, "question", "/elements.1.number"),
        ({"as_of": "999"}, "question", "/as_of"),
    ],
)
def test_what_is_wrong_for_all_lines_refuses_them_all(
    client: TestClient, query: dict[str, str], code: str, pointer: str
) -> None:
    told = refusal(client.post(CROSS_CHECKS, content=as_csv(), headers=CSV, params=query), 422, code, pointer)
    if "flw" in query:
        assert told["errors"][0]["remedy"] == "Is flow meant?"


def test_what_is_no_list_of_lines_is_refused_whole(client: TestClient) -> None:
    refusal(client.post(CROSS_CHECKS, content=b"{", headers={"content-type": "application/json"}), 400, "malformed")
    refusal(client.post(CROSS_CHECKS, json={"lines": [], "comon": {}}), 422, "question", "/comon")
    twice = as_json() | {"common": {"flow": "75 L/min"}}
    refusal(client.post(CROSS_CHECKS, json=twice, params={"flow": "60 L/min"}), 422, "question", "/common/flow")
    unread = client.post(CROSS_CHECKS, json=as_json() | {"common": {"flow": "75"}})
    refusal(unread, 422, "quantity", "/common/flow")
    refusal(client.post(CROSS_CHECKS, content=as_csv(), headers={"content-type": "text/html"}), 415, "media-type")
    assert client.post(CROSS_CHECKS, content=b"PK\x03\x04 no workbook", headers=XLSX).status_code == 422
    for kind, most in (("application/json", LINES_BYTES), ("text/csv", UPLOAD_BYTES)):
        announced = {"content-type": kind, "content-length": str(most + 1)}
        assert refusal(client.post(CROSS_CHECKS, content=b"", headers=announced), 413, "too-large")


def test_beyond_two_at_once_others_are_told_to_come_again(client: TestClient) -> None:
    places: Places = client.app.state.long_work  # type: ignore[attr-defined]
    taken = [places.take() for _ in range(AT_ONCE)]
    response = client.post(CROSS_CHECKS, content=as_csv(), headers=CSV)
    refusal(response, 503, "busy")
    assert int(response.headers["retry-after"]) > 0
    taken[0].give_back()
    for form in ("json", "xlsx"):
        assert client.post(CROSS_CHECKS, content=as_csv(), headers=CSV, params={"format": form}).status_code == 200
    refusal(client.post(CROSS_CHECKS, content=b"nothing\r\n1\r\n", headers=CSV), 422, "question")
    assert client.post(CROSS_CHECKS, content=as_csv(), headers=CSV).status_code == 200  # no fault keeps a place
    taken[1].give_back()


# --- sent as they are answered --------------------------------------------------------------------


class Watched:
    """A service asked for lines, spoken to without any client between; ``asked`` counts the lines whose answers were
    worked out, ``sent_before`` the bytes that had been sent before each."""

    def __init__(self, client: TestClient, monkeypatch: pytest.MonkeyPatch, *, leave_after: int, fail_at: int):
        self.app, self.leave_after, self.fail_at = client.app, leave_after, fail_at
        self.messages: list[Message] = []
        self.asked = 0
        self.sent_before: list[int] = []
        answers = cross_checking.answer_lines

        def watching(*given: Any, **named: Any) -> Iterator[LineAnswer]:
            for answer in answers(*given, **named):
                self.asked += 1
                self.sent_before.append(len(self.body))
                if self.asked == self.fail_at:
                    raise RuntimeError("a fault of the program's own")
                yield answer

        monkeypatch.setattr(cross_checking, "answer_lines", watching)

    @property
    def body(self) -> bytes:
        return b"".join(message.get("body", b"") for message in self.messages)

    @property
    def is_whole(self) -> bool:
        return not self.messages[-1].get("more_body", False)

    def ask(self, query: str, lines: int) -> None:
        asyncio.run(self._ask(query.encode(), as_csv([("", "Dulse 23", "", "1", "", "")] * lines)))

    async def _ask(self, query: bytes, content: bytes) -> None:
        gone = asyncio.Event()
        left = [{"type": "http.request", "body": content}]

        async def receive() -> Message:
            if left:
                return left.pop()
            await gone.wait()
            return {"type": "http.disconnect"}

        async def send(message: Message) -> None:
            self.messages.append(message)
            if self.asked >= self.leave_after:
                gone.set()
                await asyncio.sleep(0)

        scope = {
            "type": "http", "asgi": {"version": "3.0", "spec_version": "2.3"}, "http_version": "1.1", "method": "POST",
            "scheme": "http", "path": CROSS_CHECKS, "raw_path": CROSS_CHECKS.encode(), "root_path": "",
            "query_string": query, "headers": [(b"content-type", b"text/csv")], "server": ("testserver", 80),
        }  # fmt: skip
        await self.app(scope, receive, send)


@pytest.mark.parametrize("form", ["json", "csv"])
def test_lines_are_sent_while_others_are_worked_out(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, form: str
) -> None:
    watched = Watched(client, monkeypatch, leave_after=99, fail_at=99)
    watched.ask(f"format={form}", 4)
    assert watched.asked == 4
    assert watched.is_whole
    assert 0 < watched.sent_before[0] < watched.sent_before[1] < watched.sent_before[2] < watched.sent_before[3]


def test_work_ends_when_the_caller_goes_away(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    watched = Watched(client, monkeypatch, leave_after=2, fail_at=99)
    watched.ask("format=json", 40)
    assert 2 <= watched.asked < 10
    client.app.state.long_work.take().give_back()  # type: ignore[attr-defined]


def test_half_an_answer_does_not_look_whole(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    watched = Watched(client, monkeypatch, leave_after=99, fail_at=3)
    with pytest.raises(RuntimeError):
        watched.ask("format=csv", 5)
    assert watched.body.count(b"\r\n") == 3
    assert not watched.is_whole
    taken = [client.app.state.long_work.take() for _ in range(AT_ONCE)]  # type: ignore[attr-defined]
    for place in taken:
        place.give_back()
