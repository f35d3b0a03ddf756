"""Interchange claims beside candidates, as answers show them."""

from __future__ import annotations

from collections.abc import Sequence

from pydantic import Field

from specdb.advice.claims import ClaimBeside, Link, claims_beside
from specdb.answers.elements import ClaimOnFile
from specdb.answers.shape import Answer
from specdb.ranking import Ranking


class LinkShown(ClaimOnFile):
    """One claim, judged: what replaces by what the one replaced has shown itself."""

    contradicted: bool
    meets: int | None = Field(description="how many of the requirements it meets; null where it was not judged")
    misses: int | None = Field(description="how many of the requirements it misses; null where it was not judged")
    not_shown: int | None = Field(description="of how many it cannot be told; null where it was not judged")
    missed: list[str]
    words: str


class ClaimShown(Answer):
    """What is claimed of a candidate and the original; no verdict and no order comes of it. ``source``, ``date`` and
    ``remark`` are of the claim; a chain has them in each of its ``links``."""

    direction: str
    contradicted: bool
    via: list[str]
    source: str | None
    date: str | None
    remark: str | None
    words: str
    links: list[LinkShown]


def claims_shown(ranking: Ranking, rows: Sequence[int]) -> dict[int, list[ClaimShown]]:
    """What is claimed of the elements in ``rows``; of those that are left out nothing is."""
    return {row: [_claim(each) for each in told] for row, told in claims_beside(ranking, rows).items()}


def _claim(told: ClaimBeside) -> ClaimShown:
    of = told.links[0].stated if len(told.links) == 1 else {}
    return ClaimShown(
        direction=told.direction,
        contradicted=told.contradicted,
        via=list(told.via),
        **{name: of.get(name) for name in ("source", "date", "remark")},
        words=told.words,
        links=[_link(link) for link in told.links],
    )


def _link(link: Link) -> LinkShown:
    counted = link.counted
    return LinkShown(
        **{name: link.stated[name] for name in ClaimOnFile.model_fields},
        contradicted=link.contradicted,
        meets=counted and counted.meets,
        misses=counted and counted.misses,
        not_shown=counted and counted.not_shown,
        missed=list(counted.missed) if counted else [],
        words=link.words,
    )
