"""Classes of spin-on housings by working pressure: what the trade calls low, medium and high pressure.

Common practice, without a source; no standard draws these lines. The maker's rating of the
part in hand decides.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from specdb.errors import ConditionsError
from specdb.units import factor

_KPA_PER_PSI = factor("psi", "pressure")
_ROUNDING = 1e-9
"""Relative room for the rounding of a conversion: 500 psi is medium in whatever unit it was written."""


@dataclass(frozen=True)
class PressureClass:
    """``working_kpa`` is the highest working pressure of the class; its housings burst somewhere in the burst range."""

    name: str
    working_kpa: float
    burst_low_kpa: float
    burst_high_kpa: float


PRESSURE_CLASSES = tuple(
    PressureClass(name, *(psi * _KPA_PER_PSI for psi in (working, burst_low, burst_high)))
    for name, working, burst_low, burst_high in (
        ("low", 150, 300, 300),
        ("medium", 500, 1000, 1500),
        ("high", 3000, 6000, 6000),
    )
)
"""150 psi working and 300 psi burst; 500 and 1,000 to 1,500 psi; 3,000 and 6,000 psi (common practice)."""


def class_covering(working_kpa: float) -> PressureClass | None:
    """The lowest class whose working pressure is not exceeded, limits inclusive; None above all of them.

    Raises :class:`ConditionsError` for a pressure that is not above 0 and finite.
    """
    if not 0 < working_kpa < math.inf:
        raise ConditionsError(
            "A working pressure must be above 0.", value=working_kpa, remedy="State it over atmospheric pressure."
        )
    return next((c for c in PRESSURE_CLASSES if working_kpa <= c.working_kpa * (1 + _ROUNDING)), None)
