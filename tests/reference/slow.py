"""The method in plain Python: one element, one test, one point at a time.

Nothing here is shared with ``specdb.criteria``: numbers, dicts and loops only, so that a mistake in
the one is not a mistake in the other. The published table of size scales and the bands of printed
efficiencies are taken from ``specdb.trade``, which has checks of its own. Units are canonical.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from specdb.catalog.listing import Wanted
from specdb.characteristics import CHARACTERISTICS
from specdb.duty.requirement import NO_ASSUMPTIONS, Assumptions, Requirement
from specdb.errors import ConditionsError
from specdb.trade.compatibility import media_with, seal_with
from specdb.trade.filtration import customary_beta, efficiency_band
from specdb.trade.size_scales import acftd_to_c, c_to_acftd

INF = math.inf
SAME = 1e-9
FLOW_WITHIN = 0.05
CONDITION_WITHIN = 0.005
DROP_BAND_AT_LEAST = 0.02

REASONS = (
    "no_data",
    "sources_disagree",
    "inconsistent_test",
    "other_scale",
    "condition_not_stated",
    "other_conditions",
    "approximate_only",
    "wrong_side",
    "not_listed",
    "limit_not_stated",
    "requirement_is_estimate",
    "depends",
    "not_in_table",
)
GATES = {
    "fit": (
        "kind", "thread", "seal_type", "end_form", "flow_direction", "core", "anti_drain_back", "outside_diameter",
        "inside_diameter", "second_inside_diameter", "length", "gasket_outside_diameter", "gasket_inside_diameter",
    ),
    "seal and fluid": ("seal", "fluid_class", "seal_compatibility", "media_compatibility", "zinc_parts"),
    "envelope pressure": ("working_pressure", "burst_pressure", "pressure_fatigue_cycles"),
    "collapse": ("collapse_pressure", "collapse_over_own_drop"),
    "bypass": ("bypass_valve", "bypass_cracking_pressure"),
    "temperature": ("temperature_low", "temperature_high"),
}  # fmt: skip
OF_LOST_BOUNDS = ("other_scale", "condition_not_stated", "other_conditions", "approximate_only")


# --- the catalogue, plainly -----------------------------------------------------------------------


@dataclass(frozen=True)
class Point:
    """One result. ``resolution`` is the worth of its last printed digit."""

    characteristic: str
    qualifier: str
    value: float
    resolution: float
    size_um: float | None = None
    scale: str | None = None
    flow_l_min: float | None = None
    viscosity_mm2_s: float | None = None
    density_kg_m3: float | None = None
    efficiency_percent: float | None = None
    efficiency_resolution: float | None = None


@dataclass(frozen=True)
class Test:
    __test__ = False  # not one for pytest

    points: tuple[Point, ...]
    standard: str | None = None
    dust: str | None = None
    test_liquid: str | None = None
    drop_of: str | None = None
    capacity_basis: str | None = None
    terminal_pressure_drop_kpa: float | None = None
    cycle_pressure_kpa: float | None = None


@dataclass(frozen=True)
class Element:
    maker: str
    number: str
    tests: tuple[Test, ...] = ()
    words: dict[str, str] = field(default_factory=dict)
    measures: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Told:
    """What is answered of one element and one requirement; None where there is no such thing. ``applies`` is False
    where the element has nothing that the requirement could be about."""

    verdict: str
    reason: str | None
    lean: int
    low: float | None
    high: float | None
    estimate: float | None
    margin: float | None
    by_rounding: bool
    verdict_without_assumptions: str
    applies: bool = True


# --- what one test shows --------------------------------------------------------------------------


@dataclass
class Shown:
    """Bounds at the required conditions, the slack of each, an estimate, and why bounds were lost."""

    low: float = -INF
    high: float = INF
    slack_low: float = 0.0
    slack_high: float = 0.0
    estimate: float | None = None
    lost: set[str] = field(default_factory=set)
    inconsistent: bool = False

    def settle(self) -> Shown:
        """Two printings of one value may cross: the lesser is then the lower bound. The estimate lies between."""
        if self.low > self.high:
            self.low, self.high = self.high, self.low
            self.slack_low, self.slack_high = self.slack_high, self.slack_low
        if self.estimate is not None:
            self.estimate = min(max(self.estimate, self.low), self.high)
        return self

    @property
    def impossible(self) -> bool:
        """Whether the bounds cross by more than printing explains."""
        return self.low - self.slack_low > (self.high + self.slack_high) + SAME * abs(self.high)


@dataclass(frozen=True)
class Carried:
    """What is left of a point at the required conditions. ``matches``: it was tested at them."""

    point: Point
    low: float
    high: float
    slack_low: float
    slack_high: float
    matches: bool
    lost: frozenset[str]
    size_um: float = math.nan
    raised: float = 1.0

    @property
    def estimate(self) -> float:
        return self.point.value * self.raised


@dataclass(frozen=True)
class Effect:
    """What one condition does to a point: which bounds it leaves, and why it takes the others."""

    keeps_low: bool = True
    keeps_high: bool = True
    reason: str | None = None
    matches: bool = True


MATCHES = Effect()


def nothing_left(reason: str) -> Effect:
    return Effect(False, False, reason, False)


def proven(point: Point, about_within: float | None) -> tuple[float, float, float]:
    """Bounds that a point proves at its own conditions, and the slack of its printed digits."""
    value, efficiency = point.value, point.efficiency_percent
    slack = 0.0 if efficiency is not None else min(point.resolution / 2, 0.005 * abs(value))
    if efficiency is not None and efficiency >= 100:
        return -INF, INF, 0.0
    if point.qualifier == "about":
        if about_within is None:
            return -INF, INF, 0.0
        return value - about_within * abs(value), value + about_within * abs(value), 0.0
    if point.qualifier == "at_least":
        return value, INF, slack
    if point.qualifier == "at_most":
        return -INF, value, slack
    if efficiency is not None and customary_beta(efficiency) is None:
        low, high = efficiency_band(efficiency, point.efficiency_resolution or math.nan)
        return low, high, 0.0
    return value, value, slack


def carry(point: Point, effects: Iterable[Effect], about_within: float | None, size_um: float = math.nan) -> Carried:
    low, high, slack = proven(point, about_within)
    lost: set[str] = set()
    if low == -INF and high == INF:
        lost.add("approximate_only")
    keeps_low = keeps_high = matches = True
    for effect in effects:
        matches = matches and effect.matches
        keeps_low = keeps_low and effect.keeps_low
        keeps_high = keeps_high and effect.keeps_high
        takes = (low > -INF and not effect.keeps_low) or (high < INF and not effect.keeps_high)
        if takes and effect.reason:
            lost.add(effect.reason)
    slack = slack if matches else 0.0
    return Carried(
        point, low if keeps_low else -INF, high if keeps_high else INF, slack, slack, matches, frozenset(lost), size_um
    )


def best_low(bounds: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """The largest lower bound, and the largest slack of those that give it."""
    bounds = list(bounds)
    low = max((b for b, _ in bounds), default=-INF)
    return low, max((s for b, s in bounds if b == low and math.isfinite(b)), default=0.0)


def best_high(bounds: Iterable[tuple[float, float]]) -> tuple[float, float]:
    low, slack = best_low((-b, s) for b, s in bounds)
    return -low, slack


def within(value: float, wanted: float, share: float) -> bool:
    return abs(value - wanted) <= share * abs(wanted) * (1 + SAME)


# --- conditions -----------------------------------------------------------------------------------


def by_unstated(assumptions: Assumptions) -> Effect:
    """No bound without the assumption; but nothing says that the test was run elsewhere either."""
    return MATCHES if assumptions.unstated_conditions_match else Effect(False, False, "condition_not_stated", True)


def proves_nothing(of_points: Sequence[float | None], assumptions: Assumptions) -> bool:
    """Whether a condition that nobody asks is stated of some points only: none can then speak for all of them."""
    unstated = sum(stated is None for stated in of_points)
    return 0 < unstated < len(of_points) and not assumptions.unstated_conditions_match


def by_flow(point: Point, points: Sequence[Point], wanted: float | None, assumptions: Assumptions) -> Effect:
    """More flow is harder: a test at or above the wanted flow keeps its lower bound, at or below it its upper."""
    flow = point.flow_l_min
    stated = [p.flow_l_min for p in points if p.flow_l_min is not None]
    if wanted is None and not stated:
        return MATCHES
    if flow is None or (wanted is None and proves_nothing([p.flow_l_min for p in points], assumptions)):
        return by_unstated(assumptions)
    if wanted is None:
        # The test speaks for its whole range: the most flow for the least that is shown, and the reverse.
        keeps_low = within(flow, max(stated), FLOW_WITHIN)
        keeps_high = within(flow, min(stated), FLOW_WITHIN)
        return Effect(keeps_low, keeps_high, "other_conditions", keeps_low and keeps_high)
    same = within(flow, wanted, FLOW_WITHIN)
    return Effect(same or flow >= wanted, same or flow <= wanted, "other_conditions", same)


def by_flow_of_air(point: Point, points: Sequence[Point], wanted: float | None, assumptions: Assumptions) -> Effect:
    """More air loses more pressure: what a filtration ratio proves from below is here proven from above."""
    effect = by_flow(point, points, wanted, assumptions)
    return replace(effect, keeps_low=effect.keeps_high, keeps_high=effect.keeps_low)


def raised_to(point: Point, wanted: float | None) -> float:
    """How many times the drop of air is estimated to be the one measured at too small a flow."""
    flow = point.flow_l_min
    smaller = flow is not None and wanted is not None and flow < wanted and not within(flow, wanted, FLOW_WITHIN)
    return (wanted or math.nan) / (flow or math.nan) if smaller else 1.0


def by_dust(test: Test, wanted: str | None, usual: str, assumptions: Assumptions) -> Effect:
    """A dust that nobody asks is the usual one; unknown, it is then not asked at all."""
    dust = test.dust or {"ISO 16889": "ISO 12103-1 A3", "ISO 4572": "ACFTD"}.get(test.standard or "")
    if dust is None:
        return MATCHES if wanted is None else by_unstated(assumptions)
    return MATCHES if dust == (wanted or usual) else nothing_left("other_conditions")


def by_terminal_drop(test: Test, wanted: float | None, assumptions: Assumptions) -> Effect:
    """More is held at a greater terminal drop."""
    stated = test.terminal_pressure_drop_kpa
    if wanted is None:
        return MATCHES
    if stated is None:
        return by_unstated(assumptions)
    same = within(stated, wanted, CONDITION_WITHIN)
    return Effect(same or stated <= wanted, same or stated >= wanted, "other_conditions", same)


def by_basis(test: Test, wanted: str | None, assumptions: Assumptions) -> Effect:
    """What is retained is no more than what was injected."""
    wanted = wanted or "retained"
    basis = test.capacity_basis or ("retained" if test.standard == "ISO 16889" else None)
    if basis == wanted or (basis is None and assumptions.unstated_conditions_match):
        return MATCHES
    reason = "condition_not_stated" if basis is None else "other_conditions"
    return Effect(wanted == "injected", wanted == "retained", reason, False)


def by_cycle_pressure(test: Test, wanted: float | None, assumptions: Assumptions) -> Effect:
    stated = test.cycle_pressure_kpa
    if wanted is None:
        return MATCHES
    if stated is None:
        return by_unstated(assumptions)
    same = within(stated, wanted, CONDITION_WITHIN)
    return Effect(same or stated >= wanted, same, "other_conditions", same)


def by_standard(test: Test, wanted: str | None, assumptions: Assumptions) -> Effect:
    if wanted is None or test.standard == wanted:
        return MATCHES
    return by_unstated(assumptions) if test.standard is None else nothing_left("other_conditions")


def by_liquid(test: Test, wanted: str | None, assumptions: Assumptions) -> Effect:
    wanted = wanted or "2-propanol"
    liquid = test.test_liquid or ("2-propanol" if test.standard == "ISO 2942" else None)
    if liquid is None:
        return by_unstated(assumptions)
    return MATCHES if liquid == wanted else nothing_left("other_conditions")


# --- characteristics other than the curves --------------------------------------------------------


def fold(carried: Sequence[Carried], required: Requirement) -> Shown:
    """Every point speaks of the same thing, so the tightest bounds hold; the estimate is the least favourable."""
    low, slack_low = best_low((c.low, c.slack_low) for c in carried)
    high, slack_high = best_high((c.high, c.slack_high) for c in carried)
    least = max if required.low == -INF and required.high < INF else min
    matching = [c.estimate for c in carried if c.matches]
    estimate = least(matching or [c.estimate for c in carried])
    lost = {reason for c in carried for reason in c.lost}
    shown = Shown(low, high, slack_low, slack_high, estimate, lost)
    return Shown(inconsistent=True) if shown.impossible else shown.settle()


def points_of(test: Test, characteristic: str) -> list[Point]:
    return [p for p in test.points if p.characteristic == characteristic]


def simple(test: Test, required: Requirement, assumptions: Assumptions) -> Shown:
    """Capacity, bubble point, fatigue, and what holds as it is stated."""
    key = required.characteristic
    points = points_of(test, key)
    if key == "flow_fatigue_cycles" and test.standard and required.standard not in (None, test.standard):
        return Shown(lost={"other_conditions"})
    carried = []
    for point in points:
        effects: list[Effect] = []
        if key == "retained_capacity":
            effects = [
                by_flow(point, points, required.flow_l_min, assumptions),
                by_terminal_drop(test, required.terminal_pressure_drop_kpa, assumptions),
                by_basis(test, required.capacity_basis, assumptions),
                by_dust(test, required.dust, "ISO 12103-1 A3", assumptions),
            ]
        elif key == "air_pressure_drop":
            effects = [by_flow_of_air(point, points, required.flow_l_min, assumptions)]
        elif key == "bubble_point":
            effects = [by_liquid(test, required.test_liquid, assumptions)]
        elif key in ("flow_fatigue_cycles", "pressure_fatigue_cycles"):
            effects = [by_cycle_pressure(test, required.cycle_pressure_kpa, assumptions)]
            effects.append(by_standard(test, required.standard, assumptions))
        # A share of a temperature means nothing.
        about_within = None if key.startswith("temperature") else assumptions.about_within
        raised = raised_to(point, required.flow_l_min) if key == "air_pressure_drop" else 1.0
        carried.append(replace(carry(point, effects, about_within), raised=raised))
    return fold(carried, required)


# --- filtration ratio -----------------------------------------------------------------------------


def scale_on_file(point: Point, test: Test) -> str:
    if point.scale != "?":
        return str(point.scale)
    return {"ISO 16889": "c", "ISO 4572": "acftd"}.get(test.standard or "", "?")


def size_on(scale: str, size_um: float, wanted: str) -> float | None:
    """The size on the wanted scale; None where the published table does not reach."""
    if scale in (wanted, "?"):
        return size_um
    try:
        return float(c_to_acftd(size_um) if wanted == "acftd" else acftd_to_c(size_um))
    except ConditionsError:
        return None


def by_scale(scale: str, wanted: str, assumptions: Assumptions) -> Effect:
    if scale == wanted:
        return MATCHES
    if scale == "?":
        return nothing_left("other_scale")
    return Effect(matches=False) if assumptions.converted_sizes_count else nothing_left("other_scale")


def same_flow(one: float | None, other: float | None) -> bool:
    """Both unstated, or the same but for the rounding of units."""
    if one is None or other is None:
        return one is other
    return math.isclose(one, other, rel_tol=SAME)


def ratio_falls(test: Test) -> bool:
    """Whether, at one flow and on one scale, more is proven at a size than is possible at a larger one."""
    points = points_of(test, "filtration_ratio")
    for smaller in points:
        low, _, slack_low = proven(smaller, None)
        for larger in points:
            _, high, slack_high = proven(larger, None)
            comparable = (
                same_flow(smaller.flow_l_min, larger.flow_l_min)
                and scale_on_file(smaller, test) == scale_on_file(larger, test)
                and (smaller.size_um or 0.0) <= (larger.size_um or 0.0)
            )
            if comparable and high < INF and low - slack_low > (high + slack_high) + SAME * high:
                return True
    return False


def carried_ratio_falls(carried: Sequence[Carried]) -> bool:
    """The same of what is left of the points, wherever the wanted size lies."""
    return any(
        smaller.size_um <= larger.size_um * (1 + SAME)
        and larger.high < INF
        and smaller.low - smaller.slack_low > (larger.high + larger.slack_high) + SAME * abs(larger.high)
        for smaller in carried
        for larger in carried
    )


def filtration_ratio(test: Test, required: Requirement, assumptions: Assumptions) -> Shown:
    if ratio_falls(test):
        return Shown(inconsistent=True)
    size, wanted = float(required.size_um or math.nan), str(required.scale)
    points = points_of(test, "filtration_ratio")
    points.sort(key=lambda p: (p.size_um, INF if p.flow_l_min is None else p.flow_l_min))
    carried, lost = [], set()
    for point in points:
        scale = scale_on_file(point, test)
        if scale == "?" and assumptions.bare_size_is:
            scale = assumptions.bare_size_is
        standing = size_on(scale, float(point.size_um or math.nan), wanted)
        usual_dust = "ACFTD" if (wanted if scale == "?" else scale) == "acftd" else "ISO 12103-1 A3"
        effects = [
            by_scale(scale, wanted, assumptions) if standing is not None else nothing_left("other_scale"),
            by_flow(point, points, required.flow_l_min, assumptions),
            by_dust(test, required.dust, usual_dust, assumptions),
        ]
        left = carry(point, effects, assumptions.about_within, math.nan if standing is None else standing)
        lost |= left.lost
        if standing is not None:
            carried.append(left)
    carried.sort(key=lambda c: c.size_um)

    def slack(c: Carried) -> float:
        return c.slack_low if within(c.size_um, size, SAME) else 0.0

    low, slack_low = best_low((c.low, slack(c)) for c in carried if c.size_um <= size * (1 + SAME))
    high, slack_high = best_high((c.high, slack(c)) for c in carried if c.size_um >= size * (1 - SAME))
    if carried_ratio_falls(carried) or Shown(low, high, slack_low, slack_high).impossible:
        return Shown(inconsistent=True)
    read = interpolated(carried, size)
    # A line that a one-sided point contradicts altogether says nothing.
    if read is not None and read[0] <= high and read[1] >= low:
        floor, ceiling = low, high
        low = min(max(read[0], floor), ceiling)
        high = max(min(read[1], ceiling), floor)
        slack_low = slack_low if low == floor else 0.0
        slack_high = slack_high if high == ceiling else 0.0
    estimate = ratio_estimate([(c.size_um, c.point.value) for c in carried], size)
    return Shown(low, high, slack_low, slack_high, estimate, lost).settle()


def on_line(size: float, below: tuple[float, float], above: tuple[float, float]) -> float:
    """A straight line in the logarithm of the ratio over size."""
    share = (size - below[0]) / (above[0] - below[0])
    return math.exp((1 - share) * math.log(below[1]) + share * math.log(above[1]))


def interpolated(carried: Sequence[Carried], size: float) -> tuple[float, float] | None:
    """Lower and upper ratio read between the neighbours that are known on both sides; None without them,
    or where a point between them says nothing: they are no neighbours then."""
    known = [c for c in carried if c.low > 0 and c.high < INF]
    if any(within(c.size_um, size, SAME) for c in known):
        return None
    below = [c for c in known if c.size_um < size]
    above = [c for c in known if c.size_um > size]
    if not below or not above:
        return None
    left, right = below[-1], above[0]
    between = [c for c in carried if left.size_um * (1 + SAME) < c.size_um < right.size_um * (1 - SAME)]
    if any(c.low == -INF and c.high == INF for c in between):
        return None
    return (
        on_line(size, (left.size_um, left.low), (right.size_um, right.low)),
        on_line(size, (left.size_um, left.high), (right.size_um, right.high)),
    )


def ratio_estimate(curve: Sequence[tuple[float, float]], size: float) -> float | None:
    """Along the values; the largest tested size's above it, nothing below the smallest."""
    up_to = [point for point in curve if point[0] <= size * (1 + SAME)]
    beyond = [point for point in curve if point[0] > size * (1 + SAME)]
    if not up_to:
        return None
    last = up_to[-1]
    if within(last[0], size, SAME) or not beyond:
        return last[1]
    return on_line(size, last, beyond[0])


# --- clean pressure drop --------------------------------------------------------------------------


@dataclass(frozen=True)
class DropPoint:
    """A point at known conditions."""

    point: Point
    flow: float
    viscosity: float
    density: float

    @property
    def terms(self) -> tuple[Fraction, Fraction]:
        flow, density = Fraction(self.flow), Fraction(self.density)
        return Fraction(self.viscosity) * density * flow, density * flow * flow


Side = tuple[Fraction, Fraction, Fraction]
"""``p * a + q * b >= r``."""


def sides_of(x: Fraction, y: Fraction, low: float, high: float, touching: float) -> list[Side]:
    sides: list[Side] = []
    if low > -INF:
        sides.append((x, y, Fraction(low * (1 - touching))))
    if high < INF:
        sides.append((-x, -y, -Fraction(high * (1 + touching))))
    return sides


def corners(sides: Sequence[Side]) -> list[tuple[Fraction, Fraction]]:
    """Corners of the polygon of (a, b) that all sides leave, exactly; none where it is empty."""
    sides = [*sides, (Fraction(1), Fraction(0), Fraction(0)), (Fraction(0), Fraction(1), Fraction(0))]
    found = []
    for i, (p, q, r) in enumerate(sides):
        for s, t, u in sides[:i]:
            determinant = p * t - q * s
            if determinant == 0:
                continue
            a, b = (r * t - q * u) / determinant, (p * u - r * s) / determinant
            if all(k * a + m * b >= n for k, m, n in sides):
                found.append((a, b))
    return found


def polygon(
    points: Sequence[DropPoint], assumptions: Assumptions, share: float | None
) -> tuple[list[tuple[Fraction, Fraction]], bool]:
    """Corners of the possible (a, b), and whether it is bounded."""
    for touching in (0.0, 1e-9):
        sides: list[Side] = []
        bounded = False
        for p in points:
            low, high, _ = proven(p.point, assumptions.about_within)
            if p.point.qualifier == "equal":
                half = max(p.point.resolution / 2, DROP_BAND_AT_LEAST * p.point.value)
                low, high = p.point.value - half, p.point.value + half
            bounded = bounded or high < INF
            x, y = p.terms
            sides += sides_of(x, y, low, high, touching)
            if share is not None:
                s = Fraction(share)
                sides.append(((1 - s) * x, -s * y, Fraction(0)))
        found = corners(sides)
        if found:
            return found, bounded
    return [], False


def clean_pressure_drop(test: Test, required: Requirement, assumptions: Assumptions) -> Shown:
    points = points_of(test, "clean_pressure_drop")
    points.sort(key=lambda p: INF if p.flow_l_min is None else p.flow_l_min)
    density_on_file = next((p.density_kg_m3 for p in points if p.density_kg_m3 is not None), None)

    def target(low: float | None, high: float | None, stated: Iterable[float | None]) -> tuple[float, float]:
        if low is not None and high is not None:
            return low, high
        known = [s for s in stated if s is not None]
        return (min(known), max(known)) if known else (1.0, 1.0)

    densities = [density_on_file if p.density_kg_m3 is None else p.density_kg_m3 for p in points]
    flow = target(required.flow_l_min, required.flow_l_min, (p.flow_l_min for p in points))
    viscosity = target(
        required.viscosity_low_mm2_s, required.viscosity_high_mm2_s, (p.viscosity_mm2_s for p in points)
    )
    density = target(required.density_low_kg_m3, required.density_high_kg_m3, densities)
    asked_or_stated = (
        required.flow_l_min is not None or any(p.flow_l_min is not None for p in points),
        required.viscosity_low_mm2_s is not None or any(p.viscosity_mm2_s is not None for p in points),
        required.density_low_kg_m3 is not None or density_on_file is not None,
    )
    # The density cannot be mixed: one that is on file is that of the whole test.
    mixed = (required.flow_l_min is None and proves_nothing([p.flow_l_min for p in points], assumptions)) or (
        required.viscosity_low_mm2_s is None and proves_nothing([p.viscosity_mm2_s for p in points], assumptions)
    )
    placed: list[DropPoint] = []
    estimated: list[DropPoint] = []
    shown = Shown()
    for point, its_density in zip(points, densities, strict=True):
        stated = (point.flow_l_min, point.viscosity_mm2_s, its_density)
        unstated = [s is None and wanted for s, wanted in zip(stated, asked_or_stated, strict=True)]
        low, high, _ = proven(point, assumptions.about_within)
        # What is unstated is the required one, the middle of a range of them, or cancels.
        taken = [
            math.sqrt(least * most) if s is None else s
            for s, (least, most) in zip(stated, (flow, viscosity, density), strict=True)
        ]
        # An oil's density varies little: the required one is good enough for an estimate.
        thick = required.cold and unstated[1]  # nobody tests in oil as thick as that without saying so
        if (assumptions.unstated_conditions_match and not thick) or not (mixed or unstated[0] or unstated[1]):
            estimated.append(DropPoint(point, *taken))
        if (assumptions.unstated_conditions_match and not thick) or not (mixed or any(unstated)):
            placed.append(DropPoint(point, *taken))
        elif low > -INF or high < INF:
            shown.lost.add("condition_not_stated")
        if low == -INF and high == INF:
            shown.lost.add("approximate_only")

    def stands(p: DropPoint) -> bool:
        pairs = ((p.flow, flow), (p.viscosity, viscosity), (p.density, density))
        return all(within(have, want, CONDITION_WITHIN) for have, wants in pairs for want in wants)

    own = [p for p in placed if stands(p)]
    any_thick = required.cold and any(p.viscosity_mm2_s is None for p in points)
    shown.estimate = drop_estimate(
        estimated,
        [p for p in estimated if stands(p)],
        [] if any_thick else points,
        viscosity[1] * density[1] * flow[1],
        density[1] * flow[1] ** 2,
        test.drop_of,
    )
    usable = [p for p in placed if proven(p.point, assumptions.about_within)[:2] != (-INF, INF)]
    if usable:
        bound_drop(shown, usable, own, (flow, viscosity, density), test, assumptions)
        if shown.inconsistent:
            return Shown(inconsistent=True)
    if not own and "condition_not_stated" not in shown.lost:
        shown.lost.add("other_conditions")
    keep_what_the_assembly_tells(shown, test, required, assumptions)
    return shown.settle()


def bound_drop(
    shown: Shown,
    usable: Sequence[DropPoint],
    own: Sequence[DropPoint],
    target: tuple[tuple[float, float], tuple[float, float], tuple[float, float]],
    test: Test,
    assumptions: Assumptions,
) -> None:
    share = assumptions.viscous_share_at_least if test.drop_of == "element" else None
    found, bounded = polygon(usable, assumptions, share)
    if not found and share is not None:
        found, bounded = polygon(usable, assumptions, None)
    if not found:
        shown.inconsistent = True
        return
    flow, viscosity, density = target

    def drops(end: int) -> list[float]:
        q, v, d = Fraction(flow[end]), Fraction(viscosity[end]), Fraction(density[end])
        return [float(a * v * d * q + b * d * q * q) for a, b in found]

    shown.low, shown.high = min(drops(0)), max(drops(1)) if bounded else INF
    stated = [proven(p.point, assumptions.about_within) for p in own]
    low, slack_low = best_low((s[0], s[2]) for s in stated)
    high, slack_high = best_high((s[1], s[2]) for s in stated)
    measured = low > -INF and high < INF
    if measured or (low > -INF and low >= shown.low * (1 - SAME)):
        shown.low, shown.slack_low = low, slack_low
    if measured or (high < INF and high <= shown.high * (1 + SAME)):
        shown.high, shown.slack_high = high, slack_high


def keep_what_the_assembly_tells(shown: Shown, test: Test, required: Requirement, assumptions: Assumptions) -> None:
    """An assembly's drop bounds its element's from above, an element's an assembly's from below."""
    if required.drop_of is None or test.drop_of == required.drop_of:
        return
    had_low, had_high = shown.low > -INF, shown.high < INF
    if test.drop_of is None:
        if assumptions.unstated_conditions_match:
            return
        if had_low or had_high:
            shown.lost.add("condition_not_stated")
        shown.low, shown.high, shown.slack_low, shown.slack_high = -INF, INF, 0.0, 0.0
        return
    if required.drop_of == "element":
        shown.low = -INF
        lost = had_low
    else:
        shown.high = INF
        lost = had_high
    if lost:
        shown.lost.add("other_conditions")
    shown.slack_low = shown.slack_high = 0.0


def drop_estimate(
    placed: Sequence[DropPoint],
    own: Sequence[DropPoint],
    points: Sequence[Point],
    x: float,
    y: float,
    drop_of: str | None,
) -> float | None:
    told = [p.point.value for p in own if p.point.qualifier in ("equal", "about")]
    if told:
        return max(told)
    if not placed:
        return max((p.value for p in points), default=None)
    terms = [tuple(float(t) / p.point.value for t in p.terms) for p in placed]
    pp, qq, pq = (sum(f(p, q) for p, q in terms) for f in (lambda p, _: p * p, lambda _, q: q * q, lambda p, q: p * q))
    ps, qs = sum(p for p, _ in terms), sum(q for _, q in terms)
    viscous, inertial = ps / pp * x, qs / qq * y
    determinant = pp * qq - pq * pq
    if determinant <= 1e-9 * pp * qq:
        return viscous if drop_of == "element" else max(viscous, inertial)
    a, b = (qq * ps - pq * qs) / determinant, (pp * qs - pq * ps) / determinant
    if a >= 0 and b >= 0:
        return a * x + b * y

    def squares(a: float, b: float) -> float:
        return sum((a * p + b * q - 1) ** 2 for p, q in terms)

    return viscous if squares(ps / pp, 0.0) <= squares(0.0, qs / qq) else inertial


# --- verdicts -------------------------------------------------------------------------------------


def verdict(low: float, high: float, required: Requirement, slack_low: float = 0.0, slack_high: float = 0.0) -> str:
    below, above = required.low, required.high
    if math.isfinite(below):
        below -= required.allow * abs(below)
    if math.isfinite(above):
        above += required.allow * abs(above)

    def room(limit: float) -> float:
        return SAME * abs(limit) if math.isfinite(limit) else 0.0

    serves_below = low >= below - slack_low - room(below)
    serves_above = high <= above + slack_high + room(above)
    if serves_below and serves_above:
        return "meets"
    if high < below - slack_high - room(below) or low > above + slack_low + room(above):
        return "misses"
    return "not_shown"


def margin(low: float, high: float, required: Requirement) -> float | None:
    known = CHARACTERISTICS.get(required.characteristic)
    if known is not None and not known.ratio_scale:
        return None
    found = []
    for numerator, denominator in ((low, required.low), (required.high, high)):
        if 0 < numerator < INF and 0 < denominator < INF:
            found.append(math.log(numerator / denominator))
    return min(found, default=None)


@dataclass(frozen=True)
class OfTest:
    verdict: str
    reason: str | None
    lean: int
    margin: float | None
    by_rounding: bool
    shown: Shown


def told_by(test: Test, required: Requirement, assumptions: Assumptions) -> Shown:
    """What a test shows under the assumptions, or without them where they make it inconsistent: no assumption may take
    away what is proven without it. Inconsistent again, it stays so."""
    shown = shown_by(test, required, assumptions)
    return shown_by(test, required, NO_ASSUMPTIONS) if shown.inconsistent else shown


def judge_test(test: Test, required: Requirement, assumptions: Assumptions) -> OfTest:
    return judge_shown(told_by(test, required, assumptions), required)


def judge_pairs(element: Element, required: Requirement, assumptions: Assumptions) -> list[OfTest]:
    """Each collapse test over each test of the clean drop."""

    def shown(key: str) -> list[Shown]:
        asked = replace(required, characteristic=key, drop_of="element")
        return [told_by(test, asked, assumptions) for test in element.tests if points_of(test, key)]

    pairs = itertools.product(shown("collapse_pressure"), shown("clean_pressure_drop"))
    return [judge_shown(ratio_of(collapse, drop), required) for collapse, drop in pairs]


def ratio_of(collapse: Shown, drop: Shown) -> Shown:
    """At the least it is the least collapse pressure over the greatest drop, at the most the reverse."""
    if collapse.inconsistent or drop.inconsistent:
        return Shown(inconsistent=True)
    told = collapse.estimate is not None and drop.estimate is not None
    return Shown(
        low=collapse.low / drop.high if collapse.low > -INF else -INF,
        high=collapse.high / drop.low if drop.low > 0 else INF,
        estimate=(collapse.estimate or math.nan) / (drop.estimate or math.nan) if told else None,
        lost=collapse.lost | drop.lost,
    )


def shown_by(test: Test, required: Requirement, assumptions: Assumptions) -> Shown:
    rules = {"filtration_ratio": filtration_ratio, "clean_pressure_drop": clean_pressure_drop}
    return rules.get(required.characteristic, simple)(test, required, assumptions)


def judge_shown(shown: Shown, required: Requirement) -> OfTest:
    found = verdict(shown.low, shown.high, required, shown.slack_low, shown.slack_high)
    reason, lean = None, 0
    if found == "not_shown":
        lost = shown.lost - ({"approximate_only"} if shown.low > -INF or shown.high < INF else set())
        reason = next((r for r in OF_LOST_BOUNDS if r in lost), "wrong_side")
        if shown.inconsistent:
            reason = "inconsistent_test"
        if shown.estimate is not None:
            serves = verdict(shown.estimate, shown.estimate, required) == "meets"
            lean = 1 if serves else -1
    return OfTest(
        found,
        reason,
        lean,
        margin(shown.low, shown.high, required),
        found != verdict(shown.low, shown.high, required),
        shown,
    )


def judge(element: Element, required: Requirement, assumptions: Assumptions) -> Told:
    kind = element.words.get("kind")
    if required.asked_of and kind is not None and kind not in required.asked_of:
        return Told("meets", None, 0, None, None, None, None, False, "meets", applies=False)
    if required.open:
        return Told("not_shown", "limit_not_stated", 0, None, None, None, None, False, "not_shown", applies=False)
    told = _judge(element, required, assumptions)
    without = told if assumptions == NO_ASSUMPTIONS else _judge(element, required, NO_ASSUMPTIONS)
    if without.verdict != "not_shown" and told.verdict == "not_shown":
        told = without  # what is decided without assumptions stays so
    told = replace(told, verdict_without_assumptions=without.verdict)
    return only_leaning(told) if required.estimated else told


def only_leaning(told: Told) -> Told:
    """On a requirement that is an estimate itself nothing is decided."""
    lean = {"meets": 1, "misses": -1}.get(told.verdict)
    if lean is not None:
        told = replace(told, verdict="not_shown", reason="requirement_is_estimate", lean=lean, by_rounding=False)
    return replace(told, margin=None, verdict_without_assumptions="not_shown")


def _judge(element: Element, required: Requirement, assumptions: Assumptions) -> Told:
    if required.characteristic == "collapse_over_own_drop":
        judged = judge_pairs(element, required, assumptions)
    elif required.characteristic not in CHARACTERISTICS:
        return judge_attribute(element, required)
    else:
        tests = [t for t in element.tests if points_of(t, required.characteristic)]
        judged = [judge_test(t, required, assumptions) for t in tests]
    if not judged:
        return Told("not_shown", "no_data", 0, None, None, None, None, False, "not_shown")
    verdicts = {j.verdict for j in judged}

    def place(j: OfTest) -> tuple[int, float, int]:
        kind = {"misses": 0, "meets": 1}.get(j.verdict, {-1: 2, 1: 3, 0: 4}[j.lean])
        return kind, j.margin or 0.0, REASONS.index(j.reason) if j.reason else -1

    told = min(judged, key=place)
    shown = told.shown
    if {"meets", "misses"} <= verdicts:
        return Told(
            "not_shown", "sources_disagree", -1, shown.low, shown.high, shown.estimate, None, False, ""
        )
    return Told(
        told.verdict,
        told.reason,
        told.lean,
        shown.low,
        shown.high,
        shown.estimate,
        told.margin if told.verdict == "meets" else None,
        told.by_rounding and told.verdict != "not_shown",
        "",
    )


def judge_attribute(element: Element, required: Requirement) -> Told:
    key = required.characteristic
    if key in ("seal_compatibility", "media_compatibility"):
        return judge_material(element, required)
    found, reason = "not_shown", "no_data"
    value = element.measures.get(key)
    if key == "fluid_class":
        excluded, compatible = (element.words.get(f"fluids_{k}", "").split() for k in ("excluded", "compatible"))
        if required.word in excluded:
            found = "misses"
        elif required.word in compatible:
            found = "meets"
        elif excluded or compatible:
            reason = "not_listed"
    elif required.word is not None:
        if key in element.words:
            found = "meets" if element.words[key] == required.word else "misses"
    elif key in element.measures:
        found = verdict(element.measures[key], element.measures[key], required)
    return Told(found, reason if found == "not_shown" else None, 0, value, value, value, None, False, found)


def judge_material(element: Element, required: Requirement) -> Told:
    """A test of the element in the fluid goes before what is known of its media, and tells nothing of its seal."""
    fluid, of_media = required.word or "", required.characteristic == "media_compatibility"
    passed, failed = (of_media and fluid in element.words.get(f"fluids_{k}", "").split() for k in ("tested", "failed"))
    material = element.words.get("media" if of_media else "seal")
    found, reason, lean = "not_shown", "no_data", 0
    if passed and failed:
        reason, lean = "sources_disagree", -1
    elif passed or failed:
        found = "meets" if passed else "misses"
    elif material is not None:
        level = (media_with if of_media else seal_with)(material, fluid).level
        found = {"suitable": "meets", "not_suitable": "misses"}.get(level, "not_shown")
        reason = "depends" if level == "depends" else "not_in_table"
        excluded, compatible = (element.words.get(f"fluids_{k}", "").split() for k in ("excluded", "compatible"))
        if level == "unknown" and fluid in compatible and fluid not in excluded:
            found = "meets"
    reason = None if found != "not_shown" else reason
    has_none = not of_media and material == "none"
    return Told(found, reason, lean, None, None, None, None, False, found, applies=not has_none)


# --- the order ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Ordered:
    """Places in the list of elements, best first."""

    candidates: list[int]
    without_evidence: list[int]


def category(told: Told) -> int:
    """0 meets, 1 leans to meeting, 2 open, 3 leans to a miss, 4 misses."""
    if told.verdict == "meets":
        return 0
    if told.verdict == "misses":
        return 4
    return {1: 1, 0: 2, -1: 3}[told.lean]


def order(
    elements: Sequence[Element], requirements: Sequence[Requirement], assumptions: Assumptions
) -> tuple[list[list[Told]], Ordered]:
    """What is told of each element (rows) and requirement (columns), and the order of the elements."""
    told = [[judge(element, required, assumptions) for required in requirements] for element in elements]

    def key(row: int) -> tuple[int, int, int, int, float, str, str]:
        worst: dict[str, int] = {}
        gated: dict[str, bool] = {}
        margins = []
        for required, answer in zip(requirements, told[row], strict=True):
            name = required.characteristic
            if required.advisory or name == "bubble_point":
                continue
            worst[name] = max(worst.get(name, 0), category(answer))
            gated[name] = any(name in gate for gate in GATES.values())
            if answer.margin is not None:
                margins.append(answer.margin)
        return (
            sum(c == 4 and gated[name] for name, c in worst.items()),
            sum(c >= 2 for c in worst.values()),
            sum(c == 4 for c in worst.values()),
            sum(c == 1 for c in worst.values()),
            -min(margins) if margins else INF,
            elements[row].maker,
            elements[row].number,
        )

    rows = sorted(range(len(elements)), key=key)
    evident = [any(each.applies and each.reason != "no_data" for each in told[row]) for row in range(len(elements))]
    return told, Ordered([r for r in rows if evident[r]], [r for r in rows if not evident[r]])


# --- lists ----------------------------------------------------------------------------------------


def states(element: Element, wanted: Wanted) -> list[bool | None]:
    """Of each thing wanted: whether the element states it, None where it leaves it open."""
    told: list[bool | None] = []
    if wanted.maker is not None:
        told.append(element.maker == wanted.maker.upper())
    for name, word in wanted.words.items():
        told.append(element.words[name] == word if name in element.words else None)
    if wanted.fluid_class is not None:
        if wanted.fluid_class in element.words.get("fluids_excluded", "").split():
            told.append(False)
        else:
            told.append(True if wanted.fluid_class in element.words.get("fluids_compatible", "").split() else None)
    for name, (low, high) in wanted.measures.items():
        value = element.measures.get(name)
        told.append(None if value is None else low - 1e-6 <= value <= high + 1e-6)
    return told


def fits(
    element: Element, wanted: Wanted, requirements: Iterable[Requirement], assumptions: Assumptions
) -> str | None:
    """Whether the element surely fits, might fit, or does not."""
    stated = states(element, wanted)
    verdicts = [judge(element, required, assumptions).verdict for required in requirements]
    if False in stated or "misses" in verdicts:
        return None
    return "might" if None in stated or "not_shown" in verdicts else "surely"
