"""Whatever cannot be answered is refused with a problem document that says what and where."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from starlette.testclient import TestClient

import api.question
from api import create_app
from api.admission import BODY_BYTES
from specdb.catalog.store import open_store
from specdb.duty.question import JUDGED
from specdb.errors import SHOWN_CHARACTERS
from specdb.exchange import import_folder
from tests.api.asking import EQUIVALENTS, EXAMPLE, JSON, refusal, requiring

BETA = {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"}
REQUIRE = "/duty/require/0"


# --- fields ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "place",
    [
        "",
        "/original",
        "/duty",
        "/duty/fluid",
        "/duty/fit",
        "/duty/fit/outside_diameter",
        "/duty/require/0",
        "/duty/assumptions",
    ],
)
def test_an_unknown_field_is_pointed_at_on_every_level(client: TestClient, place: str) -> None:
    question = json.loads(json.dumps(EXAMPLE))
    question["duty"]["assumptions"] = {}
    level = question
    for part in place.split("/")[1:]:
        level = level[int(part)] if part.isdigit() else level[part]
    level["colour"] = "red"
    document = refusal(client.post(EQUIVALENTS, json=question), 422, "request", f"{place}/colour")
    assert document["errors"][0]["detail"] == "there is no such field"


def test_faults_of_form_hide_no_quantity_that_cannot_be_read(client: TestClient) -> None:
    question = {
        "colour": "red",
        "duty": {
            "location": "Pressure line",
            "bypass": "no",
            "fluid": {"class": "HFC water glycol", "density": 880, "viscosity": "40 cP"},
            "area_ratio": "1,25",
            "working_pressure": "25 lbs",
            "ingression": {"at_4": "1e8"},
            "fit": {"length": {"tolerance": "1 mm"}, "inside_diameter": "3 kg"},
            "require": [{"at_least": "3 furlongs"}, BETA | {"size": "10 kg"}],
        },
    }
    response = client.post(EQUIVALENTS, json=question)
    # Neither the viscosity nor the first requirement is said to lack what was refused already.
    told = {fault["pointer"]: fault for fault in response.json()["errors"]}
    assert set(told) == {
        "/colour", "/duty/location", "/duty/bypass", "/duty/fluid/class", "/duty/fluid/density", "/duty/area_ratio",
        "/duty/fit/length/value", "/duty/require/0/characteristic",
        "/duty/working_pressure", "/duty/ingression/at_4", "/duty/fit/inside_diameter", "/duty/require/1/size",
    }  # fmt: skip
    refusal(response, 422, "request", *told)
    assert told["/duty/area_ratio"]["detail"] == "a plain number is expected, not a text: 1.25, without quotes"
    assert told["/duty/working_pressure"]["remedy"].startswith("Is psi meant? ")
    assert told["/duty/location"]["detail"].endswith('Is "pressure" meant?')


@pytest.mark.parametrize(
    ("duty", "pointers"),
    [
        ({"require": {"a": 1}, "flow": "3 kg"}, {"/duty/require", "/duty/flow"}),
        ({"require": [None, 3, BETA | {"size": "1 kg"}]},
         {"/duty/require/0", "/duty/require/1", "/duty/require/2/size"}),
        ({"require": [BETA] * 17, "flow": "3 kg"}, {"/duty/require", "/duty/flow"}),
        ({"fit": 3, "costs": {"prices": 3}, "derive": 1, "flow": "3 kg"},
         {"/duty/fit", "/duty/costs/prices", "/duty/derive", "/duty/flow"}),
        ([], {"/duty"}),
    ],
)  # fmt: skip
def test_what_is_left_is_read_whatever_was_refused(client: TestClient, duty: object, pointers: set[str]) -> None:
    response = client.post(EQUIVALENTS, json={"duty": duty})
    assert {fault["pointer"] for fault in response.json()["errors"]} == pointers


def test_nested_bodies_and_many_faults_are_refused_as_quickly(client: TestClient) -> None:
    deep: Any = 1
    for _ in range(400):
        deep = [deep]
    refusal(client.post(EQUIVALENTS, json={"duty": {"deep": deep}}), 422, "request", "/duty/deep")
    many = {f"x{number}": 1 for number in range(20_000)}
    assert len(client.post(EQUIVALENTS, json={"duty": many}).json()["errors"]) == 100


def test_an_address_has_its_neighbour_named_and_a_form_its_header(client: TestClient) -> None:
    missed = refusal(client.get("/v1/calculations/suction_drop"), 404, "no-such-address")
    assert missed["detail"].startswith("Is /v1/calculations/suction-drop meant? ")
    form = refusal(client.post(EQUIVALENTS, data={"a": "b"}), 415, "media-type")
    assert "it says application/x-www-form-urlencoded. Send the header Content-Type: application/json" in form["detail"]
    (fault,) = refusal(client.get("/v1/elements/16E6/pictures/criteria"), 422, "request", "/element_id")["errors"]
    assert "/v1/search" in fault["remedy"]


def test_every_fault_is_told_at_once(client: TestClient) -> None:
    question = {"duty": {"flow": "75", "require": [requiring(**BETA)["duty"]["require"][0] | {"size": "10 um"}]}}
    question["duty"]["operating_temperature"] = "50 L/min"
    pointers = ["/duty/flow", "/duty/operating_temperature", f"{REQUIRE}/size"]
    refusal(client.post(EQUIVALENTS, json=question), 422, "question", *pointers)


@pytest.mark.parametrize(
    ("asked", "code", "pointer", "told"),
    [
        ({"duty": {"flow": "75 furlongs"}}, "quantity", "/duty/flow", "L/min"),
        ({"duty": {"flow": "75"}}, "quantity", "/duty/flow", "no unit"),
        ({"duty": {"flow": "75 kPa"}}, "quantity", "/duty/flow", "flow"),
        ({"duty": {"flow": "-75 L/min"}}, "question", "/duty/flow", "above zero"),
        ({"duty": {"flow": "0 L/min"}}, "question", "/duty/flow", "above zero"),
        ({"duty": {"flow": "1,200 L/min"}}, "quantity", "/duty/flow", '"1.200 L/min" or "1200 L/min"'),
        ({"duty": {"flow": "7e400 L/min"}}, "quantity", "/duty/flow", "exponent"),
        (requiring(**BETA | {"at_least": 0.5}), "question", f"{REQUIRE}/at_least", "below 1"),
        (requiring(**BETA | {"at_least": "100 %"}), "conditions", f"{REQUIRE}/at_least", "100 %"),
        (requiring(**BETA | {"at_least": "many"}), "quantity", f"{REQUIRE}/at_least", "number"),
        (requiring(**BETA | {"viscosity": "32 cSt"}), "question", f"{REQUIRE}/viscosity", "size, flow, dust"),
        (requiring(**BETA | {"allow": "100 %"}), "question", f"{REQUIRE}/allow", "100 %"),
        (requiring(characteristic="filtration_ratio", at_least=200), "question", f"{REQUIRE}/size", "10 um(c)"),
        (requiring(characteristic="collapse_pressure"), "question", f"{REQUIRE}/at_least", "at_least, at_most"),
        (
            requiring(characteristic="collapse_pressure", at_least="5 bar", at_most="1 bar"),
            "question",
            f"{REQUIRE}/at_least",
            "above",
        ),
        ({"duty": {"assumptions": {"about_within": "100 %"}}}, "question", "/duty/assumptions/about_within", "15 %"),
        ({"duty": {"fit": {"length": "140 kPa"}}}, "quantity", "/duty/fit/length", "length"),
        ({}, "question", "/duty/require", "Nothing is required"),
        ({"original": None, "duty": {"flow": "75 L/min"}}, "question", "/duty/require", "Nothing is required"),
    ],
)
def test_what_cannot_be_judged_says_what_would_be_right(
    client: TestClient, asked: dict[str, Any], code: str, pointer: str, told: str
) -> None:
    document = refusal(client.post(EQUIVALENTS, json=asked), 422, code, pointer)
    assert told in document["detail"]


def test_a_size_without_its_scale_is_offered_both_readings(client: TestClient) -> None:
    response = client.post(EQUIVALENTS, json=requiring(**BETA | {"size": "10 µm"}))
    remedy = refusal(response, 422, "question", f"{REQUIRE}/size")["errors"][0]["remedy"]
    assert "10 um(c)" in remedy
    assert "10 um(acftd)" in remedy


def test_a_grade_that_is_needed_and_cannot_be_carried_is_refused(client: TestClient) -> None:
    drop = {"characteristic": "clean_pressure_drop", "at_most": "25 kPa"}
    question = {"duty": {"fluid": {"grade": "ISO VG 46"}, "operating_temperature": "50 degC", "require": [drop]}}
    response = client.post(EQUIVALENTS, json=question)
    assert "viscosity_index" in refusal(response, 422, "question", "/duty/fluid/viscosity_index")["detail"]
    # Where nothing asks for a viscosity, none is needed.
    question["duty"]["require"] = [BETA]
    assert client.post(EQUIVALENTS, json=question).status_code == 200


@pytest.mark.parametrize(
    ("asked", "pointer"),
    [
        ({"duty": {"flow": 75}}, "/duty/flow"),
        ({"duty": {"flow": {"value": "75", "unit": "L/min"}}}, "/duty/flow"),
        ({"duty": {"flow": {"value": True, "unit": "L/min"}}}, "/duty/flow"),
        ({"duty": {"flow": {"value": 75, "unit": "x" * 41}}}, "/duty/flow"),
        ({"duty": {"flow": {"value": 75}}}, "/duty/flow"),
        ({"duty": {"flow": ["75 L/min"]}}, "/duty/flow"),
        ({"duty": {"fluid": {"viscosity_index": "100"}}}, "/duty/fluid/viscosity_index"),
        ({"duty": {"fluid": {"viscosity_index": 401}}}, "/duty/fluid/viscosity_index"),
        ({"duty": {"fluid": {"class": "OIL"}}}, "/duty/fluid/class"),
        ({"duty": {"fit": {"length": 140}}}, "/duty/fit/length/value"),
        ({"duty": {"assumptions": ["luck"]}}, "/duty/assumptions/luck"),
        ({"duty": {"assumptions": "some"}}, "/duty/assumptions"),
        ({"duty": {"require": [BETA] * 17}}, "/duty/require"),
        (requiring(**BETA | {"size": 10}), f"{REQUIRE}/size"),
        (requiring(**BETA | {"at_least": True}), f"{REQUIRE}/at_least"),
        ({"original": {"number": 23}}, "/original/number"),
        ({"original": {"number": ""}}, "/original/number"),
        ({"original": {"number": "7" * 10_000}}, "/original/number"),
        ({"original": {"number": "a\x00b"}}, "/original/number"),
        ({"original": {"maker": "Quollbeck"}}, "/original/number"),
        ({"include_without_evidence": "yes"}, "/include_without_evidence"),
        ({"limit": 0}, "/limit"),
        ({"limit": 501}, "/limit"),
        ({"limit": "5"}, "/limit"),
        ({"limit": 1.5}, "/limit"),
        ({"limit": True}, "/limit"),
        ({"limit": 2**63 + 1}, "/limit"),
        ({"limit": -(2**64)}, "/limit"),
        ({"as_of": 1.5}, "/as_of"),
    ],
)
def test_a_field_of_the_wrong_kind_is_pointed_at(client: TestClient, asked: dict[str, Any], pointer: str) -> None:
    refusal(client.post(EQUIVALENTS, json=asked), 422, "request", pointer)


def test_a_word_that_is_none_of_a_list_is_shown_with_the_whole_list(client: TestClient) -> None:
    response = client.post(EQUIVALENTS, json=requiring(characteristic="collapse", at_least="1 bar"))
    detail = refusal(response, 422, "request", f"{REQUIRE}/characteristic")["errors"][0]["detail"]
    assert '"collapse"' in detail
    assert detail.endswith(JUDGED[-1])


# --- numbers that JSON or a double cannot hold -----------------------------------------------------

FLOATS = {
    "/duty/flow": '{"duty": {"flow": {"value": %s, "unit": "L/min"}}}',
    "/duty/fluid/viscosity_index": '{"duty": {"fluid": {"viscosity_index": %s}}}',
    "/duty/fit/length/value": '{"duty": {"fit": {"length": {"value": %s, "unit": "mm"}}}}',
    "/duty/require/0/at_least": '{"duty": {"require": [{"characteristic": "filtration_ratio", "at_least": %s}]}}',
    "/duty/require/0/at_most": '{"duty": {"require": [{"characteristic": "pressure_fatigue_cycles", "at_most": %s}]}}',
    "/limit": '{"limit": %s}',
}


@pytest.mark.parametrize("number", ["1e999", "-1e999"])
@pytest.mark.parametrize("pointer", FLOATS)
def test_numbers_that_are_not_finite_are_refused(client: TestClient, pointer: str, number: str) -> None:
    response = client.post(EQUIVALENTS, content=FLOATS[pointer] % number, headers=JSON)
    refusal(response, 422, "request", pointer)


REFUSED = {
    # Of the great, the negative and the greater than great number: the problem and where it points; None is judged.
    "/duty/flow": (
        ("question", ["/duty/require"]),  # a flow as good as another, with nothing required
        ("question", ["/duty/flow"]),
        ("quantity", ["/duty/flow"]),
    ),
    "/duty/fluid/viscosity_index": (("request", ["/duty/fluid/viscosity_index"]),) * 3,
    "/duty/fit/length/value": (None, ("question", ["/duty/fit/length"]), ("quantity", ["/duty/fit/length"])),
    "/duty/require/0/at_least": (
        ("question", ["/duty/require/0/size"]),  # a ratio needs a size, however great it is
        ("question", ["/duty/require/0/at_least", "/duty/require/0/size"]),
        ("question", ["/duty/require/0/at_least", "/duty/require/0/size"]),
    ),
    "/duty/require/0/at_most": (
        None, ("question", ["/duty/require/0/at_most"]), ("quantity", ["/duty/require/0/at_most"]),
    ),
    "/limit": (("request", ["/limit"]),) * 3,
}  # fmt: skip
GREAT = ("9223372036854775808", "-9223372036854775809", "1" + "0" * 290)


@pytest.mark.parametrize("place", range(len(GREAT)))
@pytest.mark.parametrize("pointer", FLOATS)
def test_great_integers_are_refused_or_judged_and_never_a_failure(
    client: TestClient, pointer: str, place: int
) -> None:
    response = client.post(EQUIVALENTS, content=FLOATS[pointer] % GREAT[place], headers=JSON)
    expected = REFUSED[pointer][place]
    if expected is None:
        assert response.status_code == 200
    else:
        refusal(response, 422, expected[0], *expected[1])


# --- texts ----------------------------------------------------------------------------------------

TEXTS = {
    "/original/number": {"original": {"number": "@"}},
    "/original/maker": {"original": {"number": "Dulse 23", "maker": "@"}},
    "/as_of": {"as_of": "@"},
    "/duty/flow": {"duty": {"flow": "@"}},
    "/duty/operating_temperature": {"duty": {"operating_temperature": "@"}},
    "/duty/location": {"duty": {"location": "@"}},
    "/duty/fluid/grade": {"duty": {"fluid": {"grade": "@"}}},
    "/duty/fluid/class": {"duty": {"fluid": {"class": "@"}}},
    "/duty/fit/thread": {"duty": {"fit": {"thread": "@"}}},
    "/duty/fit/seal": {"duty": {"fit": {"seal": "@"}}},
    "/duty/fit/length/value": {"duty": {"fit": {"length": {"value": 1, "unit": "@"}}}},
    "/duty/fit/length/tolerance": {"duty": {"fit": {"length": {"value": "1 mm", "tolerance": "@"}}}},
    "/duty/fit/clearance": {"duty": {"fit": {"clearance": "@"}}},
    "/duty/assumptions/about_within": {"duty": {"assumptions": {"about_within": "@"}}},
    f"{REQUIRE}/characteristic": requiring(characteristic="@"),
    f"{REQUIRE}/at_least": requiring(characteristic="collapse_pressure", at_least="@"),
    f"{REQUIRE}/dust": requiring(**BETA | {"dust": "@"}),
    f"{REQUIRE}/standard": requiring(characteristic="flow_fatigue_cycles", at_least=1, standard="@"),
    f"{REQUIRE}/test_liquid": requiring(characteristic="bubble_point", at_least="1 kPa", test_liquid="@"),
}


@pytest.mark.parametrize("broken", ["\\ud800", "\\udc00\\ud800", "a\\u0000", "\\u001b[31m", "\\u007f", "line\\nbreak"])
@pytest.mark.parametrize("pointer", TEXTS)
def test_broken_unicode_and_control_characters_are_refused_in_every_text(
    client: TestClient, pointer: str, broken: str
) -> None:
    body = json.dumps(TEXTS[pointer]).replace("@", broken)
    response = client.post(EQUIVALENTS, content=body, headers=JSON)
    refusal(response, 422, "request", pointer)
    assert b"\\ud8" not in response.content
    assert b"\x1b" not in response.content


@pytest.mark.parametrize(
    ("broken", "told"),
    [
        ("\\ud800", ""),  # half a character names no field: the object that holds it is pointed at
        ("a\\u0000b", "/a\N{REPLACEMENT CHARACTER}b"),
        ("\\u001b[31m", "/\N{REPLACEMENT CHARACTER}[31m"),
        ("~1/", "/~01~1"),
        ("x" * 5000, f"/{'x' * SHOWN_CHARACTERS}…"),
    ],
    ids=["surrogate", "nul", "escape", "pointer", "long"],
)
@pytest.mark.parametrize(
    ("level", "place"), [('{"%s": 1}', ""), ('{"duty": {"fluid": {"%s": 1}}}', "/duty/fluid")], ids=["top", "fluid"]
)
def test_a_strange_field_name_is_refused_and_not_echoed_raw(
    client: TestClient, level: str, place: str, broken: str, told: str
) -> None:
    response = client.post(EQUIVALENTS, content=level % broken, headers=JSON)
    refusal(response, 422, "request", place + told)
    assert len(response.content) < 1000
    assert b"\x1b" not in response.content
    assert b"\\ud8" not in response.content


# --- bodies ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        (b"", 422, "request"),
        (b"[]", 422, "request"),
        (b"null", 422, "request"),
        (b'"Dulse 23"', 422, "request"),
        (b"{", 400, "malformed"),
        (b"{'limit': 1}", 400, "malformed"),
        (b'{"limit": 1}}', 400, "malformed"),
        (b'{"original": {"number": "\xff"}}', 400, "malformed"),
        (b"[" * 100_000, 400, "malformed"),
        (b'{"duty":' * 50_000 + b"1" + b"}" * 50_000, 400, "malformed"),
        (b'{"limit": ' + b"9" * 5000 + b"}", 400, "malformed"),
    ],
)
def test_a_body_that_is_no_question_is_refused(client: TestClient, body: bytes, status: int, code: str) -> None:
    response = client.post(EQUIVALENTS, content=body, headers=JSON)
    refusal(response, status, code, *(["" for _ in response.json()["errors"]]))


def test_unreadable_json_says_where(client: TestClient) -> None:
    document = refusal(client.post(EQUIVALENTS, content=b'{"limit": x}', headers=JSON), 400, "malformed")
    assert "character 10" in document["detail"]


def _heavy() -> Iterator[bytes]:
    for _ in range(BODY_BYTES // 65536 + 1):
        yield b" " * 65536


def test_a_body_over_a_mebibyte_is_refused_whether_it_announces_its_length_or_not(client: TestClient) -> None:
    body = b'{"original": {"number": "' + b"x" * BODY_BYTES + b'"}}'
    refusal(client.post(EQUIVALENTS, content=body, headers=JSON), 413, "too-large")
    refusal(client.post(EQUIVALENTS, content=_heavy(), headers=JSON), 413, "too-large")


def test_a_body_of_just_a_mebibyte_is_read(client: TestClient) -> None:
    question = json.dumps({"original": {"number": "Dulse 23"}, "limit": 1}).encode()
    assert client.post(EQUIVALENTS, content=question.ljust(BODY_BYTES), headers=JSON).status_code == 200
    refusal(client.post(EQUIVALENTS, content=question.ljust(BODY_BYTES + 1), headers=JSON), 413, "too-large")


# --- elements and states --------------------------------------------------------------------------


def test_an_unknown_original_is_told_with_those_that_look_alike(client: TestClient) -> None:
    response = client.post(EQUIVALENTS, json={"original": {"number": "dulse-23"}})
    document = refusal(response, 404, "not-on-file", "/original/number")
    assert "Quollbeck Dulse 23" in document["errors"][0]["remedy"]
    response = client.post(EQUIVALENTS, json={"original": {"number": "I2-l"}})
    remedy = refusal(response, 404, "not-on-file", "/original/number")["errors"][0]["remedy"]
    assert "Tarnwhistle 12-1" in remedy
    assert "Tarnwhistle 121" in remedy


def test_a_number_of_another_maker_is_not_on_file(client: TestClient) -> None:
    response = client.post(EQUIVALENTS, json={"original": {"number": "Dulse 23", "maker": "Tarnwhistle"}})
    refusal(response, 404, "not-on-file", "/original/number")


@pytest.mark.parametrize(
    ("as_of", "status", "code"),
    [
        ("2", 422, "question"),
        ("999999999999999999", 422, "question"),
        ("2999-01-01", 422, "question"),
        ("2023-02-29", 422, "question"),
        ("yesterday", 422, "question"),
        ("-1", 422, "question"),
        ("١", 422, "question"),
        ("0", 404, "not-on-file"),
        ("1999-12-31", 404, "not-on-file"),
        ("0001-01-01T00:00:00+14:00", 422, "question"),
    ],
)
def test_a_state_that_never_was_is_refused(
    client: TestClient, ask: Any, as_of: str, status: int, code: str
) -> None:
    response = client.post(EQUIVALENTS, json={"original": {"number": "Dulse 23"}, "as_of": as_of})
    refusal(response, status, code, "/as_of")
    known = ask({"original": {"number": "Dulse 23"}, "limit": 1})["original"]["element"]["element_id"]
    response = client.get(f"/v1/elements/{known}", params={"as_of": as_of})
    refusal(response, status, code, "/as_of")


def test_an_element_that_is_not_on_file(client: TestClient) -> None:
    refusal(client.get("/v1/elements/0123456789abcdef"), 404, "not-on-file", "/element_id")


@pytest.mark.parametrize(
    "element_id", ["x", "0123456789ABCDEF", "0123456789abcdef0", "0123456789abcdef%0A", "%ED%A0%80"]
)
def test_an_element_id_that_is_none(client: TestClient, element_id: str) -> None:
    refusal(client.get(f"/v1/elements/{element_id}"), 422, "request", "/element_id")


# --- addresses, methods, query ---------------------------------------------------------------------


@pytest.mark.parametrize(
    "path", ["/nothing", "/v1", "/v1/elements/", "/v1/equivalents/", "/docs", "/v2/equivalents"]
)
def test_there_is_nothing_at_other_addresses(client: TestClient, path: str) -> None:
    refusal(client.get(path), 404, "no-such-address")
    refusal(client.post(path, json={}), 404, "no-such-address")


@pytest.mark.parametrize(
    ("path", "allowed"),
    [
        ("/health", {"GET", "HEAD"}),
        ("/v1/characteristics", {"GET", "HEAD"}),
        ("/v1/characteristics.csv", {"GET", "HEAD"}),
        ("/v1/elements/0123456789abcdef", {"GET", "HEAD"}),
        (EQUIVALENTS, {"GET", "HEAD", "POST"}),
        ("/v1/imports", {"POST"}),
        ("/openapi.json", {"GET", "HEAD"}),
        ("/elements/0123456789abcdef", {"GET", "HEAD"}),
        ("/load", {"GET", "HEAD", "POST"}),
        ("/static/pages.js", {"GET", "HEAD"}),
    ],
)
def test_allow_names_just_the_methods_that_are_taken(client: TestClient, path: str, allowed: set[str]) -> None:
    for method in ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE"):
        response = client.request(method, path)
        if method in allowed:
            assert response.status_code != 405
            continue
        assert response.status_code == 405
        assert set(response.headers["allow"].split(", ")) == allowed
        if method != "HEAD":
            refusal(response, 405, "method")


@pytest.mark.parametrize(
    ("method", "path"),
    [("POST", EQUIVALENTS), ("GET", "/health"), ("GET", "/v1/characteristics"), ("GET", "/v1/elements/{}")],
)
def test_unknown_and_repeated_query_keys_are_refused(client: TestClient, ask: Any, method: str, path: str) -> None:
    known = ask(EXAMPLE)["candidates"][0]["element"]["element_id"]
    path = path.format(known)
    body = {"json": EXAMPLE} if method == "POST" else {}
    assert client.request(method, path, **body).status_code == 200
    refusal(client.request(method, f"{path}?colour=red", **body), 422, "request", "/colour")
    for keys in ("units=si&units=us", "units=si&units=si", "units&units=us"):
        response = client.request(method, f"{path}?{keys}", **body)
        refusal(response, 422, "request", "/units")
        assert "more than once" in response.json()["detail"]


@pytest.mark.parametrize("units", ["SI", "", "metric", "%00"])
def test_units_are_si_or_us(client: TestClient, units: str) -> None:
    refusal(client.post(f"{EQUIVALENTS}?units={units}", json=EXAMPLE), 422, "request", "/units")


# --- failures -------------------------------------------------------------------------------------


def test_an_unforeseen_failure_shows_nothing_of_the_inside(
    demo_store_url: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("inner secret")

    monkeypatch.setattr(api.question, "rank", fail)
    with TestClient(create_app(demo_store_url), raise_server_exceptions=False) as client:
        response = client.post(EQUIVALENTS, json=EXAMPLE)
    refusal(response, 500, "internal")
    for inner in ("inner secret", "RuntimeError", "Traceback", ".py", "sqlite"):
        assert inner not in response.text
    assert "inner secret" in caplog.text


def test_a_store_that_goes_away_is_unreachable_until_it_is_back(demo_store_url: str, tmp_path: Path) -> None:
    file = Path(shutil.copy(str(sa.make_url(demo_store_url).database), tmp_path / "store.sqlite"))
    with TestClient(create_app(f"sqlite:///{file}")) as client:
        assert client.get("/health").status_code == 200
        away = file.rename(tmp_path / "away.sqlite")
        for response in (
            client.get("/health"),
            client.get("/v1/characteristics"),
            client.get("/v1/elements/0123456789abcdef"),
            client.post(EQUIVALENTS, json=EXAMPLE),
        ):
            document = refusal(response, 503, "store-unreachable")
            assert str(tmp_path) not in json.dumps(document)
        away.rename(file)
        assert client.get("/health").status_code == 200


def test_a_store_that_was_replaced_is_not_read_on(demo_store_url: str, tmp_path: Path) -> None:
    file = Path(shutil.copy(str(sa.make_url(demo_store_url).database), tmp_path / "store.sqlite"))
    with TestClient(create_app(f"sqlite:///{file}")) as client:
        tag = client.get("/health").headers["etag"]
        other = shutil.copy(file, tmp_path / "other.sqlite")
        file.rename(tmp_path / "away.sqlite")
        Path(other).rename(file)
        refusal(client.get("/health", headers={"if-none-match": tag}), 503, "store-unreachable")
        refusal(client.get("/v1/elements", params={"limit": 1}), 503, "store-unreachable")


def test_a_store_that_fails_in_the_middle_is_unreachable_and_shows_nothing_of_the_inside(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def lost(*_: object) -> None:
        raise sa.exc.OperationalError("SELECT inner", {}, Exception("server closed the connection at 10.0.0.7"))

    monkeypatch.setattr("specdb.held.current_revision", lost)
    response = client.get("/health")
    refusal(response, 503, "store-unreachable")
    assert "10.0.0.7" not in response.text
    assert "SELECT" not in response.text
    assert "10.0.0.7" in caplog.text


@pytest.fixture
def two_makers(tmp_path: Path) -> Iterator[TestClient]:
    """A service over a store in which two invented makers have one number, differently spelt."""
    folder = tmp_path / "catalogue"
    folder.mkdir()
    (folder / "elements.csv").write_text("maker,number\nDemo Works,X 1\nOther Demo,x1\n")
    (folder / "ratings.csv").write_text(
        "maker,number,characteristic,value\n"
        "Demo Works,X 1,collapse_pressure,5 bar\nOther Demo,x1,collapse_pressure,9 bar\n"
    )
    url = f"sqlite:///{tmp_path / 'two.sqlite'}"
    engine = open_store(url, create=True)
    import_folder(engine, folder, actor="test", reason="two makers")
    engine.dispose()
    with TestClient(create_app(url)) as client:
        yield client


def test_one_number_of_two_makers_asks_for_the_maker(two_makers: TestClient) -> None:
    response = two_makers.post(EQUIVALENTS, json={"original": {"number": "X1"}})
    document = refusal(response, 422, "question", "/original/maker")
    assert "Demo Works, Other Demo" in document["errors"][0]["remedy"]
    response = two_makers.post(EQUIVALENTS, json={"original": {"number": "X1", "maker": "other demo"}})
    assert response.status_code == 200
    assert response.json()["original"]["element"] | {"number": "x1", "maker": "Other Demo"} == (
        response.json()["original"]["element"]
    )
    assert response.json()["requirements"][0]["low"] == 900
