"""The main job on each database: a folder in, a ranking out, and the ranking as it was before a correction."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa

from specdb.catalog.reading import load_snapshot
from specdb.catalog.revisions import revision_as_of
from specdb.catalog.store import read_session
from specdb.duty.question import read_question
from specdb.errors import ImportRefusedError
from specdb.exchange import import_folder
from specdb.ranking import Ranking, rank
from specdb.wording import VERDICTS

ELEMENTS = """maker,number,kind,thread
Pellwood,P-10,spin-on,1-12 UNF
Kestremar,K 4410,spin-on,1-12 UNF
"""
RATINGS = """rating,supersedes,maker,number,characteristic,value,source
r1,,Pellwood,P-10,collapse_pressure,1 MPa,s
r2,,Kestremar,K 4410,collapse_pressure,900 kPa,s
"""
CORRECTED = RATINGS + "r3,r2,Kestremar,K 4410,collapse_pressure,1100 kPa,s\n"
QUESTION = read_question({"original": {"number": "P-10"}})


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "catalogue"
    folder.mkdir()
    (folder / "sources.csv").write_text("source,title\ns,Sheet\n")
    (folder / "elements.csv").write_text(ELEMENTS)
    (folder / "ratings.csv").write_text(RATINGS)
    return folder


def _ranked(store: sa.Engine, as_of: int) -> Ranking:
    with read_session(store) as connection:
        return rank(QUESTION, load_snapshot(connection, revision_as_of(connection, as_of)))


def _collapse(ranking: Ranking) -> str:
    judged = next(j for j in ranking.judged if j.requirement.characteristic == "collapse_pressure")
    return VERDICTS[int(judged.verdict[ranking.candidates[0]])]


def test_a_correction_changes_the_answer_and_not_the_past(any_store: sa.Engine, folder: Path) -> None:
    first = import_folder(any_store, folder, actor="test", reason="first").revision
    assert first is not None
    assert _collapse(_ranked(any_store, first)) == "misses"

    (folder / "ratings.csv").write_text(CORRECTED)
    second = import_folder(any_store, folder, actor="test", reason="corrected").revision
    assert second == first + 1
    assert _collapse(_ranked(any_store, second)) == "meets"
    assert _collapse(_ranked(any_store, first)) == "misses"

    assert import_folder(any_store, folder, actor="test", reason="again").revision is None


def test_a_broken_third_file_loses_nothing(any_store: sa.Engine, folder: Path) -> None:
    import_folder(any_store, folder, actor="test", reason="first")
    (folder / "elements.csv").write_text(ELEMENTS + "Ottergate,007,spin-on,1-12 UNF\n")
    (folder / "ratings.csv").write_text(RATINGS + "r9,,Ottergate,007,collapse_pressure,75,s\n")
    with pytest.raises(ImportRefusedError, match="1 fault"):
        import_folder(any_store, folder, actor="test", reason="broken")
    assert _ranked(any_store, 1).considered == 1
