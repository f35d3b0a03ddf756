"""What was found by a number or a maker's name, and how near it is."""

from __future__ import annotations

from typing import Literal

import sqlalchemy as sa
from typing_extensions import override

from specdb.answers.decisions import ElementNamed
from specdb.answers.elements import ClaimOnFile, claim_on_file
from specdb.answers.shape import Answer, Tabular
from specdb.answers.tables import Table, whole_numbers
from specdb.catalog.reading import read_words
from specdb.catalog.search import Entry, Hit, SearchIndex, SearchResult
from specdb.units import UnitSystem

OTHER_PART = (
    "A number that differs from what was asked, if only by one character or a dash, may be another part: "
    "compare it with the label."
)
CLAIM_ONLY = "An interchange claim is somebody's word, no test result and no proof."
NOTHING_NEAR = "No number and no maker on file is near this. Try a part of the number that can be read for certain."

_AS_ASKED = ("same_number", "maker")
_NAMED = ("kind", "media", "seal", "thread", "bypass_valve", "status", "successor")


class ClaimFound(ClaimOnFile):
    """The claim that a number is known by. ``number_is`` tells whether the number is the one that is claimed to
    replace the other, or the one to be replaced."""

    number_is: Literal["replacing", "replaced"]
    words: str


class HitShown(Answer):
    """One number that is near what was asked; ``near`` is a code, ``words`` say the same of this number.

    ``through`` is ``number`` where ``element`` has the number itself, ``claim`` where the number is known from an
    interchange claim only: ``element`` is then what stands at the claim's other side, null if that is not on file.
    """

    near: str
    words: str
    through: Literal["number", "claim"]
    maker: str
    number: str
    element: ElementNamed | None
    claim: ClaimFound | None


class SearchAnswer(Tabular):
    query: str
    total: int
    limit: int
    notes: list[str]
    hits: list[HitShown]

    @override
    def plain_table(self, units: UnitSystem = "si") -> Table:
        element = ("element_id", "maker", "number", *_NAMED)
        claim = ("number_is", "maker", "number", "replaces_maker", "replaces_number", "source", "date", "remark")
        rows = [
            [
                *(place, hit.near, hit.words, hit.through, hit.maker, hit.number),
                *(getattr(hit.element, name, None) for name in element),
                *(getattr(hit.claim, name, None) for name in claim),
            ]
            for place, hit in enumerate(self.hits, start=1)
        ]
        names = [*whole_numbers("place"), "near", "words", "through", "maker", "number"]
        names += [name if name == "element_id" else f"element_{name}" for name in element]
        return Table((*names, *(f"claim_{name}" for name in claim)), rows)


def search_answer(
    connection: sa.Connection, index: SearchIndex, revision: int, text: str, limit: int = 20
) -> SearchAnswer:
    """The nearest ``limit`` numbers to ``text`` at ``revision``, which is the index's own.

    Raises QuestionError, naming ``q``, for a text that is no number and no name.
    """
    return found_answer(connection, index, revision, index.search(text, limit), limit)


def found_answer(
    connection: sa.Connection, index: SearchIndex, revision: int, found: SearchResult, limit: int
) -> SearchAnswer:
    """What ``index`` found already, of which ``limit`` were asked for."""
    ids = sorted({hit.entry.element_id for hit in found.hits if hit.entry.element_id is not None})
    words = read_words(connection, ids, revision)
    return SearchAnswer(
        catalog_revision=revision,
        query=found.query,
        total=found.total,
        limit=limit,
        notes=_notes(found.hits),
        hits=[_hit(hit, index, words) for hit in found.hits],
    )


def _notes(hits: tuple[Hit, ...]) -> list[str]:
    if not hits:
        return [NOTHING_NEAR]
    notes = [OTHER_PART] if any(hit.near not in _AS_ASKED for hit in hits) else []
    return notes + ([CLAIM_ONLY] if any(hit.entry.claim for hit in hits) else [])


def _hit(hit: Hit, index: SearchIndex, words: dict[str, dict[str, str]]) -> HitShown:
    entry, claim = hit.entry, hit.entry.claim
    element = None if entry.element_id is None else index.element(entry.element_id)
    return HitShown(
        near=hit.near,
        words=hit.words,
        through="claim" if claim else "number",
        maker=entry.maker,
        number=entry.number,
        element=None if element is None else _named(element, words[str(element.element_id)]),
        claim=None
        if claim is None
        else ClaimFound(number_is=claim.number_is, words=claim.words, **claim_on_file(claim.row).model_dump()),
    )


def _named(element: Entry, words: dict[str, str]) -> ElementNamed:
    return ElementNamed(
        element_id=str(element.element_id),
        maker=element.maker,
        number=element.number,
        **{name: words.get(name) for name in _NAMED},
    )
