"""Contamination balance of one full-flow filter in one well-mixed loop.

Particles of one size and larger get in at a rate R, the flow Q carries them to a filter of ratio β, and what passes
comes back: ``V dn/dt = R - Q n (1 - 1/β)``. In balance the count upstream is ``R β / (Q (β - 1))`` and downstream
``R / (Q (β - 1))`` (from memory: E. C. Fitch, Oklahoma State University; the same kind of model: Klarecki, Rabsztyn and
Czop, *Machines* 12 (2024) 417, of which the abstract was read).

One filter, one reservoir, one rate that never changes, a ratio that the laboratory test knows: a machine has none of
these, so that whatever comes out is an estimate and proves nothing. For arrays, elements outside the range of validity
come back as NaN; what is said of the machine is one number each.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

import numpy as np

from specdb.errors import ConditionsError
from specdb.trade.validity import FloatArray, Number, within_validity
from specdb.units import show_plain

Side = Literal["upstream", "downstream"]
"""Where particles are counted: before the filter, as in the reservoir and the whole circuit, or right behind it."""

ML_PER_L = 1000.0

ENVIRONMENTS: Mapping[str, tuple[float, float]] = {
    "assembly": (1e5, 1e7),
    "manufacturing": (1e6, 1e8),
    "mobile": (1e8, 1e10),
}
"""Place of work: least and most particles of more than 10 µm that get into a system in a minute.

From memory, unsourced: field figures that the trade quotes after E. C. Fitch, for assembly shops, manufacturing plants
and mobile machines. Common practice at best. They were counted on the ACFTD scale, of which 10 µm is 9.8 µm(c).
"""

ENVIRONMENT_SIZES_UM = (14.0,)
"""Sizes of a cleanliness code, in µm(c), at which an environment says something. There are no more particles from
14 µm(c) up than from 10 µm up, so it bounds the ingression there from above; from 4 and 6 µm(c) up there are more, how
many it cannot say."""


def ingression_at_most(environment: str, size_um: float) -> tuple[float, float] | None:
    """Most particles of ``size_um`` µm(c) and larger per minute, at either end of :data:`ENVIRONMENTS`.

    None below 10 µm, where an environment says nothing. Raises :class:`ConditionsError` for an unknown environment.
    """
    if environment not in ENVIRONMENTS:
        raise ConditionsError(
            "There are no figures for this environment.",
            value=environment,
            remedy=f"There are some for {', '.join(ENVIRONMENTS)}; else state the ingression itself.",
        )
    return ENVIRONMENTS[environment] if size_um in ENVIRONMENT_SIZES_UM else None


def floor_per_ml(ingression_per_min: float, flow_l_min: float) -> float:
    """Particles per mL that no filter gets below upstream: what comes in, spread over the flow, R / Q.

    Raises :class:`ConditionsError` for an ingression that is negative or not finite, or a flow that is not above 0.
    """
    if not 0 <= ingression_per_min < math.inf:
        raise ConditionsError(
            "An ingression cannot be negative or infinite.",
            value=ingression_per_min,
            remedy="State the particles per minute.",
        )
    if not 0 < flow_l_min < math.inf:
        raise ConditionsError("A filter needs a flow above 0.", value=flow_l_min, remedy="State the flow through it.")
    return ingression_per_min / (flow_l_min * ML_PER_L)


def count_upstream(ratio: Number, ingression_per_min: float, flow_l_min: float) -> Number:
    """Particles per mL upstream in balance: ``R β / (Q (β - 1))``; a perfect filter (β infinite) leaves R / Q.

    Raises :class:`ConditionsError` for a ratio of 1 or less, with which the count grows without end, and as
    :func:`floor_per_ml`; array elements of 1 or less give NaN.
    """
    return floor_per_ml(ingression_per_min, flow_l_min) / (1.0 - 1.0 / _holding(ratio))


def count_downstream(ratio: Number, ingression_per_min: float, flow_l_min: float) -> Number:
    """Particles per mL downstream in balance: ``R / (Q (β - 1))``; a perfect filter leaves none.

    Raises as :func:`count_upstream`.
    """
    return floor_per_ml(ingression_per_min, flow_l_min) / (_holding(ratio) - 1.0)


def _holding(ratio: Number) -> Number:
    return within_validity(
        ratio,
        ratio > 1,
        "With a filtration ratio of 1 or less the count grows without end.",
        "State a ratio above 1.",
    )


def count_after(
    minutes: Number,
    start_per_ml: float,
    ratio: float,
    ingression_per_min: float,
    flow_l_min: float,
    volume_l: float,
) -> Number:
    """Particles per mL upstream so many minutes after ``start_per_ml``: ``n = N + (n₀ - N) exp(-Q (1 - 1/β) t / V)``.

    N is :func:`count_upstream`; a ratio of 1 lets the count grow by R t / V. Raises :class:`ConditionsError` for a
    ratio below 1, a volume that is not above 0, a start or a time that is negative or not finite, and as
    :func:`floor_per_ml`; array elements of a time that is none give NaN.
    """
    entering = floor_per_ml(ingression_per_min, flow_l_min)
    if not (ratio >= 1 and 0 < volume_l < math.inf and 0 <= start_per_ml < math.inf):
        raise ConditionsError(
            "A count over time needs a ratio of at least 1, a volume above 0 and a count to start from.",
            value=f"ratio {show_plain(ratio)}, volume {volume_l:g} L, start {show_plain(start_per_ml)}/mL",
            remedy="State them.",
        )
    time = within_validity(
        minutes, (minutes >= 0) & np.isfinite(minutes), "A time cannot be negative or infinite.", "State a time."
    )
    turnovers: FloatArray = np.asarray(flow_l_min / volume_l * time)
    caught = (1.0 - 1.0 / ratio) * turnovers
    # What has come in and is still there: of R t / V the share (1 - exp(-x)) / x, which is 1 where nothing is caught.
    staying = np.divide(-np.expm1(-caught), caught, out=np.ones_like(caught), where=caught > 0)
    now: FloatArray = start_per_ml * np.exp(-caught) + entering * turnovers * staying
    return now if isinstance(minutes, np.ndarray) else float(now)


def ratio_needed(count_per_ml: Number, ingression_per_min: float, flow_l_min: float, side: Side = "upstream") -> Number:
    """Least filtration ratio that holds the count at ``count_per_ml`` or below in balance.

    With k = n Q / R, the count over what comes in: upstream β = k / (k - 1), downstream β = 1 + 1 / k. Where nothing
    gets in, the limit 1, which leaves the count where it is: any ratio above it brings it down in time.

    Raises :class:`ConditionsError` where no ratio holds it (upstream for k of 1 or less, since a perfect filter leaves
    R / Q; downstream for a count of 0) and says which flow and which ingression would do; for a count that is negative
    or not finite; and as :func:`floor_per_ml`. Array elements there give NaN.
    """
    entering = floor_per_ml(ingression_per_min, flow_l_min)
    count = within_validity(
        count_per_ml,
        (count_per_ml >= 0) & np.isfinite(count_per_ml),
        "A particle count cannot be negative or infinite.",
        "State the particles per mL.",
    )
    if entering == 0:
        return count * 0.0 + 1.0
    if side == "downstream":
        kept = within_validity(
            count, count > 0, "No filter lets nothing through.", "State a count above 0, or no ingression at all."
        )
        return 1.0 + entering / kept
    held = within_validity(
        count,
        count > entering,
        "No filtration ratio holds this count upstream: a perfect filter leaves what comes in, "
        f"{show_plain(entering)} particles per mL.",
        "It takes more flow through the filter or less ingression"
        + ("." if isinstance(count, np.ndarray) else _what_would(count, ingression_per_min, flow_l_min)),
    )
    return held / (held - entering)


def flow_for_floor(count_per_ml: float, ingression_per_min: float) -> float:
    """Flow in L/min above which some ratio holds the count upstream: R / n. Inf for a count of 0."""
    return ingression_per_min / (count_per_ml * ML_PER_L) if count_per_ml > 0 else math.inf


def ingression_for_floor(count_per_ml: float, flow_l_min: float) -> float:
    """Particles per minute below which some ratio holds the count upstream: n Q."""
    return count_per_ml * flow_l_min * ML_PER_L


def _what_would(count_per_ml: float, ingression_per_min: float, flow_l_min: float) -> str:
    flow = flow_for_floor(count_per_ml, ingression_per_min)
    if flow == math.inf:
        return ": a count above 0, or no ingression at all."
    fewer = ingression_for_floor(count_per_ml, flow_l_min)
    return f": more than {show_plain(flow)} L/min, or fewer than {show_plain(fewer)} particles per minute getting in."
