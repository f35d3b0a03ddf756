"""Every call gives the same answer from a store and from a service, and raises the same error."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pint
import pytest
from pydantic import BaseModel

import specdb
from specdb.answers.cross_checks import LineAnswer
from specdb.client import service
from specdb.duty.question import DutyAsked

Call = Callable[[specdb.Catalogue], Any]
UM = pint.UnitRegistry().micrometer
FRAME = pd.DataFrame(
    {
        "Machine": ["A", "B", "C", "D"],
        "Part no": ["Dulse 23", "=7-K", None, "00417"],
        "flow_l_min": [75.0, None, 60.0, 60.5],
        "oil": ["ISO VG 46", None, None, None],
        "working pressure": [10 * pint.UnitRegistry().bar, None, None, None],
    }
)

ANSWERED: dict[str, Call] = {
    "search": lambda k: k.search("lse 23", limit=5),
    "search as of a revision": lambda k: k.search("Dulse", as_of=1),
    "elements": lambda k: k.elements(),
    "elements in other units": lambda k: k.elements(kind="spin-on", outside_diameter_mm=96, units="us"),
    "the first elements": lambda k: k.elements(limit=9, as_of="1"),
    "elements that might fit": lambda k: k.elements(
        require=[{"characteristic": "filtration_ratio", "at_least": 200, "size": (10 * UM, "c")}],
        assumptions=["unstated_conditions_match"],
        might=True,
    ),
    "elements with a share assumed": lambda k: k.elements(
        require=[{"characteristic": "retained_capacity", "at_least_g": 60}], assumptions={"about_within": "10 %"}
    ),
    "elements that meet what is said in words": lambda k: k.elements(
        require=["beta10(c) >= 200", {"characteristic": "retained_capacity", "at_least_g": 60}], might=True
    ),
    "element": lambda k: k.element("Dulse 23"),
    "element of a maker, with its history": lambda k: k.element(("quollbeck", "dulse23"), history=True, units="us"),
    "element of a hit": lambda k: k.element(k.search("lse 23").hits[0]),
    "element by its identifier": lambda k: k.element({"element_id": k.element("Dulse 24").element_id}),
    "characteristics": lambda k: k.characteristics(),
    "revisions": lambda k: k.revisions(),
    "the last revision": lambda k: k.revisions(limit=1),
    "equivalents": lambda k: k.equivalents("Dulse 23", {"flow_l_min": 75, "assumptions": "customary"}, limit=4),
    "equivalents of an element": lambda k: k.equivalents(
        k.element("Dulse 23"), include_windows=True, units="us", limit=2
    ),
    "equivalents for a duty": lambda k: k.equivalents(
        duty=DutyAsked.model_validate({"fluid": {"class": "HM"}, "fit": {"thread": "1-12 UNF"}}),
        include_without_evidence=True,
        limit=3,
        as_of=1,
    ),
    "comparison": lambda k: k.compare(
        ["Dulse 24", {"number": "2024-07"}], original=("Quollbeck", "Dulse 23"), duty={"derive": "none"}
    ),
    "comparison of candidates": lambda k: k.compare(k.equivalents("Dulse 23", limit=2).candidates, original="Dulse 23"),
    "comparison of one after another": lambda k: k.compare(
        "12-2", ("Quollbeck", "Dulse 23"), original="Dulse 24", assumptions="customary"
    ),
    "test requests": lambda k: k.test_requests("Dulse 23", {"assumptions": "customary"}, limit=5, units="us"),
    "lines": lambda k: k.cross_check(
        [
            {"line": "A", "original.number": "Dulse 23", "flow_l_min": 75},
            {"line": "B", "original": {"number": "Dulse 23"}, "elements.1.number": "Dulse 24"},
            {"line": "C", "original.number": "Dulse 99"},
        ],
        {"assumptions": "customary"},
        limit=2,
        units="us",
    ),
    "line after line": lambda k: Lines(
        lines=list(
            k.cross_check_each([{"original.number": "Dulse 23"}, {"flow": "75 bar"}], {"assumptions": "customary"})
        )
    ),
    "lines of a data frame": lambda k: k.cross_check(FRAME, mode="rank", as_of=1),
    "calculations": lambda k: k.calculations(),
    "calculation": lambda k: k.calculate("filtration-ratio", efficiency_percent=99.5),
    "calculation in other units": lambda k: k.calculate("density", fluid_class="HM", temperature_degc=50, units="us"),
}

REFUSED: dict[str, Call] = {
    "nothing sought": lambda k: k.search("", limit=0),
    "the future": lambda k: k.equivalents("Dulse 23", as_of=10**6),
    "no date": lambda k: k.search("Dulse", as_of="yesterday"),
    "before anything": lambda k: k.elements(as_of=datetime(1990, 1, 1, tzinfo=UTC)),
    "before anything, by the day": lambda k: k.elements(as_of=date(1990, 1, 1)),
    "no such filter": lambda k: k.elements(colour="red"),
    "an empty filter": lambda k: k.elements(thread="", maker="x" * 300),
    "filters that cannot be read": lambda k: k.elements(thread="zz", length="abc", kind="spinon"),
    "a maker without elements": lambda k: k.elements(maker="Nobody"),
    "no such requirement": lambda k: k.elements(require=[{"characteristic": "x", "at_leas": 5}], assumptions=["x"]),
    "no requirement in words": lambda k: k.elements(require="beta"),
    "no requirement of a duty": lambda k: k.equivalents(duty={"require": ["beta10(c) >= 200", "12-1"]}),
    "no requirement at all": lambda k: k.elements(require=[5]),  # type: ignore[list-item]
    "no elements wanted": lambda k: k.elements(limit=0),
    "a number of hits that is a text": lambda k: k.search("Dulse", limit="2"),  # type: ignore[arg-type]
    "no such number": lambda k: k.element("Dulse 99"),
    "no number": lambda k: k.element("---"),
    "no identifier": lambda k: k.element({"element_id": "../health"}),
    "no such identifier": lambda k: k.element({"element_id": "0" * 16}),
    "a name that names none": lambda k: k.element({"maker": "Quollbeck"}),
    "a name of other things": lambda k: k.element({"nummer": "Dulse 23"}),
    "fields of the wrong form": lambda k: k.equivalents(
        duty={"flw": "75", "flow": 75, "working_pressure": "ten", "fit": {"length": {"vale": 1}}}, limit=0
    ),
    "more faults than are told": lambda k: k.equivalents(duty={f"x{n}": n for n in range(120)}),
    "an object that is a text": lambda k: k.equivalents("Dulse 23", {"fluid": "ISO VG 46", "fit": "1-12 UNF"}),
    "fields of what is below": lambda k: k.equivalents("Dulse 23", {"grade": "ISO VG 46", "thread": "1-12 UNF"}),
    "assumptions in two places": lambda k: k.test_requests(
        "Dulse 23", {"assumptions": "none"}, assumptions="customary"
    ),
    "a quantity without a unit": lambda k: k.equivalents("Dulse 23", {"flow": "75"}),
    "a unit of another kind": lambda k: k.equivalents("Dulse 23", {"flow_bar": 75}),
    "two faulty quantities": lambda k: k.equivalents("Dulse 23", {"flow": "75 bar", "working_pressure": "x"}),
    "no number of pint's": lambda k: k.equivalents("Dulse 23", {"flow": float("nan") * UM}),
    "an original that is not on file": lambda k: k.equivalents("Dulse 99"),
    "nothing asked": lambda k: k.equivalents(),
    "an original by its identifier": lambda k: k.equivalents({"element_id": "0" * 16}),
    "no elements": lambda k: k.compare([], original="Dulse 23"),
    "nothing compared": lambda k: k.compare(),
    "a list beside an element": lambda k: k.compare(["Dulse 24"], "Dulse 23"),
    "a name in three parts": lambda k: k.element(("Quollbeck", "Dulse", "23")),  # type: ignore[arg-type]
    "a number that is no text": lambda k: k.compare(417),  # type: ignore[arg-type]
    "an element named twice over": lambda k: k.compare({"number": "a", "element_id": "0" * 16}, original="Dulse 23"),
    "elements that are not on file": lambda k: k.compare("Dulse 24", "Dulse 98", original="Dulse 23"),
    "nothing to ask makers for": lambda k: k.test_requests(duty={"flow": "75 L/min"}),
    "no such units": lambda k: k.search("Dulse", units="uk"),  # type: ignore[arg-type]
    "no such mode": lambda k: k.cross_check([{"original.number": "12-1"}], mode="both"),  # type: ignore[arg-type]
    "a number of candidates that is a text": lambda k: k.cross_check(
        [{"original.number": "12-1"}], limit="2"  # type: ignore[arg-type]
    ),
    "a line that is a text": lambda k: k.cross_check(["Dulse 23"]),  # type: ignore[list-item]
    "too many candidates": lambda k: k.cross_check([{"original.number": "12-1"}], limit=500),
    "no lines": lambda k: k.cross_check([]),
    "no lines one after another": lambda k: k.cross_check_each([]),
    "no heading that is known": lambda k: k.cross_check(pd.DataFrame({"colour": ["red"]})),
    "no such calculation": lambda k: k.calculate("nothing"),
    "no such field of a calculation": lambda k: k.calculate("filtration-ratio", efficency="99 %"),
    "a calculation out of range": lambda k: k.calculate("filtration-ratio", efficiency="120 %"),
}


class Lines(BaseModel):
    """Lines that came one after another."""

    lines: list[LineAnswer]


def _error(call: Call, catalogue: specdb.Catalogue) -> specdb.SpecdbError:
    with pytest.raises(specdb.SpecdbError) as caught:
        call(catalogue)
    return caught.value


def _told(error: specdb.SpecdbError) -> tuple[object, ...]:
    """All that a script can see of an error, but for the name of the request, which a service alone has. What is wrong
    with no one field is told in a document in one sentence with its remedy."""
    document = {name: value for name, value in error.problem.items() if name != "instance"}
    parts = (error.message, error.value, error.remedy) if error.field or error.faults else ()
    return type(error), str(error), error.field, parts, document


@pytest.mark.parametrize("call", ANSWERED.values(), ids=ANSWERED)
def test_an_answer_is_the_same(call: Call, here: specdb.Catalogue, there: specdb.Catalogue) -> None:
    answer = call(here)
    assert answer == call(there)
    assert answer.model_dump()


@pytest.mark.parametrize("call", REFUSED.values(), ids=REFUSED)
def test_a_refusal_is_the_same(call: Call, here: specdb.Catalogue, there: specdb.Catalogue) -> None:
    error = _error(call, here)
    assert _told(error) == _told(_error(call, there))
    assert error.problem["type"].startswith("urn:specdb:problem:")
    assert error.problem["status"] in (404, 422)
    assert error.problem["detail"]


def test_what_is_said_in_words_is_what_the_fields_say(here: specdb.Catalogue) -> None:
    asked = {"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"}
    by_fields = here.elements(require=[asked])
    assert 0 < by_fields.total < here.elements().total
    assert [each.element_id for each in here.elements(require="β10(c) at least 200").elements] == [
        each.element_id for each in by_fields.elements
    ]
    ranked = here.equivalents(duty={"require": ["β10(c) at least 200"]}, assumptions="customary", limit=5)
    assert ranked.candidates == here.equivalents(
        duty={"require": [asked], "assumptions": "customary"}, limit=5
    ).candidates  # fmt: skip
    compared = here.compare("12-2", "Dulse 23", original="Dulse 24")
    assert [each.element.number for each in compared.elements] == ["12-2", "Dulse 23"]


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (REFUSED["an object that is a text"], 'duty.fluid: an object of names and values is expected. Write {"grade":'),
        (REFUSED["fields of what is below"], "duty.grade: there is no such field. Is fluid.grade meant?"),
        (REFUSED["a quantity without a unit"], 'duty.flow: "75" has no unit; a flow was wanted. Add one of L/min, '),
        (REFUSED["no such number"], "number: No element has this number. Found: Dulse 99. Check"),
        (REFUSED["no requirement of a duty"], "duty.require.1: This is no requirement. Found: 12-1. Write"),
        (REFUSED["a list beside an element"], "original=..."),
        (REFUSED["a number of candidates that is a text"], "limit: A whole number is wanted. Found: 2. Write it "),
    ],
)  # fmt: skip
def test_a_refusal_says_what_was_found_and_what_would_be_right(
    call: Call, said: str, here: specdb.Catalogue, there: specdb.Catalogue
) -> None:
    for catalogue in (here, there):
        error = _error(call, catalogue)
        assert said in "; ".join(map(str, error.faults or (error,)))


def test_every_call_is_tried() -> None:
    public = {name for name, _ in inspect.getmembers(specdb.Catalogue, inspect.isfunction) if not name.startswith("_")}
    tried = {name for call in ANSWERED.values() for name in call.__code__.co_names}
    assert public - {"close"} <= tried


def test_files_of_lines_are_read_as_they_are(
    tmp_path: Path, here: specdb.Catalogue, there: specdb.Catalogue
) -> None:
    sheet = tmp_path / "lines.csv"
    sheet.write_text("Machine,Part no,Flow [L/min]\nPress 1,Dulse 23,75\nPress 2,Dulse 99,60\n", encoding="utf-8")
    answer = here.cross_check(sheet, {"assumptions": "customary"}, limit=1)
    assert answer == there.cross_check(str(sheet), {"assumptions": "customary"}, limit=1)
    assert [(line.line, line.status) for line in answer.lines] == [("Press 1", "answered"), ("Press 2", "fault")]
    with pytest.raises(FileNotFoundError):
        there.cross_check(tmp_path / "none.csv")


def test_a_data_frame_says_what_its_cells_say(here: specdb.Catalogue) -> None:
    answer = here.cross_check(FRAME, {"assumptions": "customary"}, mode="rank", limit=1)
    asked = [line.asked for line in answer.lines]
    assert [line.line for line in answer.lines] == ["A", "B", "C", "D"]
    assert [each.get("original.number") for each in asked] == ["Dulse 23", "=7-K", None, "00417"]
    assert [each.get("flow") for each in asked] == ["75 L/min", None, "60 L/min", "60.5 L/min"]
    assert asked[0]["working_pressure"].replace(".0", "") == "10 bar"
    assert asked[1].keys() == {"original.number", "limit", "assumptions"} | (asked[1].keys() & {"original.maker"})
    assert [line.status for line in answer.lines] == ["answered", "answered", "fault", "answered"]


def test_a_cell_of_a_data_frame_is_what_it_is_in_a_workbook(
    tmp_path: Path, here: specdb.Catalogue, there: specdb.Catalogue
) -> None:
    frame = pd.DataFrame(
        {
            "line": ["date", "numpy", "gap", "text", "comma"],
            "original number": [pd.Timestamp(2024, 12, 1), np.int64(12), None, "00417", "Dulse 23"],
            "flow_l_min": [np.float64(75), np.int64(60), pd.NA, 1.125, "7,5"],
            "service interval [h]": pd.to_datetime([None, None, None, None, None]),
            "working pressure [bar]": [float("nan"), 10, 10, 10, 10],
        }
    )
    frame.to_excel(tmp_path / "lines.xlsx", index=False)
    answer = here.cross_check(frame, limit=1)
    assert answer.lines == there.cross_check(frame, limit=1).lines
    assert answer.lines == here.cross_check(tmp_path / "lines.xlsx", limit=1).lines
    dated, *rest = answer.lines
    assert dated.problem is not None
    assert "a program may have made it of what was typed. Found: 2024-12-01" in dated.problem.detail
    assert [line.asked.get("original.number") for line in rest] == ["12", None, "00417", "Dulse 23"]
    assert [line.asked.get("flow") for line in rest] == ["60 L/min", None, "1.125 L/min", "7,5 L/min"]
    assert {line.asked.get("working_pressure") for line in rest} == {"10 bar"}
    assert not any("service_interval" in line.asked for line in rest)
    with pytest.raises(specdb.QuestionError, match="Broken Unicode") as caught:
        here.cross_check(pd.DataFrame({"original number": ["\ud800"]}, dtype=object))
    assert caught.value.field == "original number"


def test_a_long_list_is_whole_however_small_its_pages(
    here: specdb.Catalogue, there: specdb.Catalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(service, "ROWS_OF_A_PAGE", 7)
    whole = here.elements(units="us")
    assert whole.total == len(whole.elements) > 21
    assert whole == there.elements(units="us")
    assert here.elements(limit=17) == there.elements(limit=17)
    monkeypatch.setattr(service, "ROWS_OF_A_PAGE", 1)
    assert here.revisions() == there.revisions()


def test_threads_share_a_catalogue(demo_store_url: str, here: specdb.Catalogue) -> None:
    numbers = ["Dulse 23", "Dulse 24", "2024-07"] * 3
    with specdb.open(demo_store_url) as fresh, ThreadPoolExecutor(9) as pool:
        found = list(pool.map(lambda number: fresh.element(number), numbers))
    assert found == [here.element(number) for number in numbers]
