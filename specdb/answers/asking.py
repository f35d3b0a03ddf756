"""What to ask makers for, in short: beside every ranking."""

from __future__ import annotations

from collections.abc import Sequence

from specdb.advice.asking import as_asked, asked_words, settled_by_tests
from specdb.answers.shape import Answer
from specdb.ranking import Ranking
from specdb.units import UnitSystem


class AskShown(Answer):
    """``settles``: of how many of the elements listed it would settle the requirement."""

    requirement: str
    words: str
    settles: int


def asks_shown(ranking: Ranking, rows: Sequence[int], units: UnitSystem) -> list[AskShown]:
    """What would settle most of what is not shown of the elements in ``rows``."""
    return [
        AskShown(
            requirement=judged.requirement.id,
            words=asked_words(as_asked(judged.requirement), units),
            settles=len(settled),
        )
        for judged, settled in settled_by_tests(ranking, rows)
    ]
