"""What the points of a test prove once the requirement's conditions are asked of them.

:class:`Evidence` holds the points of one characteristic; conditions are asked one after another and
each lets bounds fall away that it does not support. :func:`fold` turns what is left into bounds
for each test (:class:`Carried`). Nothing is ever tightened except by a named assumption.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from specdb.bounds import BoolArray, FloatArray, IntArray
from specdb.catalog.snapshot import Points
from specdb.duty import Assumptions, Requirement

SAME_POINT = 0.005
"""Other conditions within this share of each other are one condition."""

REASONS = (
    "",
    "no_data",
    "sources_disagree",
    "inconsistent_test",
    "other_scale",
    "condition_not_stated",
    "other_conditions",
    "approximate_only",
    "wrong_side",
    "not_listed",
    "depends",
    "not_in_table",
    "limit_not_stated",
    "requirement_is_estimate",
)
"""Why a verdict is *not shown*; of several the first is told."""
REASON = {name: code for code, name in enumerate(REASONS)}

BASES = ("", "as_stated", "carried", "interpolated", "from_curve", "from_table", "not_applicable")
"""How bounds were come by."""
BASIS = {name: code for code, name in enumerate(BASES)}

ASSUMPTION_BITS = {
    "unstated_conditions_match": 1,
    "about_within": 2,
    "viscous_share_at_least": 4,
    "converted_sizes_count": 8,
    "bare_size_is": 16,
}

LOST_TO_SCALE, LOST_UNSTATED, LOST_TO_CONDITIONS, ONLY_ABOUT = 1, 2, 4, 8
_REASON_OF_LOSS = (
    (LOST_TO_SCALE, "other_scale"),
    (LOST_UNSTATED, "condition_not_stated"),
    (LOST_TO_CONDITIONS, "other_conditions"),
    (ONLY_ABOUT, "approximate_only"),
)


@dataclass(frozen=True)
class Carried:
    """What each test shows of one requirement, at the requirement's conditions. Shapes (tests,).

    ``basis`` and ``reason`` index ``BASES`` and ``REASONS`` (the reason holds if the bounds do not
    decide); ``assumed`` holds the bits of the assumptions that strengthened them.
    """

    test: IntArray
    element: IntArray
    low: FloatArray
    high: FloatArray
    estimate: FloatArray
    slack_low: FloatArray
    slack_high: FloatArray
    basis: IntArray
    reason: IntArray
    assumed: IntArray


def starts_of(test: IntArray) -> IntArray:
    """First row of each test in a column sorted by test."""
    first = np.ones(len(test), bool)
    np.not_equal(test[1:], test[:-1], out=first[1:])
    return np.flatnonzero(first)


def sizes_of(starts: IntArray, rows: int) -> IntArray:
    """How many of so many ``rows`` belong to each of what begins at ``starts``, the first at 0."""
    sizes = np.empty_like(starts)
    np.subtract(starts[1:], starts[:-1], out=sizes[:-1])
    sizes[-1:] = rows - starts[-1:]
    return sizes


@dataclass
class Evidence:
    """Points of one characteristic, sorted by test, while conditions are asked. Shapes (points,).

    ``carried`` marks points whose conditions are not the requirement's: their printed digits give
    no room at a limit. ``lost`` collects why bounds fell away.
    """

    points: Points
    low: FloatArray
    high: FloatArray
    slack: FloatArray
    estimate: FloatArray
    keep_low: BoolArray
    keep_high: BoolArray
    lost: IntArray
    assumed: IntArray
    carried: BoolArray

    @classmethod
    def of(cls, points: Points, assumptions: Assumptions) -> Evidence:
        n = len(points)
        low, high, slack = points.low.copy(), points.high.copy(), points.slack.copy()
        assumed = np.zeros(n, np.int64)
        if assumptions.about_within is not None:
            about = points.qualifier.equals("about") & np.isfinite(points.band)
            spread = assumptions.about_within * np.abs(points.value)
            low, high = np.where(about, points.value - spread, low), np.where(about, points.value + spread, high)
            slack = np.where(about, 0.0, slack)
            assumed[about] |= ASSUMPTION_BITS["about_within"]
        lost = np.where(np.isneginf(low) & np.isposinf(high), ONLY_ABOUT, 0)
        kept = np.ones(n, bool)
        return cls(
            points, low, high, slack, points.estimate.copy(), kept, kept.copy(), lost, assumed, np.zeros(n, bool)
        )

    @property
    def starts(self) -> IntArray:
        return starts_of(self.points.test)

    def sorted_by(self, order: IntArray) -> Evidence:
        columns = {name: column[order] for name, column in vars(self).items() if name != "points"}
        return Evidence(points=self.points.rows(order), **columns)

    def drop(self, low: BoolArray | bool, high: BoolArray | bool, why: int) -> None:
        """Let lower or upper bounds fall away, and note why; also of a bound that another condition took already,
        so that the reason does not hang on the order of asking."""
        loses = (low & np.isfinite(self.low)) | (high & np.isfinite(self.high))
        self.lost[loses] |= why
        self.keep_low &= np.logical_not(low)
        self.keep_high &= np.logical_not(high)

    def ask(self, stated: BoolArray, serves_low: BoolArray, serves_high: BoolArray, assumptions: Assumptions) -> None:
        """Ask one condition: stated, it must serve the bound it keeps; unstated, it proves nothing."""
        if assumptions.unstated_conditions_match:
            self.assumed[~stated] |= ASSUMPTION_BITS["unstated_conditions_match"]
        else:
            self.drop(~stated, ~stated, LOST_UNSTATED)
        self.drop(stated & ~serves_low, stated & ~serves_high, LOST_TO_CONDITIONS)
        self.carried |= stated & ~(serves_low & serves_high)

    def ask_falling(
        self, column: FloatArray, wanted: float | FloatArray | None, same_within: float, assumptions: Assumptions
    ) -> None:
        """Ask a condition under which the value falls as it rises (flow): more than asked keeps the
        lower bound, less the upper. Where nobody asks, a test speaks for its own range."""
        wanted_low, wanted_high, unstated = asked_range(column, wanted, wanted, self.starts)
        with np.errstate(invalid="ignore"):
            enough = column >= wanted_high * (1 - same_within - 1e-9)
            no_more = column <= wanted_low * (1 + same_within + 1e-9)
        stated = asked_of(column, unstated, assumptions)
        self.ask(stated, enough | np.isnan(column), no_more | np.isnan(column), assumptions)


def asked_range(
    column: FloatArray, low: float | FloatArray | None, high: float | FloatArray | None, starts: IntArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Required range of a condition for each point, and where the point leaves it unstated though asked. ``low`` and
    ``high`` are one range for all points or, where conditions are varied, one for each.

    A condition that neither the requirement nor the duty states is the test's own range; a test
    that never states it is not asked (1 stands on both sides, so that it cancels). A test that states
    it at some points only has a range that nobody knows: all its points are unstated.
    """
    if low is not None and high is not None:
        return np.full(len(column), low), np.full(len(column), high), np.isnan(column)
    sizes = sizes_of(starts, len(column))
    least = np.minimum.reduceat(np.where(np.isnan(column), np.inf, column), starts) if len(starts) else column
    most = np.maximum.reduceat(np.where(np.isnan(column), -np.inf, column), starts) if len(starts) else column
    stated = np.isfinite(least)
    own_low = np.repeat(np.where(stated, least, 1.0), sizes)
    own_high = np.repeat(np.where(stated, most, 1.0), sizes)
    lacking = np.logical_or.reduceat(np.isnan(column), starts) if len(starts) else column > 0
    return own_low, own_high, np.repeat(stated & lacking, sizes)


def asked_of(column: FloatArray, unstated: BoolArray, assumptions: Assumptions) -> BoolArray:
    """Points that count as stated: of a test that states a condition at some of its points only, none, unless the
    others are taken to match, when those that state it speak for themselves."""
    return np.asarray(~unstated | (np.isfinite(column) & assumptions.unstated_conditions_match))


def near(stated: FloatArray, wanted: FloatArray | float, share: float) -> BoolArray:
    return np.asarray(np.abs(stated - wanted) <= share * np.abs(wanted) * (1 + 1e-9))


def slack_of(bound: FloatArray, folded: FloatArray, slack: FloatArray, starts: IntArray) -> FloatArray:
    """Printed-digit room of the point that gave each test its bound."""
    sizes = sizes_of(starts, len(bound))
    gave = np.isfinite(bound) & (bound == np.repeat(folded, sizes))
    return np.maximum.reduceat(np.where(gave, slack, 0.0), starts)


def reasons_of(lost: IntArray) -> IntArray:
    """The reason to tell for each test, from the bits of what its points lost."""
    reason = np.full(len(lost), REASON["wrong_side"])
    for bit, name in reversed(_REASON_OF_LOSS):
        reason[(lost & bit) > 0] = REASON[name]
    return reason


def nothing_carried() -> Carried:
    none, whole = np.zeros(0), np.zeros(0, np.int64)
    return Carried(whole, whole, none, none, none, none, none, whole, whole, whole)


def unspoiled(assumed: Carried, proven: Carried) -> Carried:
    """Assumptions never destroy proof: a test that they make inconsistent shows what it shows without them."""
    spoiled = (assumed.reason == REASON["inconsistent_test"]) & (proven.reason != REASON["inconsistent_test"])
    return Carried(**{name: np.where(spoiled, getattr(proven, name), column) for name, column in vars(assumed).items()})


def carried(
    points: Points,
    *,
    low: FloatArray,
    high: FloatArray,
    estimate: FloatArray,
    slack_low: FloatArray,
    slack_high: FloatArray,
    basis: IntArray,
    lost: IntArray,
    assumed: IntArray,
    inconsistent: BoolArray,
) -> Carried:
    """Result of a fold; a test whose points leave no possible value shows nothing."""
    starts = starts_of(points.test)
    # Two printings of one value can put the lower bound a hair above the upper one.
    crossed = low > high
    low, high = np.where(crossed, high, low), np.where(crossed, low, high)
    slack_low, slack_high = np.where(crossed, slack_high, slack_low), np.where(crossed, slack_low, slack_high)
    low, high = np.where(inconsistent, -np.inf, low), np.where(inconsistent, np.inf, high)
    proves = np.isfinite(low) | np.isfinite(high)
    return Carried(
        test=points.test[starts],
        element=points.element[starts],
        low=low,
        high=high,
        estimate=np.where(inconsistent, np.nan, np.clip(estimate, low, high)),
        slack_low=slack_low,
        slack_high=slack_high,
        basis=np.where(inconsistent, 0, basis),
        reason=np.where(
            inconsistent, REASON["inconsistent_test"], reasons_of(np.where(proves, lost & ~ONLY_ABOUT, lost))
        ),
        assumed=np.where(inconsistent, 0, assumed),
    )


def fold(evidence: Evidence, requirement: Requirement) -> Carried:
    """The tightest bounds that the points of each test leave, and its plainest estimate."""
    points, starts = evidence.points, evidence.starts
    if not len(starts):
        return nothing_carried()
    slack = np.where(evidence.carried, 0.0, evidence.slack)
    low = np.where(evidence.keep_low, evidence.low, -np.inf)
    high = np.where(evidence.keep_high, evidence.high, np.inf)
    test_low, test_high = np.maximum.reduceat(low, starts), np.minimum.reduceat(high, starts)
    slack_low, slack_high = slack_of(low, test_low, slack, starts), slack_of(high, test_high, slack, starts)
    any_carried = np.logical_or.reduceat(evidence.carried, starts)
    return carried(
        points,
        low=test_low,
        high=test_high,
        estimate=_plain_estimate(evidence, requirement),
        slack_low=slack_low,
        slack_high=slack_high,
        basis=np.where(any_carried, BASIS["carried"], BASIS["as_stated"]),
        lost=np.bitwise_or.reduceat(evidence.lost, starts),
        assumed=np.bitwise_or.reduceat(evidence.assumed, starts),
        inconsistent=test_low - slack_low > test_high + slack_high,
    )


def _plain_estimate(evidence: Evidence, requirement: Requirement) -> FloatArray:
    """The least favourable value of each test, among those at the required conditions if any are."""
    estimate, test = evidence.estimate, evidence.points.test
    only_a_ceiling = np.isfinite(requirement.high) and not np.isfinite(requirement.low)
    order = np.lexsort((-estimate if only_a_ceiling else estimate, evidence.carried, test))
    return np.asarray(estimate[order][starts_of(test)])
