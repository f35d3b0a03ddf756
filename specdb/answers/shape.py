"""What all answers have in common: their stamp, quantities and bounds."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Self

from pydantic import BaseModel, ConfigDict, PrivateAttr
from typing_extensions import override

from specdb.answers.tables import Cell, Column, Table
from specdb.units import PintQuantity, UnitSystem, as_pint, express

if TYPE_CHECKING:
    import pandas as pd

METHOD_VERSION = "3"
"""Changes whenever the same facts and the same question may get another verdict or order."""


class Answer(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class Stamped(Answer):
    catalog_revision: int
    method_version: str = METHOD_VERSION


class MadeInUnits(Answer):
    """An answer that remembers which units it was made in, so that nobody need tell it when its table is wanted."""

    _units: UnitSystem = PrivateAttr("si")

    def made_in(self, units: UnitSystem) -> Self:
        self._units = units
        return self


class WithTable(MadeInUnits):
    """An answer that has a flat table beside its nested form."""

    method_version: str = METHOD_VERSION

    def plain_table(self, units: UnitSystem = "si") -> Table:
        """The rows, one to a line, with the names of columns that carry their units. ``units`` are those the answer was
        made in."""
        raise NotImplementedError  # each answer with rows has its own

    def table(self, units: UnitSystem = "si") -> Table:
        """The same with what the answer was made from and how, in the last columns."""
        return self.plain_table(units).followed_by({"method_version": self.method_version})

    def frame(self) -> pd.DataFrame:
        """The table as a data frame, in the units that the answer was made in: a column of numbers is one of numbers,
        whatever was found."""
        return self.table(self._units).frame()


class Tabular(Stamped, WithTable):
    """An answer with rows that a catalogue has part in."""

    @override
    def table(self, units: UnitSystem = "si") -> Table:
        stamp: dict[str, Cell] = {
            Column("catalog_revision", "whole_number"): self.catalog_revision,
            "method_version": self.method_version,
        }
        return self.plain_table(units).followed_by(stamp)


class QuantityShown(Answer):
    value: float
    unit: str

    def pint(self) -> PintQuantity:
        """As a quantity of pint's application registry. Raises QuantityError for a unit that pint has not."""
        return as_pint(self.value, self.unit)


class BoundsShown(Answer):
    low: float | None
    high: float | None
    unit: str | None

    def pint(self) -> tuple[PintQuantity | None, PintQuantity | None]:
        """Low and high as quantities of pint's application registry, None where there is no bound."""
        low, high = (None if bound is None else as_pint(bound, self.unit) for bound in (self.low, self.high))
        return low, high


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
