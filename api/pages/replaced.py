"""What the page of replacements tells of an answer: the headline, the candidates with what they lack, and what comes of
what was stated."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

import numpy as np

from api.pages.addresses import SHEET_NAMES, Asked
from api.pages.fields import by_label
from specdb.advice.spoken import sentence, where_the_valve_is
from specdb.answers.decisions import CandidateShown, CriterionShown, EquivalentsAnswer, RequirementShown
from specdb.bounds import MEETS, NOT_SHOWN, IntArray
from specdb.catalog.snapshot import MEASURES, Snapshot
from specdb.catalog.successors import successor_row
from specdb.characteristics import CHARACTERISTICS
from specdb.duty.dotted import comparison_names
from specdb.duty.question import MOST_COMPARED
from specdb.duty.requirement import Requirement
from specdb.ranking import ORDER, Ranking
from specdb.units import UnitSystem, show

IN_FULL = 10
"""Candidates of which each miss has its sentence: of those behind them it has its name. A page is to stay light."""
CHECKED = 3
"""Candidates that are chosen to be put side by side until others are."""
MOST_NAMED = 3
"""Candidates that the headline names for what they meet by proof alone; of more it says how many."""
MOST_TITLES = 6
"""Criteria that are named of those on which nothing is on file; the rest are counted."""
MOST_LISTED = 500

_ORDER_WORDS = dict(
    zip(
        ORDER,
        (
            "the fewest misses on what must be right: fit, seal and fluid, envelope pressure, collapse, bypass and "
            "temperature",
            "the fewest criteria that are missed, would be missed by the best estimate, or have nothing to go by",
            "the fewest misses",
            "the fewest criteria that only the best estimate would meet",
            "the most room at the criterion that is met most tightly",
            "maker and number",
        ),
        strict=True,
    )
)
"""The order of candidates in the words of a counter."""


def answer_shown(asked: Asked, ranking: Ranking, answer: EquivalentsAnswer, step: int) -> dict[str, Any]:
    """What the template is told; ``step`` is how many candidates more are a click away."""
    listed = len(answer.candidates)
    there_are = answer.considered - answer.without_evidence
    required = {requirement.id: requirement for requirement in answer.requirements}
    counted = [requirement for requirement in answer.requirements if not requirement.advisory]
    candidates = [_candidate(shown, ranking, answer, required, asked.units) for shown in answer.candidates]
    serving = [one.shown.rank for one in candidates[:MOST_COMPARED] if one.serves]
    form = {"limit": str(step), **asked.question, "units": asked.units}
    return {
        "answer": answer,
        "candidates": candidates,
        "there_are": there_are,
        "headline": _headline(ranking, answer),
        "first": _first(ranking, candidates, len(counted)),
        "advice": [by_label(words) for words in answer.advice],
        "unused": _unused(answer.unused, asked.names, ranking.duty.requirements),
        "derivations": [each.model_copy(update={"words": by_label(each.words)}) for each in answer.derivations],
        "more_of_them": min(MOST_LISTED, there_are, listed + step) if listed < min(MOST_LISTED, there_are) else None,
        "in_full": IN_FULL,
        "comparable": MOST_COMPARED,
        "checked": serving[:CHECKED],
        "compared": {
            name: text
            for name, text in asked.names.items()
            if name in comparison_names() or name in ("units", *SHEET_NAMES)
        },
        "tables": {each: f"/v1/equivalents?{urlencode(form | {'format': each})}" for each in ("csv", "json")},
        "counted": len(counted),
        "by_origin": _by_origin(answer.requirements),
        "order": [_ORDER_WORDS[words] for words in answer.order],
        "untested": _untested(ranking),
        "is_fit_asked": answer.original is not None or any(r.characteristic in _FIT for r in answer.requirements),
        "original_valve": answer.original and _valve(answer.original, None),
        "original_successor": answer.original and _successor(answer.original, ranking.snapshot),
        "successor_stands": _successor_stands(ranking, listed, asked.units),
    }


_FIT = ("kind", "thread", *MEASURES)

# --- above the candidates --------------------------------------------------------------------------


@dataclass(frozen=True)
class Headline:
    """How many candidates meet all that is asked, how many of them by proof alone and which those are, by id, maker and
    number, where they are few, and how many more miss nothing; "" where there is nothing to say."""

    met: str
    proven: Sequence[tuple[str, str]]
    left_open: str


def _headline(ranking: Ranking, answer: EquivalentsAnswer) -> Headline:
    counted = [judged for judged in ranking.judged if not judged.requirement.advisory]
    worst = _worst([judged.verdict for judged in counted], ranking)
    proven = _worst([judged.verdict_without_assumptions for judged in counted], ranking) == MEETS
    met, by_proof, left_open = (int(these.sum()) for these in (worst == MEETS, proven, worst == NOT_SHOWN))
    of = "Of one element" if len(worst) == 1 else f"Of {len(worst)} elements"
    told = f"{of} with anything on file {met or 'none'} {'meet' if met > 1 else 'meets'} all that is asked"
    if met and answer.assumptions:
        share = "all" if by_proof == met else str(by_proof or "none")
        told += ", by proof alone" if by_proof == met == 1 else f", {share} of them by proof alone"
    more, miss = "more " if met else "", "misses" if left_open == 1 else "miss"
    is_named = answer.assumptions and by_proof < met and by_proof <= MOST_NAMED
    return Headline(
        told,
        [_element(ranking.snapshot, int(row)) for row in ranking.candidates[proven]] if is_named else [],
        f"{left_open} {more}{miss} nothing, but not all is shown" if left_open else "",
    )


def _element(snapshot: Snapshot, row: int) -> tuple[str, str]:
    """Identifier, and maker and number."""
    elements = snapshot.elements
    return str(elements.element_id[row]), f"{elements.maker[row]} {elements.number[row]}"


def _worst(verdicts: Sequence[IntArray], ranking: Ranking) -> IntArray:
    """The worst verdict of each candidate."""
    nothing = np.full(len(ranking.candidates), MEETS)
    worst: IntArray = np.min([nothing, *(each[ranking.candidates] for each in verdicts)], axis=0)
    return worst


@dataclass(frozen=True)
class First:
    """What is said of the first in order: words before its name and behind it, its place and its name. Without a name
    ``before`` says why none is named."""

    before: str
    place: int | None = None
    named: str = ""
    behind: str = ""


def _first(ranking: Ranking, candidates: Sequence[CandidateOnPage], counted: int) -> First | None:
    """The first that meets anything and is of the right kind. None is named where several stand equal, or where there
    is no such one among those listed."""
    equal = _equal_to_the_first(ranking)
    if equal > 1 and candidates and candidates[0].serves:
        return First(f"The first {equal} stand equal in every figure of the order, and are listed by maker and number.")
    one = next((each for each in candidates if each.serves), None)
    if one is None or one.shown.rank is None:
        return None
    is_ahead = one is candidates[0]
    before = "First in order" if is_ahead else "First that meets anything and is of the kind asked"
    element, behind = one.shown.element, [] if is_ahead else [f"in place {one.shown.rank}"]
    if one.meets < counted:
        behind.append(f"which meets {one.meets} of the {counted}")
    words = f", {', '.join(behind)}" if behind else ""
    return First(f"{before}: ", one.shown.rank, f"{element.maker} {element.number}", words)


def _equal_to_the_first(ranking: Ranking) -> int:
    """How many candidates have the same figures of the order as the first, itself included."""
    it = ranking.standing
    margin = np.nan_to_num(it.smallest_margin, nan=-np.inf)  # two without a margin stand equal
    counts = (it.gate_misses, it.not_in_favour, it.misses, it.leaning_to_meet, margin)
    figures = np.array([each[ranking.candidates] for each in counts])
    return int((figures == figures[:, :1]).all(axis=0).sum()) if figures.size else 0


_OF_VISCOSITY = ("fluid.viscosity_index", "operating_temperature")
"""What carries a grade to a viscosity at work."""


_SAYS_VISCOSITY = ("fluid.viscosity", "fluid.viscosity_index")
_OWN_CONDITIONS = "what is taken from the original is asked at the original's own test conditions"


def _unused(unused: Sequence[str], stated: Mapping[str, str], requirements: Sequence[Requirement]) -> list[str]:
    """Of what is stated and comes to nothing, a sentence on each: what it would need."""
    of_original = [each for each in requirements if each.origin == "original"]
    at_own_flow = any(each.flow_l_min is not None for each in of_original)
    at_own_viscosity = any(each.viscosity_low_mm2_s is not None for each in of_original)
    told = []
    for name in (each.removeprefix("duty.") for each in unused):
        label = by_label(name)
        if (name == "flow" and at_own_flow) or (name in _SAYS_VISCOSITY and at_own_viscosity):
            told.append(f"{label if label != name else name.capitalize()}: {_OWN_CONDITIONS}.")
            continue
        if name != "fluid.grade":
            told.append(f"Nothing that is asked depends on {label if label != name else name}.")
            continue
        lacking = [by_label(each) for each in _OF_VISCOSITY if each not in stated]
        used = "its class is used, its grade is not" if "fluid.class" in stated else "the grade is not used"
        if lacking:
            why = f"it tells the viscosity at work only with {' and '.join(lacking)}"
        else:
            why = _OWN_CONDITIONS if at_own_viscosity else "nothing that is asked depends on viscosity"
        told.append(f"Of the oil {used}: {why}.")
    return told


@dataclass(frozen=True)
class SuccessorStands:
    """How the element that takes the place of the original does: its place among the candidates, None where nothing is
    on file of it for any criterion, whether it is listed, and what is said of it."""

    place: int | None
    is_listed: bool
    words: str


def _successor_stands(ranking: Ranking, listed: int, units: UnitSystem) -> SuccessorStands | None:
    original = ranking.duty.original
    row = None if original is None else successor_row(ranking.snapshot, original)
    if row is None or row == original:
        return None
    at = np.flatnonzero(ranking.candidates == row)
    place = int(at[0]) + 1 if len(at) else None
    words = sentence(ranking, row, units)
    named = f"{_element(ranking.snapshot, row)[1]} "
    words = f"it {words.removeprefix(named)}" if words.startswith(named) else words
    return SuccessorStands(place, place is not None and place <= listed, words)


def _untested(ranking: Ranking) -> bool:
    """Whether nothing of an original was ever tested, as far as is on file."""
    row, tests = ranking.duty.original, ranking.snapshot
    return row is not None and not any((tests.of(key).element == row).any() for key in CHARACTERISTICS)


_ORIGINS = (("stated", "stated"), ("original", "from the original"), ("derived", "derived by rules"))


@dataclass(frozen=True)
class OfOneOrigin:
    """Requirements that come from one place; ``counted`` of them are no mere cautions."""

    words: str
    requirements: Sequence[RequirementShown]

    @property
    def counted(self) -> int:
        return sum(not requirement.advisory for requirement in self.requirements)


def _by_origin(requirements: Sequence[RequirementShown]) -> list[OfOneOrigin]:
    grouped = [OfOneOrigin(words, [r for r in requirements if r.origin == origin]) for origin, words in _ORIGINS]
    return [each for each in grouped if each.requirements]


# --- the candidates --------------------------------------------------------------------------------


@dataclass(frozen=True)
class LackShown:
    """What a candidate misses or has not shown: one sentence, and where else the same holds."""

    verdict: str
    words: str
    likewise: Sequence[str] = ()


@dataclass(frozen=True)
class CandidateOnPage:
    """``what`` is its kind, thread and size in words; ``meets`` counts criteria by what is on file, those left out that
    are not asked of its kind; ``serves`` tells whether there are any and its kind is not the wrong one;
    ``other_kind`` is the wrong one."""

    shown: CandidateShown
    what: Sequence[str]
    meets: int
    serves: bool
    other_kind: str | None
    lacks: Sequence[LackShown]
    lacks_by_name: Mapping[str, str]
    valve: str | None
    unlike_original: bool
    successor: tuple[str, str] | None


def _candidate(
    shown: CandidateShown,
    ranking: Ranking,
    answer: EquivalentsAnswer,
    required: Mapping[str, RequirementShown],
    units: UnitSystem,
) -> CandidateOnPage:
    original = None if answer.original is None else answer.original.element.bypass_valve
    own = shown.element.bypass_valve
    counted = [each for each in shown.criteria if not each.advisory]
    on_file = sum(each.verdict == "meets" and each.basis != "not_applicable" for each in counted)
    is_of_wrong_kind = any(each.characteristic == "kind" and each.verdict == "misses" for each in counted)
    return CandidateOnPage(
        shown,
        _what(shown, ranking.snapshot, units),
        sum(each.verdict == "meets" for each in counted),
        on_file > 0 and not is_of_wrong_kind,
        shown.element.kind if is_of_wrong_kind else None,
        _lacks(counted, required),
        {verdict: _named(ids, required) for verdict, ids in (("misses", shown.misses), ("not_shown", shown.not_shown))},
        _valve(shown, ranking.duty.circumstances.bypass),
        original is not None and own is not None and own != original,
        _successor(shown, ranking.snapshot),
    )


def _what(shown: CandidateShown, snapshot: Snapshot, units: UnitSystem) -> list[str]:
    """What it is and how large, as far as is on file."""
    row = snapshot.find(shown.element.element_id)
    told = [shown.element.kind or "kind not on file"]
    told.append(f"thread {shown.element.thread}" if shown.element.thread else "thread not on file")
    for key, title in (("outside_diameter", "outside diameter"), ("length", "length")):
        value = float("nan") if row is None else float(snapshot.elements.measures[key][row])
        told.append(f"{title} not on file" if np.isnan(value) else f"{title} {show(value, 'length', units)}")
    return told


def _lacks(counted: Sequence[CriterionShown], required: Mapping[str, RequirementShown]) -> list[LackShown]:
    """Misses, then what is not shown; of one characteristic those together that are so for one reason and lean one
    way, and in one line all on which nothing is on file."""
    together: dict[tuple[str | None, ...], list[CriterionShown]] = {}
    unknown = [each.requirement for each in counted if each.reason == "no_data" and each.verdict == "not_shown"]
    for each in sorted(counted, key=lambda c: c.verdict != "misses"):
        if each.verdict != "meets" and (len(unknown) < 2 or each.requirement not in unknown):
            key = (each.characteristic, each.verdict, each.reason, each.lean)
            together.setdefault(key, []).append(each)
    told = [
        LackShown(
            alike[0].verdict,
            _sentence(alike[0].explanation),
            [_asked_words(required[each.requirement]) for each in alike[1:]],
        )
        for alike in together.values()
    ]
    if len(unknown) > 1:
        told.append(LackShown("not_shown", f"Nothing is on file for {_named(unknown, required, MOST_TITLES)}."))
    return told


def _named(ids: Sequence[str], required: Mapping[str, RequirementShown], most: int | None = None) -> str:
    """Requirements by their titles, each with how many there are of it: "thread, clean pressure drop (3)"; beyond
    ``most`` titles how many there are in all: "thread, seal material, … (17)"."""
    counts = Counter(required[each].title for each in ids)
    titles = [title if count == 1 else f"{title} ({count})" for title, count in counts.items()]
    return ", ".join(titles) if most is None or len(titles) <= most else f"{', '.join(titles[:most])}, … ({len(ids)})"


def _sentence(explanation: str) -> str:
    """An explanation without its verdict, which stands before it."""
    words = explanation.partition(": ")[2]
    return words[:1].upper() + words[1:]


def _asked_words(requirement: RequirementShown) -> str:
    """What is required without title and origin: "at most 8.3 kPa (at 30 L/min)"."""
    return requirement.words.partition(": ")[2].rpartition("; ")[0]


def _valve(shown: CandidateShown, bypass: str | None) -> str | None:
    return where_the_valve_is(shown.element.kind, shown.element.bypass_valve, bypass)


def _successor(shown: CandidateShown, snapshot: Snapshot) -> tuple[str, str] | None:
    """Identifier, and maker and number, of the element that takes the place of one, where it is on file."""
    row = snapshot.find(shown.element.element_id)
    successor = None if row is None else successor_row(snapshot, row)
    return None if successor is None else _element(snapshot, successor)
