"""What the dirt that gets in asks: a filtration ratio for the cleanliness, a capacity for the service interval.

Both are estimates of a machine from results of a laboratory, so that no verdict on them is proof.
"""

from __future__ import annotations

import math
from typing import Literal, cast

from specdb.duty.circumstances import Circumstances
from specdb.duty.derived.outcome import Applied, Lacks, Outcome, lacking
from specdb.duty.requirement import Note, Requirement
from specdb.trade.contamination import ENVIRONMENT_SIZES_UM, floor_per_ml, ratio_needed
from specdb.trade.service_life import capacity_needed_g

_OFF = "ingression.at_4, ingression.at_6 or ingression.at_14"


def cleanliness(at: Circumstances, side: str) -> Outcome:
    """The ratio at each size of the target whose ingression is stated; off unless one is.

    An environment bounds the ingression from above only: where no ratio would hold the most that it may bring, nothing
    is asked. Raises ConditionsError where no ratio could hold the target at a stated ingression and flow.
    """
    if at.target is None or at.location == "breather":
        return None
    missing = lacking(at, flow_l_min="flow")
    if missing or at.flow_l_min is None:
        return missing
    wanted = {size: limit for size, limit in target_limits(at).items() if size in at.ingression_per_min}
    beyond = {size for size, limit in wanted.items() if _beyond_environment(at, size, limit, side)}
    wanted = {size: limit for size, limit in wanted.items() if size not in beyond}
    if not wanted:
        return Lacks(("ingression.at_14",) if beyond else (_OFF,))
    found = []
    for size, limit in wanted.items():
        entering = at.ingression_per_min[size]
        ratio = ratio_needed(limit, entering, at.flow_l_min, cast(Literal["upstream", "downstream"], side))
        text = "at most {} particles per mL " + side + " while {} a minute get in" + _of_environment(at, size)
        note = Note(text, ((limit, ""), (entering, "")))
        found.append(
            Requirement(
                "",
                "filtration_ratio",
                "derived",
                low=ratio,
                size_um=size,
                scale="c",
                flow_l_min=at.flow_l_min,
                estimated=True,
                notes=(note,),
            )
        )
    sizes = ", ".join("{}" for _ in found)
    told = tuple((required.low, "") for required in found)
    left = [f"{size:g}" for size in target_limits(at) if size not in wanted and size not in beyond]
    rest = f" Of {' and '.join(left)} µm(c) no ingression is stated, and nothing is asked." if left else ""
    if beyond:
        rest += " At 14 µm(c) no ratio would hold the most that the environment may bring, and nothing is asked."
    where = " and ".join(f"{size:g}" for size in wanted)
    text = f"To hold {at.target} at {{}}, the balance asks for a ratio of {sizes} at {where} µm(c), an estimate.{rest}"
    return Applied(
        tuple(found),
        Note(text, ((at.flow_l_min, "flow"), *told)),
        ("target_cleanliness", "flow", *_INGRESSION, "ingression.environment"),
    )


def _beyond_environment(at: Circumstances, size_um: float, limit_per_ml: float, side: str) -> bool:
    if not _of_environment(at, size_um) or side == "downstream" or at.flow_l_min is None:
        return False
    return limit_per_ml <= floor_per_ml(at.ingression_per_min[size_um], at.flow_l_min)


def _of_environment(at: Circumstances, size_um: float) -> str:
    """What is to be said of an ingression that the environment stands for; empty for a stated one."""
    if at.environment is None or size_um not in ENVIRONMENT_SIZES_UM:
        return ""
    return f", the most that the environment ({at.environment}) may bring, from memory and unsourced"


_INGRESSION = ("ingression.at_4", "ingression.at_6", "ingression.at_14")


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
