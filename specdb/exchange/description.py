"""What a folder's ``datapackage.json`` says of its files (Data Package standard): path, dialect, decimal mark."""

from __future__ import annotations

import codecs
import difflib
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath, PureWindowsPath
from typing import Any

from specdb.exchange.faults import Findings

DESCRIPTION_FILE = "datapackage.json"
READING_ONLY = "for_reading_only"
"""Property of a package whose cells carry marks against formulas; it is not taken in."""
SHEETS = ("sources", "elements", "ratings", "interchanges")
READ_ME = "Read me"
"""Title of the sheet of a blank workbook that says how to fill the others in; it is passed over."""

_TAKEN_DIALECT = {
    "delimiter", "quoteChar", "decimalChar", "skipInitialSpace",
    # of no consequence for reading
    "lineTerminator", "$schema", "csvddfVersion", "type", "name", "title", "description",
}  # fmt: skip
_DEFAULT_DIALECT = {
    "header": True, "headerRows": [1], "doubleQuote": True, "commentChar": None, "escapeChar": None,
    "nullSequence": None, "caseSensitiveHeader": False,
}  # fmt: skip


@dataclass(frozen=True)
class Description:
    """How one file is written. None is undeclared; ``field_decimals`` go before ``decimal``."""

    path: str
    encoding: str | None = None
    delimiter: str | None = None
    quote: str = '"'
    skip_initial_space: bool = False
    decimal: str | None = None
    field_decimals: Mapping[str, str] = field(default_factory=dict)


def read_descriptions(data: bytes, findings: Findings) -> dict[str, Description] | None:
    """Sheet: its description, for the sheets that the package describes. What is wrong becomes a fault.

    None, with a fault, for a package whose sheets are not to be read at all.
    """
    try:
        package = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        row = error.lineno if isinstance(error, json.JSONDecodeError) else None
        _fault(findings, "The description is not well-formed JSON.", "Mend it, or leave the file out.", row=row)
        return {}
    if not isinstance(package, dict) or not isinstance(package.get("resources", []), list):
        _fault(findings, "The description is not a data package.", 'It is an object with a list of "resources".')
        return {}
    if package.get(READING_ONLY) is True:
        remedy = "Export the catalogue again without it: here marks stand before what was typed."
        _fault(findings, "This folder was exported for reading in a spreadsheet program, not for import.", remedy)
        return None
    top_decimal = _mark(package.get("decimalChar"), "decimalChar", findings)
    described: dict[str, Description] = {}
    for number, resource in enumerate(package.get("resources", [])):
        where = f"resources[{number}]"
        if not isinstance(resource, dict):
            _fault(findings, f"{where} is not an object.", "Describe each file by an object with name and path.")
            continue
        path = _path(resource, where, findings)
        sheet = None if path is None else _sheet(resource, path)
        if path is None:
            continue
        if sheet is None:
            findings.note(f"{path} is none of the sheets known here and was not read")
        elif sheet in described:
            _fault(findings, f"{where} describes {sheet} a second time.", "Describe each sheet once.", found=path)
        else:
            described[sheet] = _description(resource, path, top_decimal, where, findings)
    return described


def sheet_meant(name: str, there: Collection[str]) -> str | None:
    """The sheet that a name is a slip away from, unless that sheet is there as well."""
    near = difflib.get_close_matches(name.strip().casefold(), [s for s in SHEETS if s not in there], 1, cutoff=0.8)
    return near[0] if near else None


def _fault(
    findings: Findings, message: str, remedy: str, *, found: object = None, row: int | None = None
) -> None:
    findings.fault(DESCRIPTION_FILE, message, remedy, row=row, found=None if found is None else str(found))


def _sheet(resource: Mapping[str, Any], path: str) -> str | None:
    for name in (resource.get("name"), PurePosixPath(path).stem):
        if isinstance(name, str) and name.casefold() in SHEETS:
            return name.casefold()
    return None


def _path(resource: Mapping[str, Any], where: str, findings: Findings) -> str | None:
    path = resource.get("path")
    if isinstance(path, list) and len(path) == 1:
        path = path[0]
    if not isinstance(path, str) or not path.strip() or "\0" in path:
        _fault(findings, f"{where} names no file.", 'Give the file\'s name as "path".', found=path)
        return None
    outside = PurePosixPath(path).is_absolute() or PureWindowsPath(path).drive or "://" in path or "\\" in path
    if outside or ".." in PurePosixPath(path).parts:
        remedy = "Give a path inside the folder; nothing outside it is read."
        _fault(findings, f"{where} leads out of the folder.", remedy, found=path)
        return None
    return str(PurePosixPath(path))


def _mark(value: object, where: str, findings: Findings) -> str | None:
    if value is None or value == "." or value == ",":
        return value if isinstance(value, str) else None
    _fault(findings, f"{where} is no decimal mark.", 'Give "." or ",".', found=value)
    return None


def _description(
    resource: Mapping[str, Any], path: str, top_decimal: str | None, where: str, findings: Findings
) -> Description:
    dialect = resource.get("dialect") or {}
    if not isinstance(dialect, dict):
        _fault(findings, f"{where}.dialect is not an object.", "Write the dialect out in its place.", found=dialect)
        dialect = {}
    # Either spelling of the standard's versions: properties at the top or under "csv".
    if isinstance(dialect.get("csv"), dict):
        dialect = dialect["csv"]
    for name, value in dialect.items():
        if name not in _TAKEN_DIALECT and not (name in _DEFAULT_DIALECT and value == _DEFAULT_DIALECT[name]):
            remedy = "Save the file with the usual quotes and one heading line, and leave this out."
            _fault(findings, f"{where}.dialect.{name} is not taken here.", remedy, found=value)
    decimals = (
        _mark(dialect.get("decimalChar"), f"{where}.dialect.decimalChar", findings)
        or _mark(resource.get("decimalChar"), f"{where}.decimalChar", findings)
        or top_decimal
    )
    return Description(
        path,
        _encoding(resource.get("encoding"), where, findings),
        _character(dialect.get("delimiter"), f"{where}.dialect.delimiter", findings),
        _character(dialect.get("quoteChar"), f"{where}.dialect.quoteChar", findings) or '"',
        dialect.get("skipInitialSpace") is True,
        decimals,
        _field_decimals(resource.get("schema"), where, findings),
    )


def _character(value: object, where: str, findings: Findings) -> str | None:
    if value is None:
        return None
    if isinstance(value, str) and len(value) == 1 and value not in "\r\n\0" and not value.isalnum():
        return value
    _fault(findings, f"{where} is not one character.", 'Give one character, such as ";".', found=value)
    return None


def _encoding(value: object, where: str, findings: Findings) -> str | None:
    """Name of a declared encoding other than UTF-8; that one is the default, and checked."""
    if value is None:
        return None
    try:
        name = codecs.lookup(value).name if isinstance(value, str) else ""
    except (LookupError, ValueError):
        name = ""
    if name in ("utf-8", "utf-8-sig", "ascii"):
        return None
    if name.startswith(("cp125", "iso8859", "utf-16")):
        return name
    _fault(findings, f"{where}.encoding is not taken here.", 'Save the file as "utf-8".', found=value)
    return None


def _field_decimals(schema: object, where: str, findings: Findings) -> dict[str, str]:
    fields = schema.get("fields") if isinstance(schema, dict) else None
    marks = {}
    for number, described in enumerate(fields if isinstance(fields, list) else []):
        if isinstance(described, dict) and isinstance(described.get("name"), str):
            mark = _mark(described.get("decimalChar"), f"{where}.schema.fields[{number}].decimalChar", findings)
            if mark is not None:
                marks[described["name"]] = mark
    return marks
