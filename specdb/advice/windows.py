"""How far a met criterion reaches: the largest flow, the highest viscosity and the coldest temperature at which a
candidate would still meet it.

Each is solved from the criterion that judged it, :func:`specdb.criteria.judge` on the same requirement at other
conditions, one of them varied and the others held. An edge is the end of the connected stretch that holds the
requirement's own condition and on which the criterion is met throughout; it is always on the meeting side.

Between two of the conditions at which a test's points begin or cease to count, what a test shows never falls as the
condition rises, or never rises. So the verdict is looked at on either side of each of those, and on a geometric grid
besides, outward to the first that does not meet; between that and its neighbour the edge is closed in on. Only where a
requirement limits a drop both ways, and tests of one element differ, could a gap narrower than a step of the grid be
passed over.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, get_args

import numpy as np

from specdb.bounds import MEETS, BoolArray, FloatArray, IntArray
from specdb.catalog.snapshot import Snapshot
from specdb.criteria import BASES, characteristics_read, judge
from specdb.criteria.evidence import SAME_POINT
from specdb.duty import SAME_FLOW, Assumptions, Requirement
from specdb.duty.circumstances import Circumstances, FluidDensity
from specdb.ranking import Ranking
from specdb.trade.viscosity import HIGHEST_MM2_S, LOWEST_DEGC, viscosity_at

Condition = Literal["flow", "viscosity", "temperature"]
CONDITIONS: tuple[Condition, ...] = get_args(Condition)
Taken = Literal["flow", "viscosity", "density"]

FLOW_SEARCHED = 10.0
"""Times its own flow to which a criterion is followed."""

VISCOSITY_SEARCHED = 100.0
"""Times its own viscosity to which a criterion is followed, and to which the fluid is cooled."""

LN_FINE, DEGC_FINE = 1e-9, 1e-7
"""How near an edge is found: as a share of a flow or viscosity, and in °C."""

_LN_STEP = math.log(1.1)
_PARTS = 16
"""Into which the stretch that holds an edge is cut, again and again; more cost more to judge than they save."""

_BESIDE = 10
"""A point's beginning or ceasing to count is looked at from so many times the fineness to either side."""

_SHARES = {
    "filtration_ratio": SAME_FLOW,
    "retained_capacity": SAME_FLOW,
    "air_pressure_drop": SAME_FLOW,
    "clean_pressure_drop": SAME_POINT,
}
"""Characteristics that are carried over conditions, and the share within which a test's condition is the asked one."""

_COLUMNS = {
    "flow_l_min": "flow_l_min",
    "viscosity_low_mm2_s": "viscosity_mm2_s",
    "viscosity_high_mm2_s": "viscosity_mm2_s",
    "density_low_kg_m3": "density_kg_m3",
    "density_high_kg_m3": "density_kg_m3",
}
"""Condition of a requirement: the column of points that it is held against."""


@dataclass(frozen=True)
class Edge:
    """``own`` is where the criterion was judged, ``value`` the last at which it still meets; where ``beyond``, it meets
    as far as was searched, which ends there. L/min, mm²/s of the thickest that the fluid may be, or °C."""

    own: float
    value: float
    beyond: bool


@dataclass(frozen=True)
class Window:
    """Edges of one met criterion of one candidate; None where the criterion does not ask the condition.

    ``temperature`` is None as well where the duty says too little of its fluid, or where it is not shown that the
    criterion is met over all that the fluid may be at the temperature of the requirement's viscosity, which then is
    ``not_over_fluid_degc``. ``taken`` names conditions that a test leaves unstated and that are assumed to be the
    requirement's own, not the varied one.
    """

    requirement: Requirement
    flow: Edge | None
    viscosity: Edge | None
    temperature: Edge | None
    not_over_fluid_degc: float | None
    taken: tuple[Taken, ...]


@dataclass(frozen=True)
class Whole:
    """The narrowest edges of a candidate, each with the requirement that sets it; None where no criterion has one."""

    flow: tuple[Edge, Requirement] | None
    viscosity: tuple[Edge, Requirement] | None
    temperature: tuple[Edge, Requirement] | None


@dataclass(frozen=True)
class _Axis:
    """One condition varied outward from a requirement's own, by ``u`` from 0 to ``end``.

    ``at`` gives the requirement's conditions at each u, all rising with it; ``value`` the condition itself.
    """

    end: float
    step: float
    fine: float
    at: Callable[[FloatArray], dict[str, FloatArray]]
    value: Callable[[float], float]


def windows(ranking: Ranking, rows: Sequence[int]) -> dict[int, tuple[Window, ...]]:
    """For each of ``rows`` a window of each criterion that it meets and that asks a flow or a viscosity, in order."""
    found: dict[int, list[Window]] = {int(row): [] for row in rows}
    shown = np.unique(np.array(rows, np.int64))
    for judged in ranking.judged:
        requirement = judged.requirement
        axes, assumptions = _axes(requirement, ranking.duty.circumstances), ranking.duty.assumptions
        if not axes:
            continue
        met = (judged.verdict[shown] == MEETS) & (judged.basis[shown] != BASES.index("not_applicable"))
        if not met.any():
            continue
        part = ranking.snapshot.repeated(shown[met], characteristics_read(requirement))
        taken: list[tuple[Taken, ...]] = [()] * len(part.elements)
        if assumptions.unstated_conditions_match:
            part, taken = _as_taken(part, requirement, assumptions)
        edges = {name: _edges(part, requirement, assumptions, axis) for name, axis in axes.items()}
        cooled = axes.get("temperature")
        for place, row in enumerate(shown[met]):
            flow, viscosity, temperature = (edges[name][place] if name in edges else None for name in CONDITIONS)
            beside = cooled.value(0.0) if cooled is not None and temperature is None else None
            found[int(row)].append(Window(requirement, flow, viscosity, temperature, beside, taken[place]))
    return {row: tuple(each) for row, each in found.items()}


def whole(of: Sequence[Window], circumstances: Circumstances) -> Whole:
    """The least of the flows, the least of the viscosities and the warmest of the coldest temperatures.

    Left out are flows of air, and what is required at a flow of its own other than the duty's.
    """
    duty_flow = circumstances.flow_l_min
    at_duty = [
        each
        for each in of
        if each.requirement.characteristic != "air_pressure_drop"
        and (duty_flow is None or each.flow is None or math.isclose(each.flow.own, duty_flow, rel_tol=1e-9))
    ]

    def narrowest(name: Condition, sign: int) -> tuple[Edge, Requirement] | None:
        edges = [(edge, each.requirement) for each in at_duty if (edge := getattr(each, name)) is not None]
        return min(edges, key=lambda found: (sign * found[0].value, found[0].beyond), default=None)

    return Whole(narrowest("flow", 1), narrowest("viscosity", 1), narrowest("temperature", -1))


# --- the conditions varied ------------------------------------------------------------------------


def _axes(requirement: Requirement, circumstances: Circumstances) -> Mapping[Condition, _Axis]:
    """What of a requirement's conditions can be varied."""
    if not _SHARES.keys() & characteristics_read(requirement):
        return {}
    axes: dict[Condition, _Axis] = {}
    flow, thin, thick = requirement.flow_l_min, requirement.viscosity_low_mm2_s, requirement.viscosity_high_mm2_s
    if flow is not None:
        axes["flow"] = _scaled({"flow_l_min": flow}, FLOW_SEARCHED, flow)
    if thin is not None and thick is not None:
        band = {"viscosity_low_mm2_s": thin, "viscosity_high_mm2_s": thick}
        axes["viscosity"] = _scaled(band, VISCOSITY_SEARCHED, thick)
        cooled = _cooled(requirement, thin, thick, circumstances)
        if cooled is not None:
            axes["temperature"] = cooled
    return axes


def _scaled(conditions: Mapping[str, float], searched: float, own: float) -> _Axis:
    """All of ``conditions`` by one factor, which keeps a band's ratio; ``u`` is its logarithm."""
    return _Axis(
        end=math.log(searched),
        step=_LN_STEP,
        fine=LN_FINE,
        at=lambda u: {name: each * np.exp(u) for name, each in conditions.items()},
        value=lambda u: own * float(np.exp(u)),
    )


def _cooled(requirement: Requirement, thin: float, thick: float, circumstances: Circumstances) -> _Axis | None:
    """The duty's fluid cooled from the temperature of the requirement's viscosity; ``u`` is by how many °C."""
    line = circumstances.fluid_line
    if line is None:
        return None
    warm = _temperature_of(thin, thick, circumstances)
    if warm is None:
        return None
    coldest = line.temperature_of(min(VISCOSITY_SEARCHED * thick, HIGHEST_MM2_S))
    coldest = LOWEST_DEGC if coldest is None else coldest
    if coldest >= warm:
        return None
    density = _density(requirement, circumstances, warm)

    def at(u: FloatArray) -> dict[str, FloatArray]:
        degc = warm - u
        conditions = {
            "viscosity_low_mm2_s": viscosity_at(degc, *line.thin[0], *line.thin[1]),
            "viscosity_high_mm2_s": viscosity_at(degc, *line.thick[0], *line.thick[1]),
        }
        if density is not None:
            conditions["density_low_kg_m3"], conditions["density_high_kg_m3"] = density.density_at(degc)
        return conditions

    steps = math.ceil(math.log(VISCOSITY_SEARCHED) / _LN_STEP)
    return _Axis((warm - coldest), (warm - coldest) / steps, DEGC_FINE, at, lambda u: warm - u)


def _temperature_of(thin: float, thick: float, circumstances: Circumstances) -> float | None:
    """Temperature that a requirement's viscosity stands for: at work, at the coldest start, else by its thick edge."""
    for degc, band in (
        (circumstances.operating_degc, circumstances.viscosity_mm2_s),
        (circumstances.cold_start_degc, circumstances.cold_viscosity_mm2_s),
    ):
        if degc is not None and band is not None and np.allclose(band, (thin, thick), rtol=1e-9, atol=0.0):
            return degc
    return None if circumstances.fluid_line is None else circumstances.fluid_line.temperature_of(thick)


def _density(requirement: Requirement, circumstances: Circumstances, warm_degc: float) -> FluidDensity | None:
    """What the fluid weighs over temperature: the duty's own where the requirement asks that, else what it asks,
    carried from ``warm_degc``; None where it asks none."""
    light, heavy = requirement.density_low_kg_m3, requirement.density_high_kg_m3
    if light is None or heavy is None:
        return None
    over = circumstances.fluid_density
    if over is not None and (light, heavy) in (circumstances.density_kg_m3, circumstances.cold_density_kg_m3):
        return over
    return FluidDensity(light, heavy, warm_degc, circumstances.fluid_class or "HM")


# --- conditions that tests leave unstated ---------------------------------------------------------


def _as_taken(
    part: Snapshot, requirement: Requirement, assumptions: Assumptions
) -> tuple[Snapshot, list[tuple[Taken, ...]]]:
    """The view with unstated conditions written out as the requirement's own, and which were so of each element.

    Assumed is that a test was run at the requirement's own conditions, not that it was run at any that is asked next.
    An element that meets by what is proven of a test that its assumed conditions spoil is left as it stands.
    """
    points, key = part.points, characteristics_read(requirement)[0]
    here = np.zeros(len(points), bool)
    here[part.slices[key]] = True
    own = {
        "flow_l_min": requirement.flow_l_min,
        "viscosity_mm2_s": _middle(requirement.viscosity_low_mm2_s, requirement.viscosity_high_mm2_s),
        "density_kg_m3": _middle(requirement.density_low_kg_m3, requirement.density_high_kg_m3),
    }
    lacking = {name: here & np.isnan(getattr(points, name)) for name, value in own.items() if value is not None}
    if "density_kg_m3" in lacking:  # one test is run in one oil: what one of its points states holds for all
        stated = points.test[here & np.isfinite(points.density_kg_m3)]
        lacking["density_kg_m3"] &= ~np.isin(points.test, stated)

    def filled(which: BoolArray) -> Snapshot:
        columns: dict[str, Any] = {
            name: np.where(where & which[points.element], own[name], getattr(points, name))
            for name, where in lacking.items()
        }
        return replace(part, points=replace(points, **columns))

    every = np.ones(len(part.elements), bool)
    serves = judge(filled(every), requirement, assumptions).verdict == MEETS
    taken: list[list[Taken]] = [[] for _ in every]
    names: dict[Taken, str] = {"flow": "flow_l_min", "viscosity": "viscosity_mm2_s", "density": "density_kg_m3"}
    for name, column in names.items():
        if column in lacking:
            for element in np.unique(points.element[lacking[column] & serves[points.element]]):
                taken[element].append(name)
    return filled(serves), [tuple(each) for each in taken]


def _middle(low: float | None, high: float | None) -> float | None:
    return None if low is None or high is None else math.sqrt(low * high)


# --- the search -----------------------------------------------------------------------------------


def _edges(
    part: Snapshot, requirement: Requirement, assumptions: Assumptions, axis: _Axis
) -> list[Edge | None]:
    """The edge of every element of ``part``, each of which meets ``requirement``; None where it does not at the axis's
    beginning, which need not be all of the requirement's own conditions."""
    elements = len(part.elements)

    def meets(of: IntArray, u: FloatArray) -> BoolArray:
        return _meets(part.repeated(of, characteristics_read(requirement)), requirement, assumptions, axis.at(u))

    own = meets(np.arange(elements), np.zeros(elements))
    of, u = _probes(part, requirement, axis)
    fails = np.where(meets(of, u), np.inf, u)
    high, low = np.full(elements, np.inf), np.zeros(elements)
    np.minimum.at(high, of, fails)
    np.maximum.at(low, of, np.where(u < high[of], u, 0.0))
    seeking = np.flatnonzero(own & np.isfinite(high))
    while len(seeking := seeking[high[seeking] - low[seeking] > axis.fine]):
        between = np.linspace(low[seeking], high[seeking], _PARTS + 1, axis=1)[:, 1:-1]
        serves = meets(np.repeat(seeking, _PARTS - 1), between.ravel()).reshape(between.shape)
        first = np.where(serves.all(axis=1), _PARTS - 1, np.argmin(serves, axis=1))
        ends = np.column_stack([low[seeking], between, high[seeking]])
        low[seeking], high[seeking] = (ends[np.arange(len(first)), first + side] for side in (0, 1))
    return [
        Edge(axis.value(0.0), axis.value(float(low[row])), not np.isfinite(high[row])) if own[row] else None
        for row in range(elements)
    ]


def _meets(
    copies: Snapshot, requirement: Requirement, assumptions: Assumptions, conditions: Mapping[str, FloatArray]
) -> BoolArray:
    """Whether each element meets the requirement at conditions of its own."""
    # The carriers take a condition for each point as readily as one for all: numpy spreads either.
    of_point = copies.of(characteristics_read(requirement)[0]).element
    varied: dict[str, Any] = {name: each[of_point] for name, each in conditions.items()}
    return np.asarray(judge(copies, replace(requirement, **varied), assumptions).verdict == MEETS)


def _probes(part: Snapshot, requirement: Requirement, axis: _Axis) -> tuple[IntArray, FloatArray]:
    """Where each element is looked at: (element, u), rising. A grid, and both sides of where its points change."""
    points, share = part.of(characteristics_read(requirement)[0]), _SHARES[characteristics_read(requirement)[0]]
    grid = np.linspace(0.0, axis.end, math.ceil(axis.end / axis.step) + 1)[1:]
    elements = len(part.elements)
    of, u = [np.repeat(np.arange(elements), len(grid))], [np.tile(grid, elements)]
    for name in axis.at(np.zeros(1)):
        column = getattr(points, _COLUMNS[name])
        for limit in (1 - share, 1 + share):
            reached = _reached(axis, name, column / limit)
            for side in (-_BESIDE * axis.fine, _BESIDE * axis.fine):
                of.append(points.element)
                u.append(reached + side)
    every, at = np.concatenate(of), np.concatenate(u)
    within = (at > 0) & (at <= axis.end)
    found = np.unique(np.column_stack([every[within], at[within]]), axis=0)
    return found[:, 0].astype(np.int64), found[:, 1]


def _reached(axis: _Axis, name: str, values: FloatArray) -> FloatArray:
    """``u`` at which the rising condition ``name`` has each of ``values``; NaN where it does not within the axis."""
    wanted, back = np.unique(values, return_inverse=True)
    low, high = np.zeros(len(wanted)), np.full(len(wanted), axis.end)
    ends = axis.at(np.array([0.0, axis.end]))[name]
    inside = (wanted >= ends[0]) & (wanted <= ends[1])
    while (high - low).max(initial=0.0) > axis.fine:
        middle = (low + high) / 2
        below = axis.at(middle)[name] < wanted
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.where(inside, (low + high) / 2, np.nan)[back]
