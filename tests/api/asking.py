"""A question that uses most of the contract, and the shape that every refusal has."""

from __future__ import annotations

from typing import Any

from api.problems import HTTP_PROBLEMS
from specdb.errors import family

JSON = {"content-type": "application/json"}
EQUIVALENTS = "/v1/equivalents"

EXAMPLE: dict[str, Any] = {
    "original": {"maker": "Quollbeck", "number": "Dulse 23"},
    "duty": {
        "flow": "75 L/min",
        "fluid": {"grade": "ISO VG 46", "viscosity_index": 100, "class": "HM"},
        "operating_temperature": "50 degC",
        "cold_start_temperature": "0 degC",
        "working_pressure": "1 MPa",
        "bypass_cracking_pressure": "170 kPa",
        "location": "return",
        "require": [
            {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"},
            {"characteristic": "retained_capacity", "at_least": "60 g"},
            {"characteristic": "collapse_pressure", "at_least": "1 MPa"},
            {
                "characteristic": "clean_pressure_drop",
                "at_most": "25 kPa",
                "flow": "75 L/min",
                "viscosity": "32 mm^2/s",
                "drop_of": "element",
            },
        ],
        "fit": {"thread": "1-12 UNF", "outside_diameter": {"value": "96 mm", "tolerance": "2 mm"}},
        "assumptions": "customary",
    },
    "limit": 20,
    "include_without_evidence": False,
}

CODES = {error.code for error in family()} | {code for code, _ in HTTP_PROBLEMS.values()}


def requiring(**requirement: Any) -> dict[str, Any]:
    """A question with one requirement."""
    return {"duty": {"require": [requirement]}}


def refusal(response: Any, status: int, code: str, *pointers: str) -> dict[str, Any]:
    """The problem document of ``response``, which must have the shape of all, and point at ``pointers``."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    document: dict[str, Any] = response.json()
    assert set(document) == {"type", "title", "status", "detail", "errors"}
    assert document["type"] == f"urn:specdb:problem:{code}"
    assert code in CODES
    assert document["status"] == status
    for name in ("title", "detail"):
        assert isinstance(document[name], str)
        assert document[name].strip()
    for fault in document["errors"]:
        assert set(fault) in ({"pointer", "detail"}, {"pointer", "detail", "remedy"})
        assert fault["pointer"] == "" or fault["pointer"].startswith("/")
        assert fault["detail"].strip()
    assert [fault["pointer"] for fault in document["errors"]] == list(pointers)
    return document
