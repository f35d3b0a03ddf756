"""Revisions have one order, and a question about the past finds the one it means."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

from specdb.catalog.revisions import current_revision, revision_as_of, utc_text
from specdb.catalog.store import read_session, write_session
from specdb.catalog.tables import revision
from specdb.catalog.writing import begin_revision
from specdb.errors import NotOnFileError, QuestionError

TIMES = ("2024-01-31T23:59:59.999999Z", "2024-02-01T00:00:00.000000Z", "2024-02-01T00:00:00.000000Z")


def _put(connection: sa.Connection, number: int, at: str) -> None:
    connection.execute(revision.insert().values(id=number, at=at, actor="test", reason="test"))


@pytest.fixture
def dated_store(any_store: sa.Engine) -> sa.Engine:
    with write_session(any_store) as connection:
        for number, at in enumerate(TIMES, start=1):
            _put(connection, number, at)
    return any_store


@given(st.datetimes(timezones=st.timezones()), st.datetimes(timezones=st.timezones()))
def test_the_order_of_texts_is_the_order_of_times(one: datetime, other: datetime) -> None:
    lowest, highest = datetime(2, 1, 1, tzinfo=UTC), datetime(9998, 1, 1, tzinfo=UTC)
    a, b = (min(max(t, lowest), highest) for t in (one, other))
    assert (utc_text(a) < utc_text(b)) == (a.astimezone(UTC) < b.astimezone(UTC))
    assert len(utc_text(a)) == 27


def test_revisions_count_up_and_carry_now(any_store: sa.Engine) -> None:
    before = utc_text(datetime.now(UTC))
    for number in (1, 2, 3):
        with write_session(any_store) as connection:
            assert begin_revision(connection, " someone ", "a reason") == number
            assert current_revision(connection) == number
    with read_session(any_store) as connection:
        rows = connection.execute(sa.select(revision).order_by(revision.c.id)).all()
    assert [row.actor for row in rows] == ["someone"] * 3
    times = [row.at for row in rows]
    assert times == sorted(times)
    assert before <= times[0]
    assert times[-1] <= utc_text(datetime.now(UTC))


def test_a_clock_set_back_does_not_turn_time_back(any_store: sa.Engine) -> None:
    ahead = "2999-01-01T00:00:00.000000Z"
    with write_session(any_store) as connection:
        _put(connection, 1, ahead)
        assert begin_revision(connection, "test", "with the clock mended") == 2
        assert connection.execute(sa.select(revision.c.at).where(revision.c.id == 2)).scalar_one() == ahead
        assert revision_as_of(connection, "2999-01-01T00:00:00Z") == 2
        assert revision_as_of(connection, date(2999, 1, 1)) == 2
        with pytest.raises(QuestionError, match="future"):
            revision_as_of(connection, date(2999, 1, 2))


@pytest.mark.parametrize(
    ("number", "at"), [(4, TIMES[0]), (3, TIMES[2]), (2, "2024-03-01T00:00:00.000000Z"), (0, TIMES[2])]
)
def test_the_database_refuses_a_revision_before_its_predecessor(dated_store: sa.Engine, number: int, at: str) -> None:
    refusal = r"predecessor|ck_revision_id"
    with pytest.raises(sa.exc.DBAPIError, match=refusal), write_session(dated_store) as connection:
        _put(connection, number, at)


@pytest.mark.parametrize(
    ("actor", "reason"), [("", "r"), ("a", " "), ("a\0", "r"), ("a", "x" * 4001), ("x" * 201, "r")]
)
def test_a_revision_says_who_and_why(any_store: sa.Engine, actor: str, reason: str) -> None:
    with write_session(any_store) as connection:
        with pytest.raises(QuestionError):
            begin_revision(connection, actor, reason)
        assert current_revision(connection) == 0


AS_OF: list[tuple[Any, int]] = [
    (1, 1),
    (3, 3),
    ("2", 2),
    (" 3 ", 3),
    (date(2024, 1, 31), 1),
    ("2024-01-31", 1),
    ("2024-02-01", 3),
    (date(2024, 2, 29), 3),
    ("2024-01-31T23:59:59.999999Z", 1),
    ("2024-02-01T00:00", 3),
    ("2024-02-01 01:00:00+01:00", 3),
    ("2024-02-01T00:59:59+01:00", 0),
    (datetime(2024, 2, 1), 3),
    (datetime(2024, 2, 1, 1, tzinfo=timezone(timedelta(hours=1))), 3),
    (datetime(2024, 1, 31, 23, 59, 59, 999999, tzinfo=UTC), 1),
    ("2024-01-30", 0),
    (date(1, 1, 1), 0),
    (0, 0),
    (-1, 0),
]
NO_STATE: list[Any] = [
    4, "4", "20240201", 10**30, "2999-01-01", "2999-01-01T00:00:00Z", "2024-02-30", "2024-13-01", "yesterday", "",
    "1.0", "\u0661", "2024-02-01T25:00", "0000-01-01", "9999-12-31T23:59:59-12:00", True, 1.5, None,
]  # fmt: skip


def test_as_of_is_the_last_revision_at_or_before(dated_store: sa.Engine, subtests: pytest.Subtests) -> None:
    with read_session(dated_store) as connection:
        for as_of, number in AS_OF:
            with subtests.test(as_of=as_of):
                if number:
                    assert revision_as_of(connection, as_of) == number
                else:
                    with pytest.raises(NotOnFileError, match="first revision"):
                        revision_as_of(connection, as_of)


def test_as_of_neither_guesses_nor_looks_ahead(dated_store: sa.Engine, subtests: pytest.Subtests) -> None:
    with read_session(dated_store) as connection:
        for as_of in NO_STATE:
            with subtests.test(as_of=as_of):
                with pytest.raises(QuestionError) as caught:
                    revision_as_of(connection, as_of)
                assert caught.value.field == "as_of"
                assert caught.value.remedy


def test_today_is_not_the_future(any_store: sa.Engine) -> None:
    with write_session(any_store) as connection:
        begin_revision(connection, "test", "test")
        assert revision_as_of(connection, datetime.now(UTC).date()) == 1
        with pytest.raises(QuestionError, match="future"):
            revision_as_of(connection, datetime.now(UTC) + timedelta(minutes=5))


def test_nothing_was_on_file_before_anything_was(any_store: sa.Engine) -> None:
    with read_session(any_store) as connection:
        assert current_revision(connection) == 0
        with pytest.raises(NotOnFileError, match="Nothing has been put on file yet"):
            revision_as_of(connection, "2024-01-01")
