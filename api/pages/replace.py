"""The page that finds what can stand in for an element: by its number, by what its can prints, by what the machine
asks."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

import numpy as np
from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from api.pages.addresses import SHEET_NAMES, Asked
from api.pages.failing import Told, faults_of, faulty_page
from api.pages.fields import FIT, MACHINE, MACHINE_FURTHER, ORIGINAL, Field, all_fields, by_label, label_fields, tidy
from api.pages.site import render
from api.problems import status_of
from api.representation import PageReplyNeeded
from api.store import Catalogue, CatalogueNeeded
from specdb import answers
from specdb.answers.decisions import CandidateShown, CriterionShown, EquivalentsAnswer, RequirementShown
from specdb.bounds import MEETS, NOT_SHOWN, IntArray
from specdb.catalog.identity import identity_key
from specdb.catalog.snapshot import Snapshot
from specdb.characteristics import CHARACTERISTICS
from specdb.duty import Requirement
from specdb.duty.dotted import comparison_names, faults_as_typed, question_of
from specdb.duty.question import MOST_COMPARED
from specdb.errors import InputError, NotOnFileError, SpecdbError
from specdb.ranking import Ranking, rank
from specdb.units import UnitSystem
from specdb.wording import conditions, limits

router = APIRouter(include_in_schema=False)

LISTED = 10
"""Candidates that are listed where the address does not say how many."""
IN_FULL = 10
"""Candidates of which each miss has its sentence: of those behind them it has its name. A page is to stay light."""
CHECKED = 3
"""Candidates that are chosen to be put side by side until others are."""

_HOW = ("assumptions", "as_of", "limit", "include_without_evidence", "include_windows")
"""Names of a question that ask nothing by themselves."""


@router.get("/replace")
def replace(catalogue: CatalogueNeeded, request: Request, reply: PageReplyNeeded) -> Response:
    asked = Asked.of(request)
    names = _tidied(asked)
    if sorted(names.items()) != sorted(request.query_params.multi_items()):
        return RedirectResponse(Asked(asked.path, {}).address(changes=names), 303)
    if not _asks(asked.question):
        reply.at()
        return reply.give_page(render("replace.html", asked, _form(asked) | {"answer": None}))
    try:
        with faults_as_typed(asked.question):
            question = question_of(asked.question, ("units", *SHEET_NAMES))
            state = reply.at(catalogue.state(question.as_of))
            ranking = rank(question, catalogue.snapshot(state.revision))
    except (InputError, NotOnFileError) as error:
        return _faulty(error, catalogue, request, asked)
    limit = question.limit if "limit" in asked.names else LISTED
    answer = answers.equivalents(ranking, limit=limit, units=asked.units)
    return reply.give_page(render("replace.html", asked, _form(asked, ranking) | _answer(asked, ranking, answer)))


def _tidied(asked: Asked) -> dict[str, str]:
    """What the address should say: units written out, the customary assumptions where it says nothing of any."""
    names = tidy(asked.names, asked.units)
    if _asks(Asked(asked.path, names).question) and not any(n.partition(".")[0] == "assumptions" for n in names):
        names["assumptions"] = "customary"
    return names


def _asks(question: Mapping[str, str]) -> bool:
    return any(name.partition(".")[0] not in _HOW for name in question)


def _faulty(error: SpecdbError, catalogue: Catalogue, request: Request, asked: Asked) -> Response:
    of_nobody = asked.names.keys() - {field.name for field in all_fields(asked.names)}
    faults = [told if told.field in of_nobody else _by_label(told) for told in faults_of(error)]
    instead: list[Meant] = []
    if any(told.field in ("original.number", "original.maker") for told in faults):
        instead = _meant(asked, catalogue.snapshot(catalogue.state().revision))
        # Those that are near stand below as links.
        faults = [dataclasses.replace(t, remedy=(t.remedy or "").partition("Near it on file")[0]) for t in faults]
    context = _form(asked, faults=faults, instead=instead) | {"answer": None}
    return faulty_page("replace.html", request, context, status_of(type(error)))


def _by_label(told: Told) -> Told:
    """A fault as somebody reads it who sees the form, and not the names of its fields."""
    return dataclasses.replace(told, message=by_label(told.message), remedy=told.remedy and by_label(told.remedy))


# --- the form --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class FieldShown:
    """A field with what was typed, its faults, and what an original decides it by where nothing was."""

    field: Field
    unit: str
    text: str
    faults: Sequence[Told]
    decided: Sequence[str]

    @property
    def said(self) -> str:
        """What was typed, and of a choice its words."""
        return dict(self.field.choices).get(self.text.lower(), self.text)


def _form(
    asked: Asked, ranking: Ranking | None = None, faults: Sequence[Told] = (), instead: Sequence[Meant] = ()
) -> dict[str, Any]:
    """What the form shows: its groups of fields, the faults that belong to none, and what is asked beside them."""
    label = label_fields(asked.names)
    decided = {} if ranking is None else _decided(ranking.duty.requirements, asked.units)
    first_of = {each.prefix: each.fields[0].name for each in label}
    own = {field.name for field in (*ORIGINAL, *MACHINE, *MACHINE_FURTHER, *FIT)}
    own |= {field.name for each in label for field in each.fields}
    placed = [(_place_of(told, own, first_of, asked.names), told) for told in faults]

    def shown(fields: Iterable[Field]) -> list[FieldShown]:
        return [
            FieldShown(
                field,
                field.unit(asked.units),
                asked.names.get(field.name, ""),
                [told for place, told in placed if place == field.name],
                [] if field.name in asked.names else [w for key in field.decided_by for w in decided.get(key, ())],
            )
            for field in fields
        ]

    hidden = {each.hidden: each.printed.characteristic for each in label}
    carried = {n: text for n, text in asked.names.items() if n not in own and n not in hidden}
    return {
        "original": shown(ORIGINAL),
        "machine": shown(MACHINE),
        "machine_further": shown(MACHINE_FURTHER),
        "fit": shown(FIT),
        "label": [shown(each.fields) for each in label if len(each.fields) > 1],
        "label_alone": shown(field for each in label if len(each.fields) == 1 for field in each.fields),
        "hidden": hidden | carried,
        "also": {n: text for n, text in carried.items() if n in asked.question and n not in ("assumptions", "limit")},
        "faults": faults,
        "homeless": [told if told.field in asked.names else _of_all(told) for place, told in placed if place is None],
        "instead": instead,
    }


def _place_of(told: Told, own: set[str], first_of: Mapping[str, str], typed: Iterable[str]) -> str | None:
    """The field that a fault stands beside; one of a requirement as a whole, of which anything was typed, beside its
    first field."""
    if told.field is None or told.field in own:
        return told.field
    begins = next((prefix for prefix in first_of if f"{told.field}.".startswith(prefix)), None)
    return first_of[begins] if begins and any(name.startswith(begins) for name in typed) else None


def _of_all(told: Told) -> Told:
    """A fault at a name that nobody typed is one of the question as a whole."""
    return dataclasses.replace(told, field=None)


def _decided(requirements: Iterable[Requirement], units: UnitSystem) -> dict[str, list[str]]:
    """What is required from the original, in words, by characteristic."""
    found: dict[str, list[str]] = {}
    for requirement in requirements:
        if requirement.origin == "original":
            words, where = limits(requirement, units), conditions(requirement, units)
            if requirement.characteristic == "bypass_valve":
                words = "in the element" if requirement.word == "yes" else "not in the element"
            found.setdefault(requirement.characteristic, []).append(f"{words} ({where})" if where else words)
    return found


@dataclass(frozen=True)
class Meant:
    """An element on file that may be meant, how near its number is, and the address that asks of it."""

    named: str
    how_near: str
    address: str


def _meant(asked: Asked, snapshot: Snapshot) -> list[Meant]:
    """Elements on file that may be meant by an original that is not on file, or not of one maker alone."""
    number = asked.names.get("original.number", "")
    try:
        key = identity_key(number, field="number")
        near = snapshot.numbers.near_number(number, asked.names.get("original.maker"))
    except InputError:
        return []
    elements = snapshot.elements
    same = [(elements.maker[row], elements.number[row]) for row in np.flatnonzero(elements.number_key == key)]
    found = dict.fromkeys(same, "the same number") or {
        hit.entry.claim.other_side if hit.entry.claim else (hit.entry.maker, hit.entry.number): hit.words
        for hit in near
        if hit.entry.element_id is not None
    }
    return [
        Meant(f"{m} {n}", words, asked.address(changes={"original.number": n, "original.maker": m}))
        for (m, n), words in found.items()
    ]


# --- the answer ------------------------------------------------------------------------------------


def _answer(asked: Asked, ranking: Ranking, answer: EquivalentsAnswer) -> dict[str, Any]:
    limit = len(answer.candidates)
    there_are = answer.considered - answer.without_evidence
    required = {requirement.id: requirement for requirement in answer.requirements}
    return {
        "answer": answer,
        "candidates": [_candidate(shown, ranking, answer, required) for shown in answer.candidates],
        "there_are": there_are,
        "headline": _headline(ranking, answer),
        "advice": [by_label(words) for words in answer.advice],
        "unused": [by_label(name).strip("“”") for name in answer.unused],
        "derivations": [
            each.model_copy(update={"words": by_label(each.words)}) for each in answer.derivations
        ],
        "more_of_them": min(500, there_are, limit + LISTED) if limit < min(500, there_are) else None,
        "in_full": IN_FULL,
        "comparable": MOST_COMPARED,
        "checked": CHECKED,
        "compared": {
            name: text
            for name, text in asked.names.items()
            if name in comparison_names() or name in ("units", *SHEET_NAMES)
        },
        "tables": {
            form: f"/v1/equivalents?{urlencode(dict(asked.question) | {'units': asked.units, 'format': form})}"
            for form in ("csv", "json")
        },
        "by_origin": _by_origin(answer.requirements),
        "untested": _untested(ranking),
        "original_successor": None if answer.original is None else _successor(answer.original, ranking.snapshot),
        "original_valve": None if answer.original is None else _valve(answer.original, None),
    }


def _headline(ranking: Ranking, answer: EquivalentsAnswer) -> str:
    """How many candidates meet all that is asked, how many of them by proof alone, and how many more miss nothing."""
    counted = [judged for judged in ranking.judged if not judged.requirement.advisory]
    worst = _worst([judged.verdict for judged in counted], ranking)
    proven = _worst([judged.verdict_without_assumptions for judged in counted], ranking)
    met, by_proof, left_open = (int(these.sum()) for these in (worst == MEETS, proven == MEETS, worst == NOT_SHOWN))
    of = "Of one element" if len(worst) == 1 else f"Of {len(worst)} elements"
    told = f"{of} with anything on file {met or 'none'} {'meet' if met > 1 else 'meets'} all that is asked"
    if met and answer.assumptions:
        share = "all" if by_proof == met else str(by_proof or "none")
        told += ", by proof alone" if by_proof == met == 1 else f", {share} of them by proof alone"
    if left_open:
        more, miss = "more " if met else "", "misses" if left_open == 1 else "miss"
        told += f"; {left_open} {more}{miss} nothing, but not all is shown"
    return f"{told}."


def _worst(verdicts: Sequence[IntArray], ranking: Ranking) -> IntArray:
    """The worst verdict of each candidate."""
    nothing = np.full(len(ranking.candidates), MEETS)
    worst: IntArray = np.min([nothing, *(each[ranking.candidates] for each in verdicts)], axis=0)
    return worst


@dataclass(frozen=True)
class LackShown:
    """What a candidate misses or has not shown: one sentence, and where else the same holds."""

    verdict: str
    words: str
    likewise: Sequence[str]


@dataclass(frozen=True)
class CandidateOnPage:
    shown: CandidateShown
    lacks: Sequence[LackShown]
    lacks_by_name: Mapping[str, str]
    valve: str
    unlike_original: bool
    successor: str | None


def _candidate(
    shown: CandidateShown, ranking: Ranking, answer: EquivalentsAnswer, required: Mapping[str, RequirementShown]
) -> CandidateOnPage:
    original = None if answer.original is None else answer.original.element.bypass_valve
    own = shown.element.bypass_valve
    return CandidateOnPage(
        shown,
        _lacks(shown.criteria, required),
        {verdict: _named(ids, required) for verdict, ids in (("misses", shown.misses), ("not_shown", shown.not_shown))},
        _valve(shown, ranking.duty.circumstances.bypass),
        original is not None and own is not None and own != original,
        _successor(shown, ranking.snapshot),
    )


def _lacks(criteria: Sequence[CriterionShown], required: Mapping[str, RequirementShown]) -> list[LackShown]:
    """Misses, then what is not shown; of one characteristic those together that are so for one reason and lean one
    way."""
    together: dict[tuple[str | None, ...], list[CriterionShown]] = {}
    for each in sorted(criteria, key=lambda c: c.verdict != "misses"):
        if each.verdict != "meets" and not each.advisory:
            key = (each.characteristic, each.verdict, each.reason, each.lean)
            together.setdefault(key, []).append(each)
    return [
        LackShown(
            alike[0].verdict,
            _sentence(alike[0].explanation),
            [_asked_words(required[each.requirement]) for each in alike[1:]],
        )
        for alike in together.values()
    ]


def _named(ids: Sequence[str], required: Mapping[str, RequirementShown]) -> str:
    """Requirements by their titles, each with how many there are of it: "thread, clean pressure drop (3)"."""
    counts = Counter(required[each].title for each in ids)
    return ", ".join(title if count == 1 else f"{title} ({count})" for title, count in counts.items())


def _sentence(explanation: str) -> str:
    """An explanation without its verdict, which stands before it."""
    words = explanation.partition(": ")[2]
    return words[:1].upper() + words[1:]


def _asked_words(requirement: RequirementShown) -> str:
    """What is required without title and origin: "at most 8.3 kPa (at 30 L/min)"."""
    return requirement.words.partition(": ")[2].rpartition("; ")[0]


def _valve(shown: CandidateShown, where: str | None) -> str:
    """Where the bypass valve is, in words."""
    own = shown.element.bypass_valve
    if own == "yes":
        return "in the element"
    if own is None:
        return "not on file whether the element has one"
    told = {"head": "not in the element: the head has it", "none": "none in the element, and none in the circuit"}
    return told.get(str(where), "not in the element: it must sit in the head")


def _successor(shown: CandidateShown, snapshot: Snapshot) -> str | None:
    """Identifier of the element that takes the place of one, where it is on file."""
    if shown.element.successor is None:
        return None
    elements = snapshot.elements
    same_maker = elements.maker_key == identity_key(shown.element.maker, field="maker")
    try:
        rows = np.flatnonzero(same_maker & (elements.number_key == identity_key(shown.element.successor)))
    except InputError:  # whatever stands there is no number
        return None
    return elements.element_id[int(rows[0])] if len(rows) else None


_ORIGINS = (("stated", "stated"), ("original", "from the original"), ("derived", "derived by rules"))


def _by_origin(requirements: Sequence[RequirementShown]) -> list[tuple[str, list[RequirementShown]]]:
    grouped = [(words, [r for r in requirements if r.origin == origin]) for origin, words in _ORIGINS]
    return [(words, those) for words, those in grouped if those]


def _untested(ranking: Ranking) -> bool:
    """Whether nothing of an original was ever tested, as far as is on file."""
    row, tests = ranking.duty.original, ranking.snapshot
    return row is not None and not any((tests.of(key).element == row).any() for key in CHARACTERISTICS)
