"""Points of one test as people type them: "25 kPa at 75 L/min, 32 mm2/s; 48 kPa at 120 L/min, 32 mm2/s".

Semicolons stand between points; commas, "at", "@", "=" or ":" between the quantities of one. What a quantity is follows
from its unit, so their order is free.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from specdb.errors import QuestionError, shown
from specdb.units import kinds_of

AT_MOST = 16
NUMBER = "number"
"""Kind of a piece without a unit: a filtration ratio."""

# A comma between two digits is a decimal comma.
_BETWEEN = re.compile(r"(?<![0-9]),|,(?![0-9])|\s+at\s+(?!most\b|least\b)|\s*@\s*|(?<![<>])=|:", re.IGNORECASE)
_QUALIFIER = re.compile(r"(<=|≤|at most\b|>=|≥|at least\b|about\b|approx\b\.?|~)\s*", re.IGNORECASE)
_AT_MOST_WORDS = ("<=", "≤", "at most")
_AT_LEAST_WORDS = (">=", "≥", "at least")
_BETA = re.compile(r"(?:β|beta)\s*", re.IGNORECASE)
_PLAIN_NUMBER = re.compile(r"[+−-]?[0-9.,  ]+(?:e[+−-]?[0-9]+)?", re.IGNORECASE)


@dataclass(frozen=True)
class Point:
    """The texts of one point by kind of quantity; ``qualifier`` is that of the piece which carried one."""

    number: int
    texts: dict[str, str]
    qualifier: str = "equal"

    def fault(self, message: str, remedy: str | None = None) -> QuestionError:
        return QuestionError(f"Point {self.number}: {message}", value="; ".join(self.texts.values()), remedy=remedy)


def read_points(
    text: str, needed: Sequence[str], also: Sequence[str] = (), qualified: str | None = None
) -> list[Point]:
    """The points in ``text``, each with all kinds ``needed`` and perhaps some of ``also``.

    A quantity of kind ``qualified`` may be at least, at most or about what is stated. Raises QuestionError.
    """
    written = [part.strip() for part in text.split(";") if part.strip()]
    if not 1 <= len(written) <= AT_MOST:
        raise QuestionError(
            f"1 to {AT_MOST} points are wanted, not {len(written)}.", value=text, remedy="Put ; between points."
        )
    points = [_point(number, part, (*needed, *also), qualified) for number, part in enumerate(written, 1)]
    for point in points:
        if lacking := [kind for kind in needed if kind not in point.texts]:
            raise point.fault(f"there is no {' and no '.join(lacking)}.", f"State {', '.join(needed)} of each point.")
    return points


def _point(number: int, text: str, kinds: Sequence[str], qualified: str | None) -> Point:
    found: dict[str, str] = {}
    qualifier = "equal"
    for piece in filter(None, (part.strip() for part in _BETWEEN.split(text))):
        sign = _QUALIFIER.match(piece)
        bare = _BETA.sub("", piece[sign.end() :] if sign else piece, count=1)
        kind = next((k for k in kinds if k in _kinds(bare)), None)
        if kind is None:
            raise QuestionError(
                f'Point {number}: "{shown(bare)}" is no {" and no ".join(kinds)}.',
                value=text,
                remedy="Write each quantity with its unit, and a comma between two.",
            )
        if kind in found:
            raise QuestionError(f"Point {number} states its {kind} twice.", value=text, remedy="Put ; between points.")
        if sign and kind != qualified:
            raise QuestionError(f"Point {number}: a {kind} is a plain value here.", value=text)
        found[kind] = bare
        if sign:
            word = sign[1].lower()
            qualifier = "at_most" if word in _AT_MOST_WORDS else "at_least" if word in _AT_LEAST_WORDS else "about"
    return Point(number, found, qualifier)


def _kinds(piece: str) -> tuple[str, ...]:
    return (NUMBER,) if _PLAIN_NUMBER.fullmatch(piece) else kinds_of(piece)
