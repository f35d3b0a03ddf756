"""One element against one question, and what every picture says of both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from specdb.advice.cautions import cautions
from specdb.answers.deciding import notes_shown
from specdb.answers.shape import METHOD_VERSION
from specdb.catalog.snapshot import Points, Snapshot
from specdb.criteria import Judged
from specdb.duty import Assumptions
from specdb.duty.circumstances import Circumstances
from specdb.ranking import Ranking
from specdb.units import UnitSystem
from specdb.wording import CAUTIONS, LEANS, VERDICTS, assumption_words

_VERDICT_WORDS = {"meets": "meets", "misses": "misses", "not_shown": "not shown"}
_LEAN_WORDS = {"meets": ", leans to meeting", "misses": ", leans to a miss", None: ""}


@dataclass(frozen=True)
class Seen:
    """``row`` is the element's in the snapshot of ``ranking``."""

    ranking: Ranking
    row: int
    units: UnitSystem

    @property
    def snapshot(self) -> Snapshot:
        return self.ranking.snapshot

    @property
    def assumptions(self) -> Assumptions:
        return self.ranking.duty.assumptions

    @property
    def circumstances(self) -> Circumstances:
        return self.ranking.duty.circumstances

    @property
    def name(self) -> str:
        return self.name_of(self.row)

    def name_of(self, row: int) -> str:
        elements = self.snapshot.elements
        return f"{elements.maker[row]} {elements.number[row]}"

    def points(self, characteristic: str) -> Points:
        """The element's results of one characteristic."""
        points = self.snapshot.of(characteristic)
        return points.rows(np.flatnonzero(points.element == self.row))

    def judged(self, characteristic: str) -> list[Judged]:
        """The verdicts on what is required of one characteristic."""
        return [each for each in self.ranking.judged if each.requirement.characteristic == characteristic]


def told(judged: Judged, row: int) -> str:
    """The verdict in words: "meets", "not shown, leans to a miss"."""
    verdict, lean = VERDICTS[int(judged.verdict[row])], LEANS[int(judged.lean[row])]
    assumed = " under assumptions" if judged.verdict[row] != judged.verdict_without_assumptions[row] else ""
    advice = " (a caution)" if judged.requirement.advisory else ""
    return f"{_VERDICT_WORDS[verdict]}{_LEAN_WORDS[lean] if verdict == 'not_shown' else ''}{assumed}{advice}"


def heading(seen: Seen) -> list[str]:
    """Whose picture it is, and what it is held against."""
    original = seen.ranking.duty.original
    lines = [f"{seen.name} (element {seen.snapshot.elements.element_id[seen.row]})"]
    if original is not None:
        lines.append(f"in place of {seen.name_of(original)}")
    return lines


def warnings(seen: Seen) -> list[str]:
    """What must be said loudly of the element at this duty."""
    return notes_shown(cautions(seen.ranking, seen.row), seen.units)


def closing(seen: Seen) -> list[str]:
    """What was taken for granted, the state that the picture is of, and the cautions of a decision."""
    assumed = [f"Assumed beyond proof: {words}." for words in assumption_words(seen.assumptions).values()]
    stamp = f"Catalogue revision {seen.snapshot.revision}, method {METHOD_VERSION}."
    return [*assumed, stamp, " ".join(CAUTIONS)]
