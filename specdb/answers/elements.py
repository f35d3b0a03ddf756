"""One element: what it is, its ratings as typed and converted, and the claims made of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from typing_extensions import override

from specdb.answers.history import StepShown, history_shown, history_table
from specdb.answers.shape import Answer, QuantityShown, Tabular, quantity, tidy
from specdb.answers.tables import Cell, Table, column, numbers
from specdb.catalog.history import Step
from specdb.catalog.reading import ElementOnFile
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS
from specdb.units import UnitSystem, express


class AttributeOnFile(Answer):
    name: str
    title: str
    text: str
    value: float | None
    unit: str | None
    word: str | None
    source: str | None


class RatingOnFile(Answer):
    """One rating: ``text`` is what was typed, ``value`` the same in the answer's units; the conditions stand as typed,
    and in ``converted`` in the answer's units."""

    rating: str
    characteristic: str
    title: str
    qualifier: str
    text: str
    value: float
    unit: str | None
    size: str | None
    size_scale: str | None
    flow: str | None
    viscosity: str | None
    density: str | None
    test: str | None
    standard: str | None
    edition: str | None
    dust: str | None
    gravimetric_level: str | None
    terminal_pressure_drop: str | None
    converted: dict[str, QuantityShown]
    test_liquid: str | None
    drop_of: str | None
    capacity_basis: str | None
    cycle_pressure: str | None
    laboratory: str | None
    source: str | None
    page: str | None
    remark: str | None


class ClaimOnFile(Answer):
    maker: str
    number: str
    replaces_maker: str
    replaces_number: str
    source: str | None
    date: str | None
    remark: str | None


class SourceOnFile(Answer):
    source: str
    title: str | None
    kind: str | None
    issuer: str | None
    revision: str | None
    date: str | None


class ElementAnswer(Tabular):
    """``history`` is there on request."""

    element_id: str
    maker: str
    number: str
    attributes: list[AttributeOnFile]
    ratings: list[RatingOnFile]
    sources: list[SourceOnFile]
    claimed_to_replace: list[ClaimOnFile]
    claimed_to_be_replaced_by: list[ClaimOnFile]
    history: list[StepShown] | None = None

    @override
    def plain_table(self, units: UnitSystem = "si") -> Table:
        """One row a rating; where the history was asked for, one row a change."""
        if self.history is not None:
            return history_table(self.history)
        converted = [column(name, kind, units) for name, (_, kind) in TYPED.items()]
        typed = [f"{name}_text" for name in TYPED]
        names = ("element_id", "maker", "number", *_BEFORE, *converted, "size_scale", *typed, *_AFTER)
        return Table(names, [self._row(rating) for rating in self.ratings])

    def _row(self, rating: RatingOnFile) -> list[Cell]:
        return [
            *(self.element_id, self.maker, self.number),
            *(getattr(rating, name) for name in _BEFORE),
            *(rating.converted[name].value if name in rating.converted else None for name in TYPED),
            rating.size_scale,
            *(getattr(rating, name) for name in TYPED),
            *(getattr(rating, name) for name in _AFTER),
        ]


def element_answer(
    found: ElementOnFile, revision: int, units: UnitSystem = "si", history: Sequence[Step] | None = None
) -> ElementAnswer:
    """The element that :func:`specdb.catalog.reading.read_element` gave at ``revision``, with its history if given."""
    return ElementAnswer(
        catalog_revision=revision,
        element_id=found.element["element_id"],
        maker=found.element["maker"],
        number=found.element["number"],
        attributes=[_attribute(row, units) for row in found.attributes],
        ratings=[_rating(row, units) for row in found.ratings],
        sources=[
            SourceOnFile(source=s.key, title=s.title, kind=s.kind, issuer=s.issuer, revision=s.revision, date=s.date)
            for s in found.sources
        ],
        claimed_to_replace=[claim_on_file(row) for row in found.replaces],
        claimed_to_be_replaced_by=[claim_on_file(row) for row in found.replaced_by],
        history=None if history is None else history_shown(history),
    )


def _attribute(row: dict[str, Any], units: UnitSystem) -> AttributeOnFile:
    attribute = ATTRIBUTES[row["name"]]
    measure = quantity(row["number"], "length", units)
    return AttributeOnFile(
        name=attribute.key,
        title=attribute.title,
        text=row["text"],
        value=None if measure is None else measure.value,
        unit=None if measure is None else measure.unit,
        word=row["code"],
        source=row["source"],
    )


TYPED = {
    # condition: its column in canonical units, and the kind of quantity
    "size": ("size_um", "size"),
    "flow": ("flow_l_min", "flow"),
    "viscosity": ("viscosity_mm2_s", "viscosity"),
    "density": ("density_kg_m3", "density"),
    "gravimetric_level": ("gravimetric_level_mg_l", "concentration"),
    "terminal_pressure_drop": ("terminal_pressure_drop_kpa", "pressure"),
    "cycle_pressure": ("cycle_pressure_kpa", "pressure"),
}
_WORDS = (
    *("qualifier", "text", "characteristic", "test", "standard", "edition", "dust", "test_liquid", "drop_of"),
    *("capacity_basis", "laboratory", "source", "page", "remark", "size_scale"),
)
_BEFORE = ("rating", "characteristic", "title", "qualifier", "text", *numbers("value"), "unit")
_AFTER = (
    *("test", "standard", "edition", "dust", "test_liquid", "drop_of", "capacity_basis", "laboratory"),
    *("source", "page", "remark"),
)


def _rating(row: dict[str, Any], units: UnitSystem) -> RatingOnFile:
    characteristic = CHARACTERISTICS[row["characteristic"]]
    stated, unit = express(row["value"], characteristic.kind, units) if characteristic.kind else (row["value"], None)
    return RatingOnFile(
        rating=row["label"],
        title=characteristic.title,
        value=tidy(stated),
        unit=unit,
        converted=_converted(row, units),
        **{name: row[f"{name}_text"] for name in TYPED},
        **{name: row[name] for name in _WORDS},
    )


def _converted(row: dict[str, Any], units: UnitSystem) -> dict[str, QuantityShown]:
    shown = {name: quantity(row[column], kind, units) for name, (column, kind) in TYPED.items()}
    return {name: quantity for name, quantity in shown.items() if quantity is not None}


def claim_on_file(row: dict[str, Any]) -> ClaimOnFile:
    return ClaimOnFile(**{name: row[name] for name in ClaimOnFile.model_fields})
