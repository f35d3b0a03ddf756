"""Nothing public lacks its place in the documentation. Every list is taken from the code."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, get_args

import pytest
import typer
from starlette.testclient import TestClient

import specdb
from api import create_app
from api.admission import ADDRESS_BYTES, BODY_BYTES, LINES_BYTES, UPLOAD_BYTES
from api.cells import CODE_HEADER, DETAIL_HEADER
from api.crossorigin import EXPOSED_HEADERS
from api.cursors import MOST_ROWS, ROWS
from api.long_work import AT_ONCE
from api.problems import HTTP_PROBLEMS, status_of
from specdb.answers.cells import GIVES, LONGEST, SIGN
from specdb.answers.cells import WORDS as SHORT_WORDS
from specdb.answers.tables import column
from specdb.calculations import CALCULATIONS
from specdb.catalog.search import NEAR
from specdb.characteristics import (
    ATTRIBUTES,
    CAPACITY_BASES,
    CHARACTERISTICS,
    CONDITIONS,
    DROP_OF,
    FLUID_CLASSES,
    FLUID_CRITERIA,
    LABORATORIES,
    QUALIFIERS,
    SCALES,
    WORKED_OUT,
    Gate,
    Sense,
    title_of,
)
from specdb.cli import app as command_line
from specdb.cli import errors as endings
from specdb.cli.drawing import PictureName
from specdb.criteria import BASES, CARRIERS, REASONS
from specdb.cross_checks.lines import MOST_CANDIDATES, MOST_LINES
from specdb.cross_checks.template import UNANSWERED
from specdb.duty import ASSUMPTION_SENTENCES
from specdb.duty.dotted import dotted_names
from specdb.duty.question import (
    MOST_COMPARED,
    MOST_REQUIREMENTS,
    ComparisonAsked,
    DutyAsked,
    ElementAsked,
    FitAsked,
    FluidAsked,
    Question,
)
from specdb.duty.requirement import CUSTOMARY, GATE_OF_ATTRIBUTE, Origin
from specdb.duty.rules import RULES
from specdb.errors import family
from specdb.exchange.columns import COLUMNS
from specdb.pictures import PICTURES
from specdb.units import KINDS, UnitSystem
from specdb.wording import CAUTIONS, LEANS, ORIGINS, VERDICTS
from tests.docs.pages import NAMED, NAMED_ANYWHERE, PAGES, QUOTED, ROOT, prose, words_in

METHODS = ("get", "post", "put", "patch", "delete")


# --- pages and their parts ------------------------------------------------------------------------


@dataclass(frozen=True)
class Section:
    """A part of a page, from a heading to the next."""

    page: str
    heading: str
    text: str

    @property
    def quoted(self) -> set[str]:
        return set(re.findall(r"`([^`\n]+)`", self.text))

    @property
    def names(self) -> set[str]:
        """Names quoted in it and in its heading."""
        return words_in(self.quoted | set(re.findall(r"`([^`\n]+)`", self.heading)))

    @property
    def anchor(self) -> str:
        """Its address within the page, as Git hosts make it."""
        return re.sub(r"[^\w\- ]", "", self.heading.lower()).replace(" ", "-")

    @property
    def pages_linked(self) -> set[str]:
        return {f"docs/{target}" for target in re.findall(r"\]\(([a-z-]+\.md)(?:#[^)]*)?\)", self.text)}

    @property
    def parts_linked(self) -> set[str]:
        """Anchors of the same page that it leads to."""
        return set(re.findall(r"\]\(#([^)]+)\)", self.text))


@cache
def sections(page: str) -> tuple[Section, ...]:
    parts = re.split(r"^#+ +(.+)$", prose(page), flags=re.MULTILINE)
    return tuple(Section(page, parts[i].strip(), parts[i + 1]) for i in range(1, len(parts), 2))


def words_around(section: Section) -> set[str]:
    """Names quoted in a section, in those of its page that it leads to, and on the pages that it leads to."""
    near = (part.names for part in sections(section.page) if part.anchor in section.parts_linked)
    return section.names.union(*near, *(NAMED.get(page, set()) for page in section.pages_linked))


# --- the API --------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def client(demo_store_url: str) -> Iterator[TestClient]:
    with TestClient(create_app(demo_store_url)) as started:
        yield started


@cache
def described() -> dict[str, Any]:
    return create_app("sqlite://").openapi()


OPERATIONS = [
    (method.upper(), path) for path, item in described()["paths"].items() for method in METHODS if method in item
]
ROUTES = pytest.mark.parametrize(("method", "path"), OPERATIONS)
DRAWN = "/v1/elements/{element_id}/pictures/{picture}"
"""Answered with a picture, which has no fields and no rows."""
CELLS = "/v1/cells/"
"""Answered with a short text each."""


def _section_of(method: str, path: str) -> Section:
    """The part of the API's page that is about a route, by its heading or, for one among many, by a row of a table."""
    name = f"{method} {path}"
    parts = sections("docs/api.md")
    headed = [part for part in parts if part.heading.replace("`", "") == name]
    named = headed or [part for part in parts if name in part.quoted]
    assert named, f"{name} has no place in docs/api.md"
    return named[-1]


def _operation(method: str, path: str) -> dict[str, Any]:
    found: dict[str, Any] = described()["paths"][path][method.lower()]
    return found


def _resolved(schema: dict[str, Any]) -> dict[str, Any]:
    if "$ref" in schema:
        found: dict[str, Any] = described()["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
        return found
    return schema


@ROUTES
def test_every_route_and_its_query_are_described(method: str, path: str) -> None:
    section = _section_of(method, path)
    known = words_around(section)
    for parameter in _operation(method, path).get("parameters", ()):
        # A dotted name such as require.3.size is described by its parts.
        parts = [part for part in parameter["name"].split(".") if not part.isdecimal()]
        assert set(parts) <= known, f"{method} {path}: {parameter['name']} is not described"


def _fields(schema: dict[str, Any], seen: set[str]) -> Iterator[str]:
    """Names of all fields of an answer, those within others too."""
    if "$ref" in schema:
        if schema["$ref"] in seen:
            return
        seen.add(schema["$ref"])
        schema = _resolved(schema)
    inner = schema.get("properties", {})
    yield from inner
    for part in (*inner.values(), *schema.get("anyOf", ()), *([schema["items"]] if "items" in schema else ())):
        yield from _fields(part, seen)


@pytest.mark.parametrize(("method", "path"), [each for each in OPERATIONS if each[1] != DRAWN and CELLS not in each[1]])
def test_the_fields_of_every_answer_are_described(method: str, path: str) -> None:
    answer = _operation(method, path)["responses"]["200"]["content"]["application/json"]["schema"]
    fields = set(_fields(answer, set()))
    assert fields
    assert fields - words_around(_section_of(method, path)) - STAMP == set()


STAMP = {"catalog_revision", "method_version"}
"""Fields and columns of every answer, described once."""

ASKED_OF = {
    "/v1/elements/by-number": "/v1/elements/by-number?number=Dulse+23&history={history}",
    "/v1/elements/{element_id}": "/v1/elements/{element_id}?history={history}",
    "/v1/search": "/v1/search?q=Dulse",
    "/v1/equivalents": "/v1/equivalents?original.number=Dulse+23&limit=1",
    "/v1/comparisons": "/v1/comparisons?elements.1.number=Dulse+24&original.number=Dulse+23",
    "/v1/test-requests": "/v1/test-requests?original.number=Dulse+23&limit=3",
}
"""What to ask at an address that answers nothing without a question."""


def _questions(client: TestClient, path: str) -> Iterator[str]:
    """Addresses at ``path`` that are answered with rows."""
    element = client.get("/v1/elements?limit=1").json()["elements"][0]["element_id"]
    calculation = next((c for c in CALCULATIONS.values() if path == f"/v1/calculations/{c.name}"), None)
    if calculation is not None:
        yield str(client.build_request("GET", path, params=calculation.example).url)
    else:
        pattern = ASKED_OF.get(path, path)
        answered = dict.fromkeys(pattern.format(element_id=element, history=h) for h in ("false", "true"))
        yield from answered


def test_what_every_answer_carries_is_described() -> None:
    assert NAMED["docs/api.md"] >= STAMP


@pytest.mark.parametrize(
    "path",
    [path for method, path in OPERATIONS if method == "GET" and path not in ("/health", DRAWN) and CELLS not in path],
)
def test_every_column_of_every_table_is_described(client: TestClient, path: str) -> None:
    known = words_around(_section_of("GET", path)) | STAMP
    for address in _questions(client, path):
        answer = client.get(address, headers={"accept": "text/csv"})
        assert answer.status_code == 200, answer.text
        assert answer.headers["content-type"].startswith("text/csv")
        for name in answer.text.partition("\r\n")[0].split(","):
            # One column for each characteristic is described once.
            assert name in known or _of_characteristic(name) in known, f"{address}: {name} is not described"


def _of_characteristic(name: str) -> str:
    key = next((key for key in CHARACTERISTICS if name.startswith(f"{key}_")), "")
    return "CHARACTERISTIC" + name.removeprefix(key)


def test_every_way_to_write_a_unit_in_the_name_of_a_column_is_described() -> None:
    systems: tuple[UnitSystem, ...] = ("si", "us")
    units = {column("", kind, system).removeprefix("_") for kind in KINDS for system in systems}
    assert {"l_min", "us_gpm"} <= units
    assert units <= NAMED["docs/api.md"]


def test_limits_of_size_and_exposed_headers_are_described() -> None:
    page = PAGES["docs/api.md"]
    assert f"{BODY_BYTES >> 20} MiB" in page
    assert f"{UPLOAD_BYTES >> 20} MiB" in page
    assert f"{LINES_BYTES >> 20} MiB" in page
    assert f"{ADDRESS_BYTES >> 10} KiB" in page
    for header in EXPOSED_HEADERS:
        assert f"`{header}`" in page
    assert f"{ROWS} unless stated and at most {MOST_ROWS}" in page
    assert f"| requirements in a question | {MOST_REQUIREMENTS} |" in page
    assert f"| elements in a comparison | {MOST_COMPARED} |" in page
    limit = described()["components"]["schemas"]["Question"]["properties"]["limit"]
    assert f"| candidates listed | {limit['maximum']:g} |" in page
    assert f"| lines of a cross-check | {MOST_LINES:,} |" in page
    assert f"| candidates of such a line | {MOST_CANDIDATES} |" in page
    assert f"| cross-checks at once | {AT_ONCE} |" in page


def test_every_short_word_of_a_cell_is_described_as_the_template_lists_it() -> None:
    for word, told in SHORT_WORDS.items():
        assert f"| `{SIGN}{word}` | {told} |" in PAGES["docs/spreadsheets.md"]
    assert f"at most {LONGEST} characters" in PAGES["docs/spreadsheets.md"]
    assert {*GIVES, CODE_HEADER, DETAIL_HEADER, f"{UNANSWERED}"} <= QUOTED["docs/spreadsheets.md"]


def test_every_sense_and_gate_of_a_characteristic_is_described() -> None:
    assert {*get_args(Sense), *get_args(Gate)} <= NAMED["docs/api.md"]


def test_every_problem_type_has_its_heading_and_its_status() -> None:
    found = {section.heading: section.text for section in sections("docs/errors.md")}
    statuses = {error.code: status_of(error) for error in family()}
    statuses |= {code: status for status, (code, _) in HTTP_PROBLEMS.items()}
    assert statuses.keys() - found.keys() == set()
    for code, status in statuses.items():
        assert f"Status {status}" in found[code], code


# --- the command line -----------------------------------------------------------------------------


def _commands() -> Iterator[tuple[str, Any]]:
    """Every command by the words that it is called by."""

    def walk(name: str, command: Any) -> Iterator[tuple[str, Any]]:
        if hasattr(command, "list_commands"):
            context = command.make_context(name, [], resilient_parsing=True)
            for each in command.list_commands(context):
                yield from walk(f"{name} {each}".strip(), command.get_command(context, each))
        else:
            yield name, command

    yield from walk("", typer.main.get_command(command_line))


COMMANDS = dict(_commands())
CALCULATION_HEADINGS = {word for part in sections("docs/calculations.md") for word in part.heading.split()}


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_its_options_are_described(name: str) -> None:
    parts = sections("docs/commands.md")
    of_the_group = [part for part in parts if f"{part.heading} ".startswith(f"specdb {name.split()[0]} ")]
    assert of_the_group, f"specdb {name} has no heading in docs/commands.md"
    shared = [part for part in parts if not part.heading.startswith("specdb ")]
    # A command may take the options of another, which it names.
    named = set().union(*(part.quoted for part in of_the_group))
    alike = [part for part in parts if any(part.heading.startswith(f"specdb {other} ") for other in named)]
    known = set().union(*(part.quoted for part in (*of_the_group, *shared, *alike)))
    own = {option for text in known for option in re.findall(r"--[a-z][a-z-]*", text)}
    fields: set[str] = set()
    if name.startswith("calc "):
        assert name.removeprefix("calc ") in CALCULATION_HEADINGS
        fields = {f"--{field.replace('_', '-')}" for field in NAMED["docs/calculations.md"]}
    options = {option for each in COMMANDS[name].params for option in each.opts if option.startswith("--")}
    assert options - own - fields == set()


def test_every_picture_is_described() -> None:
    for page, names in (("docs/api.md", PICTURES), ("docs/commands.md", PictureName)):
        assert {*names} <= QUOTED[page]
    assert {*PICTURES} <= NAMED["docs/duty.md"] & NAMED["docs/method.md"]


def test_the_commands_described_are_there() -> None:
    groups = {name.split()[0] for name in COMMANDS}
    for section in sections("docs/commands.md"):
        if section.heading.startswith("specdb "):
            assert section.heading.split()[1] in groups


def test_every_exit_status_is_described() -> None:
    own = {endings.SOME_FAULTY, endings.INTERRUPTED, endings.OUTPUT_CLOSED}
    statuses = {0, 1} | own | {error.exit_status for error in family()}
    table = set(re.findall(r"^\| (\d+) \|", PAGES["docs/errors.md"], re.MULTILINE))
    assert statuses == set(map(int, table))


def test_every_setting_is_described() -> None:
    code = [path for folder in ("specdb", "api") for path in (ROOT / folder).rglob("*.py")]
    settings = {name for path in code for name in re.findall(r"\bSPECDB_[A-Z_]+\b", path.read_text(encoding="utf-8"))}
    assert "SPECDB_DATABASE_URL" in settings
    assert settings <= NAMED["docs/commands.md"]


# --- the question ---------------------------------------------------------------------------------


def test_every_judged_characteristic_is_described_and_carried() -> None:
    judged = {key for key, c in CHARACTERISTICS.items() if c.sense != "shown"}
    assert judged <= NAMED["docs/duty.md"]
    assert judged | set(WORKED_OUT) == set(CARRIERS)


def test_every_condition_attribute_and_field_is_described() -> None:
    asked = {*DutyAsked.model_fields, *FitAsked.model_fields, *Question.model_fields, *ElementAsked.model_fields}
    fluid = set(FluidAsked.model_fields) - {"fluid_class"} | {"class"}
    # The level is shown beside a ratio and never asked.
    assert (set(CONDITIONS) - {"gravimetric_level"} | asked | fluid) - NAMED["docs/duty.md"] == set()
    assert set(ComparisonAsked.model_fields) <= NAMED["docs/duty.md"] | NAMED["docs/api.md"]
    assert set(GATE_OF_ATTRIBUTE) <= {*ATTRIBUTES, *FLUID_CRITERIA, *WORKED_OUT}


def test_every_pattern_of_dotted_names_is_described() -> None:
    patterns = {re.sub(r"\.\d+\.", ".1.", name) for name in dotted_names()}
    assert any(pattern.startswith("require.1.") for pattern in patterns)
    for pattern in patterns:
        assert set(pattern.replace(".1.", ".").split(".")) <= NAMED["docs/duty.md"], pattern
    assert any(text.startswith("require.1.") for text in QUOTED["docs/duty.md"])


# --- files ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("sheet", list(COLUMNS))
def test_every_column_of_every_sheet_is_described(sheet: str) -> None:
    assert set(COLUMNS[sheet]) <= NAMED["docs/files.md"]


def test_every_attribute_and_qualifier_is_described() -> None:
    assert set(ATTRIBUTES) <= NAMED["docs/files.md"]
    assert set(QUALIFIERS) <= NAMED["docs/files.md"]


def test_every_characteristic_can_be_found() -> None:
    assert set(CHARACTERISTICS) <= NAMED["docs/files.md"]


# --- the method -----------------------------------------------------------------------------------


def test_every_assumption_reason_basis_lean_verdict_and_origin_is_described() -> None:
    assert set(ASSUMPTION_SENTENCES) == set(vars(CUSTOMARY))
    for words in (
        ASSUMPTION_SENTENCES, filter(None, REASONS), filter(None, BASES), filter(None, LEANS.values()),
        VERDICTS.values(), ORIGINS, set(QUALIFIERS),
    ):  # fmt: skip
        lacking = set(words) - NAMED["docs/method.md"]
        assert lacking == set()
    assert set(ORIGINS) == set(get_args(Origin))


def test_every_criterion_is_named_in_the_method() -> None:
    """By its title: the method is written for people."""
    text = " ".join(PAGES["docs/method.md"].casefold().split())
    judged = [c.title for key, c in CHARACTERISTICS.items() if key in CARRIERS]
    for title in (*judged, *(title_of(key) for key in GATE_OF_ATTRIBUTE)):
        assert title.partition(" (")[0].casefold() in text, title


def test_every_rule_that_derives_a_requirement_is_described() -> None:
    assert set(RULES) <= NAMED["docs/duty.md"] & NAMED["docs/method.md"]


def test_every_gate_is_named_in_the_method() -> None:
    gates = {c.gate for c in CHARACTERISTICS.values() if c.gate} | set(GATE_OF_ATTRIBUTE.values())
    rows = re.findall(r"^\| ([a-z ]+) \|", PAGES["docs/method.md"], re.MULTILINE)
    assert {gate.replace("_", " ").split()[0] for gate in gates} <= {row.split()[0] for row in rows}


# --- the client ---------------------------------------------------------------------------------


def test_every_call_of_the_client_is_described() -> None:
    page = NAMED["docs/client.md"]
    for name, call in inspect.getmembers(specdb.Catalogue, inspect.isfunction):
        if not name.startswith("_"):
            assert {name, *inspect.signature(call).parameters} - {"self", "fields", "filters"} <= page, name
    for way in (specdb.open, specdb.connect):
        assert {*inspect.signature(way).parameters} <= page
    assert {*specdb.__all__} <= page


# --- search, sums, words --------------------------------------------------------------------------


def test_every_degree_of_nearness_is_described() -> None:
    assert set(NEAR) <= NAMED["docs/search.md"]


def test_every_calculation_is_described() -> None:
    typed = {word.lower().replace("-", "_") for word in CALCULATION_HEADINGS}
    for calculation in CALCULATIONS.values():
        assert calculation.name in CALCULATION_HEADINGS
        lacking = set(calculation.asked.model_fields) - typed - NAMED["docs/calculations.md"]
        assert lacking == set(), calculation.name


def test_every_word_that_a_field_may_hold_is_described() -> None:
    assert {*DROP_OF, *CAPACITY_BASES, *LABORATORIES} <= set(re.findall(r"\w+", PAGES["docs/files.md"]))
    assert {*SCALES} - {"?"} <= NAMED_ANYWHERE
    assert {*FLUID_CLASSES} <= NAMED["docs/files.md"]
    for attribute in ATTRIBUTES.values():
        for choice in attribute.choices:
            assert choice in PAGES["docs/files.md"], f"{attribute.key}: {choice}"


def test_every_caution_is_told_as_answers_tell_it() -> None:
    text = " ".join(PAGES["docs/cautions.md"].replace("\n>", "\n").split())
    for caution in CAUTIONS:
        assert caution in text


# --- pages ----------------------------------------------------------------------------------------


def test_every_page_is_linked_from_the_readme() -> None:
    linked = set(re.findall(r"\]\((docs/[a-z-]+\.md|DEVELOPERS\.md)\)", PAGES["README.md"]))
    assert linked == PAGES.keys() - {"README.md"}


@pytest.mark.parametrize("page", PAGES)
def test_every_link_leads_somewhere(page: str) -> None:
    here = ROOT / page
    for target, anchor in re.findall(r"\]\(([^)#]*)(?:#([^)]*))?\)", PAGES[page]):
        there = (here.parent / target).resolve() if target else here
        assert there.exists(), target
        if anchor:
            assert anchor in {part.anchor for part in sections(there.relative_to(ROOT).as_posix())}, anchor


@pytest.mark.parametrize("page", PAGES)
def test_no_page_promises_what_is_not_there(page: str) -> None:
    promise = r"not yet there|not there yet|not implemented|coming soon|\btodo\b"
    assert not re.search(promise, PAGES[page], re.IGNORECASE)
