"""What was believed when: each change of an element in its revision, and the list of revisions."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from specdb.catalog import history
from specdb.catalog.history import Change, read_history, read_revisions
from specdb.catalog.identity import element_id
from specdb.catalog.store import read_session, write_session
from specdb.catalog.tables import interchange_claim, rating
from specdb.catalog.writing import begin_revision, supersede
from specdb.errors import NotOnFileError
from specdb.exchange import import_folder

OWN = element_id("Demo Works", "DW-1")
SOURCES = "source,title\nS1,Demo sheet\nS2,Second issue\n"
ELEMENTS = "maker,number,kind,outside_diameter,source\nDemo Works,DW-1,spin-on,96 mm,S1\nDemo Works,DW-2,spin-on,,S1\n"
RATINGS = (
    "rating,supersedes,maker,number,characteristic,qualifier,value,size,flow,source\n"
    "R1,,Demo Works,DW-1,filtration_ratio,at_least,200,10 um(c),75 L/min,S1\n"
    "R2,,Demo Works,DW-1,retained_capacity,,85 g,,,S1\n"
    "X1,,Demo Works,DW-2,retained_capacity,,80 g,,,S1\n"
)
CORRECTED_RATING = (
    "rating,supersedes,maker,number,characteristic,qualifier,value,size,flow,source\n"
    "R3,R2,Demo Works,DW-1,retained_capacity,,84.0 g,,20 gpm,S2\n"
)
CORRECTED_ELEMENT = (
    "maker,number,outside_diameter,source,correction\nDemo Works,DW-1,95 mm,S2,the sheet had a misprint\n"
)
CLAIMS = (
    "maker,number,replaces_maker,replaces_number,source\n"
    "Demo Works,DW-1,Old Maker,99,S1\nThird,T 1,Demo Works,dw-1,\nThird,T 1,Demo Works,DW-2,\n"
)

Take = Callable[..., int]


@pytest.fixture
def take(any_store: sa.Engine, tmp_path: Path) -> Take:
    """Imports sheets into ``any_store`` for a reason; gives the revision."""

    def taken(reason: str, **sheets: str) -> int:
        folder = tmp_path / "catalogue"
        folder.mkdir(exist_ok=True)
        for old in folder.iterdir():
            old.unlink()
        for name, text in {"elements": "maker,number\n", **sheets}.items():
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
        revision = import_folder(any_store, folder, actor="a tester", reason=reason).revision
        assert revision is not None
        return revision

    return taken


@pytest.fixture
def corrected(any_store: sa.Engine, take: Take) -> sa.Engine:
    """Five revisions: facts, a claim of them, two corrections, and the withdrawal of a claim and a rating."""
    take("first sheets", sources=SOURCES, elements=ELEMENTS, ratings=RATINGS)
    take("claims", interchanges=CLAIMS)
    take("second issue", ratings=CORRECTED_RATING)
    take("measured again", elements=CORRECTED_ELEMENT)
    with write_session(any_store) as connection:
        number = begin_revision(connection, "an auditor", "doubts")
        ratio = connection.execute(sa.select(rating.c.id).where(rating.c.label == "R1")).scalar_one()
        claim = sa.select(interchange_claim.c.id).where(interchange_claim.c.replaces_number == "99")
        supersede(connection, number, "rating", old=ratio, new=None, reason="no test report found")
        supersede(connection, number, "claim", old=connection.execute(claim).scalar_one(), new=None, reason="withdrawn")
    return any_store


def changes(engine: sa.Engine, revision: int, element: str = OWN) -> dict[int, tuple[Change, ...]]:
    with read_session(engine) as connection:
        steps = read_history(connection, element, revision)
    assert [step.revision for step in steps] == sorted(step.revision for step in steps)
    return {step.revision: step.changes for step in steps}


def test_each_change_stands_in_its_revision(corrected: sa.Engine) -> None:
    told = changes(corrected, 5)
    assert told == {
        1: (
            Change("element", "added", None, None, None, "Demo Works DW-1", None, None),
            Change("attribute", "added", "kind", None, None, "spin-on", None, "S1"),
            Change("attribute", "added", "outside_diameter", None, None, "96 mm", None, "S1"),
            Change("rating", "added", "R1", "filtration_ratio", None,
                   "at least 200 at size 10 um(c), flow 75 L/min", None, "S1"),
            Change("rating", "added", "R2", "retained_capacity", None, "85 g", None, "S1"),
        ),
        2: (
            Change("claim", "added", None, None, None, "Demo Works DW-1 is claimed to replace Old Maker 99", None,
                   "S1"),
            Change("claim", "added", None, None, None, "Third T 1 is claimed to replace Demo Works dw-1", None, None),
        ),
        3: (
            Change("rating", "superseded", "R3", "retained_capacity", "85 g", "84.0 g at flow 20 gpm",
                   "second issue", "S2"),
        ),
        4: (
            Change("attribute", "superseded", "outside_diameter", None, "96 mm", "95 mm", "the sheet had a misprint",
                   "S2"),
        ),
        5: (
            Change("rating", "withdrawn", "R1", "filtration_ratio",
                   "at least 200 at size 10 um(c), flow 75 L/min", None, "no test report found", "S1"),
            Change("claim", "withdrawn", None, None, "Demo Works DW-1 is claimed to replace Old Maker 99", None,
                   "withdrawn", "S1"),
        ),
    }  # fmt: skip


def test_a_revision_says_who_wrote_it_when_and_why(corrected: sa.Engine) -> None:
    with read_session(corrected) as connection:
        first, *_, last = read_history(connection, OWN, 5)
    assert (first.actor, first.reason) == ("a tester", "first sheets")
    assert (last.actor, last.reason) == ("an auditor", "doubts")
    assert first.at.endswith("Z")
    assert first.at < last.at


@pytest.mark.parametrize("revision", [1, 2, 3, 4])
def test_the_history_as_of_a_revision_is_the_part_up_to_it(corrected: sa.Engine, revision: int) -> None:
    whole = changes(corrected, 5)
    assert changes(corrected, revision) == {number: those for number, those in whole.items() if number <= revision}


def test_another_elements_changes_do_not_appear(corrected: sa.Engine) -> None:
    told = changes(corrected, 5, element_id("Demo Works", "DW-2"))
    assert set(told) == {1, 2}
    assert {change.name for change in told[1]} == {None, "kind", "X1"}


def test_no_history_before_the_element_was_there(corrected: sa.Engine, take: Take) -> None:
    revision = take("late", elements="maker,number\nOld Maker,99\n")
    late = element_id("Old Maker", "99")
    # The claim that named it before it came on file is part of what was believed of it.
    assert [c.what for those in changes(corrected, revision, late).values() for c in those] == [
        "claim", "claim", "element"
    ]  # fmt: skip
    with read_session(corrected) as connection:
        for at, unknown in ((revision - 1, late), (revision, "0" * 16)):
            with pytest.raises(NotOnFileError) as caught:
                read_history(connection, unknown, at)
            assert caught.value.field == "element_id"


def test_a_claim_that_takes_the_place_of_one_on_another_element_is_told_on_both(
    any_store: sa.Engine, take: Take
) -> None:
    take("facts", sources=SOURCES, elements=ELEMENTS, interchanges=CLAIMS)
    with write_session(any_store) as connection:
        number = begin_revision(connection, "test", "mended")
        old, new = connection.execute(
            sa.select(interchange_claim.c.id).where(interchange_claim.c.maker == "Third").order_by(sa.text("1"))
        ).scalars()
        supersede(connection, number, "claim", old=old, new=new, reason="the wrong element was named")
    for number_of in ("DW-1", "DW-2"):
        (change,) = changes(any_store, 2, element_id("Demo Works", number_of))[2]
        assert (change.change, change.before, change.after) == (
            "superseded",
            "Third T 1 is claimed to replace Demo Works dw-1",
            "Third T 1 is claimed to replace Demo Works DW-2",
        )


def test_an_element_with_many_facts_is_read_in_parts(
    corrected: sa.Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = changes(corrected, 5)
    monkeypatch.setattr(history, "_AT_ONCE", 1)
    assert changes(corrected, 5) == whole


# --- all revisions --------------------------------------------------------------------------------


def test_revisions_are_listed_newest_first_with_what_they_added(corrected: sa.Engine) -> None:
    with read_session(corrected) as connection:
        listed, total = read_revisions(connection, 5, limit=10)
    assert total == 5
    assert [r.revision for r in listed] == [5, 4, 3, 2, 1]
    nothing = dict.fromkeys(
        ("sources", "elements", "attributes", "tests", "ratings", "interchanges", "superseded"), 0
    )
    assert [r.counts for r in listed] == [
        nothing | {"superseded": 2},
        nothing | {"attributes": 1, "superseded": 1},
        nothing | {"tests": 1, "ratings": 1, "superseded": 1},
        nothing | {"interchanges": 3},
        nothing | {"sources": 2, "elements": 2, "attributes": 3, "tests": 3, "ratings": 3},
    ]
    assert listed[1].reason == "measured again"


def test_revisions_are_cut_into_pages(corrected: sa.Engine) -> None:
    with read_session(corrected) as connection:
        pages = [read_revisions(connection, 4, limit=3, offset=offset) for offset in (0, 3, 6)]
        assert [[r.revision for r in listed] for listed, _ in pages] == [[4, 3, 2], [1], []]
        assert {total for _, total in pages} == {4}
        assert read_revisions(connection, 0, limit=3) == ([], 0)
