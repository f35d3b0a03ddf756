"""What the dirt that gets in asks: a filtration ratio for the cleanliness, a capacity for the service interval.

Both are estimates of a machine from results of a laboratory, so that no verdict on them is proof.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal, cast

from specdb.duty.circumstances import Circumstances
from specdb.duty.derived.outcome import Applied, Lacks, Outcome, lacking
from specdb.duty.requirement import Note, Requirement
from specdb.errors import ConditionsError
from specdb.trade.contamination import (
    ENVIRONMENT_SIZES_UM,
    floor_per_ml,
    flow_for_floor,
    ingression_for_floor,
    ratio_needed,
)
from specdb.trade.service_life import capacity_needed_g

_INGRESSION = ("ingression.at_4", "ingression.at_6", "ingression.at_14")


def cleanliness(at: Circumstances, side: str) -> Outcome:
    """The ratio at each size of the target whose ingression is stated; off unless one is.

    Where nothing gets in, nothing is asked. Nor is it where no ratio would hold what an environment stands for, which
    bounds the ingression from above only. Raises ConditionsError where no ratio could hold the target at a stated
    ingression and flow, with each size at which that is so.
    """
    if at.target is None or at.location == "breather":
        return None
    limits = target_limits(at)
    if not limits:
        words = Note("The target sets no limit at any size, so that nothing is asked.", ())
        return Applied((), words, ("target_cleanliness",), reads_factor=False)
    missing = lacking(at, flow_l_min="flow")
    if missing or at.flow_l_min is None:
        return missing
    entering = {size: at.ingression_per_min[size] for size in limits if size in at.ingression_per_min}
    beyond = [
        size
        for size, per_min in entering.items()
        if side == "upstream" and 0 < limits[size] <= floor_per_ml(per_min, at.flow_l_min)
    ]
    _refuse([size for size in beyond if not _only_at_most(at, size)], at, at.flow_l_min)
    wanted = [size for size, per_min in entering.items() if per_min > 0 and size not in beyond]
    left = [
        *_asks_nothing(at, limits, entering),
        *(_may_be_less(at, size, limits[size], at.flow_l_min) for size in beyond),
    ]
    unstated = [size for size in limits if size not in entering]
    if not wanted and 0 not in entering.values():
        return Lacks(_names([*unstated, *beyond]), _joined([*left, *_waiting(unstated)]))
    if unstated:
        left.append(Note(f"Of {_sizes(unstated)} no ingression is stated, and nothing is asked.", ()))
    found = [_ratio_at(at, size, limits[size], at.flow_l_min, side) for size in wanted]
    if found:
        text = (
            f"To hold {at.target} at {{}}, the balance asks for a ratio of {', '.join('{}' for _ in found)} at "
            f"{_sizes(wanted)}, an estimate."
        )
        left.insert(0, Note(text, ((at.flow_l_min, "flow"), *((required.low, "") for required in found))))
    used = ("target_cleanliness", "flow", *_INGRESSION, "ingression.environment")
    return Applied(tuple(found), _joined(left), used, reads_factor=bool(found))


def _ratio_at(at: Circumstances, size_um: float, limit_per_ml: float, flow_l_min: float, side: str) -> Requirement:
    entering = at.ingression_per_min[size_um]
    text = "at most {} particles per mL " + side + " while {} a minute get in" + _whose(at, size_um)
    return Requirement(
        "",
        "filtration_ratio",
        "derived",
        low=ratio_needed(limit_per_ml, entering, flow_l_min, cast(Literal["upstream", "downstream"], side)),
        size_um=size_um,
        scale="c",
        flow_l_min=flow_l_min,
        estimated=True,
        notes=(Note(text, ((limit_per_ml, ""), (entering, ""))),),
    )


def _only_at_most(at: Circumstances, size_um: float) -> bool:
    """Whether an environment stands for the ingression there, which then is the most that may get in."""
    return at.environment is not None and size_um in ENVIRONMENT_SIZES_UM


def _whose(at: Circumstances, size_um: float) -> str:
    """Whose figure an ingression is that only bounds what gets in; empty for one that is stated itself."""
    if at.environment is None or not _only_at_most(at, size_um):
        return ""
    same = [size for size, n in at.ingression_per_min.items() if size < size_um and n == at.ingression_per_min[size_um]]
    if same:
        return (
            f" at most, the figure stated of {max(same):g} µm(c) and larger (ingression.at_{max(same):g}), since the "
            f"environment ({at.environment}) may bring as many or more"
        )
    return f", the most that the environment ({at.environment}) may bring, from memory and unsourced"


def _refuse(sizes_um: Sequence[float], at: Circumstances, flow_l_min: float) -> None:
    if not sizes_um:
        return
    limits = target_limits(at)
    flows = [flow_for_floor(limits[size], at.ingression_per_min[size]) for size in sizes_um]
    each = [
        Note(
            f"At {size:g} µm(c) it asks for at most {{}} particles per mL, and {{}} a minute get in, {{}} per mL: it "
            "takes more than {}, or fewer than {} a minute.",
            (
                (limits[size], ""),
                (at.ingression_per_min[size], ""),
                (floor_per_ml(at.ingression_per_min[size], flow_l_min), ""),
                (flow, "flow"),
                (ingression_for_floor(limits[size], flow_l_min), ""),
            ),
        )
        for size, flow in zip(sizes_um, flows, strict=True)
    ]
    most = Note("more than {} through the filter", ((max(flows), "flow"),))
    raise ConditionsError(
        f"No filtration ratio holds this target upstream: a perfect filter leaves what comes in. {_joined(each)}",
        value=at.target_typed,
        remedy=f"State {most}, less ingression, or a dirtier target.",
    )


def _may_be_less(at: Circumstances, size_um: float, limit_per_ml: float, flow_l_min: float) -> Note:
    """Why nothing is asked where no ratio would hold the most that may get in, and what would do."""
    text = (
        f"At {size_um:g} µm(c) no ratio holds {{}} particles per mL at {{}} while {{}} a minute get in"
        f"{_whose(at, size_um)}. Fewer may get in, so that nothing is asked there; more than {{}} would do, or fewer "
        f"than {{}} a minute, stated as ingression.at_{size_um:g}."
    )
    entering = at.ingression_per_min[size_um]
    amounts = (
        (limit_per_ml, ""),
        (flow_l_min, "flow"),
        (entering, ""),
        (flow_for_floor(limit_per_ml, entering), "flow"),
        (ingression_for_floor(limit_per_ml, flow_l_min), ""),
    )
    return Note(text, amounts)


def _asks_nothing(at: Circumstances, limits: Mapping[float, float], entering: Mapping[float, float]) -> list[Note]:
    """What is said of sizes whose ingression is known and at which nothing is asked all the same."""
    unlimited = [size for size in at.ingression_per_min if size not in limits]
    none = [size for size, per_min in entering.items() if per_min == 0]
    told = [f"The target asks nothing at {_sizes(unlimited)}."] if unlimited else []
    told += [f"Nothing gets in at {_sizes(none)}, so that no ratio is asked."] if none else []
    return [Note(text, ()) for text in told]


def _waiting(sizes_um: Sequence[float]) -> list[Note]:
    if not sizes_um:
        return []
    *first, last = _names(sizes_um)
    names = f"{', '.join(first)} or {last}" if first else last
    return [Note(f"Asks nothing while {names} is not stated.", ())]


def _names(sizes_um: Sequence[float]) -> tuple[str, ...]:
    return tuple(f"ingression.at_{size:g}" for size in sizes_um)


def _sizes(sizes_um: Sequence[float]) -> str:
    return f"{' and '.join(f'{size:g}' for size in sizes_um)} µm(c)"


def _joined(notes: Sequence[Note]) -> Note:
    return Note(" ".join(note.text for note in notes), tuple(amount for note in notes for amount in note.amounts))


def target_limits(at: Circumstances) -> dict[float, float]:
    """Most particles per mL of each size in µm(c) that the target code asks a limit of."""
    if at.target is None:
        return {}
    spans = zip(at.target.sizes_um, (place.range_per_ml() for place in at.target.places), strict=True)
    return {size: span[1] for size, span in spans if span is not None and math.isfinite(span[1])}


def service_life(at: Circumstances, _: float) -> Outcome:
    """The capacity that takes up the ingression of one interval."""
    if at.service_interval_h is None or at.location == "breather":
        return None
    if at.ingression_g_h is None:
        return Lacks(("ingression.mass",))
    if at.ingression_g_h == 0:
        words = Note("No dirt comes in, so that the interval asks for no capacity.", ())
        return Applied((), words, ("service_interval", "ingression.mass", "capacity_used"))
    capacity = capacity_needed_g(at.service_interval_h, at.ingression_g_h, at.capacity_used)
    required = Requirement(
        "",
        "retained_capacity",
        "derived",
        low=capacity,
        flow_l_min=at.flow_l_min,
        terminal_pressure_drop_kpa=at.bypass_cracking_kpa,
        estimated=True,
    )
    text = "In {} at {} the element takes up {} of dirt, an estimate, with {} % of its capacity used."
    amounts = (
        (at.service_interval_h, "time"),
        (at.ingression_g_h, "mass_rate"),
        (at.service_interval_h * at.ingression_g_h, "mass"),
        (at.capacity_used * 100, ""),
    )
    used = ("service_interval", "ingression.mass", "capacity_used", "flow", "bypass_cracking_pressure")
    return Applied((required,), Note(text, amounts), used)
