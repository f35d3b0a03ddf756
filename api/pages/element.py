"""The page of one element: what it is, its ratings with their tests, what is not on file, pictures and claims."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from api.pages.addresses import CARRIED_NAMES, Asked
from api.pages.failing import faults_of, faulty_page
from api.pages.fields import tidy
from api.pages.site import render
from api.pages.stated import attribute_of, results, value_of
from api.problems import status_of
from api.representation import PageReplyNeeded
from api.store import Catalogue, CatalogueNeeded, State
from specdb.advice.claims import ClaimOf, claims_of, counted_beside
from specdb.advice.gaps import gaps, usual_characteristics
from specdb.advice.spoken import where_the_valve_is
from specdb.bounds import MEETS, MISSES, NOT_SHOWN
from specdb.catalog.history import Change, Step, read_history
from specdb.catalog.reading import ElementOnFile, read_element
from specdb.catalog.snapshot import Snapshot
from specdb.catalog.store import read_session
from specdb.catalog.successors import successor_row
from specdb.characteristics import CHARACTERISTICS, title_of
from specdb.duty.dotted import faults_as_typed, question_of
from specdb.duty.question import ComparisonAsked, ElementAsked, Question
from specdb.errors import InputError, NotOnFileError, SpecdbError
from specdb.pictures import PICTURES, PictureKey
from specdb.pictures.needs import lacks_for_pressure_drop
from specdb.ranking import Ranking, compare
from specdb.sheet.duty import FIELD_WORDS
from specdb.units import UnitSystem
from specdb.wording import CAUTIONS, VERDICTS, assumption_words, explanation, requirement_words

router = APIRouter(include_in_schema=False)

MOST_RATINGS = 60
"""Results that are shown one by one; of more each characteristic shows its share, so that the page stays light."""

MOST_CLAIMS = 20
"""Claims that are shown and judged, either way."""

MOST_CHANGES = 20
"""Changes that are told one by one of each revision in the history."""

NO_QUESTION = ("as_of", "assumptions", "derive", "costs", "limit", "include_without_evidence", "include_windows")
"""Names, or groups of them, that ask nothing of an element by themselves."""

_BESIDE_CLAIMS = ("units", "assumptions", "as_of")

STATED_HERE = ("flow", "fluid.grade", "fluid.viscosity_index")
"""What the page itself asks for, so that a pressure drop can be drawn."""


@router.get("/elements/{element_id}")
def element(catalogue: CatalogueNeeded, request: Request, element_id: str, reply: PageReplyNeeded) -> Response:
    asked = _tidied(Asked.of(request))
    state, faults = _state(catalogue, asked)
    latest = catalogue.state()
    with read_session(catalogue.engine) as connection:
        found = read_element(connection, element_id, state.revision)
        history = read_history(connection, element_id, state.revision)
    snapshot = catalogue.snapshot(state.revision)
    against, more = _against(asked, snapshot, element_id)
    is_state_read, faults = not faults, faults + more
    if not faults and dict(asked.names) != dict(request.query_params):
        return RedirectResponse(asked.address(), 303)
    page = _Page(asked, found, snapshot, against, is_question_faulty=bool(more))
    context = page.context() | {
        "faults": [told for error in faults for told in faults_of(error)],
        "history": _history(history, asked),
        "is_state_read": is_state_read,
        "revision": state.revision,
        "latest": latest.revision,
    }
    if faults:
        return faulty_page("element.html", request, context, max(status_of(type(error)) for error in faults))
    reply.at(state, beside=latest.mark)
    return reply.give_page(render("element.html", asked, context))


def _state(catalogue: Catalogue, asked: Asked) -> tuple[State, list[SpecdbError]]:
    """The state that the address asks of; the present one where it asks of none that there is."""
    try:
        return catalogue.state(asked.names.get("as_of")), []
    except (InputError, NotOnFileError) as error:
        return catalogue.state(), [error]


def _tidied(asked: Asked) -> Asked:
    """The same with units written out, without empty texts, and a question from customary assumptions."""
    names = tidy(asked.names, asked.units)
    if _asks(asked) and not asked.states_assumptions:
        names["assumptions"] = "customary"
    return Asked(asked.path, names)


def _asks(asked: Asked) -> bool:
    """Whether the address holds a question that the element can be held against."""
    return any(name.partition(".")[0] not in NO_QUESTION for name in asked.question)


def _against(asked: Asked, snapshot: Snapshot, element_id: str) -> tuple[Ranking, list[SpecdbError]]:
    """The element alone, judged by the question of the address; by none, where that has faults."""
    dotted = _from_customary(asked) | asked.question
    # What is wrong with the date has been told already.
    dotted.pop("as_of", None)
    try:
        with faults_as_typed(dotted):
            return _judged(question_of(dotted), snapshot, element_id), []
    except (InputError, NotOnFileError) as error:
        return _judged(question_of({"assumptions": "customary"}), snapshot, element_id), [error]


def _from_customary(asked: Asked) -> dict[str, str]:
    """Customary assumptions, where the address states none."""
    return {} if asked.states_assumptions else {"assumptions": "customary"}


def _judged(question: Question, snapshot: Snapshot, element_id: str) -> Ranking:
    compared = ComparisonAsked(
        elements=[ElementAsked(element_id=element_id)], original=question.original, duty=question.duty
    )
    return compare(compared, snapshot, may_be_empty=True).ranking


_PICTURE_TITLES: dict[PictureKey, str] = {
    "filtration_ratio": "Filtration ratio over particle size",
    "pressure_drop": "Clean pressure drop over temperature",
    "criteria": "What is shown over what is required",
}


@dataclass(frozen=True)
class _Page:
    """What the page tells of an element. ``against`` judges it alone, by the question of the address."""

    asked: Asked
    found: ElementOnFile
    snapshot: Snapshot
    against: Ranking
    is_question_faulty: bool

    @property
    def element_id(self) -> str:
        return str(self.found.element["element_id"])

    @property
    def name(self) -> str:
        return f"{self.found.element['maker']} {self.found.element['number']}"

    @property
    def units(self) -> UnitSystem:
        return self.asked.units

    @property
    def row(self) -> int:
        row = self.snapshot.find(self.element_id)
        assert row is not None  # read from the same state
        return row

    @property
    def _row_judged(self) -> int:
        """The element's row in the ranking, where the original may stand beside it."""
        row = self.against.snapshot.find(self.element_id)
        assert row is not None
        return row

    def _code(self, attribute: str) -> str | None:
        return self.snapshot.elements.words[attribute].word(self.row)

    def context(self) -> dict[str, Any]:
        replaces, replaced_by = claims_of(self.snapshot, self.row, self.against.duty.assumptions, MOST_CLAIMS)
        groups = results(self.found.ratings, self.units, MOST_RATINGS)
        missing = gaps(self.snapshot, self.row)
        return {
            "element": self.found.element,
            "what": self._what(),
            "alarm": self._code("status") if self._code("status") in ("obsolete", "superseded") else None,
            "successor": self._successor(),
            "bypass": self._bypass(),
            "addresses": self._addresses(),
            "attributes": [(attribute_of(row, self.units), row["source"]) for row in self.found.attributes],
            "is_of_one_source": len({row["source"] for row in self.found.attributes}) == 1,
            "groups": groups,
            "nothing": missing.words(),
            "unstated": missing.unstated,
            "pictures": self._pictures(),
            "undrawn": self._undrawn(),
            "asks_for": self._asks_for(),
            "kept": {name: text for name, text in self.asked.names.items() if name not in STATED_HERE},
            "replaces": [self._claim(each, is_replacing=True) for each in replaces],
            "replaced_by": [self._claim(each, is_replacing=False) for each in replaced_by],
            "claims_beyond": len(self.found.replaces) + len(self.found.replaced_by) - len(replaces) - len(replaced_by),
            "is_judged": any(each.link.counted for each in (*replaces, *replaced_by)),
            "duty": self._duty(),
            "assumed": assumption_words(self.against.duty.assumptions),
            "cautions": CAUTIONS,
            "sources": self.found.sources,
            "places": {source.key: number for number, source in enumerate(self.found.sources, start=1)},
        }

    # --- what it is -------------------------------------------------------------------------------

    def _what(self) -> str:
        """What it is in words of the trade: "Spin-on, glass fibre, NBR seal, thread 1-12 UNF, current"."""
        kind, media, seal, thread, status = map(self._code, ("kind", "media", "seal", "thread", "status"))
        told = [kind, media, None if seal is None else "no seal" if seal == "none" else f"{seal} seal"]
        told += [thread and f"thread {thread}", status]
        words = ", ".join(filter(None, told))
        return f"{words[:1].upper()}{words[1:]}." if words else "What it is, is not on file."

    def _successor(self) -> dict[str, Any] | None:
        """The number that is named as its successor, and the element that has it, if that is on file."""
        text = self._code("successor")
        if text is None:
            return None
        row = successor_row(self.snapshot, self.row)
        elements = self.snapshot.elements
        if row is None:
            return {"text": text, "address": None, "counted": None}
        counted = counted_beside(self.snapshot, row, self.row, self.against.duty.assumptions)
        return {
            "text": f"{elements.maker[row]} {elements.number[row]}",
            "address": self._page_of(row),
            "counted": counted,
            "side_by_side": self._pair(str(elements.element_id[row]), self.row),
        }

    def _pair(self, replacing: str, replaced: int) -> str:
        """Where an element stands beside the one that it replaces, judged by that one alone: the rest of the duty stays
        behind."""
        elements, names = self.snapshot.elements, self.asked.names
        kept = {name: names[name] for name in names if name.partition(".")[0] in _BESIDE_CLAIMS}
        pair = {
            "original.maker": str(elements.maker[replaced]),
            "original.number": str(elements.number[replaced]),
            "elements.1.element_id": replacing,
        }
        return Asked("/side-by-side", kept).address(changes=pair)

    def _bypass(self) -> str | None:
        """Where the bypass sits, as far as it is on file; a breather without one has no place for it."""
        valve = self._code("bypass_valve")
        where = where_the_valve_is(self._code("kind"), valve, self.against.duty.circumstances.bypass)
        cracking = [row for row in self.found.ratings if row["characteristic"] == "bypass_cracking_pressure"]
        at = ", ".join(dict.fromkeys(value_of(row, self.units).shown.removeprefix("equal to ") for row in cracking))
        if where is None:
            return None
        if valve == "no":
            return f"No bypass valve in the element{where.partition('in the element')[2]}."
        if valve == "yes":
            return f"Bypass valve in the element, cracking at {at or 'a pressure that is not on file'}."
        known = f"; a cracking pressure is: {at}" if at else ""
        return f"Not on file whether there is a bypass valve in the element{known}."

    # --- where it leads ---------------------------------------------------------------------------

    def _page_of(self, row: int) -> str:
        return self.asked.address(f"/elements/{self.snapshot.elements.element_id[row]}")

    def _addresses(self) -> dict[str, str]:
        original = {
            "original.maker": self.found.element["maker"],
            "original.number": self.found.element["number"],
        }
        compared = {"elements.1.element_id": self.element_id}
        of_duty = self.asked.address("/ask", compared, without=("limit", "include_without_evidence"))
        alone = Asked("/ask", self._told_to_makers()).address(changes=compared)
        reading = {name: self.asked.names[name] for name in ("units", "as_of") if name in self.asked.names}
        query = f"?{urlencode(reading)}" if reading else ""
        return {
            "replace": self.asked.address("/replace", original),
            "ask": of_duty if self.against.judged else alone,
            "ask_alone": alone,
            "side_by_side": self.asked.address("/side-by-side", compared, without=("elements.",)),
            "csv": f"/v1/elements/{self.element_id}.csv{query}",
            "json": f"/v1/elements/{self.element_id}{query}",
            "back": self.asked.address("/replace"),
        }

    def _told_to_makers(self) -> dict[str, str]:
        """Of the address, what a letter that hangs on no duty says or is read by."""
        return {name: text for name, text in self.asked.names.items() if name in ("units", "as_of", *CARRIED_NAMES)}

    # --- pictures ---------------------------------------------------------------------------------

    def _has(self, characteristic: str) -> bool:
        return any(row["characteristic"] == characteristic for row in self.found.ratings)

    def _drawable(self) -> list[PictureKey]:
        asked = self.against.duty.circumstances
        can: dict[PictureKey, bool] = {
            "filtration_ratio": self._has("filtration_ratio"),
            "pressure_drop": self._has("clean_pressure_drop") and not lacks_for_pressure_drop(asked),
            "criteria": bool(self.against.judged),
        }
        return [key for key in PICTURES if can[key]]

    def _pictures(self) -> list[dict[str, Any]]:
        names = {} if self.is_question_faulty else {**self.asked.question}
        if names.pop("as_of", None):
            names["as_of"] = str(self.snapshot.revision)
        query = urlencode(_from_customary(self.asked) | names | {"units": self.units})
        return [
            {
                "title": _PICTURE_TITLES[key],
                "alt": f"{_PICTURE_TITLES[key]}, drawn for {self.name}: {PICTURES[key].about}.",
                "src": f"/v1/elements/{self.element_id}/pictures/{key}?{query}",
                # The longest of them is loaded when it is opened.
                "is_open": key != "criteria",
            }
            for key in sorted(self._drawable(), key=list(_PICTURE_TITLES).index)
        ]

    def _undrawn(self) -> list[str]:
        """Of each picture that cannot be drawn, what it lacks."""
        usual, told = usual_characteristics(self.snapshot, self.row), []
        for key in ("filtration_ratio", "clean_pressure_drop"):
            if key in usual and not self._has(key):
                told.append(f"Nothing is on file of its {title_of(key)}, so that there is nothing to draw.")
        if self._asks_for():
            for fault in lacks_for_pressure_drop(self.against.duty.circumstances):
                told.append(fault.message)
        if not self.against.judged:
            told.append(
                "What is shown over what is required is drawn against a duty or an original: state one under Replace "
                "it, and come back from there."
            )
        return told

    def _asks_for(self) -> list[tuple[str, str]]:
        """What is to be stated here so that the pressure drop can be drawn, with what is typed already."""
        lacking = lacks_for_pressure_drop(self.against.duty.circumstances)
        if not self._has("clean_pressure_drop") or not lacking:
            return []
        return [(name, self.asked.names.get(name, "")) for name in STATED_HERE]

    # --- claims and the duty ----------------------------------------------------------------------

    def _claim(self, each: ClaimOf, *, is_replacing: bool) -> dict[str, Any]:
        claim, counted, elements = each.claim, each.link.counted, self.snapshot.elements
        other = claim.replaces_row if is_replacing else claim.row
        named = (claim.replaces_maker, claim.replaces_number) if is_replacing else (claim.maker, claim.number)
        if counted is None:
            words = f"Not judged: {each.link.unjudged}."
        elif is_replacing:
            words = f"Of {counted.asked} requirements taken from that one, this one {counted.words}."
        else:
            words = f"Of {counted.asked} requirements taken from this one, that one {counted.words}."
        beside = None
        if claim.row is not None and claim.replaces_row is not None:
            beside = self._pair(str(elements.element_id[claim.row]), claim.replaces_row)
        source = self.snapshot.sources.get(claim.source_id)
        return {
            "name": " ".join(named),
            "address": self.asked.address("/", {"q": named[1]}) if other is None else self._page_of(other),
            "is_on_file": other is not None,
            "source": source and source.key,
            "date": claim.date,
            "remark": claim.remark,
            "is_contradicted": each.link.contradicted,
            "words": words,
            "side_by_side": beside,
        }

    def _duty(self) -> dict[str, Any] | None:
        """How the element stands to the question of the address, None where it asks nothing."""
        if self.is_question_faulty or not _asks(self.asked):
            return None
        row, snapshot, original_row = self._row_judged, self.against.snapshot, self.against.duty.original
        elements = snapshot.elements
        original = None if original_row is None else (elements.maker[original_row], elements.number[original_row])
        counted = [each for each in self.against.judged if not each.requirement.advisory]
        verdicts = Counter(int(each.verdict[row]) for each in counted)
        return {
            "asked": len(counted),
            "meets": verdicts[MEETS],
            "misses": verdicts[MISSES],
            "not_shown": verdicts[NOT_SHOWN],
            "criteria": {word: self._criteria(row, verdict) for verdict, word in VERDICTS.items()},
            "stated": [(FIELD_WORDS[name], text) for name, text in self.asked.question.items() if name in FIELD_WORDS],
            "required": [
                requirement_words(each, self.units)
                for each in self.against.duty.requirements
                if each.origin == "stated" and each.characteristic in CHARACTERISTICS
            ],
            "original": original and " ".join(original),
            "is_original": original_row == row,
        }

    def _criteria(self, row: int, verdict: int) -> list[dict[str, Any]]:
        """The criteria that have one verdict, each with its sentence."""
        return [
            {
                "words": explanation(self.against.snapshot, each, row, self.units),
                "is_advisory": each.requirement.advisory,
            }
            for each in self.against.judged
            if each.verdict[row] == verdict
        ]


_FACTS = {
    "element": ("element", "elements"),
    "attribute": ("attribute", "attributes"),
    "rating": ("rating", "ratings"),
    "claim": ("claim", "claims"),
}


def _fact(change: Change) -> str:
    """What a change is of: the characteristic, the attribute, or a claim."""
    named = change.characteristic or (change.name if change.what == "attribute" else None)
    return title_of(named) if named else change.what


def _history(steps: Sequence[Step], asked: Asked) -> list[dict[str, Any]]:
    """The revisions that touched the element, newest first: what each added, counted, and what it changed."""
    told = []
    for step in reversed(steps):
        added = Counter(change.what for change in step.changes if change.change == "added")
        changed = [change for change in step.changes if change.change != "added"]
        told.append(
            {
                "step": step,
                "at": step.at[: len("2024-05-31T12:00")].replace("T", " "),
                "added": ", ".join(f"{count} {_FACTS[what][count > 1]}" for what, count in added.items()),
                "changes": [(_fact(change), change) for change in changed[:MOST_CHANGES]],
                "beyond": max(len(changed) - MOST_CHANGES, 0),
                "address": asked.address(changes={"as_of": step.revision}),
            }
        )
    return told
