"""Judge every element against a duty, and put the candidates in order."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from specdb.bounds import MEETS, MISSES, BoolArray, FloatArray, IntArray
from specdb.catalog.snapshot import Snapshot
from specdb.criteria import BASES, REASONS, Judged, judge
from specdb.duty import Question
from specdb.duty.conditions import Faults
from specdb.duty.question import ComparisonAsked, read_question
from specdb.duty.requirement import Assumptions, Requirement
from specdb.duty.resolve import Duty, find_rows, resolve, without_contradicted

ORDER = (
    "fewest misses among fit, seal and fluid, envelope pressure, collapse, bypass and temperature",
    "fewest criteria that miss, lean to a miss or have no data",
    "fewest misses",
    "fewest criteria that only lean to meeting",
    "the largest smallest margin",
    "maker and number",
)
"""The order of candidates in words. Several requirements of one characteristic count once, at the worst."""

_NO_EVIDENCE = [REASONS.index(reason) for reason in ("no_data", "limit_not_stated")]
_MEETS, _LEANS_TO_MEETING, _OPEN, _LEANS_TO_MISS, _MISSES = range(5)


@dataclass(frozen=True)
class Standing:
    """What the order is made of, for every element: counts of criteria, and the smallest margin
    (NaN where no criterion that has one is met). Shapes (elements,)."""

    gate_misses: IntArray
    not_in_favour: IntArray
    misses: IntArray
    leaning_to_meet: IntArray
    smallest_margin: FloatArray


@dataclass(frozen=True)
class Ranking:
    """``candidates`` and ``without_evidence`` are rows of the snapshot's elements, in order; the original
    is in neither."""

    snapshot: Snapshot
    duty: Duty
    judged: tuple[Judged, ...]
    standing: Standing
    candidates: IntArray
    without_evidence: IntArray

    @property
    def considered(self) -> int:
        return len(self.candidates) + len(self.without_evidence)


def rank(question: Question, snapshot: Snapshot) -> Ranking:
    """Every element of ``snapshot`` judged and ordered.

    Raises as :func:`specdb.duty.resolve.resolve`, and QuestionError where the original's ratings contradict
    each other so that nothing of it can be required.
    """
    return ranking_of(resolve(question, snapshot), snapshot)


def rank_beside(original: int, snapshot: Snapshot, assumptions: Assumptions) -> Ranking:
    """Every element of ``snapshot`` judged by what the one in row ``original`` has shown itself, and by nothing else.

    Raises QuestionError where it has shown nothing that could be required.
    """
    named = {"maker": snapshot.elements.maker[original], "number": snapshot.elements.number[original]}
    duty = resolve(read_question({"original": named}), snapshot)
    return ranking_of(replace(duty, assumptions=assumptions), snapshot)


def judged_of(duty: Duty, snapshot: Snapshot) -> tuple[Judged, ...]:
    return tuple(judge(snapshot, requirement, duty.assumptions) for requirement in duty.requirements)


def ranking_of(duty: Duty, snapshot: Snapshot) -> Ranking:
    """Every element of ``snapshot`` judged by what is required and ordered; ``duty.original`` is a row of it."""
    judged = judged_of(duty, snapshot)
    if duty.original is not None:
        duty, judged = without_contradictions(duty, duty.original, judged)
    standing = _standing(judged, len(snapshot.elements))
    order = in_order(standing)
    evident = _has_evidence(judged, len(snapshot.elements))[order]
    if duty.original is not None:
        evident, order = evident[order != duty.original], order[order != duty.original]
    return Ranking(snapshot, duty, judged, standing, order[evident], order[~evident])


@dataclass(frozen=True)
class Comparison:
    """Some elements side by side. ``ranking`` is of them and the original alone; ``rows`` are theirs in its snapshot,
    in the order asked; ``places`` the place of each among them, from 1 for the best, None where nothing is on file of
    it for any criterion."""

    ranking: Ranking
    rows: tuple[int, ...]
    places: tuple[int | None, ...]


def compare(asked: ComparisonAsked, snapshot: Snapshot, *, may_be_empty: bool = False) -> Comparison:
    """The elements that are named, judged and ordered as :func:`rank` does it among all; on nothing, where that
    ``may_be_empty`` and nothing is required.

    Raises as :func:`rank`, and for names that are not on file or stand for one element twice: all of it at once.
    """
    faults = Faults()
    named = find_rows(snapshot, asked.elements, faults)
    duty = resolve(asked.question(), snapshot, faults, may_be_empty=may_be_empty)
    shown = np.unique(named if duty.original is None else [*named, duty.original])
    original = None if duty.original is None else int(np.searchsorted(shown, duty.original))
    ranking = ranking_of(replace(duty, original=original), snapshot.only(shown))
    rows = np.searchsorted(shown, named)
    evident = _has_evidence(ranking.judged, len(shown))
    order = in_order(ranking.standing)
    best_first = order[evident[order] & np.isin(order, rows)]
    place_of = {int(row): place for place, row in enumerate(best_first, start=1)}
    return Comparison(ranking, tuple(map(int, rows)), tuple(place_of.get(int(row)) for row in rows))


def without_contradictions(
    duty: Duty, original: int, judged: tuple[Judged, ...]
) -> tuple[Duty, tuple[Judged, ...]]:
    """Of what is taken from the original, only what the original itself does not miss: where its tests
    contradict each other it cannot be asked of another. What is left out is noted."""
    missed = [
        each.requirement
        for each in judged
        if each.requirement.origin == "original"
        and MISSES in (each.verdict[original], each.verdict_without_assumptions[original])
    ]
    if not missed:
        return duty, judged
    return without_contradicted(duty, missed), tuple(each for each in judged if each.requirement not in missed)


def in_order(standing: Standing) -> IntArray:
    """Rows from best to worst; rows that tie keep the snapshot's order, which is by maker and number."""
    margin = np.where(np.isnan(standing.smallest_margin), np.inf, -standing.smallest_margin)
    return np.lexsort((margin, standing.leaning_to_meet, standing.misses, standing.not_in_favour, standing.gate_misses))


def _has_evidence(judged: tuple[Judged, ...], elements: int) -> BoolArray:
    evident = np.zeros(elements, bool)
    for each in judged:
        evident |= evidence(each)
    return evident


def evidence(judged: Judged) -> BoolArray:
    """Elements of which anything is on file that the requirement is judged by. Shape (elements,).

    Neither a limit that nobody knows nor a kind that is not asked is evidence of an element.
    """
    found = ~np.isin(judged.reason, _NO_EVIDENCE) & (judged.basis != BASES.index("not_applicable"))
    return np.asarray(found)


class Tally:
    """What the order counts, requirement by requirement. As more are counted no element's place can become better: its
    counts, taken in the order in which they decide, never fall, and its smallest margin never rises once it has one."""

    def __init__(self, elements: int):
        self._worst: dict[str, IntArray] = {}
        self._gated: set[str] = set()
        self._elements = elements
        self.margin = np.full(elements, np.nan)

    def count(self, requirement: Requirement, categories: IntArray, margin: FloatArray) -> None:
        """Counts a requirement that ``counts``, with the category of each element and its margin. Shapes
        (elements,)."""
        key = requirement.characteristic
        self._worst[key] = np.maximum(self._worst[key], categories) if key in self._worst else categories
        if requirement.gate is not None:
            self._gated.add(key)
        self.margin = np.fmin(self.margin, margin)

    def only(self, rows: IntArray) -> Tally:
        """The same of some elements alone."""
        part = Tally(len(rows))
        part._worst = {key: worst[rows] for key, worst in self._worst.items()}
        part._gated, part.margin = set(self._gated), self.margin[rows]
        return part

    def standing(self) -> Standing:
        return Standing(
            gate_misses=self._counted(_MISSES, _MISSES, self._gated),
            not_in_favour=self._counted(_OPEN, _MISSES),
            misses=self._counted(_MISSES, _MISSES),
            leaning_to_meet=self._counted(_LEANS_TO_MEETING, _LEANS_TO_MEETING),
            smallest_margin=self.margin,
        )

    def _counted(self, least: int, most: int, only: set[str] | None = None) -> IntArray:
        found = np.zeros(self._elements, np.int64)
        for key, worst in self._worst.items():
            if only is None or key in only:
                found += (worst >= least) & (worst <= most)
        return found


def _standing(judged: tuple[Judged, ...], elements: int) -> Standing:
    tally = Tally(elements)
    for each in judged:
        if each.requirement.counts:
            tally.count(each.requirement, category(each), each.margin)
    return tally.standing()


def category(judged: Judged) -> IntArray:
    """What each element counts for on one requirement: met, leaning to meeting, open, leaning to a miss or missed, from
    0 to 4. Shape (elements,)."""
    leaning = np.where(judged.lean == MEETS, _LEANS_TO_MEETING, np.where(judged.lean == MISSES, _LEANS_TO_MISS, _OPEN))
    return np.where(judged.verdict == MEETS, _MEETS, np.where(judged.verdict == MISSES, _MISSES, leaning))
