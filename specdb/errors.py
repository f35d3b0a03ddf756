"""The family of errors, one for each thing a caller can do something about.

::

    SpecdbError
    +-- InputError                what was asked cannot be read or judged
    |   +-- QuantityError         a number with its unit
    |   +-- QuestionError          a field of the duty or of the request
    |   +-- ConditionsError       a sum of the trade outside its range of validity
    +-- NotOnFileError            an element, revision or folder that is not there
    +-- ImportRefusedError        a catalogue folder with bad rows; nothing was written
    +-- RevisionMovedError        the catalogue is no longer what the caller saw last
    +-- WritesRefusedError        the service was not started to take writes
    +-- ServiceUnreachableError   a service that a script asks, and that does not answer
    +-- ServiceBusyError          a service that has other long work to do first
    +-- StoreError                the database itself
        +-- StoreUnreachableError
        +-- ForeignStoreError     a database that is not ours
        +-- NewerStoreError       written by a later version of the program
        +-- AppendOnlyError       an attempt to change or delete a fact

Each class has a ``code`` (the API's problem type, a heading in ``docs/errors.md``) and an
``exit_status`` for the command line. A message says what was wrong, ``value`` holds the offending
text, ``field`` says where, and ``remedy`` what would be right. ``faults`` holds each fault of its own
where several fields were wrong at once.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Self

SHOWN_CHARACTERS = 80


def shown(value: object) -> str:
    """Offending text as it may be shown: one line, printable, never longer than a line."""
    text = value if isinstance(value, str) else repr(value)
    clean = text[: SHOWN_CHARACTERS + 1]
    if not clean.isprintable():
        clean = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in clean)
    return clean if len(text) <= SHOWN_CHARACTERS else clean[:SHOWN_CHARACTERS] + "…"


def meant_by(name: str, known: Sequence[str]) -> str | None:
    """The known name that ``name``, which is not known, most likely stands for: the one it is a part of, else one
    spelled alike."""
    word = name[:SHOWN_CHARACTERS]
    holding = [each for each in known if len(word) > 3 and word in each]
    near = holding if len(holding) == 1 else difflib.get_close_matches(word, known, n=1, cutoff=0.7)
    return near[0] if near else None


_PLAINLY = {
    "missing": "this is needed and was not stated",
    "float_type": "a plain number is expected, such as 1.6",
    "float_parsing": "a plain number is expected, such as 1.6",
    "int_type": "a whole number is expected, such as 5",
    "int_parsing": "a whole number is expected, such as 5",
    "bool_type": "true or false is expected",
    "bool_parsing": "true or false is expected",
    "string_type": "a text is expected",
    "list_type": "a list is expected",
    "dict_type": "an object of names and values is expected",
    "model_type": "an object of names and values is expected",
    "model_attributes_type": "an object of names and values is expected",
    "string_pattern_mismatch": "this is not written as it must be",
}


_COUNTED = re.compile(r"List should have (?P<limit>at (?:least|most) \d+) items? after validation, not (?P<found>.+)")

_WRITTEN_AS = {
    "fluid": '{"grade": "ISO VG 46"}',
    "fit": '{"thread": "1-12 UNF"}',
    "ingression": '{"at_4": "1e8 /min"}',
    "costs": '{"currency": "EUR"}',
    "original": '{"number": "12-2"}',
    "elements": '{"number": "12-2"}',
    "require": '{"characteristic": "filtration_ratio", "at_least": 200, "size": "10 um(c)"}',
}
"""Objects of a question, by the name of the object or of the list that it stands in: how one is written."""


def object_wanted(kind: str, place: Sequence[object]) -> str | None:
    """How the object is written that a library that checks forms wants at a place; None for a fault of another kind,
    and of another object."""
    if kind not in ("dict_type", "model_type", "model_attributes_type"):
        return None
    written = _WRITTEN_AS.get(next((part for part in reversed(place) if isinstance(part, str)), ""))
    return f"Write {written}." if written else None


def in_plain_words(kind: str, message: str) -> str:
    """What a library that checks forms says of a fault of this ``kind``, as it may be told."""
    said = _PLAINLY.get(kind, message.removeprefix("Value error, "))
    if count := _COUNTED.fullmatch(said):
        return f"{count['limit']} must stand here, not {count['found']}"
    return said.replace("Input should be", "this must be", 1)


class SpecdbError(Exception):
    """Root of the family. ``str()`` gives message, what was found, and remedy in one line.

    ``field`` is a path of names and places parted by dots, or with ``whole`` one name that has dots in it. ``word``
    says which fault of its class it is, where somebody acts on that: see :mod:`specdb.answers.cells`.
    """

    code = "error"
    title = "The program could not answer"
    exit_status = 1
    whole = False
    word: str | None = None
    faults: tuple[SpecdbError | RowFault, ...] = ()
    problem: Mapping[str, Any] = MappingProxyType({})

    def __init__(self, message: str, *, value: object = None, field: str | None = None, remedy: str | None = None):
        super().__init__(message)
        self.message = message
        self.value = None if value is None else shown(value)
        self.field = field
        self.remedy = remedy

    def __str__(self) -> str:
        place = f"{self.field}: " if self.field else ""
        stop = "" if self.said.endswith((".", "?", "…")) or not (self.found or self.remedy) else "."
        return f"{place}{self.said}{stop}" + (f" {self.remedy}" if self.remedy else "")

    @property
    def found(self) -> str | None:
        """The offending text, where the message does not quote it."""
        return None if self.value is None or f'"{self.value}"' in self.message else self.value

    @property
    def said(self) -> str:
        """The message, with what was found."""
        return self.message if self.found is None else f"{self.message} Found: {self.found}"

    def worded(self, word: str) -> Self:
        """The same error, which ``word`` tells from others of its class."""
        self.word = word
        return self

    def at(self, field: str) -> SpecdbError:
        """The same error, said to have happened in ``field`` (kept if one is named already)."""
        self.field = field if self.field is None else f"{field}.{self.field}"
        return self

    @classmethod
    def of(cls, faults: Sequence[SpecdbError]) -> SpecdbError:
        """One error for all ``faults``: the fault itself where it is the only one."""
        if len(faults) == 1:
            return faults[0]
        error = cls("; ".join(str(fault) for fault in faults))
        error.faults = tuple(faults)
        return error


class InputError(SpecdbError):
    code = "input"
    title = "The question cannot be read"
    exit_status = 2


class QuantityError(InputError):
    """``mark_undeclared`` is True where the number could be read if its decimal mark were declared, as a file can."""

    code = "quantity"
    title = "A quantity cannot be read"
    mark_undeclared = False


class QuestionError(InputError):
    code = "question"
    title = "The question cannot be judged as stated"


class ConditionsError(InputError):
    code = "conditions"
    title = "A calculation was asked for outside its range of validity"


class NotOnFileError(SpecdbError):
    """``instead`` are maker and number of the elements on file that claims of what was asked for lead to."""

    code = "not-on-file"
    title = "Not on file"
    exit_status = 3
    instead: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class RowFault:
    """One fault in an imported file: where it stands, what was found and what would be right."""

    file: str
    row: int | None
    column: str | None
    found: str | None
    message: str
    remedy: str

    def __str__(self) -> str:
        row = f", row {self.row}" if self.row is not None else ""
        column = f", column {self.column}" if self.column else ""
        found = f" Found: {self.found!r}." if self.found is not None else ""
        return f"{self.file}{row}{column}: {self.message}{found} {self.remedy}"


class ImportRefusedError(SpecdbError):
    """``not_listed`` counts the faults beyond those told one by one; the last of ``faults`` then says so."""

    code = "import-refused"
    title = "The catalogue was not taken in; nothing was changed"
    exit_status = 4
    faults: tuple[RowFault, ...]

    def __init__(self, faults: Sequence[RowFault], not_listed: int = 0):
        count = len(faults)
        super().__init__(
            f"{count} fault{'' if count == 1 else 's'} found; nothing was changed.",
            remedy="Mend the rows named and import again.",
        )
        self.faults = tuple(faults)
        self.not_listed = not_listed


class RevisionMovedError(SpecdbError):
    code = "revision-moved"
    title = "The catalogue has moved on; nothing was changed"
    exit_status = 5


class WritesRefusedError(SpecdbError):
    code = "writes-refused"
    title = "This service takes no writes"
    exit_status = 5


class ServiceUnreachableError(SpecdbError):
    code = "service-unreachable"
    title = "The service cannot be reached"
    exit_status = 6


class ServiceBusyError(SpecdbError):
    """``retry_after_s`` is when to ask again, where the service says so."""

    code = "busy"
    title = "The service cannot answer at the moment"
    exit_status = 6
    retry_after_s: int | None = None


class StoreError(SpecdbError):
    code = "store"
    title = "The store cannot be used"
    exit_status = 6


class StoreUnreachableError(StoreError):
    code = "store-unreachable"
    title = "The store cannot be reached"


class ForeignStoreError(StoreError):
    code = "store-foreign"
    title = "This database is not a specdb store"


class NewerStoreError(StoreError):
    code = "store-newer"
    title = "The store was written by a newer version of the program"


class AppendOnlyError(StoreError):
    code = "append-only"
    title = "Facts are only added, never changed or removed"


def family(root: type[SpecdbError] = SpecdbError) -> Iterator[type[SpecdbError]]:
    """Every class of the family, the root first."""
    yield root
    for child in root.__subclasses__():
        yield from family(child)
