"""Ending a fact: by another that takes its place, or by withdrawing it."""

from __future__ import annotations

from typing import Any

import pytest
import sqlalchemy as sa

from specdb.catalog.store import read_session, write_session
from specdb.catalog.tables import metadata, supersession
from specdb.catalog.writing import FactKind, begin_revision, supersede
from specdb.errors import NotOnFileError, QuestionError

Rows = dict[str, dict[str, Any]]
TABLE: dict[FactKind, str] = {"rating": "rating", "attribute": "element_attribute", "claim": "interchange_claim"}


@pytest.fixture
def two_of_each(any_store: sa.Engine, valid_rows: Rows) -> sa.Engine:
    """Ratings, attributes and claims 1, 2 and 3, all in force; number 3 is about something else."""
    with write_session(any_store) as connection:
        for table, row in valid_rows.items():
            if table != "supersession":
                connection.execute(metadata.tables[table].insert().values(row))
        other = valid_rows["element"] | {"element_id": "0" * 16, "number_key": "OTHER"}
        connection.execute(metadata.tables["element"].insert().values(other))
        other_test = valid_rows["test"] | {"id": 2, "element_id": "0" * 16}
        connection.execute(metadata.tables["test"].insert().values(other_test))
        for number, test in ((2, 1), (3, 2)):
            row = valid_rows["rating"] | {"id": number, "label": f"R{number}", "test_id": test}
            connection.execute(metadata.tables["rating"].insert().values(row))
            name = "outside_diameter" if number == 2 else "length"
            row = valid_rows["element_attribute"] | {"id": number, "name": name}
            connection.execute(metadata.tables["element_attribute"].insert().values(row))
            connection.execute(
                metadata.tables["interchange_claim"].insert().values(valid_rows["interchange_claim"] | {"id": number})
            )
    return any_store


@pytest.mark.parametrize("kind", TABLE)
@pytest.mark.parametrize("new", [2, None])
def test_a_fact_ends_in_a_revision(two_of_each: sa.Engine, kind: FactKind, new: int | None) -> None:
    with write_session(two_of_each) as connection:
        number = begin_revision(connection, "test", "a correction")
        supersede(connection, number, kind, old=1, new=new, reason=" misprint ")
    with read_session(two_of_each) as connection:
        row = connection.execute(sa.select(supersession)).mappings().one()
        kept = connection.execute(sa.select(sa.func.count()).select_from(metadata.tables[TABLE[kind]])).scalar_one()
    stated = {column: value for column, value in row.items() if value is not None and column != "id"}
    expected = {"revision_id": 2, "reason": "misprint", f"old_{kind}_id": 1} | ({f"new_{kind}_id": 2} if new else {})
    assert stated == expected
    assert kept == 3


@pytest.mark.parametrize("kind", TABLE)
def test_a_fact_ends_once_and_nothing_ended_comes_back(two_of_each: sa.Engine, kind: FactKind) -> None:
    with write_session(two_of_each) as connection:
        number = begin_revision(connection, "test", "a correction")
        supersede(connection, number, kind, old=1, new=2, reason="misprint")
        for old, new in ((1, None), (1, 2), (2, 1)):
            with pytest.raises(QuestionError, match="ended in revision 2"):
                supersede(connection, number, kind, old=old, new=new, reason="again")


@pytest.mark.parametrize("kind", TABLE)
def test_a_fact_that_is_not_there_cannot_end_or_begin(two_of_each: sa.Engine, kind: FactKind) -> None:
    with write_session(two_of_each) as connection:
        number = begin_revision(connection, "test", "a correction")
        for old, new in ((9, None), (1, 9)):
            with pytest.raises(NotOnFileError):
                supersede(connection, number, kind, old=old, new=new, reason="misprint")


def test_a_fact_is_not_replaced_by_one_about_something_else(two_of_each: sa.Engine) -> None:
    with write_session(two_of_each) as connection:
        number = begin_revision(connection, "test", "a correction")
        pairs: tuple[tuple[FactKind, int], ...] = (("rating", 3), ("attribute", 3), ("rating", 1), ("claim", 1))
        for kind, new in pairs:
            with pytest.raises(QuestionError, match="same thing"):
                supersede(connection, number, kind, old=1, new=new, reason="misprint")
        supersede(connection, number, "claim", old=1, new=3, reason="claims may change sides")
        with pytest.raises(QuestionError, match="empty"):
            supersede(connection, number, "rating", old=1, new=2, reason="")
