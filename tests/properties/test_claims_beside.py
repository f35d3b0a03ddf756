"""Claims beside candidates agree with a plain second implementation, on random webs of claims."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from specdb import answers
from specdb.advice.claims import LONGEST_CHAIN, claims_beside
from specdb.answers.claims import ClaimShown
from specdb.catalog.snapshot import Snapshot
from specdb.duty.question import read_comparison, read_question
from specdb.ranking import rank
from tests.reference import slow
from tests.reference.catalogues import quick, snapshot_of, thorough

Name = tuple[str, str]
NAMES: tuple[Name, ...] = tuple((maker, number) for maker in "AB" for number in "123")
COLLAPSE_PRESSURES_KPA = (None, 900.0, 1000.0, 2000.0)
CLAIM_COLUMNS = (
    *("id", "maker", "number", "maker_key", "number_key"),
    *("replaces_maker", "replaces_number", "replaces_maker_key", "replaces_number_key", "source_id", "date", "remark"),
)


@dataclass(frozen=True)
class Web:
    """``shown`` is the collapse pressure of each element on file, None where it has none; ``claims`` say which name
    replaces which, in the order of their entry."""

    shown: dict[Name, float | None]
    claims: list[tuple[Name, Name]]
    original: Name


@st.composite
def webs(draw: st.DrawFn) -> Web:
    names = draw(st.lists(st.sampled_from(NAMES), min_size=2, unique=True))
    pairs = st.tuples(st.sampled_from(NAMES), st.sampled_from(NAMES)).filter(lambda pair: pair[0] != pair[1])
    claims = draw(st.lists(pairs, max_size=16))
    return Web({name: draw(st.sampled_from(COLLAPSE_PRESSURES_KPA)) for name in names}, claims, names[0])


def _snapshot(web: Web) -> Snapshot:
    tests = {
        name: () if kpa is None else (slow.Test((slow.Point("collapse_pressure", "equal", kpa, 1.0),)),)
        for name, kpa in web.shown.items()
    }
    elements = [slow.Element(*name, tests=of_it) for name, of_it in tests.items()]
    claims = [
        (place, *one, *one, *other, *other, None, f"{2000 + place}", None)
        for place, (one, other) in enumerate(web.claims, start=1)
    ]
    return snapshot_of(elements, pd.DataFrame(claims, columns=CLAIM_COLUMNS, dtype=object))


# --- plainly --------------------------------------------------------------------------------------


def _ways(web: Web, here: Name, walked: tuple[Name, ...] = ()) -> Iterator[tuple[Name, ...]]:
    """Every way by claims from ``here`` to the original that passes no name twice."""
    walked = (*walked, here)
    if here == web.original:
        yield walked
    elif len(walked) <= LONGEST_CHAIN:
        for one, other in web.claims:
            if one == here and other not in walked:
                yield from _ways(web, other, walked)


def _said(web: Web, one: Name, other: Name) -> tuple[str, str | None]:
    """What is said to the claim that one replaces the other, and the date of the first such claim."""
    date = f"{2000 + web.claims.index((one, other)) + 1}"
    if one not in web.shown or other not in web.shown:
        return "not on file", date
    asked, shown = web.shown[other], web.shown[one]
    if asked is None:
        return "nothing on file", date
    return ("has not shown 1" if shown is None else "meets 1" if shown >= asked else "misses 1"), date


def _expected(web: Web, candidate: Name) -> list[tuple[str, bool, list[Name], list[tuple[str, str | None]]]]:
    """Which way it goes, whether it is contradicted, what stands between, and what is said to each link."""
    direct, back = (candidate, web.original), (web.original, candidate)
    at = [f"{2000 + place}" for place, each in enumerate(web.claims, start=1) if each == direct]
    told: list[tuple[str, bool, list[Name], list[tuple[str, str | None]]]] = []
    for date in at:
        said = _said(web, *direct)[0]
        told.append(("direct", said == "misses 1", [], [(said, date)]))
    ways = sorted(_ways(web, candidate), key=lambda way: (len(way), way[::-1]))
    if ways and not at:
        said_of = [_said(web, *pair) for pair in zip(ways[0], ways[0][1:], strict=False)]
        told.append(("chain", ("misses 1" in {said for said, _ in said_of}), list(ways[0][1:-1]), said_of))
    for place, each in enumerate(web.claims, start=1):
        if each == back:
            told.append(("reverse", False, [], [("", f"{2000 + place}")]))
    return told


def _as_expected(shown: list[ClaimShown]) -> list[tuple[str, bool, list[str], list[str | None]]]:
    return [(each.direction, each.contradicted, each.via, [link.date for link in each.links]) for each in shown]


def _assert_agree(web: Web, candidate: Name, shown: list[ClaimShown]) -> None:
    expected = _expected(web, candidate)
    assert _as_expected(shown) == [
        (direction, contradicted, [" ".join(name) for name in via], [date for _, date in links])
        for direction, contradicted, via, links in expected
    ]
    for each, (direction, contradicted, _, links) in zip(shown, expected, strict=True):
        assert ("CONTRADICT" in each.words) == contradicted
        if direction != "reverse":
            for link, (said, _) in zip(each.links, links, strict=True):
                assert said in link.words
                assert said in each.words
                assert (link.meets is None) == said.startswith("no")


# --- together -------------------------------------------------------------------------------------

STATED = {"require": [{"characteristic": "collapse_pressure", "at_least": "1 kPa"}]}
"""Of the duty: what the original has shown is then not required of candidates, and still what a claim is held to."""


def _ranked(web: Web) -> answers.EquivalentsAnswer:
    question = read_question({"original": dict(zip(("maker", "number"), web.original, strict=True)), "duty": STATED})
    return answers.equivalents(rank(question, _snapshot(web)), limit=500)


def _ranked(web: Web) -> answers.EquivalentsAnswer:
    question = read_question({"original": dict(zip(("maker", "number"), web.original, strict=True)), "duty": STATED})
    return answers.equivalents(rank(question, _snapshot(web)), limit=500)


@given(webs())
@thorough
def test_claims_of_a_ranking_agree(web: Web) -> None:
    answer = _ranked(web)
    assert len(answer.candidates) == sum(kpa is not None for name, kpa in web.shown.items() if name != web.original)
    for candidate in answer.candidates:
        _assert_agree(web, (candidate.element.maker, candidate.element.number), candidate.claims)


@given(webs(), st.data())
@thorough
def test_claims_of_a_comparison_agree(web: Web, data: st.DataObject) -> None:
    """Links lead through elements that are not compared."""
    compared = data.draw(st.lists(st.sampled_from(sorted(web.shown)), min_size=1, max_size=2, unique=True))
    named = [{"maker": maker, "number": number} for maker, number in (web.original, *compared)]
    asked = read_comparison({"original": named[0], "elements": named[1:], "duty": STATED})
    answer = answers.comparison(asked, _snapshot(web))
    for element in answer.elements:
        name = (element.element.maker, element.element.number)
        if name == web.original:
            assert element.claims == []
        else:
            _assert_agree(web, name, element.claims)


@given(webs())
@quick
def test_a_view_of_some_elements_has_their_claims_at_their_rows(web: Web) -> None:
    snapshot = _snapshot(web)
    rows = [row for row in range(len(snapshot.elements)) if row % 2]
    few = snapshot.only(pd.array(rows, dtype="int64").to_numpy())
    kept = {(str(few.elements.maker[row]), str(few.elements.number[row])): row for row in range(len(few.elements))}
    expected = [
        (claim.date, kept.get(claim.replacing), kept.get(claim.replaced))
        for claim in snapshot.claims
        if claim.replacing in kept or claim.replaced in kept
    ]
    assert [(claim.date, claim.row, claim.replaces_row) for claim in few.claims] == expected
    assert few.whole is snapshot


def test_a_chain_has_two_to_four_links() -> None:
    """Each name replaces the one before it, and the first, the original, the last."""
    web = Web(dict.fromkeys(NAMES, 1000.0), list(zip((*NAMES[1:], NAMES[0]), NAMES, strict=True)), NAMES[0])
    told = {
        (each.element.maker, each.element.number): [(claim.direction, len(claim.links)) for claim in each.claims]
        for each in _ranked(web).candidates
    }
    chains = [[("chain", links)] for links in (2, 3, 4)]
    assert [told[name] for name in NAMES[1:]] == [[("direct", 1)], *chains, [("reverse", 1)]]


def test_without_an_original_nothing_is_claimed() -> None:
    web = Web({("A", "1"): 1000.0, ("A", "2"): 1000.0}, [(("A", "2"), ("A", "1"))], ("A", "1"))
    ranking = rank(read_question({"duty": STATED}), _snapshot(web))
    assert claims_beside(ranking, [0, 1]) == {}
