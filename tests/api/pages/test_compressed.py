"""Pages and their files are sent compressed to who takes it; the API's answers are not."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from api.pages.site import static

PAGE = {"accept": "text/html", "accept-encoding": "gzip"}


@pytest.mark.parametrize("path", ["/", static("style.css")])
def test_what_is_compressed_is_known_again(client: TestClient, path: str) -> None:
    packed = client.get(path, headers=PAGE)
    plain = client.get(path, headers=PAGE | {"accept-encoding": "identity"})
    assert (packed.headers["content-encoding"], plain.headers.get("content-encoding")) == ("gzip", None)
    assert packed.text == plain.text
    assert int(packed.headers["content-length"]) < int(plain.headers["content-length"]) / 2
    assert "Accept-Encoding" in packed.headers["vary"]
    assert "Accept-Encoding" in plain.headers["vary"]
    assert packed.headers["etag"] == f"W/{plain.headers['etag']}"
    for answer in (packed, plain):
        assert client.get(path, headers=PAGE | {"if-none-match": answer.headers["etag"]}).status_code == 304


@pytest.mark.parametrize("path", ["/v1/characteristics", "/openapi.json", "/load/blank.xlsx"])
def test_what_programs_read_is_sent_as_it_is(client: TestClient, path: str) -> None:
    answer = client.get(path, headers={"accept-encoding": "gzip"})
    assert answer.status_code == 200
    assert "content-encoding" not in answer.headers
