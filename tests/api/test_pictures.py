"""Pictures over HTTP: SVG and nothing else, kept by its tag, refused as every other answer is."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from specdb.pictures import PICTURES
from tests.api.asking import refusal
from tests.specdb.pictures.drawn import SVG, Drawn

DULSE = "/v1/elements/23d2f750f7492a15/pictures"
WORK = {
    "flow": "75 L/min",
    "fluid.grade": "ISO VG 46",
    "fluid.viscosity_index": "100",
    "operating_temperature": "50 degC",
    "bypass": "element",
    "bypass_cracking_pressure": "170 kPa",
}


@pytest.mark.parametrize("picture", PICTURES)
def test_a_picture_is_svg_that_runs_nothing_and_is_kept_by_its_tag(client: TestClient, picture: str) -> None:
    answer = client.get(f"{DULSE}/{picture}", params=WORK)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "image/svg+xml"
    assert answer.headers["content-security-policy"] == "default-src 'none'; style-src 'unsafe-inline'; sandbox"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["content-disposition"] == f'inline; filename="{picture}-23d2f750f7492a15.svg"'
    assert answer.headers["vary"] == "Accept"
    drawn = Drawn(answer.text)
    assert drawn.title.endswith(": Quollbeck Dulse 23")
    assert not [each.tag for each in drawn.root.iter() if each.tag in (f"{SVG}script", f"{SVG}foreignObject")]
    stated = [pair for each in drawn.root.iter() for pair in each.items()]
    assert not [name for name, value in stated if name.startswith("on") or ("href" in name and value[0] != "#")]
    tag = {"if-none-match": answer.headers["etag"]}
    assert client.get(f"{DULSE}/{picture.replace('_', '-')}", params=WORK).text == answer.text
    kept = client.get(f"{DULSE}/{picture}", params=WORK, headers=tag)
    assert (kept.status_code, kept.content) == (304, b"")
    assert kept.headers["etag"] == answer.headers["etag"]


def test_the_tag_is_of_the_question_and_head_has_no_body(client: TestClient) -> None:
    address = f"{DULSE}/filtration_ratio"
    head = client.head(address)
    assert (head.status_code, head.content) == (200, b"")
    assert head.headers["content-type"] == "image/svg+xml"
    tag = {"if-none-match": head.headers["etag"]}
    assert client.get(address, headers=tag).status_code == 304
    assert client.get(address, params={"units": "us"}, headers=tag).status_code == 200
    assert client.get(address, headers={"if-none-match": "*"}).status_code == 304


def test_who_takes_svg_is_given_it(client: TestClient) -> None:
    address = f"{DULSE}/filtration_ratio"
    tag = client.head(address).headers["etag"]  # whoever has it already is not drawn another
    for accept in ("image/svg+xml", "image/*", "*/*", "text/html, image/avif, */*;q=0.8"):
        assert client.get(address, headers={"accept": accept, "if-none-match": tag}).status_code == 304


def test_a_picture_has_one_form(client: TestClient) -> None:
    for accept in ("application/json", "text/csv", "image/png"):
        refused = client.get(f"{DULSE}/criteria", params=WORK, headers={"accept": accept})
        assert refusal(refused, 406, "not-acceptable")["detail"] == "This address answers image/svg+xml."
    refusal(client.get(f"{DULSE}/criteria.csv", params=WORK), 404, "no-such-address")
    refusal(client.get(f"{DULSE}/criteria", params=WORK | {"format": "csv"}), 422, "question", "/format")
    refusal(client.post(f"{DULSE}/criteria", json={}), 405, "method")


def test_what_cannot_be_drawn_is_refused_with_its_place(client: TestClient) -> None:
    refusal(client.get(f"{DULSE}/pressure_drop"), 422, "question", "/flow", "/fluid.grade")
    refusal(client.get(f"{DULSE}/criteria"), 422, "question", "/require.1.characteristic")
    refusal(client.get(f"{DULSE}/criteria", params={"flow": "75"}), 422, "quantity", "/flow")
    refusal(client.get(f"{DULSE}/criteria", params={"units": "imperial"}), 422, "request", "/units")
    refusal(client.get(f"{DULSE}/likeness", params=WORK), 422, "request", "/picture")
    refusal(client.get(f"{DULSE}/criteria", params=WORK | {"as_of": "1998-05-31"}), 404, "not-on-file", "/as_of")
    nobody = f"/v1/elements/{'0' * 16}/pictures/criteria"
    refusal(client.get(nobody, params=WORK), 404, "not-on-file", "/element_id")
    absent = {"original.number": "nowhere"}
    refusal(client.get(f"{DULSE}/criteria", params=absent), 404, "not-on-file", "/original.number")


def test_a_picture_may_be_in_place_of_an_original(client: TestClient) -> None:
    drawn = Drawn(client.get(f"{DULSE}/criteria", params={"original.number": "12-1", "limit": "3"}).text)
    assert "in place of Tarnwhistle 12-1" in drawn.words
    assert "from the original" in drawn.words
