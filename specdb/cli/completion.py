"""Values that a shell completes: names of the vocabulary, and what is on file.

Completion is asked for at every press of a key. It reads the store's file by SQLite alone, without waiting
and without a trace; where that does not work it offers nothing, and never says a word.
"""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Iterable, Sequence
from urllib.parse import quote

import typer

from specdb.characteristics import ATTRIBUTES, BYPASSES, CHARACTERISTICS, KINDS, LOCATIONS

_NO_FILTERS = {"kind", "successor", *(key for key, a in ATTRIBUTES.items() if a.kind == "words")}
OFFERED_AT_MOST = 50
_SQLITE = re.compile(r"sqlite(?:\+pysqlite)?:///(.+)")
_WORD_OF_A_SHELL = re.compile(r"[^\w@%+=:,./-]")


class _Offered(str):
    """A word that begins with what was typed but for letter case and quoting, which the parser would look at again."""

    def startswith(self, *_: object) -> bool:
        return True


def judged(incomplete: str) -> list[str]:
    """Characteristics that can be required."""
    return _beginning(incomplete, (key for key, c in CHARACTERISTICS.items() if c.sense != "shown"))


def kinds(incomplete: str) -> list[str]:
    return _beginning(incomplete, KINDS)


def fit(incomplete: str) -> list[str]:
    from specdb.duty.question import FitAsked

    return _beginning(incomplete, FitAsked.model_fields)


def filters(incomplete: str) -> list[str]:
    """What elements can be listed by, beside maker and kind."""
    return _beginning(incomplete, (*(key for key in ATTRIBUTES if key not in _NO_FILTERS), "fluid_class"))


def locations(incomplete: str) -> list[str]:
    return _beginning(incomplete, LOCATIONS)


def bypasses(incomplete: str) -> list[str]:
    """Where a bypass valve can be."""
    return _beginning(incomplete, BYPASSES)


def ingression(incomplete: str) -> list[str]:
    from specdb.duty.question import IngressionAsked

    return _beginning(incomplete, IngressionAsked.model_fields)


def rules(incomplete: str) -> list[str]:
    """Rules that can be switched, and all of them at once."""
    from specdb.duty.rules import RULES

    return _beginning(incomplete, ("none", *RULES))


def assumptions(incomplete: str) -> list[str]:
    from specdb.duty.question import AssumptionsAsked

    return _beginning(incomplete, ("customary", *AssumptionsAsked.model_fields))


def makers(incomplete: str) -> list[str]:
    return _beginning(incomplete, _read("SELECT DISTINCT maker FROM element ORDER BY maker_key"))


def numbers(context: typer.Context, incomplete: str) -> list[str]:
    """Numbers on file. Of a number that holds spaces, the words that stand already are not repeated."""
    words = context.params.get("number")
    before = "".join(f"{word} " for word in words) if isinstance(words, list | tuple) else ""
    maker = context.params.get("maker")
    return [_quoted(number[len(before) :]) for number in _numbers(before + incomplete, maker)]


def whole_numbers(incomplete: str) -> list[str]:
    """Numbers on file, each a word of its own."""
    return [_quoted(number) for number in _numbers(incomplete)]


def _numbers(typed: str, maker: str | None = None) -> list[str]:
    own, values = (" AND upper(maker) = upper(?)", (maker,)) if maker else ("", ())
    return _read(
        f"SELECT DISTINCT number FROM element WHERE upper(substr(number, 1, ?)) = upper(?){own} "
        f"ORDER BY number_key LIMIT {OFFERED_AT_MOST}",
        (len(typed), typed, *values),
    )


def _beginning(incomplete: str, words: Iterable[str]) -> list[str]:
    typed = incomplete.casefold()
    return [_quoted(word) for word in words if word.casefold().startswith(typed)]


def _quoted(word: str) -> str:
    """Bash puts a word on the line as it is given; other shells quote it themselves."""
    in_bash = os.environ.get("_SPECDB_COMPLETE") == "complete_bash"
    return _Offered(_WORD_OF_A_SHELL.sub(r"\\\g<0>", word) if in_bash else word)


def _read(query: str, values: Sequence[str | int] = ()) -> list[str]:
    """The first column of what the store holds, if it is an SQLite file."""
    match = _SQLITE.fullmatch(os.environ.get("SPECDB_DATABASE_URL", "").strip())
    path = match[1] if match else None if os.environ.get("SPECDB_DATABASE_URL") else _default_path()
    if path is None:
        return []
    # As the file stands, without a lock; where somebody has it open, what was written last is in the files beside it.
    is_open = os.path.exists(f"{path}-wal") and os.path.exists(f"{path}-shm")
    try:
        store = sqlite3.connect(f"file:{quote(path)}?mode=ro{'' if is_open else '&immutable=1'}", uri=True, timeout=0.1)
        try:
            return [str(row[0]) for row in store.execute(query, values) if str(row[0]).isprintable()]
        finally:
            store.close()
    except (sqlite3.Error, ValueError):
        return []


def _default_path() -> str:
    import platformdirs

    return str(platformdirs.user_data_path("specdb", appauthor=False) / "specdb.sqlite")
