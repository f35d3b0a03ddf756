"""The trade's small sums: one address for each calculation of the registry, and the list of them."""

from collections.abc import Callable
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Response
from fastapi.openapi.models import Example
from pydantic import BaseModel, ConfigDict, create_model
from pydantic.fields import FieldInfo

from api.problems import documented
from api.representation import ReplyNeeded, TableForm
from specdb.calculations import CALCULATIONS, Calculation, CalculationsAnswer, calculations

router = APIRouter(prefix="/v1/calculations", tags=["calculations"])


class Listing(BaseModel):
    """The form of the list."""

    model_config = ConfigDict(extra="forbid")

    format: TableForm | None = None


@router.get(
    "",
    operation_id="list_calculations",
    summary="The calculations that there are",
    response_model=CalculationsAnswer,
    responses=documented(304, 400, 406, 414, 422),
)
def list_calculations(_listing: Annotated[Listing, Query()], reply: ReplyNeeded) -> Response:
    """What calculations there are, and the fields that each takes."""
    reply.at()
    return reply.give(calculations())


OPERATION_IDS = {
    "efficiency": "calculate_efficiency",
    "filtration_ratio": "calculate_filtration_ratio",
    "ratio_at_size": "calculate_ratio_at_size",
    "size_at_ratio": "calculate_size_at_ratio",
    "size_scale": "calculate_size_on_other_scale",
    "cleanliness_code": "calculate_cleanliness_code",
    "cleanliness_class": "calculate_cleanliness_class",
    "required_ratio": "calculate_required_ratio",
    "attainable_cleanliness": "calculate_attainable_cleanliness",
    "viscosity": "calculate_viscosity",
    "viscosity_index": "calculate_viscosity_index",
    "density": "calculate_density",
    "compatibility": "calculate_compatibility",
    "pressure_drop": "calculate_pressure_drop",
    "pore_size": "calculate_pore_size",
    "bubble_pressure": "calculate_bubble_pressure",
    "pressure_class": "calculate_pressure_class",
    "return_flow": "calculate_return_flow",
    "turnover": "calculate_turnover",
    "element_pressure": "calculate_element_pressure",
    "suction_drop": "calculate_suction_drop",
    "breather_air_flow": "calculate_breather_air_flow",
    "service_interval": "calculate_service_interval",
    "convert": "calculate_conversion",
}
"""Key of a calculation: the id of its operation. Chosen by hand, since clients are generated from them."""


def _query_of(calculation: Calculation) -> type[BaseModel]:
    """The fields of a calculation, and those that say how to answer, as one model: two that forbid what they do not
    know would refuse each other's."""
    fields: Any = {name: _described(field) for name, field in calculation.asked.model_fields.items()}
    how: Any = {"units": (Literal["si", "us"], "si"), "format": (TableForm | None, None)}
    return create_model(f"{calculation.asked.__name__}InAddress", __base__=calculation.asked, **fields, **how)


def _described(field: FieldInfo) -> tuple[Any, Any]:
    """A field of a calculation as a query field that shows its example."""
    shown = {"example": Example(value=field.examples[0])} if field.examples else None
    default = ... if field.is_required() else field.default
    query = Query(default, description=field.description, openapi_examples=shown)
    query.metadata = list(field.metadata)
    return field.annotation, query


def _answering(calculation: Calculation) -> Callable[..., Response]:
    def answer(asked: Any, reply: ReplyNeeded) -> Response:
        reply.at()
        return reply.give(calculation.compute(asked, asked.units), asked.units)

    answer.__annotations__["asked"] = Annotated[_query_of(calculation), Query()]
    return answer


for _calculation in CALCULATIONS.values():
    router.add_api_route(
        f"/{_calculation.name}",
        _answering(_calculation),
        operation_id=OPERATION_IDS[_calculation.key],
        summary=_calculation.title,
        description=f"{_calculation.help} Source: {_calculation.source}.",
        response_model=_calculation.answer,
        responses=documented(304, 400, 406, 414, 422),
    )
