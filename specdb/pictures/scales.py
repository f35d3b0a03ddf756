"""Axes with numbers in plain form."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axis import Axis
from matplotlib.ticker import MaxNLocator, NullLocator

from specdb.pictures.sheet import BODY_PT, width_of

MOST_TICKS = 10
_STEPS = ((1.0, 2.0, 5.0), (1.0, 3.0), (1.0,))
_MINUS = "\N{MINUS SIGN}"


def plain(value: float) -> str:
    """A number to four digits, written out as long as that is readable: 0.05, 249, 100000."""
    if value != 0 and not 1e-5 <= abs(value) < 1e9:
        return f"{value:.4g}".replace("-", _MINUS)
    return np.format_float_positional(float(f"{value:.4g}"), trim="-").replace("-", _MINUS)


def log_ticks(low: float, high: float) -> list[float]:
    """Round numbers along a logarithmic axis: 1, 2, 5, 10 where there is room, else fewer to a decade or decades."""
    first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
    for steps in _STEPS:
        ticks = _between(low, high, [step * 10.0**power for power in range(first, last + 1) for step in steps])
        if len(ticks) <= MOST_TICKS:
            break
    else:
        apart = math.ceil((last - first) / MOST_TICKS)
        ticks = _between(low, high, [10.0**power for power in range(first, last + 1, apart)])
    return ticks if len(ticks) > 2 else even_ticks(low, high)


def even_ticks(low: float, high: float) -> list[float]:
    """Round numbers along an even axis."""
    return _between(low, high, MaxNLocator(nbins=8, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high))


def _between(low: float, high: float, values: Sequence[float] | np.ndarray) -> list[float]:
    room = 1e-9 * (high - low)
    return [float(value) for value in values if low - room <= value <= high + room]


def room_for(low: float, high: float, *, log: bool) -> float:
    """Width in points beside an upright axis for its numbers and its words."""
    ticks = log_ticks(low, high) if log else even_ticks(low, high)
    return 2.2 * BODY_PT + max((width_of(plain(tick), BODY_PT) for tick in ticks), default=0.0)


def plain_axis(axis: Axis, words: str, low: float, high: float, *, log: bool) -> None:
    """Ticks from ``low`` to ``high`` in plain numbers, and what they count."""
    ticks = log_ticks(low, high) if log else even_ticks(low, high)
    axis.set_ticks(ticks, labels=[plain(tick) for tick in ticks])
    axis.set_minor_locator(NullLocator())
    axis.set_label_text(words)
