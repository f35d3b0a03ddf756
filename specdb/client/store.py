"""A catalogue that is read in this process: a store, and no server."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from io import BytesIO
from os import PathLike, fspath
from typing import Annotated, Any, TypeVar

import sqlalchemy as sa
from pydantic import BaseModel, Field, ValidationError, create_model

from specdb import answers, held
from specdb.answers.cross_checks import CrossCheckAnswer, LineAnswer
from specdb.answers.history import RevisionsAnswer
from specdb.answers.lists import FILTERS, ElementsAnswer
from specdb.calculations import Calculated, Calculation, CalculationsAnswer, calculations
from specdb.catalog.history import read_history, read_revisions
from specdb.catalog.reading import find_element, read_element
from specdb.catalog.snapshot import Snapshot
from specdb.catalog.store import ENVIRONMENT_VARIABLE, database_url, open_store, read_session
from specdb.client.catalogue import Catalogue, LinesAsked
from specdb.client.telling import error_of, telling
from specdb.cross_checks.for_all import CrossCheck, read_common, read_cross_check, read_cross_check_file
from specdb.cross_checks.running import Mode, answer_lines
from specdb.cross_checks.written import Tally, head_of
from specdb.duty.dotted import faults_as_typed, question_of
from specdb.duty.left import faults_in_the_rest
from specdb.duty.question import AsOfText, ComparisonAsked, ElementId, Question, Text, fields_below, known_fields
from specdb.errors import StoreError
from specdb.problems import MOST_FAULTS, of_faulty_form
from specdb.ranking import rank
from specdb.units import UnitSystem

_Asked = TypeVar("_Asked", bound=BaseModel)


class _Read(BaseModel):
    as_of: AsOfText | None = None


class _Sought(_Read):
    q: Text
    limit: Annotated[int, Field(ge=1, le=100)]


class _ElementSought(_Read):
    number: Text | None = None
    maker: Text | None = None
    element_id: ElementId | None = None


_filters: dict[str, Any] = dict.fromkeys(FILTERS, (Text | None, None))
_Listed = create_model("_Listed", __base__=_Read, **_filters)


class _Way(BaseModel):
    mode: Mode


BESIDE_LINES = ("mode", "units", "format", "table")
"""Names that a service reads beside what holds for all lines."""

BESIDE_REQUIREMENTS = ("units", "as_of", "format", "limit", "cursor", "might", *FILTERS)
"""Names that a service reads beside those of a question where elements are listed."""


@telling
def open(where: str | PathLike[str] | None = None) -> Catalogue:
    """The catalogue in a store: a file of SQLite by its path, any store by its SQLAlchemy URL, by default the one that
    the environment names.

    Raises StoreError as :func:`specdb.catalog.store.open_store`; nothing is made where there is no store.
    """
    if where is None:
        url = database_url()
    else:
        path = fspath(where)
        if not path.strip():
            remedy = f"Name a file, or leave it out for the store that {ENVIRONMENT_VARIABLE} names."
            raise StoreError("A blank text is no path of a store.", remedy=remedy)
        url = path if "://" in path else sa.URL.create("sqlite", database=path).render_as_string()
    return _StoreCatalogue(open_store(url, named_by=ENVIRONMENT_VARIABLE if where is None else "specdb.open"))


class _StoreCatalogue(Catalogue):
    def __init__(self, engine: sa.Engine):
        self._engine = engine
        self._held = held.Catalogue(engine)

    def __repr__(self) -> str:
        return f"<catalogue in {self._engine.url.render_as_string(hide_password=True)}>"

    def close(self) -> None:
        self._engine.dispose()

    def _revision(self, as_of: str | None) -> int:
        return self._held.state(as_of).revision

    def _search(self, text: str, limit: int, as_of: str | None) -> answers.SearchAnswer:
        asked = _formed(_Sought, {"q": text, "limit": limit, "as_of": as_of})
        revision = self._revision(asked.as_of)
        index = self._held.search_index(revision)
        with read_session(self._engine) as connection:
            return answers.search_answer(connection, index, revision, asked.q, asked.limit)

    def _elements(
        self,
        filters: dict[str, str],
        required: dict[str, str],
        might: bool,
        limit: int | None,
        units: UnitSystem,
        as_of: str | None,
    ) -> ElementsAnswer:
        revision_asked = _formed(_Listed, filters | {"as_of": as_of}).as_of
        with faults_as_typed(required):
            duty = question_of(required, BESIDE_REQUIREMENTS).duty
            snapshot = self._held.snapshot(self._revision(revision_asked))
            answer = answers.listing(
                snapshot, filters, units, duty=duty, might=might,
                limit=limit or len(snapshot.elements), find=self._held.find_elements,
            )  # fmt: skip
        answer.limit = limit or answer.total
        return answer

    def _element(
        self, named: dict[str, str], history: bool, units: UnitSystem, as_of: str | None
    ) -> answers.ElementAnswer:
        asked = _formed(_ElementSought, named | {"as_of": as_of})
        revision = self._revision(asked.as_of)
        with read_session(self._engine) as connection:
            element_id = asked.element_id
            if element_id is None:
                element_id = find_element(connection, str(asked.number), asked.maker, revision)
            found = read_element(connection, element_id, revision)
            steps = read_history(connection, element_id, revision) if history else None
        return answers.element_answer(found, revision, units, steps)

    def _characteristics(self) -> answers.CharacteristicsAnswer:
        return answers.characteristics(self._revision(None))

    def _revisions(self, limit: int | None, as_of: str | None) -> RevisionsAnswer:
        revision = self._revision(_formed(_Read, {"as_of": as_of}).as_of)
        with read_session(self._engine) as connection:
            listed, total = read_revisions(connection, revision, limit=limit or revision)
        return answers.revisions_answer(revision, listed, total, limit or total)

    def _equivalents(self, asked: dict[str, Any], units: UnitSystem) -> answers.EquivalentsAnswer:
        question = _formed(Question, asked)
        return answers.equivalents(
            rank(question, self._held.snapshot(self._revision(question.as_of))),
            limit=question.limit,
            units=units,
            include_without_evidence=question.include_without_evidence,
            include_windows=question.include_windows,
        )

    def _compared(self, asked: dict[str, Any], units: UnitSystem) -> answers.ComparisonAnswer:
        comparison = _formed(ComparisonAsked, asked)
        snapshot = self._held.snapshot(self._revision(comparison.as_of))
        return answers.comparison(comparison, snapshot, units)

    def _requests(self, asked: dict[str, Any], units: UnitSystem) -> answers.RequestsAnswer:
        question = _formed(Question, asked)
        return answers.requests_answer(
            rank(question, self._held.snapshot(self._revision(question.as_of))),
            limit=question.limit,
            units=units,
            include_without_evidence=question.include_without_evidence,
        )

    def _cross_checked(self, asked: LinesAsked, units: UnitSystem) -> CrossCheckAnswer:
        whole, snapshot = self._lines(asked)
        tally, answer = Tally(), head_of(snapshot, whole.lines)
        answer.lines = list(tally.counted(_answers(whole, snapshot, units)))
        answer.answered, answer.faulty = tally.answered, len(tally.faulty)
        return answer

    def _each_cross_checked(self, asked: LinesAsked, units: UnitSystem) -> Iterator[LineAnswer]:
        return _answers(*self._lines(asked), units)

    def _lines(self, asked: LinesAsked) -> tuple[CrossCheck, Snapshot]:
        read_common(asked.common, BESIDE_LINES)
        if isinstance(asked.lines, list):
            whole = read_cross_check({"lines": asked.lines, "mode": asked.mode})
        else:
            _formed(_Way, {"mode": asked.mode})
            name, content = asked.lines
            whole = read_cross_check_file(name, BytesIO(content))
        whole = whole.said_anew(asked.common, asked.mode)
        return whole, self._held.snapshot(self._revision(whole.common.get("as_of")))

    def _calculations(self) -> CalculationsAnswer:
        return calculations()

    def _calculated(self, calculation: Calculation, asked: dict[str, str], units: UnitSystem) -> Calculated:
        return calculation.compute(_formed(calculation.asked, asked, ("units", "format")), units)


def _answers(whole: CrossCheck, snapshot: Snapshot, units: UnitSystem) -> Iterator[LineAnswer]:
    return answer_lines(whole.lines.lines, snapshot, whole.common, mode=whole.mode or "each", units=units)


def _formed(model: type[_Asked], asked: Mapping[str, Any], beside: Sequence[str] = ()) -> _Asked:
    """What is asked, in its form; ``beside`` are names that a service reads beside its own. Raises InputError with the
    problem document of a service that was asked the same."""
    try:
        return model.model_validate(asked)
    except ValidationError as error:
        found = error.errors()
        errors = [
            {
                **each,
                "known": (*known_fields(each["loc"][:-1], model), *beside),
                "below": fields_below(each["loc"][:-1], model),
            }
            for each in found[:MOST_FAULTS]
        ]
        is_duty = model in (Question, ComparisonAsked)
        rest = faults_in_the_rest(asked, [each["loc"] for each in found]) if is_duty else []
        raise error_of(of_faulty_form(errors, rest, len(found)).model_dump(exclude_none=True)) from None
