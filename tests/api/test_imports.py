"""Taking a catalogue in over HTTP: what is taken, what is refused, and that nothing is changed by what is refused."""

from __future__ import annotations

import io
import shutil
import threading
import tracemalloc
import zipfile
from collections.abc import Callable, Iterator
from typing import Any

import openpyxl
import pytest
import sqlalchemy as sa
from httpx2 import Response
from starlette.testclient import TestClient
from starlette.types import Message

from api import create_app
from api.admission import IMPORTS, UPLOAD_BYTES
from api.uploads import HOSTS_VARIABLE, PARTS_READ
from specdb.catalog.store import read_session
from specdb.catalog.tables import metadata
from specdb.demo import demo_folder
from tests.api.asking import refusal, spoken

ELEMENTS = "maker,number,kind\nDemo Works,DW 1,spin-on\nDemo Works,DW 2,spin-on\n"
CHUNK = 2**16
LIMIT = {"characteristic": "collapse_pressure", "at_least": "5 bar"}


def send(client: TestClient, content: bytes | str, name: str = "elements.csv", **more: Any) -> Any:
    sent = content if isinstance(content, bytes) else content.encode()
    return client.post(IMPORTS, files={"file": (name, sent)}, **more)


def zipped(files: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", method) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return packed.getvalue()


def folder_zipped() -> bytes:
    folder = demo_folder()
    files = (file for file in sorted(folder.rglob("*")) if file.is_file())
    return zipped({str(file.relative_to(folder)): file.read_bytes() for file in files})


def on_file(client: TestClient) -> dict[str, int]:
    """The number of rows in every table of the store behind a service."""
    with read_session(client.app.state.catalogue.engine) as connection:
        return {
            table.name: connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
            for table in metadata.sorted_tables
        }


@pytest.fixture(scope="module")
def over_demo(demo_store_url: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A service that takes imports, over a copy of the demo store that all tests of this file share."""
    file = shutil.copy(str(sa.make_url(demo_store_url).database), tmp_path_factory.mktemp("shared") / "store.sqlite")
    with TestClient(create_app(f"sqlite:///{file}", allow_writes=True), raise_server_exceptions=False) as started:
        yield started


@pytest.fixture
def guarded(over_demo: TestClient) -> Iterator[TestClient]:
    """That service; fails the test if it changed the store, or if the service no longer answers."""
    before = on_file(over_demo)
    yield over_demo
    assert on_file(over_demo) == before
    assert over_demo.get("/health").json()["catalog_revision"] == 1


# --- what is taken --------------------------------------------------------------------------------


@pytest.fixture(params=["sqlite", "postgresql"])
def empty(request: pytest.FixtureRequest) -> Iterator[TestClient]:
    """A service that takes imports over an empty store, on each database in turn."""
    url = request.getfixturevalue("store_url" if request.param == "sqlite" else "pg_store_url")
    with TestClient(create_app(url, allow_writes=True)) as client:
        yield client


def test_a_file_is_taken_in_once(empty: TestClient) -> None:
    first = send(empty, ELEMENTS, params={"actor": "Ada", "reason": "first"})
    assert first.status_code == 200
    answer = first.json()
    assert (answer["revision"], answer["catalog_revision"], answer["dry_run"]) == (1, 1, False)
    assert answer["added"]["elements"] == 2
    again = send(empty, ELEMENTS).json()
    assert (again["revision"], again["catalog_revision"], again["added"]["elements"]) == (None, 1, 0)
    assert again["unchanged"]["elements"] == 2
    told = empty.get("/v1/revisions").json()["revisions"]
    assert [(each["actor"], each["reason"]) for each in told] == [("Ada", "first")]


def test_the_folder_is_taken_in_as_a_zip(guarded: TestClient) -> None:
    answer = send(guarded, folder_zipped(), "catalogue.zip").json()
    assert answer["revision"] is None  # it is on file already, all of it
    assert answer["unchanged"]["elements"] > 10
    assert set(answer["added"].values()) == {0}


def test_a_dry_run_says_what_would_be_and_changes_nothing(empty: TestClient) -> None:
    answer = send(empty, ELEMENTS, params={"dry_run": "true"}).json()
    assert (answer["revision"], answer["catalog_revision"], answer["dry_run"]) == (None, 0, True)
    assert answer["added"]["elements"] == 2
    assert on_file(empty)["element"] == 0
    assert send(empty, ELEMENTS).json()["revision"] == 1


def test_what_was_asked_before_is_asked_anew_after_an_import(empty: TestClient) -> None:
    send(empty, ELEMENTS)
    question = {"original": {"number": "DW 1"}, "duty": {"require": [LIMIT]}}
    considered = empty.post("/v1/equivalents", json=question).json()["considered"]
    paths = ("/health", "/v1/elements", "/v1/revisions", "/v1/elements.csv")
    before = {path: empty.get(path) for path in paths}
    send(empty, "maker,number,kind\nDemo Works,DW 3,spin-on\n")
    for path, known in before.items():
        after = empty.get(path, headers={"if-none-match": known.headers["etag"]})
        assert after.status_code == 200
        assert after.headers["etag"] != known.headers["etag"]
        assert after.text != known.text
    assert empty.get("/health").json()["catalog_revision"] == 2
    assert empty.post("/v1/equivalents", json=question).json()["considered"] == considered + 1


def test_an_import_may_be_tied_to_the_state_that_was_seen(empty: TestClient) -> None:
    response = send(empty, ELEMENTS, params={"expected_revision": 3})
    document = refusal(response, 409, "revision-moved", "/expected_revision")
    assert "0" in document["detail"]
    assert on_file(empty)["element"] == 0
    assert send(empty, ELEMENTS, params={"expected_revision": 0}).json()["revision"] == 1
    refusal(send(empty, ELEMENTS, params={"expected_revision": 0}), 409, "revision-moved", "/expected_revision")
    # A faulty file that was made for another state is first of all that.
    refusal(send(empty, "maker\n", params={"expected_revision": 0}), 409, "revision-moved", "/expected_revision")


def test_two_imports_at_once_become_two_revisions(empty: TestClient) -> None:
    answers: list[Any] = []
    rows = [f"maker,number,kind\nDemo Works,DW {n},spin-on\n" for n in range(4)]
    threads = [threading.Thread(target=lambda row=row: answers.append(send(empty, row))) for row in rows]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answer.json()["revision"] for answer in answers) == [1, 2, 3, 4]
    assert on_file(empty)["element"] == 4


@pytest.mark.parametrize(
    "name",
    [
        "../../etc/elements.csv",
        "C:\\data\\elements.csv",
        "elements.csv\\",
        "a" * 3000 + ".csv",
        "é µ.csv",
        "=cmd|x",
        "\u202eelements.csv",
    ],
)
def test_what_the_file_is_called_does_no_harm(store_url: str, name: str) -> None:
    with TestClient(create_app(store_url, allow_writes=True)) as client:
        assert send(client, ELEMENTS, name).status_code == 200
        reason = client.get("/v1/revisions").json()["revisions"][0]["reason"]
    assert reason.startswith("import of ")
    assert reason.isprintable()
    assert len(reason) < 120


def test_the_answer_is_json_alone(empty: TestClient) -> None:
    refusal(send(empty, ELEMENTS, headers={"accept": "text/csv"}), 406, "not-acceptable")
    assert on_file(empty)["element"] == 0


# --- who may --------------------------------------------------------------------------------------


def endless() -> Iterator[Message]:
    while True:
        yield {"type": "http.request", "body": b"x" * CHUNK, "more_body": True}


FORM = [(b"content-type", b"multipart/form-data; boundary=x"), (b"host", b"testserver")]


def test_nothing_is_read_where_imports_are_not_allowed(client: TestClient) -> None:
    document = refusal(send(client, ELEMENTS), 403, "writes-refused")
    assert "--allow-writes" in document["detail"]
    told = spoken(client.app, "POST", IMPORTS, headers=FORM, messages=endless())
    assert (told.status, told.read) == (403, 0)


@pytest.mark.parametrize(
    "origin",
    ["https://page.example", "null", "", "http://testserver:81", "http://testserver.example", "http://[", "testserver", "file://"],
)
def test_a_page_of_another_origin_may_not_import(guarded: TestClient, origin: str) -> None:
    refusal(send(guarded, ELEMENTS, headers={"origin": origin}), 403, "writes-refused")
    headers = [*FORM, (b"origin", origin.encode())]
    told = spoken(guarded.app, "POST", IMPORTS, headers=headers, messages=endless())
    assert (told.status, told.read) == (403, 0)


@pytest.mark.parametrize(
    ("origin", "host"),
    [
        ("http://127.0.0.1:8000", "127.0.0.1:8000"),
        ("http://[::1]:8000", "[::1]:8000"),
        ("http://localhost", "localhost"),
        ("HTTP://LocalHost:80", "localhost:80"),
        ("https://catalogue.example", "catalogue.example"),
        ("http://192.0.2.7", "192.0.2.7"),
    ],
)
def test_a_page_of_the_service_may_import(
    store_url: str, monkeypatch: pytest.MonkeyPatch, origin: str, host: str
) -> None:
    monkeypatch.setenv(HOSTS_VARIABLE, "counter Catalogue.example")
    with TestClient(create_app(store_url, allow_writes=True)) as client:
        assert send(client, ELEMENTS, headers={"origin": origin, "host": host}).json()["revision"] == 1


@pytest.mark.parametrize(
    "host", ["page.example", "page.example:80", "127.0.0.1.page.example", "localhost.page.example", "0x7f000001", "[1"]
)
def test_a_page_under_a_name_that_is_not_the_services_own_may_not_import(guarded: TestClient, host: str) -> None:
    """Its owner can point the name at this machine once his page is open under it."""
    named = {"host": host, "origin": f"http://{host}"}
    document = refusal(send(guarded, ELEMENTS, headers=named), 403, "writes-refused")
    assert HOSTS_VARIABLE in document["detail"]
    told = spoken(
        guarded.app, "POST", IMPORTS, messages=endless(),
        headers=[FORM[0], *((name.encode(), value.encode()) for name, value in named.items())],
    )  # fmt: skip
    assert (told.status, told.read) == (403, 0)
    # A program says no origin, and is led by no page.
    assert send(guarded, ELEMENTS, headers={"host": host}, params={"dry_run": "true"}).status_code == 200


@pytest.mark.parametrize(("setting", "status"), [("1", 200), ("0", 403), ("", 403), ("true", 403), (None, 403)])
def test_the_setting_allows_imports(
    store_url: str, monkeypatch: pytest.MonkeyPatch, setting: str | None, status: int
) -> None:
    monkeypatch.delenv("SPECDB_ALLOW_WRITES", raising=False)
    if setting is not None:
        monkeypatch.setenv("SPECDB_ALLOW_WRITES", setting)
    with TestClient(create_app(store_url)) as client:
        response = send(client, ELEMENTS)
    if status == 200:
        assert response.status_code == 200
    else:
        refusal(response, status, "writes-refused")


# --- what is sent ---------------------------------------------------------------------------------


def part(disposition: str, content: str = ELEMENTS, more: str = "") -> str:
    return f"--x\r\nContent-Disposition: {disposition}\r\n{more}\r\n{content}\r\n"


FILE = 'form-data; name="file"; filename="elements.csv"'
OTHER = 'form-data; name="other"; filename="elements.csv"'
FIELD = 'form-data; name="actor"'
END = "--x--\r\n"


@pytest.mark.parametrize(
    ("body", "status", "code", "pointers"),
    [
        ("", 400, "malformed", []),
        (END, 422, "question", ["/file"]),
        (part(FILE), 400, "malformed", []),
        (part(FILE) + "--x", 400, "malformed", []),
        (part(FILE) + part(OTHER), 400, "malformed", []),
        (part(FILE) + part(FILE) + END, 422, "question", ["/file"]),
        (part(OTHER) + END, 422, "question", ["/other", "/file"]),
        (part(FILE) + part(OTHER) + END, 422, "question", ["/other"]),
        (part(FILE) + part(FIELD, "Ada") + END, 422, "question", ["/actor"]),
        (part('form-data; name="file"') + END, 422, "question", ["/file"]),
        (part(FILE.replace('"file"', '""')) + END, 422, "question", ["/file", "/file"]),
        (part(FILE) * (PARTS_READ + 1) + END, 400, "malformed", []),
        (part(FIELD, "Ada") * (PARTS_READ + 1) + END, 400, "malformed", []),
        (part("form-data") + END, 400, "malformed", []),
        ("--x\r\n\r\nno headers\r\n" + END, 400, "malformed", []),
        (ELEMENTS, 400, "malformed", []),
        ("--y\r\n" + part(FILE) + END, 400, "malformed", []),
        (part(FILE, more=f"X-Long: {'y' * 100_000}\r\n") + END, 400, "malformed", []),
        (part(FILE, more="X-Many: 1\r\n" * 1000) + END, 400, "malformed", []),
        (part(FIELD, "y" * 2**21) + END, 400, "malformed", []),
        (part(FILE, content="") + END, 422, "import-refused", ["/elements.csv"]),
        (part(FILE.replace("elements.csv", "")) + END, 422, "question", ["/file"]),
    ],
)
def test_a_form_that_is_not_one_file_is_refused(
    guarded: TestClient, body: str, status: int, code: str, pointers: list[str]
) -> None:
    headers = {"content-type": "multipart/form-data; boundary=x"}
    response = guarded.post(IMPORTS, content=body.encode(), headers=headers)
    refusal(response, status, code, *pointers)


@pytest.mark.parametrize(
    ("media_type", "status", "code"),
    [
        ("multipart/form-data", 400, "malformed"),
        ("multipart/form-data; boundary=", 400, "malformed"),
        (f"multipart/form-data; boundary={'x' * 5000}", 400, "malformed"),
        ("multipart/mixed; boundary=x", 415, "media-type"),
        ("application/json", 415, "media-type"),
        ("text/csv", 415, "media-type"),
        ("application/zip", 415, "media-type"),
        ("application/x-www-form-urlencoded", 415, "media-type"),
        ("multipart/form-data; boundary=x; charset=utf-16", 415, "media-type"),
        ("multipart/form-data; boundary=x; charset=undefined", 415, "media-type"),
        ("multipart/form-data; boundary=x; charset=idna", 415, "media-type"),
        (None, 415, "media-type"),
    ],
)
def test_only_a_form_is_taken(guarded: TestClient, media_type: str | None, status: int, code: str) -> None:
    headers = {} if media_type is None else {"content-type": media_type}
    refusal(guarded.post(IMPORTS, content=(part(FILE) + END).encode(), headers=headers), status, code)


def test_a_form_is_taken_however_its_type_is_spelt(writable: TestClient) -> None:
    headers = {"content-type": 'Multipart/Form-Data; charset=UTF-8; boundary="x"'}
    assert writable.post(IMPORTS, content=(part(FILE) + END).encode(), headers=headers).json()["revision"] == 2


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ("dry_run=yes", "/dry_run"),
        ("dry_run=1", "/dry_run"),
        ("dry_run=", "/dry_run"),
        ("actor=", "/actor"),
        (f"actor={'x' * 201}", "/actor"),
        ("reason=%00", "/reason"),
        ("expected_revision=-1", "/expected_revision"),
        ("expected_revision=1.5", "/expected_revision"),
        ("expected_revision=9223372036854775808", "/expected_revision"),
        ("dryrun=true", "/dryrun"),
        ("actor=a&actor=b", "/actor"),
        ("units=si", "/units"),
    ],
)
def test_a_faulty_query_is_refused(guarded: TestClient, query: str, pointer: str) -> None:
    refusal(send(guarded, ELEMENTS, params=query), 422, "request", pointer)


def test_every_faulty_row_is_named(guarded: TestClient) -> None:
    rows = "maker,number,kind\nDemo Works,DW 1,spin-on\n" + ",DW 2,spin-on\n" * 150
    response = send(guarded, rows)
    refusal(response, 422, "import-refused", *(f"/elements.csv/{line}/maker" for line in range(3, 153)))


# --- hostile files --------------------------------------------------------------------------------


def half_a_gibibyte() -> Iterator[Message]:
    yield {"type": "http.request", "body": part(FILE, content="").encode(), "more_body": True}
    for _ in range(500 * 2**20 // CHUNK):
        yield {"type": "http.request", "body": b"x" * CHUNK, "more_body": True}


def test_half_a_gibibyte_is_refused_on_the_way_in_small_memory(guarded: TestClient) -> None:
    tracemalloc.start()
    told = spoken(guarded.app, "POST", IMPORTS, headers=FORM, messages=half_a_gibibyte())
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    refusal(Response(told.status, headers=told.sent[0]["headers"], content=told.body), 413, "too-large")
    assert told.read == UPLOAD_BYTES // CHUNK + 1
    assert most < 16 * 2**20


def bomb() -> bytes:
    return zipped({"elements.csv": b"maker,number\n" + b"a," * 10_000_000})


def workbook_with_entities() -> bytes:
    book = io.BytesIO()
    workbook = openpyxl.Workbook()
    workbook.active.title = "elements"
    workbook.active.append(["maker", "number"])
    workbook.save(book)
    entities = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">' + b"".join(
        b'<!ENTITY %c "%s">' % (98 + n, b"&%c;" % (97 + n) * 10) for n in range(8)
    )
    with zipfile.ZipFile(book) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    for name, content in files.items():
        if name.endswith(".xml"):
            declared, _, rest = content.rpartition(b"?>")
            files[name] = (declared + b"?>" if declared else b"") + entities + b"]>" + rest
    return zipped(files)


def linked_zip() -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        link = zipfile.ZipInfo("elements.csv")
        link.external_attr = 0o120777 << 16
        archive.writestr(link, "/etc/passwd")
    return packed.getvalue()


HOSTILE: dict[str, Callable[[], bytes]] = {
    "outside.zip": lambda: zipped({"../elements.csv": ELEMENTS.encode()}),
    "absolute.zip": lambda: zipped({"/elements.csv": ELEMENTS.encode()}),
    "drive.zip": lambda: zipped({"C:\\elements.csv": ELEMENTS.encode()}),
    "link.zip": linked_zip,
    "bomb.zip": bomb,
    "many.zip": lambda: zipped({f"{number}.csv": b"" for number in range(20_000)}, zipfile.ZIP_STORED),
    "nested.zip": lambda: zipped({"elements.zip": bomb()}),
    "truncated.zip": lambda: folder_zipped()[:-100],
    "half.zip": lambda: folder_zipped()[: len(folder_zipped()) // 2],
    "broken.zip": lambda: folder_zipped().replace(b"elements", b"elementz", 1),
    "empty.zip": lambda: zipped({}),
    "begins.zip": lambda: b"PK\x03\x04",
    "entities.xlsx": workbook_with_entities,
    "old.xls": lambda: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(1000),
    "elements.csv": lambda: b"maker,number,kind\nDemo Works," + b"x" * 2**20 + b",spin-on\n",
    "quoted.csv": lambda: b'maker,number\n"' + b"x" * 2**22,
    "nul.csv": lambda: b"maker,number\nDemo\x00Works,1\n",
    "noise.csv": lambda: bytes(range(256)) * 1000,
    "columns.csv": lambda: b"maker,number," + b",".join(b"c%d" % n for n in range(100_000)) + b"\n",
    "blank.csv": lambda: b"\n" * 100_000,
}
FAULTY_LINE = {
    "elements.csv": "/2",
    "quoted.csv": "/2",
    "nul.csv": "/2",
    "noise.csv": "/2",
    "columns.csv": "/1",
}
"""Where in the file the fault is; any other is refused as a whole."""


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_a_clear_problem_and_changes_nothing(guarded: TestClient, name: str) -> None:
    response = send(guarded, HOSTILE[name](), name)
    document = refusal(response, 422, "import-refused", f"/{name}{FAULTY_LINE.get(name, '')}")
    assert len(response.content) < 200_000
    assert document["errors"][0]["remedy"]
    assert "Traceback" not in response.text


def test_a_sender_that_goes_away_changes_nothing(guarded: TestClient) -> None:
    half = [{"type": "http.request", "body": part(FILE).encode(), "more_body": True}]
    assert spoken(guarded.app, "POST", IMPORTS, headers=FORM, messages=half).sent == []
