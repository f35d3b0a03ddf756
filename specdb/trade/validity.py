"""Ranges of validity, kept the same way for a number and for an array of them."""

from __future__ import annotations

from typing import TypeVar, cast

import numpy as np
import numpy.typing as npt

from specdb.errors import ConditionsError

FloatArray = npt.NDArray[np.float64]

Number = TypeVar("Number", float, FloatArray)
"""One number in, one number out; an array in, an array out."""


def within_validity(value: Number, valid: bool | npt.NDArray[np.bool_], message: str, remedy: str) -> Number:
    """``value`` where ``valid``.

    A single number that is not valid raises :class:`ConditionsError` with ``message`` and ``remedy``; an array's
    elements that are not valid become NaN, so that one bad row of many does not stop the others.
    """
    if isinstance(value, np.ndarray) or isinstance(valid, np.ndarray):
        return cast(Number, np.where(valid, value, np.nan))
    if not valid:
        raise ConditionsError(message, value=f"{float(value):.6g}", remedy=remedy)
    return value
