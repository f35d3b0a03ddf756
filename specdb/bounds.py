"""Bounds on a value, and the verdict of a pair of bounds against a requirement.

Everything compared is a pair ``low, high``: what is shown of a value lies in ``[low, high]``.
"At least 200" is ``[200, inf)``, nothing on file is ``(-inf, inf)``. All functions take floats or
arrays that broadcast against each other; units are those of the value and cancel.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MEETS: Final = 1
NOT_SHOWN: Final = 0
MISSES: Final = -1

RELATIVE_SLACK: Final = 1e-9
"""Room for floating point alone: two routes to one number may differ by this, no more."""

PRINTED_DIGITS_AT_MOST: Final = 0.005
"""Half of a rating's last printed digit counts as equal, up to this share of the rating."""


def printed_slack(value: ArrayLike, resolution: ArrayLike) -> FloatArray:
    """How far a printed value may stand from a limit and still be called equal to it.

    ``resolution`` is the worth of the last printed digit, in the unit of ``value``.
    """
    return np.asarray(np.minimum(np.asarray(resolution, float) / 2, PRINTED_DIGITS_AT_MOST * np.abs(value)))


def _room(limit: ArrayLike, slack: ArrayLike) -> FloatArray:
    finite = np.where(np.isfinite(limit), np.abs(limit), 0.0)
    return np.asarray(np.maximum(np.asarray(slack, float), RELATIVE_SLACK * finite))


def verdict(
    low: ArrayLike,
    high: ArrayLike,
    required_low: ArrayLike,
    required_high: ArrayLike,
    slack_low: ArrayLike = 0.0,
    slack_high: ArrayLike = 0.0,
) -> IntArray:
    """``MEETS`` where the whole range serves, ``MISSES`` where none of it does, else ``NOT_SHOWN``.

    Limits are inclusive. ``slack_low`` and ``slack_high`` are what ``low`` and ``high`` may be off
    by through printing (:func:`printed_slack`).
    """
    low, high = np.asarray(low, float), np.asarray(high, float)
    below, above = np.asarray(required_low, float), np.asarray(required_high, float)
    meets = (low >= below - _room(below, slack_low)) & (high <= above + _room(above, slack_high))
    misses = (high < below - _room(below, slack_high)) | (low > above + _room(above, slack_low))
    # A slack at either end can make a range at the limit both; a range that serves, serves.
    return np.where(meets, MEETS, np.where(misses, MISSES, NOT_SHOWN)).astype(np.int64)


def margin(low: ArrayLike, high: ArrayLike, required_low: ArrayLike, required_high: ArrayLike) -> FloatArray:
    """Natural logarithm of shown over required, the way that is better; NaN where there is none.

    ln(low / required_low) where at least so much is required, ln(required_high / high) where at
    most; the smaller of the two where both are. Only for positive values on a ratio scale.
    """
    low, high = np.asarray(low, float), np.asarray(high, float)
    below, above = np.asarray(required_low, float), np.asarray(required_high, float)
    with np.errstate(all="ignore"):
        over = np.where((below > 0) & np.isfinite(below) & (low > 0) & np.isfinite(low), np.log(low / below), np.nan)
        under = np.where(
            (above > 0) & np.isfinite(above) & (high > 0) & np.isfinite(high), np.log(above / high), np.nan
        )
    return np.asarray(np.fmin(over, under))
