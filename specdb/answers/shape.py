"""What all answers have in common: their stamp, quantities and bounds."""

from __future__ import annotations

import math

from pydantic import BaseModel, ConfigDict
from typing_extensions import override

from specdb.answers.tables import Cell, Table
from specdb.units import UnitSystem, express

METHOD_VERSION = "3"
"""Changes whenever the same facts and the same question may get another verdict or order."""


class Answer(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Stamped(Answer):
    catalog_revision: int
    method_version: str = METHOD_VERSION


class WithTable(Answer):
    """An answer that has a flat table beside its nested form."""

    method_version: str = METHOD_VERSION

    def plain_table(self, units: UnitSystem = "si") -> Table:
        """The rows, one to a line, with the names of columns that carry their units. ``units`` are those the answer was
        made in."""
        raise NotImplementedError  # each answer with rows has its own

    def table(self, units: UnitSystem = "si") -> Table:
        """The same with what the answer was made from and how, in the last columns."""
        return self.plain_table(units).followed_by({"method_version": self.method_version})


class Tabular(Stamped, WithTable):
    """An answer with rows that a catalogue has part in."""

    @override
    def table(self, units: UnitSystem = "si") -> Table:
        stamp: dict[str, Cell] = {"catalog_revision": self.catalog_revision, "method_version": self.method_version}
        return self.plain_table(units).followed_by(stamp)


class QuantityShown(Answer):
    value: float
    unit: str


class BoundsShown(Answer):
    low: float | None
    high: float | None
    unit: str | None


def tidy(value: float) -> float:
    """To twelve significant digits: what stands behind them comes from the arithmetic, not from any test."""
    return float(f"{value:.12g}")


def number(value: float) -> float | None:
    return tidy(value) if math.isfinite(value) else None


def quantity(value: float | None, kind: str, units: UnitSystem) -> QuantityShown | None:
    if value is None:
        return None
    expressed, unit = express(value, kind, units)
    return QuantityShown(value=tidy(expressed), unit=unit)


def bounds(low: float, high: float, kind: str, units: UnitSystem) -> BoundsShown:
    def one(value: float) -> float | None:
        if not math.isfinite(value):
            return None
        return tidy(express(value, kind, units)[0] if kind else value)

    return BoundsShown(low=one(low), high=one(high), unit=express(1.0, kind, units)[1] if kind else None)
