"""Which revision a question about the past is a question about."""

from __future__ import annotations

import hashlib
import re
from datetime import UTC, date, datetime, time

import sqlalchemy as sa

from specdb.catalog.tables import revision
from specdb.errors import NotOnFileError, QuestionError

AsOf = int | date | str

_NUMBER = re.compile(r"[0-9]{1,18}")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(_DATE.pattern + r"[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?(Z|[+-][0-9]{2}:[0-9]{2})?")
_REMEDY = "Give a revision number, a date such as 2024-05-31 or a UTC time such as 2024-05-31T12:00:00Z."


def utc_text(moment: datetime) -> str:
    """A time as the store keeps it: ``YYYY-MM-DDTHH:MM:SS.ffffffZ``. A time without zone is UTC."""
    aware = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return aware.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def current_revision(connection: sa.Connection) -> int:
    """The number of the last committed write, 0 while there is none."""
    return int(connection.execute(sa.select(sa.func.coalesce(sa.func.max(revision.c.id), 0))).scalar_one())


def mark_of(connection: sa.Connection, number: int) -> str:
    """A mark of the state at a revision: 64 hexadecimal digits that another state or another store does not share.

    Made of the number, and of the times of the first revision and of this one, which are kept to the microsecond.
    """
    times = sa.select(revision.c.at).where(revision.c.id.in_((1, number))).order_by(revision.c.id)
    parts = (str(number), *connection.execute(times).scalars())
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()


def revision_as_of(connection: sa.Connection, as_of: AsOf) -> int:
    """The number of the last revision at or before ``as_of``.

    ``as_of`` is a revision number, a date (the whole day, UTC), a time (UTC unless it says
    otherwise), or either as ISO 8601 text. Raises QuestionError for what cannot be read and for
    the future, NotOnFileError for what lies before the first revision.
    """
    asked = _read(as_of) if isinstance(as_of, str) else as_of
    if isinstance(asked, bool) or not isinstance(asked, (int, date)):
        raise QuestionError("This names no state of the catalogue.", value=as_of, field="as_of", remedy=_REMEDY)
    found = _at_number(connection, asked) if isinstance(asked, int) else _at_time(connection, asked)
    if found < 1:
        first = connection.execute(sa.select(sa.func.min(revision.c.at))).scalar_one()
        raise NotOnFileError(
            "Nothing was on file then.",
            value=as_of,
            field="as_of",
            remedy=f"The first revision is of {first}." if first else "Nothing has been put on file yet.",
        )
    return found


def _read(text: str) -> int | date:
    stated = text.strip()
    try:
        if _NUMBER.fullmatch(stated):
            return int(stated)
        if _DATE.fullmatch(stated):
            return date.fromisoformat(stated)
        if _TIME.fullmatch(stated):
            return datetime.fromisoformat(stated)
    except ValueError as error:
        raise QuestionError("There is no such date.", value=text, field="as_of", remedy=_REMEDY) from error
    raise QuestionError("This names no state of the catalogue.", value=text, field="as_of", remedy=_REMEDY)


def _at_number(connection: sa.Connection, number: int) -> int:
    current = current_revision(connection)
    if number > current:
        raise QuestionError(
            "There is no such revision yet.", value=number, field="as_of", remedy=f"The last one is {current}."
        )
    return number


def _at_time(connection: sa.Connection, asked: date) -> int:
    last_at = connection.execute(sa.select(sa.func.max(revision.c.at))).scalar_one() or ""
    # A clock that was set back leaves revisions dated ahead of it; up to the last of them is no future.
    now = max(utc_text(datetime.now(UTC)), last_at)
    if isinstance(asked, datetime):
        until = _utc_text_of_question(asked)
        begins = until
    else:
        begins = utc_text(datetime.combine(asked, time.min))
        until = utc_text(datetime.combine(asked, time.max))
    if begins > now:
        raise QuestionError("This lies in the future.", value=asked.isoformat(), field="as_of", remedy=f"It is {now}.")
    found = sa.select(sa.func.coalesce(sa.func.max(revision.c.id), 0)).where(revision.c.at <= until)
    return int(connection.execute(found).scalar_one())


def _utc_text_of_question(asked: datetime) -> str:
    try:
        return utc_text(asked)
    except OverflowError as error:  # the first and the last day of the calendar, moved to UTC
        raise QuestionError("There is no such date.", value=asked.isoformat(), field="as_of", remedy=_REMEDY) from error
