"""What a request must be before any route reads it: light enough, of the right form, readable in one way."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from httpx2 import Response
from starlette.testclient import TestClient
from starlette.types import Message

from api.admission import ADDRESS_BYTES, BODY_BYTES, CROSS_CHECKS, IMPORTS, UPLOAD_BYTES
from api.problems import MOST_FAULTS
from specdb.duty.dotted import dotted_names
from tests.api.asking import EQUIVALENTS, JSON, Spoken, refusal, requiring, spoken

ASKED: dict[str, Any] = {"original": {"number": "Dulse 23"}, "limit": 1}
CHUNK = 65536
BLANKS: Message = {"type": "http.request", "body": b" " * CHUNK, "more_body": True}
KINDS = {EQUIVALENTS: b"application/json", IMPORTS: b"multipart/form-data; boundary=x"}


def taking_json(client: TestClient) -> list[str]:
    """Addresses of all operations that take JSON."""
    paths = client.get("/openapi.json").json()["paths"]
    return [
        path
        for path, operations in paths.items()
        for operation in operations.values()
        if "application/json" in operation.get("requestBody", {}).get("content", {})
    ]


# --- weight ---------------------------------------------------------------------------------------


def answer_of(told: Spoken) -> Response:
    """What was said to the server, as a client has it."""
    return Response(told.status, headers=told.sent[0]["headers"], content=told.body)


def _endless() -> Iterator[Message]:
    while True:
        yield BLANKS


@pytest.mark.parametrize(("path", "most"), [(EQUIVALENTS, BODY_BYTES), (IMPORTS, UPLOAD_BYTES), ("/v1/other", 0)])
def test_a_body_that_weighs_too_much_is_refused_while_it_comes_in(writable: TestClient, path: str, most: int) -> None:
    headers = [(b"content-type", KINDS.get(path, b"application/json"))]
    if path == IMPORTS:
        opening = b'--x\r\ncontent-disposition: form-data; name="file"; filename="a.csv"\r\n\r\n'
        messages = _after({"type": "http.request", "body": opening, "more_body": True})
    else:
        messages = _endless()
    told = spoken(writable.app, "POST", path, headers=headers, messages=messages)
    if most:
        refusal(answer_of(told), 413, "too-large")
    else:
        refusal(answer_of(told), 404, "no-such-address")
    # It stopped reading as soon as the limit was passed, and reads nothing where there is nothing to ask.
    assert told.read == (most // CHUNK + 1 if most else 0)


def _after(first: Message) -> Iterator[Message]:
    yield first
    yield from _endless()


@pytest.mark.parametrize(("path", "most"), [(EQUIVALENTS, BODY_BYTES), (IMPORTS, UPLOAD_BYTES)])
@pytest.mark.parametrize("announced", ["{more}", "000{more}", "9" * 30, "9" * 5000])
def test_a_body_that_announces_too_much_is_not_read_at_all(
    writable: TestClient, path: str, most: int, announced: str
) -> None:
    length = announced.format(more=most + 1).encode()
    headers = [(b"content-type", KINDS[path]), (b"content-length", length)]
    told = spoken(writable.app, "POST", path, headers=headers, messages=_endless())
    refusal(answer_of(told), 413, "too-large")
    assert told.read == 0


@pytest.mark.parametrize("length", [b"1", b"0", b"-5", b"x", b""])
def test_an_announced_length_that_lies_does_not_let_more_in(writable: TestClient, length: bytes) -> None:
    headers = [(b"content-type", b"application/json"), (b"content-length", length)]
    told = spoken(writable.app, "POST", EQUIVALENTS, headers=headers, messages=_endless())
    refusal(answer_of(told), 413, "too-large")
    assert told.read == BODY_BYTES // CHUNK + 1


def test_an_address_is_taken_up_to_its_limit(client: TestClient) -> None:
    room = ADDRESS_BYTES - len("/health")
    refusal(client.get(f"/health?{'x' * room}"), 422, "request", "/" + "x" * 80 + "…")
    for path in (f"/health?{'x' * (room + 1)}", "/" + "x" * ADDRESS_BYTES):
        assert "POST" in refusal(client.get(path), 414, "address-too-long")["detail"]
    told = spoken(client.app, "GET", EQUIVALENTS, query=b"x=" + b"y" * 100_000)
    refusal(answer_of(told), 414, "address-too-long")


@pytest.mark.parametrize("packing", ["gzip", "br", "GZIP, identity"])
def test_a_packed_body_is_not_taken(client: TestClient, packing: str) -> None:
    response = client.post(EQUIVALENTS, content=b"\x1f\x8b", headers=JSON | {"content-encoding": packing})
    refusal(response, 415, "media-type")
    response = client.post(EQUIVALENTS, json=ASKED, headers={"content-encoding": "Identity"})
    assert response.status_code == 200


# --- JSON -----------------------------------------------------------------------------------------

TWICE = [
    b'{"limit": 1, "limit": 2}',
    b'{"limit": 1, "limit": 1}',
    b'{"duty": {"fluid": {"grade": "ISO VG 46", "grade": "ISO VG 46"}}}',
    b'{"duty": {"require": [{"size": "10 um(c)", "size": "4 um(c)"}]}}',
    b'{"limit": 1, "\\u006cimit": 2}',
    b'{"\\ud800": 1, "\\ud800": 2}',
]
UNREADABLE = [
    b"{", b"[", b"]", b"'", b"{'limit': 1}", b'{"limit": 1,}', b"{} {}", b"\x00", b"   ", b"nul", b'{"limit": 01}',
    b"\xff\xfe", b'{"limit": "\xff"}', b'{"limit": "\xed\xa0\x80"}', b'"\xc0\x80"', b'{"a": "\x01"}', b'{"a": "\t"}',
    '{"limit": 1}'.encode("utf-16"), '{"limit": 1}'.encode("utf-16-le"), '{"limit": 1}'.encode("utf-32"),
    b"\xef\xbb\xbf\xef\xbb\xbf{}",
    b"NaN", b'{"limit": NaN}', b'{"limit": Infinity}', b'{"limit": -Infinity}', b'{"duty": {"x": [NaN]}}',
    b"[" * 100_000, b'{"a":' * 100_000 + b"1" + b"}" * 100_000, b"9" * 5000, b'{"limit": -' + b"9" * 5000 + b"}",
]  # fmt: skip


@pytest.mark.parametrize("body", TWICE)
def test_a_name_that_stands_twice_is_refused_at_any_depth(client: TestClient, body: bytes) -> None:
    for path in taking_json(client):
        document = refusal(client.post(path, content=body, headers=JSON), 400, "malformed")
        assert "twice in one object" in document["detail"]


@pytest.mark.parametrize("body", UNREADABLE, ids=lambda body: repr(body[:24]))
def test_what_is_no_json_is_refused_everywhere(client: TestClient, body: bytes) -> None:
    for path in taking_json(client):
        document = refusal(client.post(path, content=body, headers=JSON), 400, "malformed")
        assert document["detail"].startswith("The body is no JSON: ")


NO_ELEMENTS = ["/elements"]
"""What a comparison lacks, besides, if its body is an object that can be read."""


@pytest.mark.parametrize(
    ("text", "pointer", "lacking"),
    [
        ('{"limit": 1e999}', "/limit", NO_ELEMENTS),
        ('{"limit": -1e999}', "/limit", NO_ELEMENTS),
        ('{"limit": 9223372036854775808}', "/limit", NO_ELEMENTS),
        ('{"limit": -9223372036854775809}', "/limit", NO_ELEMENTS),
        ('{"limit": ' + "9" * 4000 + "}", "/limit", NO_ELEMENTS),
        ('{"limit": 1e-400}', "/limit", NO_ELEMENTS),
        ('{"limit": null}', "/limit", NO_ELEMENTS),
        ('{"limit": true}', "/limit", NO_ELEMENTS),
        ('{"original": {"number": "\\ud800"}}', "/original/number", NO_ELEMENTS),
        ('{"original": {"number": "a\\u0000"}}', "/original/number", NO_ELEMENTS),
        ('{"\\ud800": 1}', "", []),
        ('{"a\\u0000\\n": 1}', "/a\N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}", NO_ELEMENTS),
        ('{"": 1}', "", NO_ELEMENTS),
        ("[]", "", []),
        ("null", "", []),
        ("1", "", []),
        ('"x"', "", []),
        ("[" * 500 + "]" * 500, "", []),
    ],
    ids=lambda value: value[:30] if isinstance(value, str) else "",
)
def test_json_that_is_no_question_is_refused_everywhere(
    client: TestClient, text: str, pointer: str, lacking: list[str]
) -> None:
    expected = {EQUIVALENTS: [pointer], "/v1/test-requests": [pointer], "/v1/comparisons": [*lacking, pointer]}
    assert set(expected) == set(taking_json(client)) - {CROSS_CHECKS}
    for path, pointers in expected.items():
        refusal(client.post(path, content=text.encode(), headers=JSON), 422, "request", *pointers)


def test_the_fault_in_the_json_is_told_with_its_place(client: TestClient) -> None:
    def told(body: bytes) -> str:
        return str(refusal(client.post(EQUIVALENTS, content=body, headers=JSON), 400, "malformed")["detail"])

    assert "at character 11" in told(b'{"limit": x}'.replace(b" x", b"  x"))
    assert told(b'{"limit": NaN}') == "The body is no JSON: NaN is no JSON number."
    assert told(b'{"limit": 1, "limit": 2}').endswith('the name "limit" stands twice in one object.')
    assert told(b'{"a": "\xff"}').endswith("it is not UTF-8 from byte 7 on.")
    assert told(b"[" * 100_000).endswith("it is nested too deeply.")
    assert told(b"9" * 5000).endswith("it holds a number of too many digits.")


def test_a_byte_order_mark_is_passed_over(client: TestClient) -> None:
    body = b"\xef\xbb\xbf" + json.dumps(ASKED).encode()
    assert client.post(EQUIVALENTS, content=body, headers=JSON).status_code == 200


@pytest.mark.parametrize(
    "media_type",
    [
        "application/json",
        "APPLICATION/JSON",
        "application/json;charset=utf-8",
        'application/json; charset="UTF-8"',
        "application/json ; Charset=UTF8",
        "application/json; profile=x",
        "application/json;",
    ],
)
def test_json_is_taken_however_its_type_is_spelt(client: TestClient, media_type: str) -> None:
    body = json.dumps(ASKED).encode()
    assert client.post(EQUIVALENTS, content=body, headers={"content-type": media_type}).status_code == 200


@pytest.mark.parametrize(
    "media_type",
    [
        None,
        "",
        "json",
        "text/json",
        "text/plain",
        "application/xml",
        "application/problem+json",
        "application/vnd.any+json",
        "application/jsonx",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "application/json; charset=utf-16",
        "application/json; charset=latin-1",
        "application/json, application/json",
        "; application/json",
        "\x00",
        "application/json\x00",
        "é",
    ],
)
def test_only_json_is_taken_where_json_is_asked_for(client: TestClient, media_type: str | None) -> None:
    headers = {} if media_type is None else {"content-type": media_type.encode("latin-1")}
    for path in set(taking_json(client)) - {CROSS_CHECKS}:
        for body in (json.dumps(ASKED).encode(), b"{", b"\xff"):
            document = refusal(client.post(path, content=body, headers=headers), 415, "media-type")
            assert "application/json" in document["detail"]


def test_a_body_that_is_absent_is_a_field_that_is_missing(client: TestClient) -> None:
    for path in taking_json(client):
        for headers in (JSON, {}, {"content-type": "text/plain"}):
            refusal(client.post(path, headers=headers), 422, "request", "")


# --- the query ------------------------------------------------------------------------------------


def test_a_field_that_is_not_there_is_told_with_the_nearest(client: TestClient) -> None:
    def remedy(response: Any, pointer: str) -> str:
        return str(refusal(response, 422, "request", pointer)["errors"][0]["remedy"])

    assert remedy(client.get("/v1/characteristics?form=csv"), "/form").startswith('Is "format" meant? Known are ')
    assert remedy(client.get("/v1/characteristics?zzz=1"), "/zzz").startswith("Known are ")
    assert remedy(client.get("/health?verbose=1"), "/verbose") == "Nothing is asked for here: leave it out."
    response = client.post(EQUIVALENTS, json={"duty": {"fluid": {"grades": "ISO VG 46"}}})
    assert remedy(response, "/duty/fluid/grades").startswith('Is "grade" meant? Known are grade, viscosity_index, ')
    response = client.post(EQUIVALENTS, json=requiring(characteristic="collapse_pressure", att_least="5 bar"))
    assert remedy(response, "/duty/require/0/att_least").startswith('Is "at_least" meant? Known are ')


def test_many_fields_that_are_not_there_make_no_long_answer(client: TestClient) -> None:
    response = client.get("/v1/characteristics?" + "&".join(f"x{number}=1" for number in range(3000)))
    document = refusal(response, 422, "request", *(f"/x{number}" for number in range(MOST_FAULTS)))
    assert "and 2995 more" in document["detail"]


def refusing(client: TestClient) -> dict[str, dict[str, Any]]:
    """The description of all addresses but of cells, which refuse nothing."""
    paths = client.get("/openapi.json").json()["paths"]
    return {path: operations for path, operations in paths.items() if not path.startswith("/v1/cells/")}


@pytest.mark.parametrize("query", ["as_of=%FF", "as_of=%ED%A0%80", "%C0%80=1", "as_of=1%80", "format=%E2%82"])
def test_a_query_that_is_not_utf_8_is_refused(client: TestClient, query: str) -> None:
    for path in refusing(client):
        address = path.replace("{element_id}", "0123456789abcdef")
        response = client.get(f"{address}?{query}")
        if response.status_code != 405:
            refusal(response, 400, "malformed")


EVERYWHERE = {"flow", "original.number", "require.1.size", "as_of", "limit", "include_windows", "assumptions"}
MIDDLE = re.compile(r"require\.([2-9]|1[0-5])\.")
"""Requirements between the first and the last, of which all have the same fields."""


def query_fields(client: TestClient) -> Iterator[tuple[str, str, set[str]]]:
    """Of every query field of every operation: the address with the field, ready for a value, and its types.

    Names of a question are read by one reader wherever they are asked: each stands at one address, a few at all.
    """
    once = dotted_names().keys() - EVERYWHERE
    seen: set[str] = set()
    for path, operations in refusing(client).items():
        for method, operation in operations.items():
            for parameter in operation.get("parameters", ()):
                name = parameter["name"]
                if parameter["in"] == "query" and not MIDDLE.match(name) and not (name in once and name in seen):
                    seen.add(name)
                    place = path.replace("{element_id}", "0123456789abcdef").replace("{picture}", "criteria")
                    address = f"{place}?{name}="
                    yield method.upper(), address, types_of(parameter["schema"]) - {"null"}


def types_of(schema: dict[str, Any]) -> set[str]:
    own = {schema["type"]} if "type" in schema else set()
    return own.union(*(types_of(each) for each in schema.get("anyOf", ())))


STATUS_OF_A_REFUSED_VALUE = {
    "request": 422,
    "question": 422,
    "quantity": 422,
    "not-on-file": 404,
    "writes-refused": 403,
}


def faulty_fields(client: TestClient, method: str, address: str) -> set[str]:
    """Fields that a request is refused for; none if it was refused for nothing in them."""
    json_body = {"json": ASKED} if method == "POST" and not address.startswith(IMPORTS) else {}
    response = client.request(method, address, **json_body)
    if response.status_code == 200:
        return set()
    document = response.json()
    code = document["type"].removeprefix("urn:specdb:problem:")
    pointers = [fault["pointer"] for fault in document["errors"]]
    refusal(response, STATUS_OF_A_REFUSED_VALUE[code], code, *pointers)  # which of them, the caller knows
    return set(pointers) if response.status_code == 422 else set()


NUMBERS = [" 5", "5 ", "%2B5", "1_0", "0x5", "٥", "5,0", "", "05", "five", "1e", "5.", ".5", "%00"]
NONE_AT_ALL = ["inf", "-inf", "nan", "Infinity", "-Infinity", "NaN", "1e999", "-1e999", "9" * 5000]


@pytest.mark.parametrize("text", NUMBERS + NONE_AT_ALL, ids=lambda text: repr(text[:10]))
def test_a_number_in_the_query_is_finite_and_plainly_written(client: TestClient, text: str) -> None:
    asked = [each for each in query_fields(client) if each[2] and each[2] <= {"integer", "number"}]
    assert asked
    for method, address, _ in asked:
        assert f"/{address.rpartition('?')[2].rstrip('=')}" in faulty_fields(client, method, address + text), address


@pytest.mark.parametrize("text", ["%00", "a%00b", "%01", "%7F", "a%0A", "x" * 5000])
def test_no_text_in_the_query_holds_what_cannot_be_printed(client: TestClient, text: str) -> None:
    asked = [each for each in query_fields(client) if "string" in each[2]]
    assert asked
    for method, address, _ in asked:
        assert f"/{address.rpartition('?')[2].rstrip('=')}" in faulty_fields(client, method, address + text), address


@pytest.mark.parametrize("text", ["inf", "nan", "1e999", "-1e999", "9" * 190, "1e999 bar", "inf bar", "nan %"])
def test_no_text_in_the_query_is_an_infinite_quantity(client: TestClient, text: str) -> None:
    for method, address, types in query_fields(client):
        if "string" in types:
            faulty_fields(client, method, address + text)


@pytest.mark.parametrize("text", ["yes", "on", "1", "0", "True", "FALSE", "", "t", " true"])
def test_a_truth_value_in_the_query_is_true_or_false(client: TestClient, text: str) -> None:
    asked = [each for each in query_fields(client) if each[2] == {"boolean"}]
    assert asked
    for method, address, _ in asked:
        assert f"/{address.rpartition('?')[2].rstrip('=')}" in faulty_fields(client, method, address + text), address
