"""Elements: lists by maker, kind, fit and bounds on ratings, and one with its ratings."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from api.cursors import Page, Paged
from api.problems import documented
from api.question import named_parameters
from api.representation import Reading, ReplyNeeded
from api.store import CatalogueNeeded
from specdb import answers
from specdb.answers.lists import CHOICES
from specdb.catalog.history import read_history
from specdb.catalog.reading import read_element
from specdb.catalog.store import read_session
from specdb.duty.dotted import dotted_names, dotted_of, faults_as_typed, question_of
from specdb.duty.question import ElementId, Text

router = APIRouter(prefix="/v1", tags=["catalogue"])

_OF_A_QUESTION = re.compile(r"(duty\.)?(require|assumptions)(\.|$)")
"""Names that are read as those of a question are."""

REQUIRED = {name: field for name, field in dotted_names().items() if _OF_A_QUESTION.match(name)}

_MEASURE = 'a quantity, with its tolerance or the customary one: "96 mm", "96 mm ± 2 mm"'


def _true_or_false(value: object) -> object:
    if isinstance(value, str) and value not in ("true", "false"):
        raise ValueError("true or false is expected")
    return value


def _choice(name: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "enum": list(CHOICES[name])})


class ElementsAsked(Paged):
    """Filters of the list of elements: each element listed states all that is asked, and meets all that is required."""

    might: Annotated[bool, BeforeValidator(_true_or_false)] = Field(
        False, description="list those that might fit after those that surely do"
    )
    maker: Text | None = Field(None, description="the maker's name, whatever its letter case and spaces")
    kind: Annotated[Text, _choice("kind")] | None = None
    media: Annotated[Text, _choice("media")] | None = None
    seal: Annotated[Text, _choice("seal")] | None = None
    seal_type: Annotated[Text, _choice("seal_type")] | None = None
    end_form: Annotated[Text, _choice("end_form")] | None = None
    flow_direction: Annotated[Text, _choice("flow_direction")] | None = None
    core: Annotated[Text, _choice("core")] | None = None
    bypass_valve: Annotated[Text, _choice("bypass_valve")] | None = None
    anti_drain_back: Annotated[Text, _choice("anti_drain_back")] | None = None
    zinc_parts: Annotated[Text, _choice("zinc_parts")] | None = None
    status: Annotated[Text, _choice("status")] | None = None
    thread: Text | None = Field(None, description='a designation, however it is spelt: "1-12 UNF", "M20x1.5"')
    series: Text | None = None
    fluid_class: Annotated[Text, _choice("fluid_class")] | None = Field(
        None, description="class by ISO 6743-4 that the element lists as compatible"
    )
    outside_diameter: Text | None = Field(None, description=_MEASURE)
    inside_diameter: Text | None = Field(None, description=_MEASURE)
    second_inside_diameter: Text | None = Field(None, description=_MEASURE)
    length: Text | None = Field(None, description=_MEASURE)
    gasket_outside_diameter: Text | None = Field(None, description=_MEASURE)
    gasket_inside_diameter: Text | None = Field(None, description=_MEASURE)

    @model_validator(mode="before")
    @classmethod
    def _without_names_of_a_question(cls, stated: Mapping[str, Any]) -> dict[str, Any]:
        return {name: text for name, text in stated.items() if not _OF_A_QUESTION.match(name)}

    def filters(self) -> dict[str, str]:
        """What is asked of an element, as typed."""
        return {name: text for name in answers.FILTERS if (text := getattr(self, name)) is not None}


class ElementAsked(Reading):
    """How to read one element."""

    history: Annotated[bool, BeforeValidator(_true_or_false)] = Field(
        False, description="add the revisions that touched the element, oldest first"
    )


@router.get(
    "/elements",
    operation_id="list_elements",
    summary="Elements by maker, kind, fit and ratings",
    response_model=answers.ElementsAnswer,
    responses=documented(304, 400, 404, 406, 414, 422, 503),
    openapi_extra={"parameters": named_parameters(REQUIRED)},
)
def list_elements(
    catalogue: CatalogueNeeded, request: Request, asked: Annotated[ElementsAsked, Query()], reply: ReplyNeeded
) -> Response:
    """Elements by maker, kind, fit and bounds on ratings at stated conditions, in the order of maker and number, with
    how much is on file for each and what it shows of each requirement.

    `require.1.characteristic` with `require.1.at_least`, `require.1.size` and so on are those of a question, and so are
    `assumptions`. With `might=true`, those that might fit stand after those that surely do. The address in `next` (and
    in `Link`) leads to the next page, of the same state of the catalogue.
    """
    filters = asked.filters()
    required = {name: text for name, text in request.query_params.items() if _OF_A_QUESTION.match(name)}
    question = question_of(required, tuple(ElementsAsked.model_fields))
    page = Page.asked_for("elements", asked, filters | dotted_of(question) | {"might": asked.might}, catalogue)
    reply.at(page.state)
    with faults_as_typed(required):
        answer = answers.listing(
            catalogue.snapshot(page.state.revision), filters, asked.units, duty=question.duty, might=asked.might,
            limit=asked.limit, offset=page.offset, find=catalogue.find_elements,
        )  # fmt: skip
    answer.next = page.next(reply, len(answer.elements), answer.total)
    return reply.give(answer, asked.units, links=page.links(reply, answer.next))


@router.get(
    "/elements/{element_id}",
    operation_id="get_element",
    summary="One element and what is on file for it",
    response_model=answers.ElementAnswer,
    responses=documented(304, 400, 404, 406, 414, 422, 503),
)
def get_element(
    catalogue: CatalogueNeeded, element_id: ElementId, asked: Annotated[ElementAsked, Query()], reply: ReplyNeeded
) -> Response:
    """One element: what it is, its ratings as typed and converted, and the claims made of it.

    `history=true` adds the revisions that touched it: what was believed when.
    """
    state = reply.at(catalogue.state(asked.as_of))
    with read_session(catalogue.engine) as connection:
        found = read_element(connection, element_id, state.revision)
        history = read_history(connection, element_id, state.revision) if asked.history else None
    return reply.give(answers.element_answer(found, state.revision, asked.units, history), asked.units)
