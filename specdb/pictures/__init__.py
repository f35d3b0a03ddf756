"""Pictures of one element against one question, as SVG: black on white, told apart by shape, hatching and words.

What draws is loaded when a picture is asked for. ``docs/method.md`` says what is drawn.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from specdb.errors import NotOnFileError

if TYPE_CHECKING:
    from collections.abc import Callable

    from specdb.catalog.snapshot import Snapshot
    from specdb.duty import Question
    from specdb.units import UnitSystem

PictureKey = Literal["pressure_drop", "filtration_ratio", "criteria"]

# What the drawing library says of its fonts and caches when it is loaded is nobody's business who asked for a picture.
logging.getLogger("matplotlib").setLevel(logging.ERROR)


@dataclass(frozen=True)
class Picture:
    """``needs_requirements``: there is nothing to draw where nothing is required."""

    key: PictureKey
    about: str
    needs_requirements: bool = False


PICTURES: dict[PictureKey, Picture] = {
    picture.key: picture
    for picture in (
        Picture("pressure_drop", "clean pressure drop over temperature at the duty's flow"),
        Picture("filtration_ratio", "filtration ratio over particle size"),
        Picture("criteria", "what is shown over what is required, criterion by criterion", needs_requirements=True),
    )
}


def draw(
    picture: PictureKey, element_id: str, question: Question, snapshot: Snapshot, units: UnitSystem = "si"
) -> str:
    """The SVG of one of ``PICTURES``: the element that has this identifier, against the duty or the original of the
    question. The same question over the same facts gives the same bytes.

    Raises NotOnFileError where the snapshot does not hold the element, QuestionError where the question lacks what is
    to be drawn, and as :func:`specdb.ranking.compare`.
    """
    from specdb.duty.question import ComparisonAsked, ElementAsked
    from specdb.pictures import criteria, filtration_ratio, pressure_drop
    from specdb.pictures.judged import Seen
    from specdb.ranking import compare

    drawn_by: dict[PictureKey, Callable[[Seen], str]] = {
        "pressure_drop": pressure_drop.draw,
        "filtration_ratio": filtration_ratio.draw,
        "criteria": criteria.draw,
    }
    if snapshot.find(element_id) is None:
        raise NotOnFileError(
            "No element has this identifier.", value=element_id, field="element_id", remedy="Find it by its number."
        )
    asked = ComparisonAsked(
        elements=[ElementAsked(element_id=element_id)], original=question.original, duty=question.duty
    )
    compared = compare(asked, snapshot, may_be_empty=not PICTURES[picture].needs_requirements)
    return drawn_by[picture](Seen(compared.ranking, compared.rows[0], units))
