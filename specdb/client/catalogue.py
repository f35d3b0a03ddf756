"""A catalogue as scripts ask it, wherever it is."""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from operator import index
from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Protocol, Self, TypeAlias, get_args, runtime_checkable

from specdb.answers.lists import FILTERS
from specdb.calculations import CALCULATIONS, Calculated, Calculation, CalculationsAnswer
from specdb.client.frames import is_frame, workbook_of
from specdb.client.plain import as_of_text, plain, plain_fields, plain_line, text_of
from specdb.client.telling import telling
from specdb.cross_checks.running import Mode
from specdb.duty.dotted import dotted_of
from specdb.duty.question import ELEMENT_ID, ComparisonAsked, DutyAsked, Question, read_question
from specdb.errors import QuestionError
from specdb.units import UnitSystem

if TYPE_CHECKING:
    import pandas as pd

    from specdb.answers.cross_checks import CrossCheckAnswer, LineAnswer
    from specdb.answers.decisions import ComparisonAnswer, ElementNamed, EquivalentsAnswer
    from specdb.answers.elements import ElementAnswer
    from specdb.answers.history import RevisionsAnswer
    from specdb.answers.lists import ElementsAnswer
    from specdb.answers.requests import RequestsAnswer
    from specdb.answers.search import SearchAnswer
    from specdb.answers.vocabulary import CharacteristicsAnswer


@runtime_checkable
class Identified(Protocol):
    """An element as any answer has it."""

    element_id: str
    maker: str
    number: str


@runtime_checkable
class WithElement(Protocol):
    """A hit, a candidate, or whatever else has an element."""

    @property
    def element(self) -> ElementNamed | None: ...


Named: TypeAlias = str | tuple[str, str] | Mapping[str, object] | Identified | WithElement
"""An element: its number, ``(maker, number)``, ``{"maker": ..., "number": ...}``, ``{"element_id": ...}``, or what an
answer has of it."""

Duty: TypeAlias = Mapping[str, object] | DutyAsked
"""What the machine asks, as in the API; ``docs/duty.md`` tells its fields."""

Assumed: TypeAlias = str | Sequence[str] | Mapping[str, object]
"""What to take for granted beyond proof: ``"customary"``, names, or names and values."""

AsOf: TypeAlias = int | str | date
"""A revision number, a date or a time."""

Lines: TypeAlias = "str | PathLike[str] | pd.DataFrame | Iterable[Mapping[str, object]]"
"""Lines of a cross-check: the path of a file, a data frame with a column for each name, or an object for each line."""


@dataclass(frozen=True)
class LinesAsked:
    """Lines as a service takes them: plain data, or a file with what it is called. ``common`` are dotted names."""

    lines: list[dict[str, Any]] | tuple[str, bytes]
    common: dict[str, str]
    mode: Mode


class Catalogue(ABC):
    """What can be asked of a catalogue. Each call raises errors of the family in :mod:`specdb.errors`, with the problem
    document as ``problem``. ``units`` are those of the answer. Several threads may use one catalogue; it is closed at
    the end of a ``with`` block."""

    @abstractmethod
    def close(self) -> None: ...

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # --- what is on file --------------------------------------------------------------------------

    @telling
    def search(
        self, text: str, *, limit: int = 20, units: UnitSystem = "si", as_of: AsOf | None = None
    ) -> SearchAnswer:
        """Numbers near what was read off a label, nearest first, each with how near it is."""
        _refuse_other(units)
        return self._search(text, _whole(limit), as_of_text(as_of)).made_in(units)

    @telling
    def elements(
        self,
        *,
        require: str | Mapping[str, object] | Iterable[str | Mapping[str, object]] = (),
        assumptions: Assumed | None = None,
        might: bool = False,
        limit: int | None = None,
        units: UnitSystem = "si",
        as_of: AsOf | None = None,
        **filters: object,
    ) -> ElementsAnswer:
        """All elements that state what the ``filters`` ask (``kind="spin-on"``, ``length_mm=142``) and surely meet what
        is required (``"beta10(c) >= 200"``), with ``might`` also those that leave some of it open; of ever so many the
        first ``limit``."""
        _refuse_other(units)
        stated = plain_fields(filters, FILTERS)
        if unknown := [name for name in stated if name not in FILTERS]:
            raise QuestionError(
                "Elements cannot be listed by this.", field=unknown[0], remedy=f"Known are {', '.join(FILTERS)}."
            )
        stated = {name: stated[name] for name in FILTERS if name in stated}
        limit = _number_listed(limit)
        wanted = require if isinstance(require, str | Mapping) else list(require)
        required = _dotted(plain({"duty": {"require": wanted, "assumptions": assumptions}}, Question)["duty"])
        return self._elements(stated, required, bool(might), limit, units, as_of_text(as_of)).made_in(units)

    @telling
    def element(
        self, named: Named, *, history: bool = False, units: UnitSystem = "si", as_of: AsOf | None = None
    ) -> ElementAnswer:
        """One element: what it is, its ratings as typed and converted, and the claims made of it; with its ``history``
        the revisions that touched it."""
        _refuse_other(units)
        asked = plain_fields(element_asked(named), ("element_id", "maker", "number"))
        if unknown := asked.keys() - {"element_id", "maker", "number"}:
            raise QuestionError("There is no such field.", field=min(unknown), remedy=NAMED_BY)
        if ("number" in asked) == ("element_id" in asked) or asked.keys() == {"element_id", "maker"}:
            raise QuestionError("This names no one element.", remedy=NAMED_BY)
        if not re.fullmatch(ELEMENT_ID, asked.get("element_id", "0" * 16)):
            remedy = "It is 16 digits from 0 to 9 and a to f."
            raise QuestionError("This is no element_id.", field="element_id", value=asked["element_id"], remedy=remedy)
        return self._element(asked, bool(history), units, as_of_text(as_of)).made_in(units)

    @telling
    def characteristics(self) -> CharacteristicsAnswer:
        """The vocabulary: what standard tests report, and what an element is."""
        return self._characteristics()

    @telling
    def revisions(self, *, limit: int | None = None, as_of: AsOf | None = None) -> RevisionsAnswer:
        """What was written when, by whom and why: all revisions or the last ``limit``, newest first."""
        return self._revisions(_number_listed(limit), as_of_text(as_of))

    # --- decisions --------------------------------------------------------------------------------

    @telling
    def equivalents(
        self,
        original: Named | None = None,
        duty: Duty | None = None,
        *,
        assumptions: Assumed | None = None,
        limit: int = 20,
        include_without_evidence: bool = False,
        include_windows: bool = False,
        units: UnitSystem = "si",
        as_of: AsOf | None = None,
    ) -> EquivalentsAnswer:
        """Elements ranked for a duty, or as what may stand in for an original: what each meets, misses and has not
        shown."""
        _refuse_other(units)
        asked = _question(original, duty, assumptions, as_of) | {
            "limit": _whole(limit),
            "include_without_evidence": bool(include_without_evidence),
            "include_windows": bool(include_windows),
        }
        return self._equivalents(plain(asked, Question), units).made_in(units)

    @telling
    def compare(
        self,
        *elements: Named | Iterable[Named],
        original: Named | None = None,
        duty: Duty | None = None,
        assumptions: Assumed | None = None,
        include_windows: bool = False,
        units: UnitSystem = "si",
        as_of: AsOf | None = None,
    ) -> ComparisonAnswer:
        """Named elements side by side, one after another or as one list, in the order in which they are named."""
        _refuse_other(units)
        asked = _question(original, duty, assumptions, as_of) | {
            "elements": [element_asked(each) for each in _each_named(elements)],
            "include_windows": bool(include_windows),
        }
        return self._compared(plain(asked, ComparisonAsked), units).made_in(units)

    @telling
    def test_requests(
        self,
        original: Named | None = None,
        duty: Duty | None = None,
        *,
        assumptions: Assumed | None = None,
        limit: int = 20,
        include_without_evidence: bool = False,
        units: UnitSystem = "si",
        as_of: AsOf | None = None,
    ) -> RequestsAnswer:
        """What to ask makers for, so that :meth:`equivalents` of the same question need not leave it open."""
        _refuse_other(units)
        asked = _question(original, duty, assumptions, as_of) | {
            "limit": _whole(limit),
            "include_without_evidence": bool(include_without_evidence),
        }
        return self._requests(plain(asked, Question), units).made_in(units)

    @telling
    def cross_check(
        self,
        lines: Lines,
        duty: Duty | None = None,
        *,
        assumptions: Assumed | None = None,
        mode: Mode = "each",
        limit: int | None = None,
        units: UnitSystem = "si",
        as_of: AsOf | None = None,
    ) -> CrossCheckAnswer:
        """Many lines at once: each ranked, or the alternative that it names judged; a faulty one is told in its own
        place. The ``duty`` and the ``limit`` of candidates hold for each line that does not say its own.

        The answer holds every criterion of every candidate: of more than a few hundred lines ask
        :meth:`cross_check_each`.
        """
        _refuse_other(units)
        return self._cross_checked(_lines_asked(lines, duty, assumptions, mode, limit, as_of), units).made_in(units)

    @telling
    def cross_check_each(
        self,
        lines: Lines,
        duty: Duty | None = None,
        *,
        assumptions: Assumed | None = None,
        mode: Mode = "each",
        limit: int | None = None,
        units: UnitSystem = "si",
        as_of: AsOf | None = None,
    ) -> Iterator[LineAnswer]:
        """As :meth:`cross_check`, one line after another, each worked out when it is asked for and kept by nobody."""
        _refuse_other(units)
        return self._each_cross_checked(_lines_asked(lines, duty, assumptions, mode, limit, as_of), units)

    # --- the trade's small sums -------------------------------------------------------------------

    @telling
    def calculations(self) -> CalculationsAnswer:
        """The calculations that there are, and the fields that each takes."""
        return self._calculations()

    @telling
    def calculate(self, calculation: str, *, units: UnitSystem = "si", **fields: object) -> Calculated:
        """One of the trade's small sums, by its name, such as ``"required-ratio"``, for its fields."""
        _refuse_other(units)
        found = CALCULATIONS.get(calculation.replace("-", "_"))
        if found is None:
            known = ", ".join(each.name for each in CALCULATIONS.values())
            raise QuestionError("There is no such calculation.", value=calculation, remedy=f"There are {known}.")
        asked = plain_fields(fields, tuple(found.asked.model_fields))
        return self._calculated(found, asked, units).made_in(units)

    # --- what each kind of catalogue does in its own way ------------------------------------------

    @abstractmethod
    def _search(self, text: str, limit: int, as_of: str | None) -> SearchAnswer: ...

    @abstractmethod
    def _elements(
        self,
        filters: dict[str, str],
        required: dict[str, str],
        might: bool,
        limit: int | None,
        units: UnitSystem,
        as_of: str | None,
    ) -> ElementsAnswer: ...

    @abstractmethod
    def _element(
        self, named: dict[str, str], history: bool, units: UnitSystem, as_of: str | None
    ) -> ElementAnswer: ...

    @abstractmethod
    def _characteristics(self) -> CharacteristicsAnswer: ...

    @abstractmethod
    def _revisions(self, limit: int | None, as_of: str | None) -> RevisionsAnswer: ...

    @abstractmethod
    def _equivalents(self, asked: dict[str, Any], units: UnitSystem) -> EquivalentsAnswer: ...

    @abstractmethod
    def _compared(self, asked: dict[str, Any], units: UnitSystem) -> ComparisonAnswer: ...

    @abstractmethod
    def _requests(self, asked: dict[str, Any], units: UnitSystem) -> RequestsAnswer: ...

    @abstractmethod
    def _cross_checked(self, asked: LinesAsked, units: UnitSystem) -> CrossCheckAnswer: ...

    @abstractmethod
    def _each_cross_checked(self, asked: LinesAsked, units: UnitSystem) -> Iterator[LineAnswer]: ...

    @abstractmethod
    def _calculations(self) -> CalculationsAnswer: ...

    @abstractmethod
    def _calculated(self, calculation: Calculation, asked: dict[str, str], units: UnitSystem) -> Calculated: ...


NAMED_BY = 'Name it by its number, (maker, number), {"element_id": ...}, or by what an answer has of it.'


def element_asked(named: Named) -> dict[str, object]:
    """One element as a service takes it. Raises QuestionError for what names none, such as a hit whose number is of no
    element on file."""
    if isinstance(named, str):
        return {"number": named}
    if isinstance(named, Mapping):
        return dict(named)
    if isinstance(named, tuple) and len(named) == 2:
        maker, number = named
        return {"maker": maker, "number": number}
    if isinstance(named, Identified):
        return {"element_id": named.element_id}
    return {"element_id": _element_of(named).element_id}


def _original_asked(named: Named) -> dict[str, object]:
    """The element to be replaced, which is named by its number. Raises as :func:`element_asked`."""
    if isinstance(named, str | tuple | Mapping):
        return element_asked(named)
    element = named if isinstance(named, Identified) else _element_of(named)
    return {"maker": element.maker, "number": element.number}


def _element_of(named: object) -> Identified:
    if not isinstance(named, WithElement):
        raise QuestionError("This names no one element.", value=named, remedy=NAMED_BY)
    if named.element is None:
        raise QuestionError("No element on file has this number.", remedy="Take a hit that has an element.")
    return named.element


def _each_named(elements: tuple[Named | Iterable[Named], ...]) -> list[Named]:
    """Elements that are named one after another, or as one list."""
    named: list[Named] = []
    for each in elements:
        if isinstance(each, str | tuple | Mapping | Identified | WithElement) or not isinstance(each, Iterable):
            named.append(each)  # what names no element is refused as such
        elif len(elements) > 1:
            remedy = "Name elements one after another or as one list, and the original as original=..."
            raise QuestionError("A list of elements does not stand beside other elements.", remedy=remedy)
        else:
            named += each
    return named


def _question(
    original: Named | None, duty: Duty | None, assumptions: Assumed | None, as_of: AsOf | None
) -> dict[str, object]:
    return {
        "original": None if original is None else _original_asked(original),
        "duty": _assuming(duty, assumptions),
        "as_of": as_of_text(as_of),
    }


def _assuming(duty: Duty | None, assumptions: Assumed | None) -> Duty | None:
    """The duty with assumptions that are stated beside it."""
    if assumptions is None or not (duty is None or isinstance(duty, Mapping | DutyAsked)):
        return duty
    stated = duty.model_dump(by_alias=True, exclude_unset=True) if isinstance(duty, DutyAsked) else dict(duty or {})
    if stated.get("assumptions") is not None:
        remedy = "State them in the duty or beside it."
        raise QuestionError("Assumptions are stated twice.", field="assumptions", value=assumptions, remedy=remedy)
    return stated | {"assumptions": assumptions}


def _refuse_other(units: str) -> None:
    if units not in get_args(UnitSystem):
        raise QuestionError("There are no such units.", field="units", value=units, remedy='Write "si" or "us".')


def _whole(limit: int) -> int:
    try:
        return index(limit)
    except TypeError:
        remedy = "Write it without quotes, such as limit=5."
        raise QuestionError("A whole number is wanted.", field="limit", value=limit, remedy=remedy) from None


def _number_listed(limit: int | None) -> int | None:
    if limit is not None and _whole(limit) < 1:
        raise QuestionError("At least one is to be listed.", field="limit", value=limit)
    return None if limit is None else _whole(limit)


def _dotted(duty: Mapping[str, Any]) -> dict[str, str]:
    """What is required and assumed as dotted names and texts."""
    found = {}
    for number, requirement in enumerate(duty["require"], start=1):
        if not isinstance(requirement, Mapping):
            remedy = 'Write one such as "beta10(c) >= 200".'
            raise QuestionError("This is no requirement.", field=f"require.{number}", value=requirement, remedy=remedy)
        for name, value in requirement.items():
            found[f"require.{number}.{name}"] = text_of(value, f"require.{number}.{name}")
    assumed = duty.get("assumptions")
    if isinstance(assumed, Mapping):
        return found | {f"assumptions.{n}": text_of(v, f"assumptions.{n}") for n, v in assumed.items()}
    if isinstance(assumed, list):
        assumed = ",".join(map(str, assumed))
    return found if assumed is None else found | {"assumptions": text_of(assumed, "assumptions")}


def _lines_asked(
    lines: Lines, duty: Duty | None, assumptions: Assumed | None, mode: Mode, limit: int | None, as_of: AsOf | None
) -> LinesAsked:
    """Raises OSError for a file that cannot be read."""
    common = dotted_of(read_question(plain({"duty": _assuming(duty, assumptions)}, Question)))
    common |= {} if limit is None else {"limit": str(_whole(limit))}
    common |= {} if as_of is None else {"as_of": str(as_of_text(as_of))}
    if isinstance(lines, str | PathLike):
        return LinesAsked((Path(lines).name, Path(lines).read_bytes()), common, mode)
    if is_frame(lines):
        return LinesAsked(("lines.xlsx", workbook_of(lines)), common, mode)
    listed = [lines] if isinstance(lines, Mapping) or not isinstance(lines, Iterable) else list(lines)
    return LinesAsked([_line(each, number) for number, each in enumerate(listed)], common, mode)


def _line(line: object, number: int) -> dict[str, Any]:
    if isinstance(line, Mapping):
        return plain_line(line)
    remedy = 'Give an object for each, such as {"line": "A-1", "original.number": "12-2"}.'
    raise QuestionError("This is no line.", field=f"lines.{number}", value=line, remedy=remedy)
