"""A question about a duty, in a body or by dotted names in the address: what every route that takes both shares."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Protocol, TypeVar, get_args
from urllib.parse import urlencode

from fastapi import Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, ValidationError

from api.representation import Reply, TableForm
from api.store import Catalogue
from specdb.answers.shape import Tabular
from specdb.duty.dotted import DottedField, dotted_of, faults_as_typed
from specdb.duty.question import ComparisonAsked, Question
from specdb.ranking import Ranking, rank
from specdb.units import UnitSystem

LINKED_BYTES = 4096
"""Longest address of a question that is given with its answer: headers have limits of their own."""

Asked = TypeVar("Asked", bound=Question | ComparisonAsked)


class InUnits(BaseModel):
    """The units of an answer that has one form."""

    model_config = ConfigDict(extra="forbid")

    units: UnitSystem = "si"


class Shown(InUnits):
    """The units and the form of an answer."""

    format: TableForm | None = None


def address_of(path: str, question: Question | ComparisonAsked, shown: Shown) -> dict[str, str]:
    """Where ``path`` answers the same to GET, as a canonical link, unless that is too long."""
    names = dotted_of(question) | shown.model_dump(exclude_defaults=True)
    address = f"{path}?{urlencode(names)}"
    return {"canonical": address} if len(address) <= LINKED_BYTES else {}


def dotted_parameters(names: Mapping[str, DottedField], how_to_answer: type[InUnits] = Shown) -> list[dict[str, Any]]:
    """The names of a question or a comparison as query parameters, then those that say how to answer."""
    how = [
        {"name": name, "in": "query", "required": False, "schema": {"type": "string", "enum": words}}
        for name, words in (("units", ["si", "us"]), ("format", [*get_args(TableForm)]))
        if name in how_to_answer.model_fields
    ]
    return [*named_parameters(names), *how]


def named_parameters(names: Mapping[str, DottedField]) -> list[dict[str, Any]]:
    """Dotted names as query parameters."""
    return [
        {"name": name, "in": "query", "required": False, "schema": field.schema, "description": field.description}
        for name, field in names.items()
    ]


@contextmanager
def asked_by_name(
    request: Request,
    read: Callable[[Mapping[str, str], Sequence[str]], Asked],
    how_to_answer: type[InUnits] = Shown,
) -> Iterator[tuple[Asked, InUnits]]:
    """What the address of ``request`` asks, as :mod:`specdb.duty.dotted` reads it; faults that are found within name
    fields as typed there."""
    beside = tuple(how_to_answer.model_fields)
    # Read by hand: a model of every dotted name would be validated whole on each request.
    try:
        shown = how_to_answer.model_validate({n: request.query_params[n] for n in beside if n in request.query_params})
    except ValidationError as error:
        raise RequestValidationError([{**e, "loc": ("query", *e["loc"])} for e in error.errors()]) from None
    dotted = {name: text for name, text in request.query_params.items() if name not in beside}
    with faults_as_typed(dotted):
        yield read(dotted, beside), shown


class OfRanking(Protocol):
    """Makes an answer of a ranking."""

    def __call__(
        self, ranking: Ranking, *, limit: int, units: UnitSystem, include_without_evidence: bool
    ) -> Tabular: ...


def answered(
    made: OfRanking,
    catalogue: Catalogue,
    question: Question,
    units: UnitSystem,
    reply: Reply,
    links: Mapping[str, str] | None = None,
) -> Response:
    """The answer that is ``made`` of the ranking for ``question``, over the state of the catalogue that it asks of."""
    state = reply.at(catalogue.state(question.as_of))
    answer = made(
        rank(question, catalogue.snapshot(state.revision)),
        limit=question.limit,
        units=units,
        include_without_evidence=question.include_without_evidence,
    )
    return reply.give(answer, units, links=links)
