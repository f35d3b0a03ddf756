"""The vocabulary: what standard tests report, and what an element is."""

from __future__ import annotations

from typing_extensions import override

from specdb.answers.shape import Answer, Tabular
from specdb.answers.tables import Table
from specdb.characteristics import ATTRIBUTES, CHARACTERISTICS
from specdb.units import UnitSystem, canonical_unit


class CharacteristicShown(Answer):
    key: str
    title: str
    unit: str | None
    standards: list[str]
    sense: str
    sentence: str
    judged_with: list[str]
    shown_with: list[str]
    gate: str | None


class AttributeShown(Answer):
    key: str
    title: str
    unit: str | None
    choices: list[str]


class CharacteristicsAnswer(Tabular):
    characteristics: list[CharacteristicShown]
    attributes: list[AttributeShown]

    @override
    def plain_table(self, units: UnitSystem = "si") -> Table:
        """One row a characteristic, then one an attribute; lists are joined by semicolons."""
        rows = [
            [
                *("characteristic", c.key, c.title, c.unit, None, "; ".join(c.standards), c.sense, c.sentence),
                *("; ".join(c.judged_with), "; ".join(c.shown_with), c.gate),
            ]
            for c in self.characteristics
        ]
        rows += [
            ["attribute", a.key, a.title, a.unit, "; ".join(a.choices) or None, *[None] * 6] for a in self.attributes
        ]
        names = ("what", "key", "title", "unit", "choices", "standards", "sense", "sentence", "judged_with")
        return Table((*names, "shown_with", "gate"), rows)


def characteristics(revision: int) -> CharacteristicsAnswer:
    return CharacteristicsAnswer(
        catalog_revision=revision,
        characteristics=[
            CharacteristicShown(
                key=c.key,
                title=c.title,
                unit=canonical_unit(c.kind) if c.kind else None,
                standards=list(c.standards),
                sense=c.sense,
                sentence=c.sentence,
                judged_with=list(c.judged_with),
                shown_with=list(c.shown_with),
                gate=c.gate,
            )
            for c in CHARACTERISTICS.values()
        ],
        attributes=[
            AttributeShown(
                key=a.key,
                title=a.title,
                unit=canonical_unit("length") if a.kind == "length" else None,
                choices=list(a.choices),
            )
            for a in ATTRIBUTES.values()
        ],
    )
