"""Answers to lines, one after another, over one state of the catalogue."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Literal

from specdb.advice.asking import requests
from specdb.answers.claims import claims_shown
from specdb.answers.cross_checks import FaultShown, LineAnswer, LineProblem
from specdb.answers.deciding import UNTOLD, Beside, candidate, notes_shown, requirement_shown
from specdb.answers.requests import requests_shown
from specdb.catalog.identity import identity_key
from specdb.catalog.snapshot import Snapshot
from specdb.cross_checks.lines import CANDIDATES, MOST_CANDIDATES, NOT_ANSWERED_WITH, Line
from specdb.duty.dotted import compared_names, comparison_of, faults_as_typed, question_of
from specdb.errors import InputError, NotOnFileError, QuestionError, SpecdbError, shown
from specdb.ranking import Ranking, compare
from specdb.shortlist import Shortlister
from specdb.units import UnitSystem
from specdb.wording import assumption_words

Mode = Literal["each", "rank", "judge"]
"""What lines are asked for: ``each`` line for what it is made for, a judgement where it names elements to be judged."""

SAID_ONCE = ("as_of",)
"""What is said for all lines and not by one."""


def answer_lines(
    lines: Iterable[Line],
    snapshot: Snapshot,
    common: Mapping[str, str],
    *,
    mode: Mode = "each",
    units: UnitSystem = "si",
) -> Iterator[LineAnswer]:
    """The answer to each line, in order, when it is asked for. ``common`` are dotted names and texts that hold for each
    line that does not state them itself.

    A line that cannot be answered is answered with its problem; nothing that a line holds is raised.
    """
    shortlister = Shortlister(snapshot)
    for line in lines:
        yield answer_line(line, shortlister, common, mode, units)


def answer_line(
    line: Line, shortlister: Shortlister, common: Mapping[str, str], mode: Mode, units: UnitSystem
) -> LineAnswer:
    """As :func:`answer_lines`, of one line."""
    judged = mode == "judge" or (mode == "each" and _names_elements(line.asked))
    asked = _asked(line, common, judged)
    asked |= _makers_told_apart(asked, shortlister.snapshot)
    try:
        _refuse(line, asked, judged)
        with faults_as_typed(asked):
            told = _judged(asked, shortlister.snapshot, units) if judged else _ranked(asked, shortlister, units)
    except (InputError, NotOnFileError) as error:
        return LineAnswer(
            line=line.label, row=line.row, status="fault", mode="judged" if judged else "ranked", asked=asked,
            headings=dict(line.headings), unread=dict(line.unread), aside=dict(line.aside),
            problem=_problem(error, line.headings, asked),
        )  # fmt: skip
    told.line, told.row, told.asked, told.headings = line.label, line.row, asked, dict(line.headings)
    told.aside = dict(line.aside)
    return told


def _names_elements(asked: Mapping[str, str]) -> bool:
    return any(text.strip() and name in compared_names() for name, text in asked.items())


def _asked(line: Line, common: Mapping[str, str], judged: bool) -> dict[str, str]:
    """What the line asks with what is said for all; of a line that is judged nothing that only a ranking takes, and the
    other way round."""
    asked = dict(common) | {name: text for name, text in line.asked.items() if text.strip()}
    left = {"limit", "include_without_evidence"} if judged else set(compared_names())
    asked = {name: text for name, text in asked.items() if name not in left}
    return asked if judged else {"limit": str(CANDIDATES)} | asked


def _makers_told_apart(asked: Mapping[str, str], snapshot: Snapshot) -> dict[str, str]:
    """Of a number that nobody has and that begins with the maker whose number the rest is, as "Quollbeck Dulse 23" and
    "Quollbeck: Dulse 23" do, both by their names."""
    found: dict[str, str] = {}
    for name, text in asked.items():
        beside = name.removesuffix("number") + "maker"
        if not name.endswith(".number") or asked.get(beside) or _on_file(snapshot, text):
            continue
        for gap in re.finditer(r"\s*:\s*|\s+", text):
            maker, number = text[: gap.start()], text[gap.end() :]
            if _on_file(snapshot, number, maker):
                found |= {beside: maker, name: number}
    return found


def _on_file(snapshot: Snapshot, number: str, maker: str | None = None) -> bool:
    try:
        rows = snapshot.rows_of_number.get(identity_key(number), [])
        its_key = None if maker is None else identity_key(maker)
    except QuestionError:
        return False
    return any(its_key in (None, snapshot.elements.maker_key[row]) for row in rows)


def _refuse(line: Line, asked: Mapping[str, str], judged: bool) -> None:
    """Raises the faults that the line was read with, and what it may not ask, unless it is told among them already."""
    faults: list[SpecdbError] = []
    for name in SAID_ONCE:
        if line.asked.get(name, "").strip():
            remedy = "Leave the column out, and say it once for the whole cross-check."
            faults.append(_at(name, "This holds for all lines.", remedy))
    for name in NOT_ANSWERED_WITH:
        if line.asked.get(name, "").strip():
            faults.append(_at(name, "A line is not answered with this.", "Leave it out, or ask it alone."))
    faults += _faults_of_the_original(line, asked, judged)
    if judged and not _names_elements({**line.asked, **line.unread}):
        faults.append(_at("elements.1.number", "No alternative is named.", "Name the number that is to be judged."))
    limit = line.asked.get("limit", "").strip()
    if limit.isdecimal() and int(limit[:9]) > MOST_CANDIDATES:
        faults.append(_at("limit", f"At most {MOST_CANDIDATES} candidates are given for a line.", "Ask for fewer."))
    told = {fault.field for fault in line.faults}
    faults = [*line.faults, *(each for each in faults if line.headings.get(each.field or "", each.field) not in told)]
    if faults:
        raise QuestionError.of(faults)


def _faults_of_the_original(line: Line, asked: Mapping[str, str], judged: bool) -> list[QuestionError]:
    """What is wrong with a line that names no original: with one of which the maker alone is told, with one that leaves
    a column for it blank, and with one that is to be judged, where nothing is required that it could be judged by."""
    name = line.blank_original or "original.number"
    is_named = "original.number" in {*asked, *line.unread}
    if is_named or any(fault.field in (None, name) for fault in line.faults):
        return []
    if asked.get("original.maker"):
        remedy = "Fill in the number, or leave the maker out too."
        return [_at(name, "The maker of the original is given, and its number is missing.", remedy)]
    requires = any(each.startswith(("require.", "fit.")) and each != "fit.clearance" for each in asked)
    if requires or not (judged or line.blank_original):
        return []
    message = "No original is named, and nothing is required to judge by." if judged else "No original is named."
    remedy = "Name the number of the element to be replaced, or state what is required: require.1.characteristic, "
    return [_at(name, message, f"{remedy}fit.length and so on.")]


def _at(name: str, message: str, remedy: str) -> QuestionError:
    error = QuestionError(message, field=name, remedy=remedy)
    error.whole = True
    return error


def _ranked(asked: Mapping[str, str], shortlister: Shortlister, units: UnitSystem) -> LineAnswer:
    question = question_of(asked)
    best = shortlister.best(question, question.limit)
    places = {row: place for place, row in enumerate(best.rows, start=1)}
    return _told(best.ranking, best.rows, places, "ranked", units)


def _judged(asked: Mapping[str, str], snapshot: Snapshot, units: UnitSystem) -> LineAnswer:
    compared = compare(comparison_of(asked), snapshot)
    places = dict(zip(compared.rows, compared.places, strict=True))
    return _told(compared.ranking, compared.rows, places, "judged", units)


def _told(
    ranking: Ranking,
    rows: Sequence[int],
    places: Mapping[int, int | None],
    mode: Literal["ranked", "judged"],
    units: UnitSystem,
) -> LineAnswer:
    duty = ranking.duty
    beside = Beside(claims_shown(ranking, rows), {}, {}, {}, {})
    by_test, beyond_tests = requests_shown(ranking, requests(ranking, rows), places, units)
    return LineAnswer(
        line="",
        row=0,
        status="answered",
        mode=mode,
        asked={},
        original=None if duty.original is None else candidate(ranking, duty.original, None, units, UNTOLD),
        requirements=[requirement_shown(each, units) for each in duty.requirements],
        candidates=[candidate(ranking, row, places[row], units, beside) for row in rows],
        requests=by_test,
        beyond_tests=beyond_tests,
        assumptions=assumption_words(duty.assumptions),
        unused=list(duty.unused),
        notes=notes_shown(duty.notes, units),
    )


def _problem(error: SpecdbError, headings: Mapping[str, str], asked: Mapping[str, str]) -> LineProblem:
    """What is wrong with a line, each fault under the heading that it was typed under."""
    faults = [fault for fault in error.faults if isinstance(fault, SpecdbError)] or [error]
    shown_as = [
        FaultShown(
            field=headings.get(fault.field or "", fault.field),
            detail=_detail(fault, asked.get(fault.field or "")),
            remedy=fault.remedy,
        )
        for fault in faults
    ]
    detail = "; ".join(each.detail for each in shown_as)
    return LineProblem(code=error.code, title=error.title, detail=detail, errors=shown_as)


def _detail(fault: SpecdbError, typed: str | None) -> str:
    """What is wrong, with the whole text that was ``typed``, of which the fault may tell a part."""
    if fault.value is None:
        return fault.message
    found = fault.value if typed is None else shown(typed)
    return fault.message if f'"{found}"' in fault.message else f"{fault.message} Found: {found}"
