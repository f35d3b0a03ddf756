"""Single cells: what a spreadsheet's web function is answered, and that it is plain text whatever is asked."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from starlette.testclient import TestClient

from api import create_app
from api.admission import ADDRESS_BYTES
from api.cells import CODE_HEADER, DETAIL_HEADER
from specdb.answers.cells import LONGEST, WORDS, cell_text, in_ascii, number_text
from specdb.catalog.store import open_store
from specdb.exchange import import_folder

CELLS = "/v1/cells"
ORIGINAL = {"original.number": "Dulse 23", "assumptions": "customary"}
WORD = re.compile(r"!([a-z_]+)(: .+)?")


@pytest.fixture
def cell(client: TestClient) -> Callable[..., str]:
    def read(name: str, query: Mapping[str, str] | None = None, **further: str) -> str:
        response = client.get(f"{CELLS}/{name}", params={**(query or {}), **further})
        text = response.text
        assert response.status_code == 200
        assert response.headers["content-type"] == "text/plain; charset=utf-8"
        assert "\n" not in text
        assert len(text) <= LONGEST
        word = WORD.fullmatch(text)
        assert (CODE_HEADER in response.headers) == (DETAIL_HEADER in response.headers) == bool(word)
        assert ("etag" in response.headers) == (not word)
        assert not word or word[1] in WORDS
        return text

    return read


# --- verdicts and candidates -----------------------------------------------------------------------


def told(candidate: Mapping[str, Any]) -> str:
    """The verdict of a candidate of the JSON answer as its cell tells it."""

    def titles(verdict: str) -> list[str]:
        counted = [c for c in candidate["criteria"] if not c["advisory"] and c["verdict"] == verdict]
        return [titled[c["requirement"]] for c in counted]

    titled = {c["requirement"]: re.sub(r" \(.*", "", c["title"]) for c in candidate["titled"]}
    missed = list(dict.fromkeys(titles("misses")))
    unshown = [title for title in dict.fromkeys(titles("not_shown")) if title not in missed]
    if not missed and not unshown:
        proven = [c["verdict_without_assumptions"] == "meets" for c in candidate["criteria"] if not c["advisory"]]
        by_grace = not all(proven)
        return "meets on assumptions" if by_grace else "meets"
    parts = [f"misses: {', '.join(missed)}"] * bool(missed) + [f"not shown: {', '.join(unshown)}"] * bool(unshown)
    return "; ".join(parts)


@pytest.fixture(scope="module")
def ranked(client: TestClient) -> list[dict[str, Any]]:
    answer = client.get("/v1/equivalents", params={**ORIGINAL, "limit": "50"}).json()
    return [{**candidate, "titled": _titled(answer)} for candidate in answer["candidates"]]


def _titled(answer: dict[str, Any]) -> list[dict[str, str]]:
    return [{"requirement": each["id"], "title": each["title"]} for each in answer["requirements"]]


def test_a_verdict_is_that_of_the_whole_answer(cell: Callable[..., str], ranked: list[dict[str, Any]]) -> None:
    seen = set()
    for candidate in ranked:
        element, expected = candidate["element"], told(candidate)
        named = {"number": element["number"], "maker": element["maker"]}
        text = cell("verdict", ORIGINAL, **named)
        assert text == (expected if len(expected) <= LONGEST else f"{expected[: LONGEST - 3]}...")
        assert cell("verdict", ORIGINAL, **{f"elements.1.{name}": its for name, its in named.items()}) == text
        assert cell("verdict", ORIGINAL, element_id=element["element_id"]) == text
        seen.add(re.match("(meets|misses|not shown)", text)[0])  # type: ignore[index]
    assert seen == {"meets", "misses", "not shown"}


def test_candidates_are_given_place_by_place(cell: Callable[..., str], ranked: list[dict[str, Any]]) -> None:
    for place in (1, 2, 5):
        candidate = ranked[place - 1]
        element, asked = candidate["element"], {**ORIGINAL, "place": str(place)}
        number = element["number"]
        guarded = f"'{number}" if number[0] in "=+-@" else number
        assert cell("best", asked) == f"{element['maker']} {number}"
        assert cell("best", asked, give="number") == guarded
        assert cell("best", asked, give="maker") == element["maker"]
        assert cell("best", asked, give="verdict") == told(candidate)
        assert cell("best", asked, give="sentence", ascii="yes") == in_ascii(candidate["sentence"])[:LONGEST]
    assert cell("best", ORIGINAL) == cell("best", ORIGINAL, place="1")
    few = {"require.1.characteristic": "water_capacity", "require.1.at_least": "1 g"}
    assert cell("best", few).startswith("!") is False
    assert cell("best", few, place="50") == "!no_candidate"


# --- ratings ---------------------------------------------------------------------------------------


def test_a_rating_is_told_in_the_unit_asked_with_the_sign_of_a_bound(
    cell: Callable[..., str], client: TestClient
) -> None:
    asked = {"number": "Dulse 23", "characteristic": "collapse_pressure"}
    found = next(e for e in client.get("/v1/search?q=Dulse 23").json()["hits"] if e["element"]["number"] == "Dulse 23")
    ratings = client.get(f"/v1/elements/{found['element']['element_id']}").json()["ratings"]
    rating = next(each for each in ratings if each["characteristic"] == "collapse_pressure")
    assert (rating["qualifier"], rating["value"], rating["unit"]) == ("at_least", 1000.0, "kPa")
    assert cell("rating", asked) == ">= 1000"
    assert cell("rating", asked, unit="bar") == ">= 10"
    assert cell("rating", asked, unit="MPa", bare="yes") == "1"
    assert cell("rating", asked, units="us") == ">= 145.038"
    assert cell("rating", {**asked, "characteristic": "Collapse pressure"}, unit="kPa") == ">= 1000"
    assert cell("rating", asked, unit="L/min") == "!unit"
    assert cell("rating", {**asked, "characteristic": "outside_diameter"}, unit="in") == "3.77953"
    assert cell("rating", {**asked, "characteristic": "seal"}) == "NBR"


def test_conditions_tell_one_rating_from_others(cell: Callable[..., str]) -> None:
    asked = {"number": "Dulse 23", "characteristic": "filtration_ratio"}
    assert cell("rating", asked) == "!several"
    assert cell("rating", asked, size="5 um(c)", laboratory="maker").replace(".", "").isdecimal()
    assert cell("rating", asked, size="5 um(c)", laboratory="maker") == cell(
        "rating", asked, size="5 um", laboratory="maker", flow="19.8 US gpm", terminal_pressure_drop="1.7 bar"
    )
    assert cell("rating", asked, size="5 um(c)", flow="80 L/min") == "!not_stated"
    assert cell("rating", asked, size="5 um(acftd)") == "!not_stated"
    assert cell("rating", asked, size="5 parsec") == "!unit"
    label = cell("rating", asked, size="5 um(c)", flow="80 L/min", detail="yes")
    assert label.startswith("!not_stated: characteristic: Not on file at these conditions. On file: ")


# --- what is not answered --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "query", "word"),
    [
        ("verdict", {"number": "nope", **ORIGINAL}, "not_on_file"),
        ("verdict", {"number": "Dulse 24", "original.number": "nope"}, "not_on_file"),
        ("verdict", {"number": "Dulse 24"}, "nothing_required"),
        ("verdict", {"number": "Dulse 24", "as_of": "9999", **ORIGINAL}, "bad_value"),
        ("verdict", ORIGINAL, "missing"),
        ("verdict", {"number": "Dulse 24", "elements.1.number": "Dulse 24", **ORIGINAL}, "bad_name"),
        ("verdict", {"number": "Dulse 24", "elements.2.number": "12-1", **ORIGINAL}, "bad_name"),
        ("verdict", {"number": "Dulse 24", "flow": "75 parsec", **ORIGINAL}, "unit"),
        ("verdict", {"number": "Dulse 24", "flow": "75 kPa", **ORIGINAL}, "unit"),
        ("verdict", {"number": "Dulse 24", "flow": "seventy", **ORIGINAL}, "bad_value"),
        ("best", {"flow": "75", **ORIGINAL}, "unit"),
        ("best", {"require.1.characteristic": "retained_capacity", "require.1.at_least": "60"}, "unit"),
        ("verdict", {"number": "Dulse 24", "ascii": "perhaps", **ORIGINAL}, "bad_value"),
        ("verdict", {"number": "Dulse\x0024", **ORIGINAL}, "bad_value"),
        ("verdict", {"element_id": "\x00", **ORIGINAL}, "bad_value"),
        ("best", {"limit": "3", **ORIGINAL}, "bad_name"),
        ("best", {"place": "51", **ORIGINAL}, "bad_value"),
        ("best", {"place": "1_0", **ORIGINAL}, "bad_value"),
        ("best", {"give": "all", **ORIGINAL}, "bad_value"),
        ("best", {}, "nothing_required"),
        ("rating", {"number": "Dulse 23"}, "missing"),
        ("rating", {"number": "Dulse 23", "characteristic": "charm"}, "bad_value"),
        ("rating", {"number": "Dulse 23", "characteristic": "water_capacity"}, "not_stated"),
        ("foo", {}, "no_such_cell"),
        ("best.csv", ORIGINAL, "no_such_cell"),
        ("best/", ORIGINAL, "no_such_cell"),
    ],
)
def test_what_cannot_be_answered_is_a_short_word(
    cell: Callable[..., str], name: str, query: dict[str, str], word: str
) -> None:
    assert cell(name, query) == f"!{word}"


def test_a_row_that_is_not_filled_in_is_empty(cell: Callable[..., str]) -> None:
    assert cell("verdict", {"number": " ", "maker": "", "original.number": "nope"}) == ""
    assert cell("best", {"original.number": "", "flow": "75 L/min"}) == ""
    assert cell("rating", {"number": "", "characteristic": "nonsense"}) == ""


def test_whatever_befalls_a_request_is_plain_text(client: TestClient) -> None:
    wanting = {"accept": "text/html, application/json"}
    for address, word, code in (
        (f"{CELLS}/best?original.number=1&original.number=2", "bad_name", "request"),
        (f"{CELLS}/best?original.number=%ff", "bad_address", "malformed"),
        (f"{CELLS}/best?original.number=" + "x" * ADDRESS_BYTES, "too_long", "address-too-long"),
        (CELLS, "no_such_cell", "no-such-address"),
    ):
        response = client.get(address, headers=wanting)
        assert (response.status_code, response.text) == (200, f"!{word}")
        assert response.headers["content-type"] == "text/plain; charset=utf-8"
        assert response.headers[CODE_HEADER] == code
        assert response.headers["cache-control"] == "no-store"
    for method in ("POST", "OPTIONS", "PUT", "PROPFIND"):
        refused = client.request(method, f"{CELLS}/best")
        assert (refused.status_code, refused.text, refused.headers["allow"]) == (405, "!method", "GET, HEAD")
        assert refused.headers["content-type"] == "text/plain; charset=utf-8"


def test_a_store_that_is_gone_and_a_failure_are_short_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    open_store(url := f"sqlite:///{tmp_path / 'store.sqlite'}", create=True).dispose()
    with TestClient(create_app(url), raise_server_exceptions=False) as client:
        asked = f"{CELLS}/best?original.number=1"
        monkeypatch.setattr("api.routes.cells.question_of", lambda _: 1 / 0)
        failed = client.get(asked + "&detail=yes")
        assert failed.text == "!failed: The cause has been logged under the name of this request."
        monkeypatch.undo()
        (tmp_path / "store.sqlite").unlink()
        gone = client.get(asked)
        assert (gone.status_code, gone.text) == (200, "!store")
        assert gone.headers[CODE_HEADER] == "store-unreachable"


def test_a_cell_is_kept_until_the_catalogue_changes(client: TestClient) -> None:
    address = f"{CELLS}/best?original.number=Dulse 23"
    first = client.get(address)
    again = client.get(address, headers={"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    head = client.head(address)
    assert (head.status_code, head.content) == (200, b"")
    assert head.headers["etag"] == first.headers["etag"]
    assert client.get(f"{address}&place=2").headers["etag"] != first.headers["etag"]


# --- texts -----------------------------------------------------------------------------------------


def test_texts_are_one_safe_line() -> None:
    for text in ("=1+1", "+4", "-x", "@a", "!not_on_file"):
        assert cell_text(text) == f"'{text}"
    assert cell_text("a\r\nb\tc\u202ed") == "a b c d"
    assert cell_text("x" * 300) == "x" * 252 + "..."
    assert cell_text("Müller Øst – 10 µm² ≥ 5 °C ± 漢", ascii_only=True) == "Muller Ost - 10 um2 >= 5 degC +/- ?"
    assert in_ascii("".join(map(chr, range(0x20, 0x2500)))).isascii()


def test_what_one_cell_tells_another_may_ask_of(writable: TestClient, tmp_path: Path) -> None:
    """A number that a program would take for a formula, and a maker that looks like a short word."""
    folder = tmp_path / "hostile"
    folder.mkdir()
    (folder / "elements.csv").write_text("maker,number\n!Maker,=1+A1\n")
    rating = "!Maker,=1+A1,collapse_pressure,at_least,900 MPa"
    (folder / "ratings.csv").write_text(f"maker,number,characteristic,qualifier,value\n{rating}\n")
    import_folder(writable.app.state.catalogue.engine, folder, actor="test", reason="hostile texts")  # type: ignore[attr-defined]
    asked = {"require.1.characteristic": "collapse_pressure", "require.1.at_least": "800 MPa"}
    named = {
        give: writable.get(f"{CELLS}/best", params={**asked, "give": give}).text for give in ("maker", "number")
    }
    assert named == {"maker": "'!Maker", "number": "'=1+A1"}
    assert writable.get(f"{CELLS}/verdict", params={**asked, **named}).text == "meets"
    told = writable.get(f"{CELLS}/rating", params={**named, "characteristic": "collapse_pressure", "unit": "bar"})
    assert told.text == ">= 9000"


@pytest.mark.parametrize(
    ("value", "text"),
    [(85.0, "85"), (0.1 + 0.2, "0.3"), (1e6, "1000000"), (1234567.0, "1234567"), (-40.0, "-40"), (0.0, "0"),
     (170 / 6.894757, "24.6564"), (1.5e-7, "0.00000015"), (-0.0, "0"), (99999999.6, "100000000")],
)  # fmt: skip
def test_numbers_are_plain_decimals(value: float, text: str) -> None:
    assert number_text(value) == text


def test_every_cell_and_name_is_described(client: TestClient) -> None:
    paths = client.get("/openapi.json").json()["paths"]
    cells = {path: item["get"] for path, item in paths.items() if path.startswith(CELLS)}
    assert set(cells) == {f"{CELLS}/{name}" for name in ("verdict", "best", "rating")}
    for operation in cells.values():
        assert set(operation["responses"]) == {"200", "304"}
        assert set(operation["responses"]["200"]["content"]) == {"text/plain"}
        assert json.dumps(operation["parameters"]).count('"description"') >= len(operation["parameters"])


def test_the_template_asks_the_service_it_came_from_under_a_name_of_its_own(client: TestClient) -> None:
    for host, address in (("127.0.0.1:8123", "http://127.0.0.1:8123"), ("somebody.example", None)):
        response = client.get("/template.xlsx", headers={"host": host})
        assert response.headers["content-type"].endswith("spreadsheetml.sheet")
        book = openpyxl.load_workbook(io.BytesIO(response.content))
        assert book["Instructions"]["B3"].value == address
    assert client.get("/template.xlsx?service=x").status_code == 422
