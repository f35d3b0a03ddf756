"""The claims of a columnar view are those in force at its revision, with the rows of their sides."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

from specdb.catalog.reading import load_snapshot
from specdb.catalog.store import read_session, write_session
from specdb.catalog.writing import begin_revision, supersede
from specdb.exchange import import_folder

ELEMENTS = "maker,number\nDemo Works,DW 7\nAble,A 1\n"
CLAIMS = (
    "maker,number,replaces_maker,replaces_number,source,date,remark\n"
    "demo works,dw 7,Old Maker,99-44,S1,2024-05,no test named\n"
    "Third,T 1,Able,A 1,,,\n"
)


def test_claims_are_those_in_force_then(any_store: sa.Engine, tmp_path: Path) -> None:
    for sheets in (
        {"sources": "source,title\nS1,Demo sheet\n", "elements": ELEMENTS, "interchanges": CLAIMS},
        {"elements": "maker,number\nOld Maker,99-44\n"},
    ):
        for old in tmp_path.iterdir():
            old.unlink()
        for name, text in sheets.items():
            (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
        import_folder(any_store, tmp_path, actor="test", reason="for a test")
    with write_session(any_store) as connection:
        withdrawn = begin_revision(connection, "test", "withdrawn")
        supersede(connection, withdrawn, "claim", old=1, new=None, reason="a misprint")
    with read_session(any_store) as connection:
        first, second, third = (load_snapshot(connection, revision) for revision in (1, 2, 3))
    own, others = first.claims
    assert (own.maker, own.number, own.replacing, own.replaced) == (
        "demo works", "dw 7", ("DEMOWORKS", "DW7"), ("OLDMAKER", "99-44"),
    )  # fmt: skip
    assert own.stated(first.sources).items() >= {
        "source": "S1", "date": "2024-05", "remark": "no test named", "replaces_maker": "Old Maker",
    }.items()  # fmt: skip
    assert first.elements.number.tolist() == ["A 1", "DW 7"]
    assert (own.row, own.replaces_row) == (1, None)
    assert (others.row, others.replaces_row, others.source_id) == (None, 0, -1)
    assert second.elements.number.tolist() == ["A 1", "DW 7", "99-44"]
    assert [(claim.row, claim.replaces_row) for claim in second.claims] == [(1, 2), (None, 0)]
    assert [claim.replacing for claim in third.claims] == [("THIRD", "T1")]
