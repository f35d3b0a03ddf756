"""Pore size and first bubble point (Young–Laplace).

Caution: ISO 2942 verifies the integrity of an element's fabrication. Its scope says that the first bubble point is
under no circumstances a functional characteristic and is not to be used to estimate rating, efficiency or capacity.
The sums here are of a round, fully wetted pore, not of a filter rating.
"""

from __future__ import annotations

import math

import numpy as np

from specdb.errors import ConditionsError
from specdb.trade.validity import Number, within_validity

SURFACE_TENSION_2_PROPANOL_N_M = {20.0: 0.021322, 25.0: 0.020928}
"""Surface tension of 2-propanol in N/m by temperature in °C (J. J. Jasper, 1972, as the chemicals package has it)."""

STANDARD_GRAVITY_M_S2 = 9.80665


def liquid_head_pa(depth_mm: Number, density_kg_m3: float) -> Number:
    """Pressure in Pa of the liquid above the element, ``density * g * depth``, to be taken off a bubble pressure.

    Raises :class:`ConditionsError` for a negative depth (array elements there give NaN) or a density not above 0.
    """
    _above_zero(density_kg_m3, "density")
    depth = within_validity(
        depth_mm, depth_mm >= 0, "A depth of liquid cannot be negative.", "State the depth of immersion in mm."
    )
    return density_kg_m3 * STANDARD_GRAVITY_M_S2 * depth / 1000.0


def pore_size_um(
    pressure_pa: Number,
    *,
    head_pa: float = 0.0,
    surface_tension_n_m: float = SURFACE_TENSION_2_PROPANOL_N_M[20.0],
    contact_angle_deg: float = 0.0,
) -> Number:
    """Diameter in µm of the round pore that bubbles at ``pressure_pa``: ``d = 4 σ cos θ / p`` (Young–Laplace).

    The liquid's head (:func:`liquid_head_pa`) is subtracted from the pressure. By default the liquid is 2-propanol at
    20 °C that wets fully. This is not a filter rating: ISO 2942 forbids that use of a bubble point.

    Raises :class:`ConditionsError` where the pressure does not exceed the head (array elements there give NaN), or
    for a surface tension not above 0 or an angle outside 0 to below 90°.
    """
    net_pa = within_validity(
        pressure_pa,
        np.isfinite(pressure_pa) & (pressure_pa > head_pa),
        "A bubble must overcome the liquid's head.",
        "State a bubble pressure above the head of the liquid.",
    )
    return _four_sigma_cosine(surface_tension_n_m, contact_angle_deg) / (net_pa - head_pa) * 1e6


def bubble_pressure_pa(
    pore_um: Number,
    *,
    head_pa: float = 0.0,
    surface_tension_n_m: float = SURFACE_TENSION_2_PROPANOL_N_M[20.0],
    contact_angle_deg: float = 0.0,
) -> Number:
    """Pressure in Pa at which a round pore bubbles, the liquid's head included; inverse of :func:`pore_size_um`.

    Raises :class:`ConditionsError` for a pore not above 0 (array elements there give NaN), a surface tension not
    above 0 or an angle outside 0 to below 90°.
    """
    pore = within_validity(
        pore_um, np.isfinite(pore_um) & (pore_um > 0), "A pore must be larger than 0.", "State its diameter in µm."
    )
    return _four_sigma_cosine(surface_tension_n_m, contact_angle_deg) / pore * 1e6 + head_pa


def _four_sigma_cosine(surface_tension_n_m: float, contact_angle_deg: float) -> float:
    _above_zero(surface_tension_n_m, "surface tension")
    if not 0 <= contact_angle_deg < 90:
        raise ConditionsError(
            "A liquid that does not wet the pores has no bubble point.",
            value=contact_angle_deg,
            remedy="State a contact angle from 0 to below 90°.",
        )
    return 4.0 * surface_tension_n_m * math.cos(math.radians(contact_angle_deg))


def _above_zero(value: float, what: str) -> None:
    if not 0 < value < math.inf:
        raise ConditionsError(f"The {what} of a liquid must be above 0.", value=value, remedy=f"State its {what}.")
