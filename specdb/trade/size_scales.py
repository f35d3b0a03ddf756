"""Particle sizes on the ACFTD scale (ISO 4402 calibration) and in µm(c) (ISO 11171 calibration).

Only the size label converts: the dust, counting and calibration of the older multi-pass method (ISO 4572)
differ too, so a β to the older method is no β to the newer. ISO 16889 replaced ISO 4572 in 1999
(ISO/TR 16386:2014, abstract).
"""

from __future__ import annotations

import numpy as np

from specdb.trade.validity import FloatArray, Number, within_validity

ACFTD_TO_C = {
    1: 4.2, 2: 4.6, 3: 5.1, 4: 5.8, 5: 6.4, 6: 7.1, 7: 7.7, 8: 8.4, 9: 9.1, 10: 9.8,
    11: 10.6, 12: 11.3, 13: 12.1, 14: 12.9, 15: 13.6, 16: 14.4, 17: 15.2, 18: 15.9, 19: 16.7, 20: 17.5,
    21: 18.2, 22: 19.0, 23: 19.7, 24: 20.5, 25: 21.2, 26: 22.0, 27: 22.7, 28: 23.5, 29: 24.2, 30: 24.9,
    31: 25.7, 32: 26.4, 33: 27.1, 34: 27.8, 35: 28.5, 36: 29.2, 37: 29.9, 38: 30.5, 39: 31.1, 40: 31.7,
    50: 38.2, 100: 70.0,
}  # fmt: skip
"""ACFTD size in µm and the µm(c) size of the same particles (integer table of ISO/TR 16386 and ISO 11171:1999).

The points at 1, 2, 3, 5, 7, 10, 15, 20, 25, 30, 40, 50 and 100 were read in a particle-counter maker's public note
on reporting to ISO 11171; the others are from memory and lie smoothly between them.
"""

_ACFTD_UM: FloatArray = np.array(list(ACFTD_TO_C), dtype=np.float64)
_C_UM: FloatArray = np.array(list(ACFTD_TO_C.values()), dtype=np.float64)


def acftd_to_c(size_um: Number) -> Number:
    """µm(c) size of an ACFTD size in µm: the published table (:data:`ACFTD_TO_C`), linear between its points.

    Raises :class:`ConditionsError` outside 1 to 100 µm; array elements there give NaN.
    """
    return _through_table(size_um, _ACFTD_UM, _C_UM, "µm (ACFTD)")


def c_to_acftd(size_um_c: Number) -> Number:
    """ACFTD size in µm of a µm(c) size; the inverse of :func:`acftd_to_c`.

    Raises :class:`ConditionsError` outside 4.2 to 70 µm(c); array elements there give NaN.
    """
    return _through_table(size_um_c, _C_UM, _ACFTD_UM, "µm(c)")


def _through_table(size: Number, known: FloatArray, wanted: FloatArray, unit: str) -> Number:
    first, last = known[0], known[-1]
    inside = within_validity(
        size,
        (size >= first) & (size <= last),
        f"The published table of size scales does not cover this size in {unit}.",
        f"State a size from {first:g} to {last:g} {unit}.",
    )
    if isinstance(inside, np.ndarray):
        converted: FloatArray = np.interp(inside, known, wanted)
        return converted
    return float(np.interp(inside, known, wanted))
