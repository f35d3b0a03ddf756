"""The best few of a ranking, found without judging every element on every requirement.

The order of :mod:`specdb.ranking` counts criteria, and no element's place becomes better as more of its criteria are
judged. So what is known of it after some of them is a bound on its place: an element whose bound stands behind the last
of enough others that are known whole cannot be among the best, and is judged no further. Those that are left are judged
whole, as a ranking judges them, so that what is found is the head of that ranking to the letter.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, replace

import numpy as np

from specdb.bounds import BoolArray, FloatArray, IntArray
from specdb.catalog.snapshot import Snapshot
from specdb.criteria import Judged, characteristics_read, judge
from specdb.duty import Question
from specdb.duty.requirement import Assumptions, Requirement
from specdb.duty.resolve import Duty, resolve
from specdb.ranking import (
    Ranking,
    Standing,
    Tally,
    category,
    evidence,
    in_order,
    judged_of,
    ranking_of,
    without_contradictions,
)

FEW = 400
"""Elements that are judged whole at once rather than looked at any further one criterion at a time."""

LOOKED_AT_FIRST = 128
"""Elements that are judged whole to know what a place among the best takes."""

TO_A_PLACE = 4
"""Of both at least so many to each place among the best."""

WORTH_ANOTHER_LOOK = 2000
"""Elements left from which on it is worth judging the best of them whole again, to have fewer left."""

KEPT = 128
"""Requirements whose judgement of the whole catalogue is kept for the next question: about 1 MB each for 100,000
elements."""

_WORTH_KEEPING = 0.3
"""Share of the catalogue from which on a requirement is judged of all of it, since that can be kept."""

_DEAR = ("retained_capacity", "filtration_ratio", "air_pressure_drop", "clean_pressure_drop", "collapse_over_own_drop")
"""Characteristics that cost more to judge than a look at the best does, the dearest last."""


@dataclass(frozen=True)
class Shortlist:
    """``ranking`` is of some elements alone, the original among them; ``rows`` are the best of all in its snapshot, the
    best first."""

    ranking: Ranking
    rows: tuple[int, ...]


@dataclass(frozen=True)
class _Marks:
    """What one requirement counts for, and whether anything is on file that it is judged by. Shapes (elements,)."""

    categories: IntArray
    margin: FloatArray
    evident: BoolArray

    @classmethod
    def of(cls, judged: Judged) -> _Marks:
        return cls(category(judged).astype(np.int8), judged.margin, evidence(judged))

    def only(self, rows: IntArray) -> _Marks:
        return _Marks(self.categories[rows], self.margin[rows], self.evident[rows])


@dataclass(frozen=True)
class _Place:
    """A place in the order: its counts as one number, the first of the order heaviest, and its margin, negated, with
    what stands behind all margins where there is none."""

    counts: int
    margin: float


@dataclass(frozen=True)
class _Look:
    """What judging a few whole has told: the place of the last of the best, None where there are not so many; and of
    how many each requirement, by its id, is not met, so that the one by which most fall is judged next."""

    last: _Place | None
    fallen: dict[str, int]


class Shortlister:
    """Finds the best of one state of a catalogue for one question after another.

    What was judged of the whole catalogue is kept for questions that require the same. Not for several threads at once.
    """

    def __init__(self, snapshot: Snapshot):
        self.snapshot = snapshot
        self._kept: OrderedDict[tuple[Requirement, Assumptions], _Marks] = OrderedDict()

    def best(self, question: Question, count: int) -> Shortlist:
        """The ``count`` best candidates of :func:`specdb.ranking.rank`. Raises as that does."""
        duty = resolve(question, self.snapshot)
        if duty.original is not None:
            duty = self._without_contradictions(duty, duty.original)
        ranking = self._whole(duty, self._left(duty, count))
        return Shortlist(ranking, tuple(int(row) for row in ranking.candidates[:count]))

    def _whole(self, duty: Duty, rows: IntArray) -> Ranking:
        """The ranking of some elements alone, and of the original."""
        if duty.original is None:
            return ranking_of(duty, self.snapshot.only(np.sort(rows)))
        rows = np.union1d(rows, [duty.original])
        original = int(np.searchsorted(rows, duty.original))
        return ranking_of(replace(duty, original=original), self.snapshot.only(rows))

    def _without_contradictions(self, duty: Duty, original: int) -> Duty:
        alone = self.snapshot.only(np.array([original]))
        kept, _ = without_contradictions(duty, 0, judged_of(duty, alone))
        return kept

    def _left(self, duty: Duty, count: int) -> IntArray:
        """Rows among which the best are: all whose bound stands before or at the last of the best that are known."""
        rows = np.arange(len(self.snapshot.elements))
        tally, evident = Tally(len(rows)), np.zeros(len(rows), bool)
        last: _Place | None = None
        ahead = sorted(duty.requirements, key=_cost)
        while ahead and len(rows) > max(FEW, TO_A_PLACE * count):
            requirement = ahead.pop(0)
            marks = self._marks(requirement, duty.assumptions, rows)
            if requirement.counts:
                tally.count(requirement, marks.categories, marks.margin)
            evident = evident | marks.evident
            if ahead and not _cost(ahead[0]):
                continue
            standing = tally.standing()
            if last is None or len(rows) > WORTH_ANOTHER_LOOK:
                looked_at = self._look_at(duty, count, rows[evident], _only(standing, evident))
                last = _nearer(last, looked_at.last)
                ahead.sort(key=lambda each: (_cost(each) > len(_DEAR), -looked_at.fallen[each.id], _cost(each)))
            if last is not None:
                kept = np.flatnonzero(_not_behind(standing, last))
                rows, tally, evident = rows[kept], tally.only(kept), evident[kept]
        return rows

    def _look_at(self, duty: Duty, count: int, rows: IntArray, standing: Standing) -> _Look:
        """Judges whole those of ``rows`` that stand first as far as they are judged."""
        first = _first(standing, max(LOOKED_AT_FIRST, TO_A_PLACE * count))
        ranking = self._whole(duty, rows[first])
        fallen = {each.requirement.id: int((category(each) > 0).sum()) for each in ranking.judged}
        if len(ranking.candidates) < count:
            return _Look(None, fallen)
        whole = _only(ranking.standing, ranking.candidates[count - 1 : count])
        place = _Place(int(_counts(whole)[0]), float(_behind_by_margin(whole.smallest_margin, np.inf)[0]))
        return _Look(place, fallen)

    def _marks(self, requirement: Requirement, assumptions: Assumptions, rows: IntArray) -> _Marks:
        """Of the elements in ``rows``, from what is kept where it is."""
        key = replace(requirement, id="", origin="stated", rule=None, notes=()), assumptions
        if key not in self._kept and len(rows) < _WORTH_KEEPING * len(self.snapshot.elements):
            part = self.snapshot.repeated(rows, characteristics_read(requirement))
            return _Marks.of(judge(part, requirement, assumptions))
        if key not in self._kept:
            self._kept[key] = _Marks.of(judge(self.snapshot, requirement, assumptions))
            if len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        self._kept.move_to_end(key)
        return self._kept[key].only(rows)


def _nearer(one: _Place | None, other: _Place | None) -> _Place | None:
    known = [place for place in (one, other) if place is not None]
    return min(known, key=lambda place: (place.counts, place.margin)) if known else None


def _cost(requirement: Requirement) -> int:
    """How late a requirement is judged; 0 for those that cost less than a look at the best. What does not count in the
    order tells evidence alone, and comes last."""
    key = requirement.characteristic
    dear = _DEAR.index(key) + 1 if key in _DEAR else 0
    return dear if requirement.counts else len(_DEAR) + 1


def _counts(standing: Standing) -> IntArray:
    """The counts of the order as one number for each element, the first of the order heaviest."""
    heavy_first = (standing.gate_misses, standing.not_in_favour, standing.misses, standing.leaning_to_meet)
    found = np.zeros_like(standing.misses)
    for counted in heavy_first:
        found = (found << 10) + counted
    return found


def _behind_by_margin(margin: FloatArray, unknown: float) -> FloatArray:
    return np.where(np.isnan(margin), unknown, -margin)


def _not_behind(standing: Standing, last: _Place) -> BoolArray:
    """Elements whose bound does not stand behind ``last``. One without a margin so far may get any."""
    counts = _counts(standing)
    margin = _behind_by_margin(standing.smallest_margin, -np.inf)
    return np.asarray((counts < last.counts) | ((counts == last.counts) & (margin <= last.margin)))


def _first(standing: Standing, count: int) -> IntArray:
    """Places of the ``count`` that stand first, rising."""
    counts = _counts(standing)
    if len(counts) > count:
        near = np.flatnonzero(counts <= np.partition(counts, count - 1)[count - 1])
        return np.sort(near[in_order(_only(standing, near))[:count]])
    return np.arange(len(counts))


def _only(standing: Standing, rows: IntArray | BoolArray) -> Standing:
    return Standing(**{name: column[rows] for name, column in vars(standing).items()})
