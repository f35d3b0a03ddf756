"""The page that finds what can stand in for an element: by its number, by what its can prints, by what the machine
asks."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from api.pages.addresses import SHEET_NAMES, Asked
from api.pages.failing import Told, faults_of, faulty_page
from api.pages.fields import (
    FIT,
    MACHINE,
    MACHINE_FURTHER,
    ORIGINAL,
    Field,
    LabelFields,
    all_fields,
    by_label,
    label_fields,
    tidy,
    why_ratio_unread,
)
from api.pages.meant import Meant, elements_meant, told_above
from api.pages.oil import why_unread
from api.pages.replaced import answer_shown
from api.pages.site import render
from api.problems import status_of
from api.representation import PageReplyNeeded
from api.store import Catalogue, CatalogueNeeded
from specdb import answers
from specdb.duty import Requirement
from specdb.duty.dotted import faults_as_typed, question_of
from specdb.errors import InputError, NotOnFileError, SpecdbError
from specdb.ranking import Ranking, rank
from specdb.units import UnitSystem
from specdb.wording import conditions, kind_of, limits

router = APIRouter(include_in_schema=False)

LISTED = 10
"""Candidates that are listed where the address does not say how many."""

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
        is_named = any(name in asked.names for name in SHEET_NAMES)
        form = _form(asked) | {"answer": None, "lacking": _NO_MORE_THAN_NAMES if is_named else None}
        return reply.give_page(render("replace.html", asked, form))
    latest = catalogue.state()
    try:
        with faults_as_typed(asked.question):
            question = question_of(asked.question, ("units", *SHEET_NAMES))
            state = reply.at(catalogue.state(question.as_of), beside=latest.mark)
            ranking = rank(question, catalogue.snapshot(state.revision))
    except (InputError, NotOnFileError) as error:
        if error.message == "Nothing is required.":
            lacking = _NOTHING_OF_THE_ORIGINAL if "original.number" in asked.names else _NOTHING_YET
            return reply.give_page(render("replace.html", asked, _form(asked) | {"answer": None, "lacking": lacking}))
        return _faulty(error, catalogue, request, asked)
    limit = question.limit if "limit" in asked.names else LISTED
    answer = answers.equivalents(ranking, limit=limit, units=asked.units)
    shown = answer_shown(asked, ranking, answer, LISTED) | {"latest": latest.revision, "lacking": None}
    return reply.give_page(render("replace.html", asked, _form(asked, ranking) | shown))


_ADD = (
    "Add the number to be replaced, what its can prints, what can be measured of it, or of the machine one of: the "
    "class of its fluid, its temperatures, its pressures, where the bypass valve is."
)
_NO_MORE_THAN_NAMES = f"A name alone asks nothing of an element. {_ADD}"
_NOTHING_YET = f"What is stated asks nothing of an element by itself. {_ADD}"
_NOTHING_OF_THE_ORIGINAL = (
    "Nothing is on file of this element that a stand-in could be held to. Add what its can prints, what can be "
    "measured of it, or more of the machine."
)


def _tidied(asked: Asked) -> dict[str, str]:
    """What the address should say: units written out, the customary assumptions where it says nothing of any."""
    names = tidy(asked.names, asked.units)
    if _asks(Asked(asked.path, names).question) and not asked.states_assumptions:
        names["assumptions"] = "customary"
    return names


def _asks(question: Mapping[str, str]) -> bool:
    return any(name.partition(".")[0] not in _HOW for name in question)


def _faulty(error: SpecdbError, catalogue: Catalogue, request: Request, asked: Asked) -> Response:
    of_nobody = asked.names.keys() - {field.name for field in all_fields(asked.names)}
    label = label_fields(asked.names)
    faults = [told if told.field in of_nobody else _by_label(told, asked, label) for told in faults_of(error)]
    ratio = _ratio_of(label)
    if ratio and not asked.names.get(f"{ratio}size") and why_ratio_unread(asked.names.get(f"{ratio}at_least", "")):
        # That no size is stated is of one cause with what is told of the ratio.
        faults = [told for told in faults if told.field != f"{ratio}size"]
    instead: list[Meant] = []
    if any(told.field in ("original.number", "original.maker") for told in faults):
        instead = elements_meant(asked, "original", catalogue.snapshot(catalogue.state().revision))
        faults = [told_above(told, instead) for told in faults]
    context = _form(asked, faults=faults, instead=instead) | {"answer": None, "lacking": None}
    return faulty_page("replace.html", request, context, status_of(type(error)))


def _ratio_of(label: Sequence[LabelFields]) -> str:
    """How the names of the fields for a filtration ratio begin; "" where there are none."""
    return next((each.prefix for each in label if each.printed.characteristic == "filtration_ratio"), "")


def _by_label(told: Told, asked: Asked, label: Sequence[LabelFields]) -> Told:
    """A fault as somebody reads it who sees the form, and not the names of its fields."""
    if told.field == "fluid.grade" and (why := why_unread(asked.names.get("fluid.grade", ""))):
        return Told(told.field, *why)
    remedy = told.remedy and by_label(told.remedy)
    if told.field and told.field == f"{_ratio_of(label)}at_least":
        if why := why_ratio_unread(asked.names.get(told.field, "")):
            return Told(told.field, *why)
        remedy = remedy and remedy.replace('"0.75", "1200" or "1.2e3"', '"200"')
    if told.message.startswith("No limit is stated."):
        boxes = [each.fields[0].label for each in label if told.field and f"{told.field}.".startswith(each.prefix)]
        remedy = f"Fill in “{boxes[0]}”, or leave its size and conditions empty." if boxes else remedy
    if told.field == "cold_start_temperature" and remedy:
        remedy = remedy.replace('"75 °C"', '"-20 °C"')
    return dataclasses.replace(told, message=by_label(told.message), remedy=remedy)


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
            words, where = f"{limits(requirement, units)}{_in_bar(requirement, units)}", conditions(requirement, units)
            if requirement.characteristic == "bypass_valve":
                words = "in the element" if requirement.word == "yes" else "not in the element"
            found.setdefault(requirement.characteristic, []).append(f"{words} ({where})" if where else words)
    return found


def _in_bar(requirement: Requirement, units: UnitSystem) -> str:
    """The same pressure in the unit beside its field: ", 0.17 bar"; "" where the field takes what is shown."""
    if units == "us" or kind_of(requirement.characteristic) != "pressure":
        return ""
    found = [f"{kpa / 100:.4g}" for kpa in (requirement.low, requirement.high) if math.isfinite(kpa)]
    return f", {' to '.join(found)} bar" if found else ""
