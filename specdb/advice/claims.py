"""Interchange claims beside candidates, and what the ratings on file say to them.

A claim is somebody's word. Nothing here takes part in a verdict or in the order. A claim and each link of a chain of
claims are judged as a ranking judges: what replaces, by what the one that is replaced has shown itself.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from specdb.bounds import MEETS, MISSES, NOT_SHOWN
from specdb.catalog.search import sourced_claim_words
from specdb.catalog.snapshot import InterchangeClaim, Keys, Snapshot
from specdb.characteristics import title_of
from specdb.duty import Assumptions
from specdb.errors import QuestionError
from specdb.ranking import Ranking, rank_beside

LONGEST_CHAIN = 4
"""Claims in the longest chain that is told (ours): each further link is one more word that nobody has tested."""

Direction = Literal["direct", "chain", "reverse"]
DIRECTIONS: dict[Direction, str] = {
    "direct": "the candidate is claimed to replace the original",
    "chain": "the candidate is claimed to replace another, that one the next, the last the original: no claim",
    "reverse": "the original is claimed to replace the candidate, which claims nothing the other way round",
}
"""How a claim stands to a candidate and the original: code and meaning, in the order in which they are told."""


@dataclass(frozen=True)
class Counted:
    """What one element has shown of the requirements that are taken from another: how many it meets, misses and has
    not shown, and the characteristics that it misses."""

    meets: int
    misses: int
    not_shown: int
    missed: tuple[str, ...]

    @property
    def asked(self) -> int:
        return self.meets + self.misses + self.not_shown

    @property
    def words(self) -> str:
        """What it has shown: "meets 26, has not shown 1, misses 2: filtration ratio (beta)"."""
        told = [f"meets {self.meets}"] if self.meets else []
        told += [f"has not shown {self.not_shown}"] if self.not_shown else []
        told += [f"misses {self.misses}: {', '.join(map(title_of, self.missed))}"] if self.misses else []
        return ", ".join(told)


@dataclass(frozen=True)
class Link:
    """One claim with its source in ``stated`` (the names of its table), judged; ``counted`` is None where it could not
    be, for the reason in ``unjudged``."""

    stated: Mapping[str, str | None]
    counted: Counted | None
    unjudged: str | None

    @property
    def replacing(self) -> str:
        return f"{self.stated['maker']} {self.stated['number']}"

    @property
    def replaced(self) -> str:
        return f"{self.stated['replaces_maker']} {self.stated['replaces_number']}"

    @property
    def contradicted(self) -> bool:
        return self.counted is not None and self.counted.misses > 0

    @property
    def claimed(self) -> str:
        """The claim with its source and remark, and nothing about it."""
        remark = f', with the remark "{self.stated["remark"]}"' if self.stated["remark"] else ""
        return f"{sourced_claim_words(dict(self.stated))}{remark}"

    @property
    def words(self) -> str:
        if self.counted is None:
            return f"{self.claimed}: not judged, {self.unjudged}"
        asked = f"of {self.counted.asked} requirements taken from {self.replaced}"
        return f"{self.claimed}: {asked} it {self.counted.words}"


@dataclass(frozen=True)
class ClaimBeside:
    """What is claimed of a candidate and the original. ``links`` are one claim, or the claims of a chain, the
    candidate's first."""

    direction: Direction
    links: tuple[Link, ...]

    @property
    def via(self) -> tuple[str, ...]:
        """What stands between the candidate and the original."""
        return tuple(link.replaced for link in self.links[:-1])

    @property
    def contradicted(self) -> bool:
        """Whether what is on file misses what was claimed, in one link at least; of a claim the other way round nothing
        is asked."""
        return self.direction != "reverse" and any(link.contradicted for link in self.links)

    @property
    def words(self) -> str:
        first = self.links[0]
        if self.direction == "reverse":
            return f"The other way round: {first.claimed}. It claims nothing of {first.replaced} in its place."
        against = sum(link.contradicted for link in self.links)
        if self.direction == "direct":
            loud = "CONTRADICTED by the ratings on file: " if against else ""
            return f"{loud}{first.words}. A claim, no proof."
        loud = f", of which the ratings on file CONTRADICT {against}" if against else ""
        return f"No claim, but a chain of {len(self.links)}{loud}: {'; '.join(link.words for link in self.links)}."


def claims_beside(ranking: Ranking, rows: Iterable[int]) -> dict[int, tuple[ClaimBeside, ...]]:
    """What is claimed of the elements in ``rows`` and the original of ``ranking``, by row; rows of which nothing is
    claimed are left out. Of the chains that lead from an element to the original the shortest is told, at most
    ``LONGEST_CHAIN`` long; of equally short ones the first by makers and numbers, read from the original's end.

    Claims are judged with the assumptions of the ranking, without its allowance and its further requirements.
    """
    whole = ranking.snapshot.whole or ranking.snapshot
    if ranking.duty.original is None or not whole.claims:
        return {}
    elements, original = ranking.snapshot.elements, ranking.duty.original
    named = {row: (str(elements.maker_key[row]), str(elements.number_key[row])) for row in {*rows, original}}
    its = named.pop(original)
    to_original, of_original = whole.claims_to_replace.get(its, ()), whole.claims_of_replacing.get(its, ())
    chains = shortest_chains(whole.claims_to_replace, its, set(named.values()))
    told: dict[int, list[tuple[Direction, tuple[InterchangeClaim, ...]]]] = {}
    for row, keys in named.items():
        told[row] = [("direct", (claim,)) for claim in to_original if claim.replacing == keys]
        if keys in chains:
            told[row].append(("chain", chains[keys]))
        told[row] += [("reverse", (claim,)) for claim in of_original if claim.replaced == keys]
    asked = [c for each in told.values() for direction, claims in each for c in claims if direction != "reverse"]
    judged = _judged(whole, asked, ranking.duty.assumptions)
    return {
        row: tuple(
            ClaimBeside(direction, tuple(_link(whole, claim, judged) for claim in claims)) for direction, claims in each
        )
        for row, each in told.items()
        if each
    }


@dataclass(frozen=True)
class ClaimOf:
    """One claim that names an element, with the rows of both sides in ``claim``, and judged in ``link``."""

    claim: InterchangeClaim
    link: Link


def claims_of(
    snapshot: Snapshot, row: int, assumptions: Assumptions, most: int
) -> tuple[list[ClaimOf], list[ClaimOf]]:
    """The claims that the element in ``row`` replaces another, and those that another replaces it, each judged: what
    replaces, by what the one replaced has shown itself. At most ``most`` of either; ``snapshot`` is a whole state."""
    its = str(snapshot.elements.maker_key[row]), str(snapshot.elements.number_key[row])
    both = [side.get(its, [])[:most] for side in (snapshot.claims_of_replacing, snapshot.claims_to_replace)]
    judged = _judged(snapshot, [claim for claims in both for claim in claims], assumptions)
    replaces, replaced_by = ([ClaimOf(claim, _link(snapshot, claim, judged)) for claim in claims] for claims in both)
    return replaces, replaced_by


def counted_beside(snapshot: Snapshot, row: int, replaced: int, assumptions: Assumptions) -> Counted | None:
    """What the element in ``row`` has shown of what is taken from the one in ``replaced``; None where nothing on file
    of that one could be required. ``snapshot`` is a whole state."""
    few = np.unique([row, replaced])
    try:
        ranking = rank_beside(int(np.searchsorted(few, replaced)), snapshot.only(few), assumptions)
    except QuestionError:
        return None
    return _counted(ranking, int(np.searchsorted(few, row)))


def shortest_chains(
    claims: Mapping[Keys, Sequence[InterchangeClaim]],
    original: Keys,
    wanted: Collection[Keys],
    longest: int = LONGEST_CHAIN,
) -> dict[Keys, tuple[InterchangeClaim, ...]]:
    """The shortest way by claims from each of ``wanted`` to ``original``, where it takes more than one.

    ``claims`` are those of replacing each element. They may go round in circles.
    """
    chains: dict[Keys, tuple[InterchangeClaim, ...]] = {original: ()}
    reached = [original]
    for _ in range(longest):
        beyond = []
        for keys in reached:
            for claim in claims.get(keys, ()):
                if claim.replacing not in chains:
                    chains[claim.replacing] = (claim, *chains[keys])
                    beyond.append(claim.replacing)
        reached = beyond
    return {keys: chains[keys] for keys in wanted if len(chains.get(keys, ())) > 1}


_Judged = Mapping[tuple[Keys, Keys], Counted]
_Rows = tuple[int, int]
"""Of an element, and of the one it is said to replace."""

MOST_REMEMBERED = 10_000
"""Judged claims that are kept of a state of the catalogue (ours): a few megabytes."""


def _judged(whole: Snapshot, claims: Iterable[InterchangeClaim], assumptions: Assumptions) -> _Judged:
    """What is counted of each pair of which both are on file and the one replaced asks anything."""
    pairs = {
        (claim.replacing, claim.replaced): (claim.row, claim.replaces_row)
        for claim in claims
        if claim.row is not None and claim.replaces_row is not None
    }
    counted = _remembered(whole, pairs.values(), assumptions)
    return {keys: its for keys, rows in pairs.items() if (its := counted[rows]) is not None}


def _remembered(whole: Snapshot, pairs: Iterable[_Rows], assumptions: Assumptions) -> dict[_Rows, Counted | None]:
    """What is counted of each pair, None where the one replaced has shown nothing that could be required. The same few
    claims stand beside one ranking after another, whatever it asks, so each is judged once."""
    # A copy of what is known: another thread may forget it all meanwhile.
    known = whole.judged_claims
    before = known.copy()
    counted = {rows: before[rows, assumptions] for rows in pairs if (rows, assumptions) in before}
    new = _counted_of({rows for rows in pairs if rows not in counted}, whole, assumptions)
    if len(known) + len(new) > MOST_REMEMBERED:
        known.clear()
    known.update({(rows, assumptions): its for rows, its in new.items()})
    return counted | new


def _counted_of(pairs: Collection[_Rows], whole: Snapshot, assumptions: Assumptions) -> dict[_Rows, Counted | None]:
    if not pairs:
        return {}
    both = np.unique(np.array(list(pairs), dtype=np.int64))
    few = whole.only(both)
    place = {int(row): place for place, row in enumerate(both)}
    counted: dict[_Rows, Counted | None] = dict.fromkeys(pairs)
    for replaced in {of for _, of in pairs}:
        try:
            ranking = rank_beside(place[replaced], few, assumptions)
        except QuestionError:
            continue  # it has shown nothing that could be required
        counted |= {rows: _counted(ranking, place[rows[0]]) for rows in pairs if rows[1] == replaced}
    return counted


def _counted(ranking: Ranking, row: int) -> Counted:
    asked = [each for each in ranking.judged if each.requirement.origin == "original"]
    verdicts = Counter(int(each.verdict[row]) for each in asked)
    missed = dict.fromkeys(each.requirement.characteristic for each in asked if each.verdict[row] == MISSES)
    return Counted(verdicts[MEETS], verdicts[MISSES], verdicts[NOT_SHOWN], tuple(missed))


def _link(whole: Snapshot, claim: InterchangeClaim, judged: _Judged) -> Link:
    counted = judged.get((claim.replacing, claim.replaced))
    return Link(claim.stated(whole.sources), counted, None if counted else _why_unjudged(claim))


def _why_unjudged(claim: InterchangeClaim) -> str:
    sides = (
        (claim.row, f"{claim.maker} {claim.number}"),
        (claim.replaces_row, f"{claim.replaces_maker} {claim.replaces_number}"),
    )
    absent = [name for row, name in sides if row is None]
    if absent:
        return f"{' and '.join(absent)} {'is' if len(absent) == 1 else 'are'} not on file"
    return f"nothing on file of {sides[1][1]} could be required of another"
