"""Cleanliness classes before ISO 4406: tables of the most particles that 100 mL of a class may hold.

A class is of all its sizes at once: one size over the limit moves the fluid to the next class (US Navy NAVEDTRA 14315,
table 8-1). NAS 1638 and the Navy's table count particles in ranges of size, each with an upper end; SAE AS4059 and ISO
4406 count those of a size *and larger*. Counts of one kind are no counts of the other, and no code translates exactly.

NAS 1638 is replaced by SAE AS4059, and the classes carry over (an independent oil laboratory, 2021). Limits are
inclusive (ours).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from specdb.errors import ConditionsError

_ROUNDING = 1e-12
"""Relative rounding of counts brought to 100 mL in floats; a limit is hit within it."""


@dataclass(frozen=True)
class Sizes:
    """Particles from ``low_um`` up to ``high_um``; all larger ones where that is inf. ``scale`` is "c" for µm(c), None
    where particles are measured under a microscope."""

    low_um: float
    high_um: float
    scale: str | None

    def __str__(self) -> str:
        unit = "µm(c)" if self.scale == "c" else "µm"
        if self.high_um == math.inf:
            return f"over {self.low_um:g} {unit}"
        return f"{self.low_um:g} to {self.high_um:g} {unit}"


@dataclass(frozen=True)
class ClassSystem:
    """One table. ``limits`` gives for each class, the cleanest first, the most particles per 100 mL of each of
    ``sizes``; ``source`` says where it comes from."""

    key: str
    title: str
    source: str
    sizes: tuple[Sizes, ...]
    limits: Mapping[str, tuple[int, ...]]

    @property
    def classes(self) -> tuple[str, ...]:
        return tuple(self.limits)


def _ranges(*edges_um: float) -> tuple[Sizes, ...]:
    return tuple(Sizes(low, high, None) for low, high in zip(edges_um, (*edges_um[1:], math.inf), strict=True))


NAS_1638 = ClassSystem(
    "nas_1638",
    "NAS 1638",
    "NAS 1638, from memory; replaced by SAE AS4059 (read: an independent oil laboratory, 2021)",
    _ranges(5, 15, 25, 50, 100),
    {
        "00": (125, 22, 4, 1, 0),
        "0": (250, 44, 8, 2, 0),
        "1": (500, 89, 16, 3, 1),
        "2": (1000, 178, 32, 6, 1),
        "3": (2000, 356, 63, 11, 2),
        "4": (4000, 712, 126, 22, 4),
        "5": (8000, 1425, 253, 45, 8),
        "6": (16_000, 2850, 506, 90, 16),
        "7": (32_000, 5700, 1012, 180, 32),
        "8": (64_000, 11_400, 2025, 360, 64),
        "9": (128_000, 22_800, 4050, 720, 128),
        "10": (256_000, 45_600, 8100, 1440, 256),
        "11": (512_000, 91_200, 16_200, 2880, 512),
        "12": (1_024_000, 182_400, 32_400, 5760, 1024),
    },
)
"""Ranges of size, largest dimension under a microscope."""

AS4059 = ClassSystem(
    "as4059",
    "SAE AS4059, cumulative",
    "SAE AS4059, the table of cumulative counts, from memory",
    tuple(Sizes(size, math.inf, "c") for size in (4, 6, 14, 21, 38, 70)),
    {
        "000": (195, 76, 14, 3, 1, 0),
        "00": (390, 152, 27, 5, 1, 0),
        "0": (780, 304, 54, 10, 2, 0),
        "1": (1560, 609, 109, 20, 4, 1),
        "2": (3120, 1217, 217, 39, 7, 1),
        "3": (6250, 2432, 432, 76, 13, 2),
        "4": (12_500, 4864, 864, 152, 26, 4),
        "5": (25_000, 9731, 1731, 306, 53, 8),
        "6": (50_000, 19_462, 3462, 612, 106, 16),
        "7": (100_000, 38_924, 6924, 1224, 212, 32),
        "8": (200_000, 77_849, 13_849, 2449, 424, 64),
        "9": (400_000, 155_698, 27_698, 4898, 848, 128),
        "10": (800_000, 311_396, 55_396, 9796, 1696, 256),
        "11": (1_600_000, 622_792, 110_792, 19_592, 3392, 512),
        "12": (3_200_000, 1_245_584, 221_584, 39_184, 6784, 1024),
    },
)
"""Sizes and larger, by an instrument calibrated to ISO 11171."""

NAVY = ClassSystem(
    "navy",
    "US Navy, NAVEDTRA 14315, table 8-1",
    "US Navy NAVEDTRA 14315, table 8-1 (read)",
    _ranges(5, 10, 25, 50, 100),
    {
        "0": (2700, 670, 93, 16, 1),
        "1": (4600, 1340, 210, 28, 3),
        "2": (9700, 2680, 380, 56, 5),
        "3": (24_000, 5360, 780, 110, 11),
        "4": (32_000, 10_700, 1510, 225, 21),
        "5": (87_000, 21_400, 3130, 430, 41),
        "6": (128_000, 42_000, 6500, 1000, 92),
    },
)
"""Ranges of size."""

SYSTEMS: Mapping[str, ClassSystem] = {system.key: system for system in (AS4059, NAS_1638, NAVY)}
"""By key."""


def limits_of(system: ClassSystem, name: str) -> tuple[int, ...]:
    """Most particles per 100 mL of a class, one for each of the system's sizes.

    Raises :class:`ConditionsError` for a class that the system does not have.
    """
    if name not in system.limits:
        raise ConditionsError(
            f"{system.title} has no such class.",
            value=name,
            remedy=f"Its classes are {', '.join(system.classes)}.",
        )
    return system.limits[name]


def class_at(system: ClassSystem, place: int, count_per_100_ml: float) -> int:
    """Place in ``classes`` of the cleanest class that allows this count at ``sizes[place]``, the number of classes
    where none does.

    Raises :class:`ConditionsError` for a count that is negative or NaN; an infinite one is in no class.
    """
    if not count_per_100_ml >= 0:
        raise ConditionsError(
            "A particle count cannot be negative.", value=count_per_100_ml, remedy="State the particles per 100 mL."
        )
    limits = (of_class[place] for of_class in system.limits.values())
    return next((n for n, most in enumerate(limits) if count_per_100_ml * (1 - _ROUNDING) <= most), len(system.limits))


def class_of_counts(system: ClassSystem, counts_per_100_ml: Sequence[float | None]) -> int | None:
    """Place in ``classes`` of the cleanest class that allows all counts, one for each size and None for a size that was
    not counted; the number of classes where none does. None where nothing was counted.

    With sizes left out the true class may be a dirtier one. Raises as :func:`class_at`; ``ValueError`` for a wrong
    number of counts.
    """
    if len(counts_per_100_ml) != len(system.sizes):
        raise ValueError(f"{len(system.sizes)} counts are needed, of {', '.join(map(str, system.sizes))}")
    places = [class_at(system, place, n) for place, n in enumerate(counts_per_100_ml) if n is not None]
    return max(places, default=None)


def class_word(system: ClassSystem, place: int) -> str:
    """A class as it is written; ">12" for what :func:`class_at` found to be in none."""
    return system.classes[place] if place < len(system.classes) else f">{system.classes[-1]}"
