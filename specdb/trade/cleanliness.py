"""Cleanliness codes of fluids (ISO 4406:2021): scale numbers of particle counts, and codes as people write them.

A code gives a scale number for each of its sizes, each standing for a range of particles per mL of that size *and
larger*. Three numbers, ``18/16/13``, are of 4, 6 and 14 µm(c), counted by an instrument calibrated to ISO 11171; two
numbers are of 5 and 15 µm, counted under a microscope (ISO 4407). The last two sizes of an instrument stand for the
older 5 and 15 µm (ISO 4406:2021, 4.1).

Marks, all from memory of the standard: ``*`` too many to count, ``-`` not counted, ``≥`` before a number of which fewer
than 20 particles were counted, so that the true number may be higher. ``>28`` is the row above the table's last.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, overload

import numpy as np

from specdb.errors import ConditionsError, QuestionError, shown
from specdb.trade.validity import FloatArray

UP_TO_PER_ML = (
    0.01, 0.02, 0.04, 0.08, 0.16, 0.32, 0.64, 1.3, 2.5, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0, 320.0, 640.0,
    1300.0, 2500.0, 5000.0, 10_000.0, 20_000.0, 40_000.0, 80_000.0, 160_000.0, 320_000.0, 640_000.0,
    1_300_000.0, 2_500_000.0,
)  # fmt: skip
"""Upper limit, inclusive, of each scale number from 0 to 28, in particles per mL (ISO 4406:2021, table 1).

Rows 6 to 24 were read (*Construction Equipment* magazine, "Fuel filtration: ISO 4406 basics"); the others, and that the
upper limit is inclusive, are from memory. The limits are rounded ones and no doubling decides an edge.
"""

HIGHEST = len(UP_TO_PER_ML) - 1
"""The table's last scale number, 28."""

ABOVE_TABLE = HIGHEST + 1
"""What :func:`scale_number` gives for more particles than the table holds, written ``>28``."""

FEW_PARTICLES = 20
"""With fewer particles counted a scale number is marked ``≥`` (ISO 4406, from memory)."""

Counting = Literal["automatic", "microscope"]
SIZES_UM: dict[Counting, tuple[float, ...]] = {"automatic": (4.0, 6.0, 14.0), "microscope": (5.0, 15.0)}
"""Sizes of a code, in µm(c) where an instrument counted and in µm under a microscope (ISO 4406:2021, 4.1)."""

TOO_MANY: Literal["*"] = "*"
"""Stands for a count that was too high to be counted."""

_ROUNDING = 1e-12
"""Relative rounding of counts and volumes divided in floats; an edge of the table is hit within it."""

_UP_TO: FloatArray = np.array(UP_TO_PER_ML, dtype=np.float64)


@overload
def scale_number(count_per_ml: float) -> int: ...
@overload
def scale_number(count_per_ml: FloatArray) -> FloatArray: ...
def scale_number(count_per_ml: float | FloatArray) -> int | FloatArray:
    """Scale number 0 to 28 of particles per mL, :data:`ABOVE_TABLE` for more than the table holds (ISO 4406, table 1).

    A count on an edge belongs to the lower number. A count of 0, with which row 0 does not begin, gets 0 (ours).
    Raises :class:`ConditionsError` for a count that is negative or not finite; array elements there give NaN.
    """
    if isinstance(count_per_ml, np.ndarray):
        valid = (count_per_ml >= 0) & np.isfinite(count_per_ml)
        rows = np.searchsorted(_UP_TO, np.where(valid, count_per_ml, 0.0) * (1 - _ROUNDING))
        numbers: FloatArray = np.where(valid, rows, np.nan)
        return numbers
    if not 0 <= count_per_ml < math.inf:
        raise ConditionsError(
            "A particle count cannot be negative or infinite.",
            value=count_per_ml,
            remedy="State the particles per mL.",
        )
    return int(np.searchsorted(_UP_TO, count_per_ml * (1 - _ROUNDING)))


def count_range(number: int) -> tuple[float, float]:
    """Particles per mL of a scale number: more than the first, up to and including the second (ISO 4406, table 1).

    :data:`ABOVE_TABLE` has no upper end (inf). Raises :class:`ConditionsError` for any other number outside 0 to 28.
    """
    if not 0 <= number <= ABOVE_TABLE:
        raise ConditionsError(
            "There is no such scale number.",
            value=number,
            remedy=f"Scale numbers run from 0 to {HIGHEST}; above that stands >{HIGHEST}.",
        )
    below = UP_TO_PER_ML[number - 1] if number else 0.0
    return below, UP_TO_PER_ML[number] if number <= HIGHEST else math.inf


@dataclass(frozen=True)
class ScaleNumber:
    """One place of a code. ``number`` is 0 to 28, :data:`ABOVE_TABLE` for ``>28``, None for ``*`` and ``-``.

    ``at_least``: fewer than 20 particles were counted, and the true number may be higher.
    """

    number: int | None
    at_least: bool = False
    too_many: bool = False

    def __str__(self) -> str:
        if self.number is None:
            return TOO_MANY if self.too_many else "-"
        if self.number == ABOVE_TABLE:
            return f">{HIGHEST}"
        return f"{'≥' if self.at_least else ''}{self.number}"

    def range_per_ml(self) -> tuple[float, float] | None:
        """Particles per mL (more than, up to and including; inf where there is no upper end), None where unknown."""
        if self.number is None:
            return None
        low, high = count_range(self.number)
        return low, math.inf if self.at_least else high


@dataclass(frozen=True)
class CleanlinessCode:
    """A code: one place for each of ``sizes_um``, the smallest size first."""

    places: tuple[ScaleNumber, ...]
    counting: Counting
    sizes_um: tuple[float, ...]

    def __str__(self) -> str:
        return "/".join(map(str, self.places))


_WRITTEN = re.compile(
    r"(?:ISO ?)?(?:4406 ?)?(?:[:-] ?[0-9]{4} ?)?(?:[:=] ?)?(?P<places>(?:[^/]{1,8}/){1,7}[^/]{1,8})", re.IGNORECASE
)
_PLACE = re.compile(r"(?P<mark>>=|≥|>)?(?P<number>[0-9]{1,2})")
_DASHES = str.maketrans(dict.fromkeys("‐‑‒–—−", "-"))
_REMEDY = 'Write two or three scale numbers, such as "18/16/13", with * for too many to count and - for not counted.'


def read_code(text: str, counting: Counting | None = None) -> CleanlinessCode:
    """A code as people write it: "18/16/13", "ISO 18 / 16 / 13", "ISO 4406:2021 */19/14", ">28/26/≥7", "16/13".

    Unless ``counting`` says, three numbers are an instrument's and two a microscope's. An instrument's two numbers are
    of 6 and 14 µm(c); a microscope's may stand behind a dash. Raises :class:`QuestionError` for what is no code, and
    for one whose numbers rise, since there cannot be more particles of a larger size and above than of a smaller.
    """
    plain = " ".join(unicodedata.normalize("NFKC", text).translate(_DASHES).split())
    match = _WRITTEN.fullmatch(plain)
    if match is None:
        raise _no_code(text, "This is no cleanliness code.")
    places = tuple(_read_place(part.strip(), text) for part in match["places"].split("/"))
    if len(places) not in (2, 3):
        raise _no_code(text, f"A cleanliness code has two or three scale numbers, not {len(places)}.")
    by = counting or ("automatic" if len(places) == 3 else "microscope")
    if by == "microscope" and len(places) == 3:
        if str(places[0]) != "-":
            raise _no_code(text, "A microscope's code has two scale numbers, of 5 and 15 µm.")
        places = places[1:]
    if all(place.number is None and not place.too_many for place in places):
        raise _no_code(text, "This code says of no size how many particles there are.")
    _check_fall(text, places)
    return CleanlinessCode(places, by, SIZES_UM[by][-len(places) :])


def _read_place(part: str, text: str) -> ScaleNumber:
    if part in ("*", "-"):
        return ScaleNumber(None, too_many=part == "*")
    match = _PLACE.fullmatch(part.replace(" ", ""))
    number = int(match["number"]) if match else ABOVE_TABLE
    if match is None or number > HIGHEST or (match["mark"] == ">" and number != HIGHEST):
        raise _no_code(text, f'"{shown(part)}" is no scale number: they run from 0 to {HIGHEST}, then >{HIGHEST}.')
    return ScaleNumber(ABOVE_TABLE) if match["mark"] == ">" else ScaleNumber(number, bool(match["mark"]))


def _check_fall(text: str, places: Sequence[ScaleNumber]) -> None:
    """Refuse a code by which there would be more particles of a larger size and above than of a smaller."""
    most = math.inf
    for place in places:
        least = math.inf if place.too_many else -math.inf if place.number is None else place.number
        if least > most:
            raise _no_code(text, "The scale numbers rise: there cannot be more of the larger particles than of all.")
        if place.number is not None and not place.at_least and place.number != ABOVE_TABLE:
            most = min(most, place.number)


def _no_code(text: str, message: str) -> QuestionError:
    return QuestionError(message, value=text, field="code", remedy=_REMEDY)


def code_of_counts(
    counts_per_ml: Sequence[float | Literal["*"] | None],
    counting: Counting = "automatic",
    *,
    volume_ml: float | None = None,
) -> CleanlinessCode:
    """The code of particle counts per mL, each of a size and larger, in the order of :data:`SIZES_UM`.

    ``"*"`` is a count too high to be counted, None one that was not made. With ``volume_ml``, the volume that was
    counted, places with fewer than 20 particles in it are marked ``≥``. Raises :class:`ConditionsError` for a count
    that is negative or not finite, or higher than that of a smaller size; ``ValueError`` for a wrong number of counts.
    """
    sizes = SIZES_UM[counting]
    if len(counts_per_ml) != len(sizes):
        raise ValueError(f"{len(sizes)} counts are needed, of {', '.join(f'{size:g}' for size in sizes)} µm")
    most = math.inf
    for size, count in zip(sizes, counts_per_ml, strict=True):
        if (count == TOO_MANY and most < math.inf) or (isinstance(count, float | int) and count > most):
            raise ConditionsError(
                f"There cannot be more particles of {size:g} µm and larger than of a smaller size and larger.",
                value=count,
                remedy="State for each size the particles of that size and all larger ones.",
            )
        most = count if isinstance(count, float | int) else most
    return CleanlinessCode(tuple(_place_of(count, volume_ml) for count in counts_per_ml), counting, sizes)


def _place_of(count_per_ml: float | Literal["*"] | None, volume_ml: float | None) -> ScaleNumber:
    if count_per_ml is None or count_per_ml == TOO_MANY:
        return ScaleNumber(None, too_many=count_per_ml is not None)
    few = volume_ml is not None and round(count_per_ml * volume_ml, 6) < FEW_PARTICLES
    return ScaleNumber(scale_number(count_per_ml), at_least=few)
