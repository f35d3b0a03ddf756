"""The worked examples of ``api/examples``: each request sent to the service over the demo catalogue.

``python -m tests.api.examples`` writes every answer anew, after a change that is meant to change it. An
operation without a file gets one when its request is written there: ``{"request": {"query": {...}}}``.
"""

from __future__ import annotations

import json
import re
import tempfile
from pathlib import Path
from typing import Any

from defusedxml.ElementTree import fromstring
from starlette.testclient import TestClient

import api
from api import create_app
from specdb.catalog.store import open_store
from specdb.demo import demo_folder
from specdb.exchange import import_folder

SVG = "{http://www.w3.org/2000/svg}"
FOLDER = Path(api.__file__).parent / "examples"
_TIME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?Z")
_CURSOR = re.compile(r"cursor=[A-Za-z0-9_-]{44}")
A_TIME = "2026-01-01T00:00:00.000000Z"
A_CURSOR = f"cursor={'A' * 44}"
"""They stand for the time of the import and for cursors made of it, which are others in every store."""


def addressed(client: TestClient) -> dict[str, tuple[str, str, dict[str, Any]]]:
    """Method, address and description of each operation, by its id."""
    return {
        operation["operationId"]: (method.upper(), path, operation)
        for path, operations in client.app.openapi()["paths"].items()
        for method, operation in operations.items()
    }


def the_same_in_every_store(text: str) -> str:
    return _CURSOR.sub(A_CURSOR, _TIME.sub(A_TIME, text))


def answered(client: TestClient, operation_id: str, asked: dict[str, Any]) -> dict[str, Any]:
    """``answer`` and, where there is one, ``table`` of a request of an operation; of a cell its ``text``, of a picture
    what it is called and what it tells who cannot see it, since how it is drawn is its own business."""
    method, path, operation = addressed(client)[operation_id]
    address = path.format(**asked.get("path", {}))
    sent: dict[str, Any] = {"params": asked.get("query", {})}
    if "body" in asked:
        sent["json"] = asked["body"]
    if "file" in asked:
        sent["files"] = {"file": (asked["file"]["name"], asked["file"]["text"].encode())}
    response = client.request(method, address, **sent)
    assert response.status_code == 200, response.text
    if "image/svg+xml" in operation["responses"]["200"]["content"]:
        drawn = fromstring(response.content)
        return {"picture": {name: drawn.findtext(f"{SVG}{name}") for name in ("title", "desc")}}
    if "text/plain" in operation["responses"]["200"]["content"]:
        return {"text": response.text}
    found = {"answer": json.loads(the_same_in_every_store(response.text))}
    if "text/csv" in operation["responses"]["200"]["content"]:
        response = client.request(method, address, **sent, headers={"accept": "text/csv"})
        assert response.status_code == 200, response.text
        found["table"] = the_same_in_every_store(response.text)
    return found


def write() -> None:
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'demo.sqlite'}"
        engine = open_store(url, create=True)
        import_folder(engine, demo_folder(), actor="test", reason="the demo catalogue")
        engine.dispose()
        with TestClient(create_app(url, allow_writes=True)) as client:
            for file in sorted(FOLDER.glob("*.json")):
                asked = json.loads(file.read_text(encoding="utf-8"))["request"]
                example = {"request": asked} | answered(client, file.stem, asked)
                file.write_text(json.dumps(example, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
                print(file.name)


if __name__ == "__main__":
    write()
