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
from specdb.duty.requirement import Assumptions
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
    return _ranked(resolve(question, snapshot), snapshot)


def rank_beside(original: int, snapshot: Snapshot, assumptions: Assumptions) -> Ranking:
    """Every element of ``snapshot`` judged by what the one in row ``original`` has shown itself, and by nothing else.

    Raises QuestionError where it has shown nothing that could be required.
    """
    named = {"maker": snapshot.elements.maker[original], "number": snapshot.elements.number[original]}
    duty = resolve(read_question({"original": named}), snapshot)
    return _ranked(replace(duty, assumptions=assumptions), snapshot)


def _ranked(duty: Duty, snapshot: Snapshot) -> Ranking:
    judged = tuple(judge(snapshot, requirement, duty.assumptions) for requirement in duty.requirements)
    if duty.original is not None:
        duty, judged = _without_contradictions(duty, duty.original, judged)
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
    ranking = _ranked(replace(duty, original=original), snapshot.only(shown))
    rows = np.searchsorted(shown, named)
    evident = _has_evidence(ranking.judged, len(shown))
    order = in_order(ranking.standing)
    best_first = order[evident[order] & np.isin(order, rows)]
    place_of = {int(row): place for place, row in enumerate(best_first, start=1)}
    return Comparison(ranking, tuple(map(int, rows)), tuple(place_of.get(int(row)) for row in rows))


def _without_contradictions(
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
        # Neither a limit that nobody knows nor a kind that is not asked is evidence of an element.
        evident |= ~np.isin(each.reason, _NO_EVIDENCE) & (each.basis != BASES.index("not_applicable"))
    return evident


def _standing(judged: tuple[Judged, ...], elements: int) -> Standing:
    by_characteristic: dict[str, IntArray] = {}
    gated: set[str] = set()
    margin = np.full(elements, np.nan)
    for each in judged:
        if not each.requirement.counts:
            continue
        key = each.requirement.characteristic
        worst = by_characteristic.get(key, np.full(elements, _MEETS))
        by_characteristic[key] = np.maximum(worst, _category(each))
        if each.requirement.gate is not None:
            gated.add(key)
        margin = np.fmin(margin, each.margin)

    def count(least: int, most: int, only: set[str] | None = None) -> IntArray:
        found = np.zeros(elements, np.int64)
        for key, category in by_characteristic.items():
            if only is None or key in only:
                found += (category >= least) & (category <= most)
        return found

    return Standing(
        gate_misses=count(_MISSES, _MISSES, gated),
        not_in_favour=count(_OPEN, _MISSES),
        misses=count(_MISSES, _MISSES),
        leaning_to_meet=count(_LEANS_TO_MEETING, _LEANS_TO_MEETING),
        smallest_margin=margin,
    )


def _category(judged: Judged) -> IntArray:
    leaning = np.where(judged.lean == MEETS, _LEANS_TO_MEETING, np.where(judged.lean == MISSES, _LEANS_TO_MISS, _OPEN))
    return np.where(judged.verdict == MEETS, _MEETS, np.where(judged.verdict == MISSES, _MISSES, leaning))
