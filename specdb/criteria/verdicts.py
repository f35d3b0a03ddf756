"""From what tests show to one verdict for each element."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from specdb.bounds import MEETS, MISSES, NOT_SHOWN, BoolArray, FloatArray, IntArray, margin, verdict
from specdb.characteristics import CHARACTERISTICS
from specdb.criteria.evidence import BASIS, REASON, Carried
from specdb.duty import Requirement


@dataclass(frozen=True)
class Judged:
    """One requirement judged for every element. Shapes (elements,).

    ``low``, ``high`` and ``estimate`` are in the canonical unit, NaN where there is nothing.
    ``test`` is the row of the test that decided, -1 for none; ``other_test`` the one that
    contradicts it where sources disagree. ``reason``, ``basis`` and ``assumed`` are coded as in
    :mod:`specdb.criteria.evidence`; ``lean`` is 1, 0 or -1.
    """

    requirement: Requirement
    verdict: IntArray
    reason: IntArray
    lean: IntArray
    low: FloatArray
    high: FloatArray
    estimate: FloatArray
    margin: FloatArray
    test: IntArray
    other_test: IntArray
    by_rounding: BoolArray
    basis: IntArray
    assumed: IntArray
    verdict_without_assumptions: IntArray


def nothing_on_file(requirement: Requirement, elements: int) -> Judged:
    """Every element *not shown* for want of data; the ground that tests are then written onto."""
    return Judged(
        requirement=requirement,
        verdict=np.full(elements, NOT_SHOWN),
        reason=np.full(elements, REASON["no_data"]),
        lean=np.zeros(elements, np.int64),
        low=np.full(elements, np.nan),
        high=np.full(elements, np.nan),
        estimate=np.full(elements, np.nan),
        margin=np.full(elements, np.nan),
        test=np.full(elements, -1),
        other_test=np.full(elements, -1),
        by_rounding=np.zeros(elements, bool),
        basis=np.zeros(elements, np.int64),
        assumed=np.zeros(elements, np.int64),
        verdict_without_assumptions=np.full(elements, NOT_SHOWN),
    )


def judge_tests(tests: Carried, proven: Carried, requirement: Requirement, elements: int) -> Judged:
    """Each test is judged on its own. One meets and none misses: the element meets, with the smallest
    margin of those tests; one misses and none meets: it misses; both: sources disagree, leaning to a miss.

    ``proven`` are the same tests without assumptions: where the verdict of a test differs, its assumptions are told.
    """
    result = nothing_on_file(requirement, elements)
    if not len(tests.test):
        return result
    low, high = requirement.allowed_low, requirement.allowed_high
    each = _verdicts(tests, requirement)
    strict = verdict(tests.low, tests.high, low, high)
    lean = _lean(tests.estimate, low, high)
    margins = _margins(tests, requirement)

    some_meet = np.bincount(tests.element[each == MEETS], minlength=elements) > 0
    some_miss = np.bincount(tests.element[each == MISSES], minlength=elements) > 0
    decided = np.where(some_meet & ~some_miss, MEETS, np.where(some_miss & ~some_meet, MISSES, NOT_SHOWN))
    disagree = some_meet & some_miss
    # The test told of: where one misses, the worst of those; else the least meeting; else the lean to a miss.
    undecided = np.where(lean < 0, 0, np.where(lean > 0, 1, 2))
    group = np.where(each == MISSES, 0, np.where(each == MEETS, 1, 2))
    reason = np.where(each == NOT_SHOWN, tests.reason, 0)
    order = np.lexsort(
        (tests.test, reason, np.nan_to_num(margins, nan=0.0), undecided * (group == 2), group, tests.element)
    )
    told = order[np.flatnonzero(np.r_[True, np.diff(tests.element[order]) != 0])]
    element = tests.element[told]

    result.verdict[:] = decided
    result.verdict_without_assumptions[:] = decided
    open_question = decided[element] == NOT_SHOWN
    result.reason[element] = np.where(open_question, tests.reason[told], 0)
    result.reason[disagree] = REASON["sources_disagree"]
    result.lean[element] = np.where(open_question, lean[told], 0)
    result.lean[disagree] = MISSES
    result.low[element], result.high[element] = tests.low[told], tests.high[told]
    result.estimate[element] = tests.estimate[told]
    result.margin[element] = np.where(decided[element] == MEETS, margins[told], np.nan)
    result.test[element] = tests.test[told]
    result.by_rounding[element] = ~open_question & (each[told] != strict[told])
    result.basis[element] = tests.basis[told]
    if tests is not proven:
        # Told are the assumptions that changed what a test says, or what is shown of the one told of.
        assumed = each != _verdicts(proven, requirement)
        assumed[told] |= (tests.low[told] != proven.low[told]) | (tests.high[told] != proven.high[told])
        np.bitwise_or.at(result.assumed, tests.element[assumed], tests.assumed[assumed])
    meeting = np.flatnonzero((each == MEETS) & disagree[tests.element])[::-1]
    result.other_test[tests.element[meeting]] = tests.test[meeting]
    return result


def keeping_proof(assumed: Judged, proven: Judged) -> Judged:
    """Assumptions never destroy proof: what is decided without them stays so."""
    undone = (proven.verdict != NOT_SHOWN) & (assumed.verdict == NOT_SHOWN)
    columns = {name: column for name, column in vars(assumed).items() if name != "requirement"}
    kept = {name: np.where(undone, getattr(proven, name), column) for name, column in columns.items()}
    return Judged(requirement=assumed.requirement, **kept | {"verdict_without_assumptions": proven.verdict})


def no_proof(judged: Judged) -> Judged:
    """The verdicts on a limit that is an estimate itself: what would be decided only leans."""
    decided = judged.verdict != NOT_SHOWN
    undecided = np.full(len(decided), NOT_SHOWN)
    return replace(
        judged,
        verdict=undecided,
        verdict_without_assumptions=undecided,
        lean=np.where(decided, judged.verdict, judged.lean),
        reason=np.where(decided, REASON["requirement_is_estimate"], judged.reason),
        margin=np.full(len(decided), np.nan),
        by_rounding=np.zeros(len(decided), bool),
    )


def exempt(judged: Judged, which: BoolArray) -> Judged:
    """Elements ``which`` have no such thing as is required: it is the housing's, or another kind's."""
    free = nothing_on_file(judged.requirement, len(which))
    free.verdict[:], free.verdict_without_assumptions[:] = MEETS, MEETS
    free.reason[:], free.basis[:] = 0, BASIS["not_applicable"]
    columns = {name: column for name, column in vars(judged).items() if name != "requirement"}
    told = {name: np.where(which, getattr(free, name), column) for name, column in columns.items()}
    return Judged(requirement=judged.requirement, **told)


def _verdicts(tests: Carried, requirement: Requirement) -> IntArray:
    low, high = requirement.allowed_low, requirement.allowed_high
    return verdict(tests.low, tests.high, low, high, tests.slack_low, tests.slack_high)


def _lean(estimate: FloatArray, low: float, high: float) -> IntArray:
    known = np.isfinite(estimate)
    serves = verdict(np.where(known, estimate, 0.0), np.where(known, estimate, 0.0), low, high)
    return np.where(known, serves, 0)


def _margins(tests: Carried, requirement: Requirement) -> FloatArray:
    known = CHARACTERISTICS.get(requirement.characteristic)
    if known is not None and not known.ratio_scale:
        return np.full(len(tests.test), np.nan)
    return margin(tests.low, tests.high, requirement.low, requirement.high)
