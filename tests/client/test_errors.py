"""What a script meets where a service does not answer as it should, or nothing answers at all."""

from __future__ import annotations

import json
import socket
import sqlite3
from collections.abc import Callable
from pathlib import Path

import httpx2
import pytest

import specdb
from specdb.client.telling import error_of
from specdb.errors import ImportRefusedError, family
from specdb.problems import of_error, of_status

Handler = Callable[[httpx2.Request], httpx2.Response]


def _asking(handler: Handler) -> specdb.Catalogue:
    transport = httpx2.MockTransport(handler)
    return specdb.connect(client=httpx2.Client(transport=transport, base_url="http://shelf.example/specdb/"))


def test_a_service_that_is_not_there_is_one_clear_error() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    asked = specdb.connect(f"http://127.0.0.1:{port}")
    with asked as catalogue, pytest.raises(specdb.ServiceUnreachableError) as caught:
        catalogue.search("Dulse")
    assert str(caught.value).startswith("The service cannot be reached")
    assert caught.value.value == f"http://127.0.0.1:{port}"
    assert caught.value.problem["type"] == "urn:specdb:problem:service-unreachable"
    assert "specdb serve" in str(caught.value.remedy)


def test_a_service_that_keeps_silent_is_not_waited_for_without_end() -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        address = f"http://127.0.0.1:{silent.getsockname()[1]}"
        in_time = pytest.raises(specdb.ServiceUnreachableError, match="does not answer in time")
        with specdb.connect(address, seconds=0.2) as catalogue, in_time:
            catalogue.revisions()


@pytest.mark.parametrize(
    "response",
    [
        httpx2.Response(200, text="<html>Welcome</html>"),
        httpx2.Response(200, json={"hits": 3}),
        httpx2.Response(502, text="<html>Bad gateway</html>"),
        httpx2.Response(302, headers={"location": "/login"}),
        httpx2.Response(400, content=b"{", headers={"content-type": "application/problem+json"}),
    ],
)
def test_what_answers_and_is_no_service_is_the_same_error(response: httpx2.Response) -> None:
    with pytest.raises(specdb.ServiceUnreachableError, match="no specdb service"):
        _asking(lambda _: response).search("Dulse")


@pytest.mark.parametrize("address", ["127.0.0.1:8000", "ftp://127.0.0.1", "", "http://", "catalog.db"])
def test_what_is_no_address_is_refused_at_once(address: str) -> None:
    with pytest.raises(specdb.ServiceUnreachableError, match="no address"):
        specdb.connect(address)


def test_a_service_below_a_path_is_asked_there_and_its_pages_too() -> None:
    asked = []

    def answer(request: httpx2.Request) -> httpx2.Response:
        asked.append(str(request.url))
        following = {} if "cursor" in str(request.url) else {"next": "/v1/revisions?cursor=x"}
        page = {"catalog_revision": 3, "total": 2, "limit": 500, "revisions": [], **following}
        return httpx2.Response(200, json=page)

    assert _asking(answer).revisions().next is None
    below = "http://shelf.example/specdb/v1/revisions"
    assert asked == [f"{below}?limit=500", f"{below}?cursor=x"]


def test_lines_come_one_by_one_however_the_answer_is_cut(here: specdb.Catalogue) -> None:
    asked = [{"line": f"no. {n} ]}},", "original.number": number} for n, number in enumerate(("Dulse 23", "12-1", "x"))]
    whole = here.cross_check(asked, limit=1)
    whole.notes = ['\\"lines":[']
    written = whole.model_dump_json(exclude={"answered", "faulty"}).removesuffix("}") + ',"answered":3}'
    for size in (1009, 1 << 16, len(written)):
        pieces = [written[at : at + size].encode() for at in range(0, len(written), size)]
        far = _asking(lambda _, pieces=pieces: httpx2.Response(200, content=iter(pieces)))  # type: ignore[misc]
        assert list(far.cross_check_each(asked)) == whole.lines
    broken = _asking(lambda _: httpx2.Response(200, content=iter([written[: len(written) // 2].encode()])))
    with pytest.raises(specdb.ServiceUnreachableError, match="broke off") as caught:
        list(broken.cross_check_each(asked))
    assert caught.value.problem["status"] == 503


def test_fields_that_a_later_service_adds_are_passed_over(here: specdb.Catalogue) -> None:
    told = here.search("lse 23")
    document = told.model_dump() | {"added": 1}
    document["hits"][0] |= {"added": {"more": 2}}
    assert _asking(lambda _: httpx2.Response(200, json=document)).search("lse 23") == told


@pytest.mark.parametrize("kind", [each for each in family() if each is not ImportRefusedError], ids=lambda e: e.code)
def test_every_error_of_the_family_comes_back_as_it_was(kind: type[specdb.SpecdbError]) -> None:
    for fault in (
        kind("This is wrong.", field="duty.require.0.size", value="10 um", remedy="Add its scale."),
        kind.of([kind("No.", field="q", value="a/b~c"), kind("No.", field="duty.flow", remedy="Write 75 L/min.")]),
    ):
        document = of_error(fault).model_dump(exclude_none=True)
        found = error_of(json.loads(json.dumps(document)))
        assert (type(found), str(found), found.problem) == (kind, str(fault), document)
        assert [str(each) for each in found.faults] == [str(each) for each in fault.faults]


def test_a_busy_service_says_when_to_ask_again() -> None:
    document = of_status(503, "Others are being answered.").model_dump(exclude_none=True)
    headers = {"content-type": "application/problem+json", "retry-after": "30"}
    answers = iter((httpx2.Response(503, json=document, headers=headers), httpx2.Response(503, json=document)))
    asked = _asking(lambda _: next(answers))
    with pytest.raises(specdb.ServiceBusyError, match="Others") as caught:
        asked.cross_check([{"original.number": "12-1"}])
    assert caught.value.retry_after_s == 30
    assert caught.value.problem["type"] == "urn:specdb:problem:busy"
    with pytest.raises(specdb.ServiceUnreachableError):
        asked.cross_check_each([{"original.number": "12-1"}])


def test_a_problem_of_a_later_service_is_told_all_the_same() -> None:
    document = {"type": "urn:specdb:problem:new", "title": "New", "status": 423, "detail": "Locked."}
    problem = httpx2.Response(423, json=document, headers={"content-type": "application/problem+json; charset=utf-8"})
    with pytest.raises(specdb.InputError, match="Locked") as caught:
        _asking(lambda _: problem).search("Dulse")
    assert caught.value.problem == document
    assert type(error_of(document | {"status": 507})) is specdb.SpecdbError


def test_a_store_that_is_not_there_is_not_made(tmp_path: Path) -> None:
    with pytest.raises(specdb.StoreError, match="no store here yet") as caught:
        specdb.open(tmp_path / "none?.db")
    assert caught.value.problem["type"] == "urn:specdb:problem:store"
    assert str(tmp_path / "none?.db") in str(caught.value)
    assert "specdb.open" in str(caught.value)
    assert "SPECDB_DATABASE_URL" not in str(caught.value)
    assert not list(tmp_path.iterdir())
    (tmp_path / "text.db").write_text("text " * 500)
    with sqlite3.connect(tmp_path / "foreign.db") as foreign:
        foreign.execute("CREATE TABLE invoice (id INTEGER)")
    foreign.close()
    for name, said in (("text.db", "not a database"), ("", "a folder"), ("foreign.db", "another program")):
        with pytest.raises(specdb.StoreError, match=said) as caught:
            specdb.open(tmp_path / name)
        assert str(caught.value).startswith(f"{tmp_path / name}: ")
    with pytest.raises(specdb.StoreError, match="blank"):
        specdb.open("")


def test_a_store_that_vanishes_is_told(tmp_path: Path, demo_store_url: str) -> None:
    file = tmp_path / "catalog.db"
    file.write_bytes(Path(demo_store_url.removeprefix("sqlite:///")).read_bytes())
    with specdb.open(file) as catalogue:
        assert catalogue.search("Dulse").hits
        file.unlink()
        with pytest.raises(specdb.StoreUnreachableError) as caught:
            catalogue.search("Dulse")
    assert caught.value.problem["status"] == 503
    assert "gone" in caught.value.problem["detail"]
