"""Claims of a state of the catalogue are judged once, each under its own assumptions."""

from __future__ import annotations

from dataclasses import replace

import pytest

from specdb.advice import claims
from specdb.catalog.snapshot import Snapshot
from specdb.duty.question import read_question
from specdb.ranking import Ranking, rank


def _told(snapshot: Snapshot, **asked: object) -> dict[int, tuple[claims.ClaimBeside, ...]]:
    ranking: Ranking = rank(read_question({"original": {"number": "XXI-12a"}, **asked}), snapshot)
    return claims.claims_beside(ranking, map(int, ranking.candidates))


def test_a_claim_is_judged_once_whatever_is_asked_beside(demo: Snapshot, monkeypatch: pytest.MonkeyPatch) -> None:
    state = replace(demo)
    judged: list[int] = []
    rank_beside = claims.rank_beside
    monkeypatch.setattr(claims, "rank_beside", lambda row, *others: judged.append(row) or rank_beside(row, *others))
    first = _told(state)
    assert any(beside.links[0].counted for of_row in first.values() for beside in of_row)
    times = len(judged)
    assert times > 0
    assert _told(state) == first
    assert _told(state, duty={"flow": "60 L/min"}) == first
    assert len(judged) == times
    customary = _told(state, duty={"assumptions": "customary"})
    assert len(judged) > times
    assert customary != first
    assert customary == _told(replace(demo), duty={"assumptions": "customary"})


def test_what_is_kept_has_a_bound(demo: Snapshot, monkeypatch: pytest.MonkeyPatch) -> None:
    state = replace(demo)
    first, customary = _told(state), _told(state, duty={"assumptions": "customary"})
    both, one = len(state.judged_claims), len(state.judged_claims) // 2
    assert one > 0
    state = replace(demo)
    monkeypatch.setattr(claims, "MOST_REMEMBERED", one)
    for _ in range(2):
        assert _told(state) == first
        assert _told(state, duty={"assumptions": "customary"}) == customary
        assert len(state.judged_claims) == one < both
